//! The program without a verb: the menu, or on plain lines what one can type.

use std::io::Write;
use std::sync::Arc;

use anyhow::Result;

use super::drill::{fresh_seed, on_a_terminal, on_screen};
use super::{Ended, args};
use crate::circuit::Circuit;
use crate::drill::Session;
use crate::faults;
use crate::library;
use crate::network::SolveError;
use crate::scenario::Scenario;
use crate::screen::{Beginning, Entry, Start};
use crate::units::{counted, minutes, significant};

/// The guided drill: a system, and the fault that it hides. One sees it by throwing the one
/// switch and proves it by two measurements.
const FIRST_DRILL: (&str, &str) = ("bench", "S1:open-ON");

/// Opens the menu.
pub(super) fn run(plain: bool, looks: args::Looks) -> Result<Ended> {
    if plain || !on_a_terminal() {
        return in_plain_lines();
    }
    let first = library::load(FIRST_DRILL.0)?;
    let mut entries = vec![Entry {
        system: first.id,
        title: "First drill, guided".to_owned(),
        brief: format!(
            "{} parts and a hidden fault; a line at the foot tells what to do next. {}",
            first.parts.len(),
            first.brief
        ),
        what: Beginning::Guided,
        ..Entry::default()
    }];
    for name in library::NAMES {
        entries.push(of_system(library::load(name)?, &library::drills(name)?));
    }
    on_screen(Start::Menu { entries, load: Box::new(begin) }, looks, None)
}

fn in_plain_lines() -> Result<Ended> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "halfsplit: find the failed part by reasoning. Systems and their drills:")?;
    for name in library::NAMES {
        writeln!(out, "  {name}")?;
        for drill in ladder(&library::drills(name)?) {
            writeln!(out, "    {name}/{}: rung {}, {}", drill.id, drill.rung, drill.title)?;
        }
    }
    writeln!(out, "Start one with: halfsplit drill SYSTEM --plain, or SYSTEM/DRILL")?;
    Ok(Ended::Well)
}

/// The drills of a system from first steps on.
fn ladder(drills: &[Scenario]) -> Vec<&Scenario> {
    let mut ladder: Vec<&Scenario> = drills.iter().collect();
    ladder.sort_by_key(|drill| drill.rung);
    ladder
}

/// A system's row, and in it every drill and every build whose fault can be drawn.
fn of_system(circuit: Circuit, drills: &[Scenario]) -> Entry {
    let Circuit { id, title, brief, mods, .. } = circuit;
    let any = |title: String, brief: String, mods| Entry {
        system: id.clone(),
        title,
        brief,
        what: Beginning::Any { mods },
        ..Entry::default()
    };
    let mut within = vec![any("Any fault".to_owned(), brief.clone(), Vec::new())];
    let each = mods.iter().map(|of| (vec![of.id.clone()], of.title.clone()));
    let all: Vec<String> = mods.iter().map(|of| of.id.clone()).collect();
    let all = (all.len() > 1).then(|| (all, "All its mods together".to_owned()));
    for (mods, what) in each.chain(all) {
        let word = if mods.len() == 1 { "mod" } else { "mods" };
        let title = format!("Any fault, with {word} {}", mods.join(", "));
        within.push(any(title, format!("{what}. {brief}"), mods));
    }
    for drill in ladder(drills) {
        let mut told = vec![drill.brief.split_whitespace().collect::<Vec<_>>().join(" ")];
        if !drill.mods.is_empty() {
            told.push(format!("With mod {}.", drill.mods.join(", ")));
        }
        if let Some(most) = drill.minutes {
            told.push(format!("There are {} for it.", minutes(most)));
        }
        within.push(Entry {
            system: id.clone(),
            title: drill.title.clone(),
            note: note(&id, drill),
            brief: told.join(" "),
            what: Beginning::Written(drill.id.clone()),
            within: Vec::new(),
        });
    }
    let note = if drills.is_empty() { String::new() } else { counted(drills.len(), "drill") };
    Entry { system: id.clone(), title, note, brief, what: Beginning::Nothing, within }
}

/// What stands at the end of a drill's row: its rung, and what it asks where that is known.
fn note(system: &str, drill: &Scenario) -> String {
    let rung = format!("rung {}", drill.rung);
    library::asks(system, &drill.id).map_or(rung.clone(), |asks| {
        let par = minutes(asks.par_minutes);
        format!("par {par} · {} in 100 go wrong · {rung}", significant(asks.wrong_percent, 2))
    })
}

/// Makes the drill of a row.
fn begin(entry: &Entry) -> Result<Session, String> {
    let in_words = |error: SolveError| error.to_string();
    let load = |mods: &[String]| {
        library::load_build(&entry.system, mods).map(Arc::new).map_err(|error| error.to_string())
    };
    match &entry.what {
        Beginning::Guided => {
            let circuit = load(&[])?;
            let (fault, _) =
                faults::parse(&circuit, FIRST_DRILL.1).map_err(|error| error.to_string())?;
            Session::planted(circuit, fault, 1).map_err(in_words)
        }
        Beginning::Any { mods } => Session::drawn(load(mods)?, fresh_seed()).map_err(in_words),
        Beginning::Written(drill) => {
            let loaded = library::scenario(&entry.system, drill);
            loaded.map_err(|e| e.to_string())?.ready.begin(fresh_seed()).map_err(in_words)
        }
        Beginning::Nothing => Err("there is nothing to begin here".to_owned()),
    }
}
