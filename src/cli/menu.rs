//! The program without a verb: the menu, or on plain lines what one can type.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::Write;
use std::rc::Rc;

use anyhow::{Result, bail};

use super::drill::{fresh_seed, on_a_terminal, on_screen};
use super::logbook::{taken_up, told};
use super::oral::{deck, today};
use super::recorder::{self, Recorder, Shared};
use super::sitting::{QUESTIONS, Sitting, sitting};
use super::{Ended, args};
use crate::circuit::Circuit;
use crate::diagnostic::plain;
use crate::drill::Rules;
use crate::library;
use crate::logbook::{Filter, Kept, Recipe, Upshot};
use crate::scenario::Scenario;
use crate::screen::{Beginning, Begun, Entry, Start};
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
    let (attempts, upshots, trouble) = attempts();
    entries.extend(going_on(&attempts));
    for name in library::NAMES {
        let done = |drill: &str| {
            let name = format!("{name}/{drill}");
            let closed = attempts
                .iter()
                .filter(|k| k.attempt.is_closed() && k.attempt.recipe.name() == name);
            best_told(closed.map(|kept| upshots.get(&kept.number)))
        };
        entries.push(of_system(library::load(name)?, &library::drills(name)?, done));
    }
    entries.push(orals()?);
    entries.extend(logbook(&attempts));
    let mut recorder = Recorder::new(true);
    recorder.notice = trouble;
    let recorder: Shared = Rc::new(RefCell::new(recorder));
    let kept = Rc::clone(&recorder);
    let load = Box::new(move |entry: &Entry| begin(entry, &kept).map_err(|e| format!("{e:#}")));
    on_screen(Start::Menu { entries, load }, looks, (None, None), &recorder)
}

/// Attempts that the menu offers: those of late.
const OFFERED: usize = 200;

/// The attempts of the logbook, the latest first, and what debriefs came to; none where there is
/// no logbook yet. In words, why nothing can be kept or read, where that is so.
fn attempts() -> (Vec<Kept>, BTreeMap<i64, Upshot>, Option<String>) {
    let read = || {
        let store = recorder::open_on_screen()?;
        let told = recorder::only_read(&store);
        anyhow::Ok((store.attempts(&Filter::default())?, store.upshots()?, told))
    };
    read().unwrap_or_else(|why| (Vec::new(), BTreeMap::new(), Some(format!("{why:#}."))))
}

/// How often a drill has been done and how well at best, in words; `None` where never.
fn best_told<'a>(attempts: impl Iterator<Item = Option<&'a Upshot>>) -> Option<(String, String)> {
    let all: Vec<Option<&Upshot>> = attempts.collect();
    if all.is_empty() {
        return None;
    }
    let times = format!("You have done it {}", counted(all.len(), "time"));
    let best = all.into_iter().flatten().max_by(|a, b| a.points.total_cmp(&b.points));
    Some(match best {
        None => (String::new(), format!("{times}.")),
        Some(best) => (
            format!("best {:.0}", best.points),
            format!(
                "{times}; at best {:.0} points in {}, {}.",
                best.points,
                minutes(best.minutes),
                best.told()
            ),
        ),
    })
}

/// The row that goes on with the latest attempt that is open.
fn going_on(attempts: &[Kept]) -> Option<Entry> {
    let kept = attempts.iter().find(|kept| !kept.attempt.is_closed())?;
    Some(Entry {
        title: "Go on where you stopped".to_owned(),
        note: plain(&kept.attempt.recipe.name()),
        brief: told(&kept.attempt),
        what: Beginning::Attempt(kept.number),
        ..Entry::default()
    })
}

