//! `halfsplit seal`: hides what drills hide from a casual look.

use std::io::Write;

use anyhow::Result;

use super::{Ended, args, whole_file};
use crate::diagnostic::plain;
use crate::library::{self, LoadError};
use crate::scenario::{sealed_text, unsealed_text};

/// Seals the drills of a file in their place, or opens them.
pub(super) fn run(arguments: &args::Seal) -> Result<Ended> {
    let name = plain(&arguments.file.to_string_lossy());
    let text = library::read_file(&arguments.file.to_string_lossy())?;
    let rewrite = if arguments.open { unsealed_text } else { sealed_text };
    let new = rewrite(&name, &text).map_err(LoadError::Findings)?;
    let mut out = std::io::stdout().lock();
    if new == text {
        writeln!(out, "{name}: nothing to {}", if arguments.open { "open" } else { "seal" })?;
        return Ok(Ended::Well);
    }
    whole_file::write(&arguments.file, &new)?;
    writeln!(out, "{name}: {}", if arguments.open { "opened" } else { "sealed" })?;
    Ok(Ended::Well)
}
