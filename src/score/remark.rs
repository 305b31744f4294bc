//! The judgement on one step in one sentence, worked out from what was known before it.

use super::debrief::told_with_walk;
use super::explain;
use crate::circuit::Circuit;
use crate::diagnosis::{Belief, NO_BITS, Prospect};
use crate::drill::Entry;
use crate::observation::{Act, Step};
use crate::units::{minutes, significant};

/// Bits a minute below which a step counts as weak beside the best, as a fraction.
const WEAK: f64 = 0.5;
/// And from which it counts as good as the best.
const AS_GOOD: f64 = 0.95;

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

    /// The step with most bits a minute in words, with what it would have been worth; not
    /// where the planner names a better one.
    fn instead(&self) -> Option<String> {
        let best = self.best.filter(|_| !matches!(self.cost, Some((_, Some(_)))))?;
        Some(format!(
            "{} would have been worth {} bits for {}, {}",
            told_with_walk(self.circuit, best),
            significant(best.bits, 2),
            minutes(best.minutes),
            explain::split(self.before, &self.entry.before, best)
        ))
    }

    fn judged(&self) -> String {
        let Self { before, chosen, best, .. } = self;
        let left = before.alive().count();
        let rate = |p: &Prospect| p.rate().0;
        if before.group_entropy_bits() < NO_BITS {
            return if left <= 1 {
                "the fault was already known".to_owned()
            } else {
                format!("the part was already known; {left} of its faults were left")
            };
        }
        if best.is_some_and(|b| b.step == chosen.step) {
            return match best.map(|b| b.then.len()) {
                Some(1..) => "the best available step, with what follows it".to_owned(),
                _ => "the best available step".to_owned(),
            };
        }
        if self.planned {
            return "the best step of the plan for all that was left".to_owned();
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
                "worth {} bits, {}",
                significant(chosen.bits, 2),
                explain::split(before, &self.entry.before, chosen)
            )),
            Some(b) if rate(chosen) >= AS_GOOD * rate(b) => "the best available step".to_owned(),
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
            Step::Act(Act::Refit(_) | Act::PushIn(_)) => format!("put back; {}", same()),
            _ => format!("could tell nothing: {}", same()),
        };
        match self.instead() {
            Some(instead) => format!("{nothing}; {instead}"),
            None => nothing,
        }
    }
}