/// The row that opens the orals: of every build questions without hurry, and the board.
fn orals() -> Result<Entry> {
    let store = recorder::open_on_screen().ok();
    let deck = store.and_then(|store| deck(&store).ok()).unwrap_or_default();
    let due = deck.due(today());
    let due_of = |id: &str| due.iter().filter(|card| card.split(' ').next() == Some(id)).count();
    let mut within = Vec::new();
    for name in library::NAMES {
        let circuit = library::load(name)?;
        let all: Vec<String> = circuit.mods.iter().map(|of| of.id.clone()).collect();
        let builds = [Vec::new(), all];
        let differ = if builds[1].is_empty() { 1 } else { 2 };
        for mods in builds.into_iter().take(differ) {
            let with = if mods.is_empty() {
                String::new()
            } else {
                format!(", with mods {}", mods.join(", "))
            };
            let title = format!("{}{with}", circuit.title);
            let row = |title: String, board: bool, note: String, brief: &str| Entry {
                system: circuit.id.clone(),
                title,
                note,
                brief: brief.to_owned(),
                what: Beginning::Oral { mods: mods.clone(), board },
                within: Vec::new(),
            };
            let note = format!("{} due", due_of(&circuit.id));
            within.push(row(title.clone(), false, note, QUIET));
            within.push(row(format!("{title}: the board"), true, String::new(), BOARD));
        }
    }
    Ok(Entry {
        title: "Oral".to_owned(),
        note: format!("{} due", counted(due.len(), "card")),
        brief: "Questions worked out from the systems, asked until they stick; what you forgot \
                comes back sooner."
            .to_owned(),
        what: Beginning::Nothing,
        within,
        ..Entry::default()
    })
}

/// What is said of the two ways of being asked.
const QUIET: &str = "Twenty questions without hurry: cards that are due first, then new ones. \
After each answer the reason.";
const BOARD: &str = "Twenty questions against the clock, as before the board; where an answer is \
weak it asks further.";

/// The row that opens the list of attempts.
fn logbook(attempts: &[Kept]) -> Option<Entry> {
    let within: Vec<Entry> = attempts
        .iter()
        .take(OFFERED)
        .map(|kept| Entry {
            title: told(&kept.attempt),
            note: plain(kept.attempt.begun.split('T').next().unwrap_or_default()),
            brief: if kept.attempt.is_closed() {
                "Look back on it: the debrief, worked out anew from what was done.".to_owned()
            } else {
                "Go on where it was left.".to_owned()
            },
            what: Beginning::Attempt(kept.number),
            ..Entry::default()
        })
        .collect();
    (!within.is_empty()).then(|| Entry {
        title: "Logbook".to_owned(),
        note: counted(within.len(), "attempt"),
        brief: "What you have done so far, the latest first.".to_owned(),
        what: Beginning::Nothing,
        within,
        ..Entry::default()
    })
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
fn of_system(
    circuit: Circuit,
    drills: &[Scenario],
    done: impl Fn(&str) -> Option<(String, String)>,
) -> Entry {
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
        let mut note = note(&id, drill);
        if let Some((best, how_often)) = done(&drill.id) {
            told.push(how_often);
            if !best.is_empty() {
                note = format!("{best} · {note}");
            }
        }
        within.push(Entry {
            system: id.clone(),
            title: drill.title.clone(),
            note,
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

/// Begins what a row stands for; a drill is kept from its first move on.
fn begin(entry: &Entry, recorder: &Shared) -> Result<Begun> {
    let fresh = || Recipe::new(&entry.system, Rules::default(), fresh_seed());
    let recipe = match &entry.what {
        Beginning::Guided => Recipe { hidden: vec![FIRST_DRILL.1.to_owned()], seed: 1, ..fresh()? },
        Beginning::Any { mods } => Recipe { mods: mods.clone(), ..fresh()? },
        Beginning::Written(drill) => Recipe { drill: Some(drill.clone()), ..fresh()? },
        Beginning::Attempt(number) => {
            recorder.borrow_mut().settle(*number).map_err(anyhow::Error::msg)?;
            let (session, kept) = taken_up(*number)?;
            recorder.borrow_mut().go_on(kept);
            return Ok(Begun::Drill(Box::new(session)));
        }
        Beginning::Oral { mods, board } => {
            let oral = sitting(Sitting {
                system: &entry.system,
                mods,
                questions: QUESTIONS,
                timed: false,
                board: *board,
                seed: fresh_seed(),
                recorder,
            })?;
            return Ok(Begun::Oral(Box::new(oral)));
        }
        Beginning::Nothing => bail!("there is nothing to begin here"),
    };
    let session = recipe.begin()?;
    recorder.borrow_mut().begin(recipe);
    Ok(Begun::Drill(Box::new(session)))
}
