//! What to practise next: from what somebody has done, the drills that are most worth doing.

use std::collections::BTreeMap;

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

/// The drills that are most worth doing, the best first: those that went wrong, then those not
/// yet done, from the lowest rung that is not yet mastered on; drills whose fault is of a kind
/// that went wrong elsewhere go before others.
pub fn practise_next(judged: &[Judged], most: usize) -> Vec<Practice> {
    let mut latest: BTreeMap<&str, &Judged> = BTreeMap::new();
    for one in judged.iter().filter(|one| !one.called.is_empty()) {
        latest.insert(&one.drill, one);
    }
    let mastered =
        |one: &Judged| one.right && one.proven && one.minutes <= 1.5 * one.own_par_minutes;
    // What kind of part went wrong, and how often.
    let mut weak: BTreeMap<&str, u32> = BTreeMap::new();
    for one in latest.values().filter(|one| !mastered(one)) {
        for kind in &one.kinds {
            *weak.entry(kind).or_default() += 1;
        }
    }
    let mut habits: BTreeMap<HabitKind, f64> = BTreeMap::new();
    for one in latest.values() {
        for (habit, points) in &one.habits {
            *habits.entry(*habit).or_default() += points;
        }
    }
    let worst_habit =
        habits.iter().max_by(|a, b| a.1.total_cmp(b.1)).map(|(habit, _)| habit.title());
    let mut found = Vec::new();
    for system in library::NAMES {
        let Ok(drills) = library::drills(system) else { continue };
        let rung_done = latest
            .iter()
            .filter(|(name, one)| name.starts_with(&format!("{system}/")) && mastered(one))
            .filter_map(|(name, _)| {
                drills
                    .iter()
                    .find(|drill| name.ends_with(&format!("/{}", drill.id)))
                    .map(|d| d.rung)
            })
            .max()
            .unwrap_or(0);
        for drill in &drills {
            let name = format!("{system}/{}", drill.id);
            let rung = f64::from(drill.rung);
            let (worth, reason) = match latest.get(name.as_str()) {
                Some(one) if mastered(one) => continue,
                Some(one) if !one.right => {
                    let called = &one.called;
                    (100.0 - rung, format!("last time the wrong thing was called ({called})"))
                }
                Some(one) if !one.proven => {
                    (90.0 - rung, "last time the call was right and not proven".to_owned())
                }
                Some(one) => {
                    let over = one.minutes / one.own_par_minutes.max(1e-9);
                    (60.0 - rung, format!("last time it took {over:.1} times par"))
                }
                None => {
                    let shared = library::scenario(system, &drill.id).ok().and_then(|loaded| {
                        let circuit = &loaded.ready.circuit;
                        let faults =
                            loaded.ready.hidden.iter().flat_map(|(cause, _)| cause.faults());
                        faults
                            .map(|fault| circuit.part(fault.part).kind.id().spec().name)
                            .find(|kind| weak.contains_key(kind))
                    });
                    let step = (rung - f64::from(rung_done) - 1.0).abs();
                    match shared {
                        Some(kind) => (
                            75.0 - step,
                            format!("its kind of part ({kind}) went wrong in another drill"),
                        ),
                        None => (50.0 - 5.0 * step, format!("not done yet, rung {}", drill.rung)),
                    }
                }
            };
            let reason = match worst_habit {
                Some(habit) if latest.contains_key(name.as_str()) => {
                    format!("{reason}; habit to work on: {}", habit.to_lowercase())
                }
                _ => reason,
            };
            found.push(Practice { drill: name, reason, worth });
        }
    }
    found.sort_by(|a, b| b.worth.total_cmp(&a.worth).then_with(|| a.drill.cmp(&b.drill)));
    found.truncate(most);
    found
}
