//! `halfsplit chart`: the isolation chart of a system or a drill, or the system as a picture.

use std::io::Write;
use std::sync::Arc;

use anyhow::{Result, bail};

use super::args::Form;
use super::{Ended, args, whole_file};
use crate::circuit::Circuit;
use crate::diagnosis::Belief;
use crate::diagnostic::plain;
use crate::diagram::{Drawing, Overlay, cells, svg};
use crate::handout::{self, Chart};
use crate::isolation::Isolation;
use crate::library;
use crate::network::State;
use crate::observation::{Rig, Whereabouts};

/// Draws and prints, or writes a file.
pub(super) fn run(arguments: &args::Chart, ascii: bool) -> Result<Ended> {
    let text = if arguments.diagram { diagram(arguments, ascii)? } else { chart(arguments)? };
    match &arguments.out {
        Some(path) => whole_file::write(path, &text)?,
        None => write!(std::io::stdout().lock(), "{text}")?,
    }
    Ok(Ended::Well)
}

fn diagram(arguments: &args::Chart, ascii: bool) -> Result<String> {
    let circuit = arguments.build.load()?;
    let drawing = Drawing::of(&circuit);
    let overlay = Overlay::standing(&State::at_rest(&circuit));
    Ok(if arguments.text {
        cells(&drawing, &overlay, ascii).text()
    } else {
        svg(&drawing, &overlay)
    })
}

fn chart(arguments: &args::Chart) -> Result<String> {
    let (system, drill) = library::split_drill(&arguments.build.system);
    let chart = if let Some(drill) = drill {
        if !arguments.build.mods.is_empty() {
            bail!("{system}/{drill} is a drill that says this itself: leave --mod out");
        }
        let loaded = library::scenario(system, drill)?;
        let mut session = loaded.ready.begin(1)?;
        let (circuit, start) = (Arc::clone(session.circuit()), session.start().clone());
        let belief = session.belief()?;
        let isolation = Isolation::new(belief, &circuit, &start);
        let title = format!("{}: {}", circuit.title_with_mods(), loaded.scenario.title);
        Chart::new(title, &circuit, (belief, &isolation), &start, arguments.work)?
    } else {
        let circuit = Arc::new(arguments.build.load()?);
        of_system(&circuit, arguments.work)?
    };
    let told = match arguments.form {
        Form::Text => handout::text(&chart),
        Form::Markdown => handout::markdown(&chart),
        Form::Dot => handout::dot(&chart),
        Form::Svg => handout::svg(&chart),
    };
    // Names from a file may hold anything.
    Ok(told.lines().map(|line| plain(line) + "\n").collect())
}

fn of_system(circuit: &Arc<Circuit>, work: u64) -> Result<Chart> {
    let isolation = Isolation::of_system(circuit)?;
    let belief = Belief::prior(&Rig::normal(Arc::clone(circuit))?)?;
    let start = Whereabouts::start(circuit);
    let title = circuit.title_with_mods();
    Ok(Chart::new(title, circuit, (&belief, &isolation), &start, work)?)
}
