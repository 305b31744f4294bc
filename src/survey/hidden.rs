//! Faults that nothing a trainee may do can show.

use std::sync::Arc;

use rayon::prelude::*;

use super::{Effort, Found};
use crate::circuit::{Circuit, PartId, Spot};
use crate::diagnostic::Severity;
use crate::dictionary::{Case, Dictionary, Setup};

/// States that a quick survey may settle for this: some fifty milliseconds.
const QUICK_STATES: usize = 1_500;

/// Most modes, and most parts, that are named.
const NAMED: usize = 4;

/// Finds faults that show nothing at any face and at any test point, in the normal setup, with
/// one control moved or with one breaker or fuse pulled.
///
/// A quick survey says nothing where that is too much to look through.
pub(super) fn look(circuit: &Arc<Circuit>, effort: Effort, found: &mut Found<'_>) {
    let setups = Setup::single(circuit);
    let most = match effort {
        Effort::Quick => QUICK_STATES,
        Effort::Thorough => usize::MAX,
    };
    let count = crate::faults::all(circuit).len();
    if count.saturating_mul(setups.len()) > most {
        return;
    }
    let Ok(dictionary) = Dictionary::new(Arc::clone(circuit)) else { return };
    let pages: Vec<_> = setups.iter().filter_map(|s| dictionary.settle(s).ok()).collect();
    let never: Vec<bool> = (0..count as u32)
        .into_par_iter()
        .map(|at| {
            pages.iter().all(|page| {
                let sound = dictionary.entry(page, Case::Sound);
                match (dictionary.entry(page, Case::One(at)), sound) {
                    (Ok(entry), Ok(sound)) => {
                        let pairs = entry.shown().iter().zip(sound.shown());
                        pairs.into_iter().all(|(is, was)| is.percept == was.percept)
                    }
                    // What has no solution is not known to show nothing.
                    _ => false,
                }
            })
        })
        .collect();
    // Parts of which the same modes are hidden are told together.
    let mut alike: Vec<(Vec<&str>, Vec<PartId>)> = Vec::new();
    for (part, _) in circuit.parts_with_ids() {
        let faults = dictionary.faults().iter().zip(&never);
        let hidden = faults.filter(|((fault, _), never)| fault.part == part && **never);
        let modes: Vec<&str> = hidden.map(|((fault, _), _)| fault.mode.as_str()).collect();
        match alike.iter_mut().find(|(of, _)| *of == modes) {
            _ if modes.is_empty() => {}
            Some((_, parts)) => parts.push(part),
            None => alike.push((modes, vec![part])),
        }
    }
    for (modes, parts) in alike {
        let names: Vec<&str> = parts.iter().map(|p| circuit.part(*p).id.as_str()).collect();
        let message = format!(
            "nothing shows {} of {}: no face and no test point, with no control moved and no \
             breaker or fuse pulled",
            some_of(&modes),
            some_of(&names)
        );
        let hint = "a drill can hide it only with other means to find it";
        let spot = Spot::Part(parts[0], "id");
        found.add(Severity::Advice, "never-shown", spot, message, Some(hint));
    }
}

/// A list as far as a line holds it.
fn some_of(names: &[&str]) -> String {
    let more = names.len().saturating_sub(NAMED);
    let shown = names[..names.len().min(NAMED)].join(", ");
    if more > 0 { format!("{shown} and {more} more") } else { shown }
}
