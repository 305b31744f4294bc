//! The judgement on one step in one sentence, worked out from what was known before it.

use super::debrief::told_with_walk;
use super::explain;
use crate::circuit::Circuit;
use crate::diagnosis::{Belief, NO_BITS, Prospect};
use crate::drill::Entry;
use crate::observation::{Act, Step};
use crate::units::{bits, minutes};

/// Bits a minute below which a step counts as weak beside the best, as a fraction.
const WEAK: f64 = 0.5;
/// And from which it counts as good as the best.
const AS_GOOD: f64 = 0.95;

/// Of a step that gives as many bits a minute as any that was available.
const TELLS_MOST: &str = "tells most a minute of all available steps";

/// What a step was for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    /// Finding out what is wrong.
    Search,
    /// The rest of a planned step that takes several: a walk after an exchange, say.
    Rest,
    /// Measuring the called part once more after it had been proven.
    Confirm,
    /// Mending what had been isolated, and trying whether that has helped.
    Mend,
}

/// What a step is judged by.
pub(super) struct Remark<'a> {
    pub circuit: &'a Circuit,
    /// What was known before it.
    pub before: &'a Belief,
    pub entry: &'a Entry,
    /// Its worth.
    pub chosen: &'a Prospect,
    /// The step with most bits a minute.
    pub best: Option<&'a Prospect>,
    /// Since when its outcome was known.
    pub known: &'a dyn Fn() -> Option<String>,
    /// The minutes that it provably cost more than another, and which.
    pub cost: Option<(f64, Option<&'a Prospect>)>,
    /// Whether it was the step that the planner would have advised.
    pub planned: bool,
    /// What it was for.
    pub purpose: Purpose,
}

/// Whether a step undoes what was done before: nobody makes it to learn something.
fn puts_back(step: Step) -> bool {
    matches!(step, Step::Act(Act::Refit(_) | Act::PushIn(_)))
}

/// Whether a step was a test, made to learn something: no walk (which is judged with what is
/// done after it), no look around (which is free), nothing put back, nothing done for the
/// repair or to confirm what was proven, and not once the part was known.
pub(super) fn is_test(before: &Belief, step: Step, purpose: Purpose) -> bool {
    purpose == Purpose::Search
        && before.group_entropy_bits() >= NO_BITS
        && !matches!(step, Step::Go(_) | Step::LookAround)
        && !puts_back(step)
}

impl Remark<'_> {
    /// In words.
    pub(super) fn told(&self) -> String {
        let mut told = self.judged();
        if let Some(cost) = self.cost {
            told += "; ";
            told += &explain::cost(self.circuit, self.before, &self.entry.before, cost);
        }
        told
    }

    /// Whether the step with most bits a minute is worth naming beside what has been told.
    pub(super) fn names_most(&self, told: &str) -> bool {
        let searched = self.purpose == Purpose::Search && !self.planned;
        self.best.is_some_and(|best| {
            searched
                && !told.starts_with(TELLS_MOST)
                && best.step != self.chosen.step
                && !told.contains(&told_with_walk(self.circuit, best))
        })
    }

    /// The step with most bits a minute in words, with what it would have been worth; not
    /// where the planner names a better one.
    fn instead(&self) -> Option<String> {
        let best = self.best.filter(|_| !matches!(self.cost, Some((_, Some(_)))))?;
        Some(format!(
            "{} would have been worth {} for {}, {}",
            told_with_walk(self.circuit, best),
            bits(best.bits),
            minutes(best.minutes),
            explain::split(self.before, &self.entry.before, best)
        ))
    }

    fn judged(&self) -> String {
        let Self { before, chosen, best, .. } = self;
        let left = before.alive().count();
        let rate = |p: &Prospect| p.rate().0;
        match self.purpose {
            Purpose::Rest => return "goes with the planned step before it".to_owned(),
            Purpose::Confirm => return "confirms the called part, which was proven".to_owned(),
            Purpose::Mend => return "for the repair of what was proven; not counted".to_owned(),
            Purpose::Search => {}
        }
        if before.group_entropy_bits() < NO_BITS {
            return if left <= 1 {
                "the fault was already known".to_owned()
            } else {
                format!("the part was already known; {left} of its faults were left")
            };
        }
        if best.is_some_and(|b| b.step == chosen.step) {
            return match best.map(|b| b.then.len()) {
                Some(1..) => format!("{TELLS_MOST}, with what follows it"),
                _ => TELLS_MOST.to_owned(),
            };
        }
        if self.planned {
            return "the planned step: fewest minutes for all that was left".to_owned();
        }
        if chosen.step == Step::LookAround {
            return "a look around, free of charge".to_owned();
        }
        if chosen.bits <= NO_BITS {
            return self.nothing(left);
        }
        let with_instead = |text: String| match self.instead() {
            Some(instead) => format!("{text}; {instead}"),
            None => text,
        };
        match best {
            Some(b) if rate(chosen) < WEAK * rate(b) => with_instead(format!(
                "worth {}, {}",
                bits(chosen.bits),
                explain::split(before, &self.entry.before, chosen)
            )),
            Some(b) if rate(chosen) >= AS_GOOD * rate(b) => TELLS_MOST.to_owned(),
            _ => format!("a fair split among {left} remaining faults"),
        }
    }

    /// Of a step that could tell nothing about the part.
    fn nothing(&self, left: usize) -> String {
        let same = || {
            if self.chosen.fault_bits > NO_BITS {
                return format!("among {left} remaining faults it parts only those of one part");
            }
            let known = (self.known)();
            let known = known.map_or_else(String::new, |known| format!(", {known}"));
            format!("all {left} remaining faults predict the same{known}")
        };
        let nothing = match self.chosen.step {
            // A walk is judged with what is done after it.
            Step::Go(_) if self.chosen.fault_bits <= NO_BITS => {
                return "a walk; what is seen there cannot tell the remaining faults apart"
                    .to_owned();
            }
            Step::Go(_) => return format!("a walk; {}", same()),
            step if puts_back(step) => format!("put back; {}", same()),
            _ => format!("could tell nothing: {}", same()),
        };
        match self.instead() {
            Some(instead) => format!("{nothing}; {instead}"),
            None => nothing,
        }
    }
}
