//! How things are named in questions.

use super::Examiner;
use crate::circuit::{Kind, PartId};
use crate::dictionary::Shown;
use crate::observation::{Touch, What};

impl Examiner {
    /// An observation by its place, as a technician names it.
    pub(super) fn name(&self, at: usize) -> String {
        match self.what(at) {
            What::Face(part) => self.part_name(part),
            other => other.told(&self.circuit),
        }
    }

    /// The question for what an observation shows: `What does FLT GYRO (DS1) show?`.
    pub(super) fn what_shows(&self, at: usize) -> String {
        match self.what(at) {
            What::Display(probe) => format!(
                "What does the hand meter read on {} between {} and {}?",
                probe.function.name(),
                probe.red.name(&self.circuit),
                probe.black.name(&self.circuit)
            ),
            _ => format!("What does {} show?", self.name(at)),
        }
    }

    /// A part by label and id: `ICE RADAR (RADAR)`.
    pub(super) fn part_name(&self, part: PartId) -> String {
        let part = self.circuit.part(part);
        let named = if part.label.is_empty() || part.label == part.id {
            part.id.clone()
        } else {
            format!("{} ({})", part.label, part.id)
        };
        // A placard alone may be that of the breaker, of the lamp, or of what they belong to.
        let sort = match part.kind {
            Kind::Breaker(_) => "breaker",
            Kind::Fuse(_) => "fuse",
            Kind::Lamp(_) => "lamp",
            _ => return named,
        };
        let says_so = part.label.to_lowercase().contains(sort);
        if says_so { named } else { format!("{sort} {named}") }
    }

    /// Where a reading is taken, as the wiring list has it: `TBB-6 is on CV2.A.`
    pub(super) fn stands_on(&self, what: What) -> Option<String> {
        let What::Display(probe) = what else { return None };
        let points = [probe.red, probe.black].into_iter().filter(|at| *at != Touch::Airframe);
        let told: Vec<String> = points
            .map(|at| {
                let net = self.circuit.net_name(at.net(&self.circuit));
                format!("{} is on {net}", at.name(&self.circuit))
            })
            .collect();
        (!told.is_empty()).then(|| format!("{}.", told.join(", ")))
    }

    pub(super) fn told(&self, at: usize, shown: Shown) -> String {
        shown.percept.told(self.what(at), &self.circuit)
    }

    pub(super) fn code(&self, fault: u32) -> String {
        self.dictionary.faults()[fault as usize].0.code(&self.circuit)
    }

    pub(super) fn fault_words(&self, fault: u32) -> String {
        let (fault, mode) = &self.dictionary.faults()[fault as usize];
        format!("{} {}", self.part_name(fault.part), mode.text)
    }

    pub(super) fn part_of(&self, fault: u32) -> &str {
        &self.circuit.part(self.dictionary.faults()[fault as usize].0.part).id
    }

    /// Showings of several things in one line: `A: dark; B: dim`.
    pub(super) fn signs_told(&self, signs: &[usize], shown: &[Shown]) -> String {
        let told: Vec<String> = signs
            .iter()
            .map(|at| format!("{}: {}", self.name(*at), self.told(*at, shown[*at])))
            .collect();
        told.join("; ")
    }
}

/// A capital at the head.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let head: String =
        letters.next().map_or_else(String::new, |letter| letter.to_uppercase().collect());
    format!("{head}{}", letters.as_str())
}

/// Bits of a choice among so many, rounded: what a number of suspects adds to the difficulty.
pub(super) fn bits(count: usize) -> u32 {
    count.max(1).ilog2()
}
