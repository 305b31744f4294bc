//! `halfsplit chart`: a system as a picture.

use std::io::Write;

use anyhow::{Result, bail};

use super::{Ended, args, whole_file};
use crate::diagram::{Drawing, Overlay, cells, svg};
use crate::network::State;

/// Draws and prints, or writes a file.
pub(super) fn run(arguments: &args::Chart, ascii: bool) -> Result<Ended> {
    let circuit = arguments.build.load()?;
    if !arguments.diagram {
        bail!(
            "say what to chart: --diagram draws the system as SVG, \
             with --text as characters"
        );
    }
    let drawing = Drawing::of(&circuit);
    let overlay = Overlay::standing(&State::at_rest(&circuit));
    let text = if arguments.text {
        cells(&drawing, &overlay, ascii).text()
    } else {
        svg(&drawing, &overlay)
    };
    match &arguments.out {
        Some(path) => whole_file::write(path, &text)?,
        None => write!(std::io::stdout().lock(), "{text}")?,
    }
    Ok(Ended::Well)
}
