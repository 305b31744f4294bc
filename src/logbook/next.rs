//! What to practise next: from what somebody has done, the drills that are most worth doing.

use std::collections::{BTreeMap, BTreeSet};

use super::class::Judged;
use crate::library;
use crate::score::HabitKind;

/// A drill that is worth doing, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Practice {
    /// The drill, as it is named on the command line.
    pub drill: String,
    /// Why, in words.
    pub reason: String,
    worth: f64,
}

/// Times par above which a drill that was proven is worth doing again.
const SLOW: f64 = 1.5;

/// Whether there is nothing left to learn from a drill.
fn mastered(one: &Judged) -> bool {
    one.is_proven() && one.times_par() <= SLOW && one.cautions == 0
}

/// What a drill that is not mastered was, from the worst on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Flaw {
    Wrong,
    Unproven,
    Careless,
    Slow,
}

impl Flaw {
    fn of(one: &Judged) -> Option<Self> {
        Some(match one {
            one if !one.right => Self::Wrong,
            one if !one.proven => Self::Unproven,
            one if one.cautions > 0 => Self::Careless,
            one if one.times_par() > SLOW => Self::Slow,
            _ => return None,
        })
    }

    /// How much it is worth to do the drill again, its rung left out.
    fn worth(self) -> f64 {
        match self {
            Self::Wrong => 100.0,
            Self::Unproven => 90.0,
            Self::Careless => 80.0,
            Self::Slow => 60.0,
        }
    }

    fn told(self, one: &Judged) -> String {
        match self {
            Self::Wrong => format!("last time the wrong thing was called ({})", one.called),
            Self::Unproven => "last time the call was right and not proven".to_owned(),
            Self::Careless => "last time a caution was gone against".to_owned(),
            Self::Slow => format!("last time it took {:.1} times par", one.times_par()),
        }
    }
}

/// The last attempt at each drill; a drill without a call is none. Drills that no author has
/// written have no name of their own: each attempt is another one.
fn latest(judged: &[Judged]) -> BTreeMap<&str, &Judged> {
    let called = judged.iter().filter(|one| !one.called.is_empty());
    called.map(|one| (if one.drill.contains('/') { &*one.drill } else { &*one.id }, one)).collect()
}

/// The habit that showed in most of the last attempts at each drill, and in how many of how
/// many, where that is more than one; of several such the one that cost most.
pub fn habit_to_work_on(judged: &[Judged]) -> Option<(HabitKind, usize, usize)> {
    let latest = latest(judged);
    let mut habits: BTreeMap<HabitKind, (usize, f64)> = BTreeMap::new();
    for (habit, points) in latest.values().flat_map(|one| &one.habits) {
        let found = habits.entry(*habit).or_default();
        *found = (found.0 + 1, found.1 + points);
    }
    let worst = habits
        .into_iter()
        .max_by(|(_, a), (_, b)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)))
        .filter(|(_, (drills, _))| *drills > 1)?;
    Some((worst.0, worst.1.0, latest.len()))
}

/// The drills that are most worth doing, the best first: those that went wrong, then those not
/// yet done, from the lowest rung that is not yet mastered on; drills whose fault is of a kind
/// that went wrong elsewhere go before others.
pub fn practise_next(judged: &[Judged], most: usize) -> Vec<Practice> {
    let latest = latest(judged);
    // Kinds of part that a drill went wrong with.
    let flawed = latest.values().filter(|one| Flaw::of(one).is_some());
    let weak: BTreeSet<&str> = flawed.flat_map(|one| &one.kinds).map(|kind| &**kind).collect();
    let mut found = Vec::new();
    for system in library::NAMES {
        let Ok(drills) = library::drills(system) else { continue };
        let rung_done = drills
            .iter()
            .filter(|drill| {
                let name = format!("{system}/{}", drill.id);
                latest.get(name.as_str()).is_some_and(|one| mastered(one))
            })
            .map(|drill| drill.rung)
            .max()
            .unwrap_or(0);
        for drill in &drills {
            let name = format!("{system}/{}", drill.id);
            let rung = f64::from(drill.rung);
            let (worth, reason) = if let Some(one) = latest.get(name.as_str()) {
                let Some(flaw) = Flaw::of(one) else { continue };
                (flaw.worth() - rung, flaw.told(one))
            } else {
                let shares = library::scenario(system, &drill.id).is_ok_and(|loaded| {
                    let circuit = &loaded.ready.circuit;
                    let faults = loaded.ready.hidden.iter().flat_map(|(cause, _)| cause.faults());
                    let mut kinds =
                        faults.map(|fault| circuit.part(fault.part).kind.id().spec().name);
                    kinds.any(|kind| weak.contains(kind))
                });
                let step = (rung - f64::from(rung_done) - 1.0).abs();
                let told = format!("not done yet, rung {}", drill.rung);
                if shares {
                    // Which kind of part that is would give the fault away.
                    (75.0 - step, format!("{told}; practises what went wrong in another drill"))
                } else {
                    (50.0 - 5.0 * step, told)
                }
            };
            found.push(Practice { drill: name, reason, worth });
        }
    }
    found.sort_by(|a, b| b.worth.total_cmp(&a.worth).then_with(|| a.drill.cmp(&b.drill)));
    found.truncate(most);
    found
}
