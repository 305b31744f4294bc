//! Reading a needle oneself: what a pointer shows is asked for before it is told.

use super::session::{Outcome, Session};
use crate::circuit::{Circuit, Meter, PartId};
use crate::network::PartState;
use crate::observation::{
    Look, POINTER_SWEEP_DEGREES, Percept, Reading, What, pointer_fraction, pointer_words,
    readable_step, scale_fraction,
};
use crate::units::significant;

/// What a drill asks of the trainee, and how far it helps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rules {
    /// Whether the trainee says what each needle shows before the drill goes on.
    pub read_needles: bool,
    /// The most help that can be had.
    pub help: Help,
}

impl Default for Rules {
    fn default() -> Self {
        Self { read_needles: false, help: Help::BestStep }
    }
}

/// How much help is asked for, from none to all.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Help {
    /// None.
    None,
    /// What has been shown so far.
    Reminder,
    /// What the last step was worth, and what would have been better.
    LastStep,
    /// The best next step.
    BestStep,
}

/// Divisions of a scale within which a reading counts as right: half a division, as a
/// pointer is usually read (common practice, no published source).
const RIGHT_WITHIN_STEPS: f64 = 2.0;

/// A needle that the trainee has read.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// After which step, as an index into the log.
    pub entry: usize,
    /// The face that was looked at.
    pub what: What,
    /// What they said, in the unit of the meter.
    pub value: f64,
    /// Where the pointer stood.
    pub shown: Reading,
}

impl Said {
    fn meter<'a>(&self, circuit: &'a Circuit) -> Option<(&'a Meter, PartId)> {
        let What::Face(part) = self.what else { return None };
        circuit.part(part).kind.meter().map(|meter| (meter, part))
    }

    /// Degrees of the arc between what was said and where the pointer stood.
    pub fn off_degrees(&self, circuit: &Circuit) -> f64 {
        let Some((meter, _)) = self.meter(circuit) else { return 0.0 };
        let said = scale_fraction(&meter.scale, self.value);
        (said - pointer_fraction(meter, self.shown)).abs() * POINTER_SWEEP_DEGREES
    }

    /// Whether the pointer was read as well as it can be: to half a division.
    pub fn is_right(&self, circuit: &Circuit) -> bool {
        let Some((meter, _)) = self.meter(circuit) else { return true };
        let said = scale_fraction(&meter.scale, self.value);
        let off = (said - pointer_fraction(meter, self.shown)).abs();
        off <= (RIGHT_WITHIN_STEPS + 0.5) * readable_step(meter)
    }

    /// What was said, as the notebook keeps it: `read as 26 V`.
    pub fn told(&self, circuit: &Circuit) -> String {
        let unit = self.meter(circuit).map_or("", |(meter, _)| meter.unit.as_str());
        format!("read as {} {unit}", significant(self.value, 4))
    }

    /// What was right about it: `read as 26 V, stood on the stop at 0 V: 4 degrees apart`.
    pub fn judged(&self, circuit: &Circuit) -> String {
        let Some((meter, part)) = self.meter(circuit) else { return self.told(circuit) };
        format!(
            "{}: {}; it stood {}, {} degrees of the scale away",
            circuit.part(part).label,
            self.told(circuit),
            pointer_words(meter, self.shown),
            significant(self.off_degrees(circuit), 2)
        )
    }
}

/// What a breaker is called that the trainee has pulled: it looks like one that has tripped.
const PULLED: &str = "out, as you pulled it";

impl Session {
    /// The same drill under other rules.
    #[must_use]
    pub fn under(mut self, rules: Rules) -> Self {
        self.rules = rules;
        self
    }

    /// What is asked of the trainee.
    pub fn rules(&self) -> Rules {
        self.rules
    }

    /// The needles that the trainee has read, in order.
    pub fn said(&self) -> &[Said] {
        &self.said
    }

    /// The needle that has to be read before the drill goes on, with what it is called: the
    /// first one that stands otherwise after the last step than it was last seen to stand.
    pub fn to_read(&self) -> Option<(What, PartId)> {
        let entry = self.log().len().checked_sub(1).filter(|_| self.rules.read_needles)?;
        let asked = self.asked(entry);
        let said = self.said.iter().filter(|said| said.entry == entry).count();
        asked.into_iter().nth(said).map(|(what, part, _)| (what, part))
    }

    /// The needles that a step asks for.
    fn asked(&self, entry: usize) -> Vec<(What, PartId, Reading)> {
        let before = self.log()[..entry].iter().map(|entry| &entry.observation);
        let before = self.write_up().observations.iter().chain(before);
        let mut last: Vec<(PartId, Reading)> = Vec::new();
        for &(what, percept) in before.flat_map(|observation| &observation.percepts) {
            if let (What::Face(part), Percept::Reading(reading)) = (what, percept) {
                last.retain(|(other, _)| *other != part);
                last.push((part, reading));
            }
        }
        let mut asked = Vec::new();
        for &(what, percept) in &self.log()[entry].observation.percepts {
            // What a needle showed while a control was held is gone when one is asked.
            if let (What::Face(part), Percept::Reading(reading)) = (what, percept)
                && !last.contains(&(part, reading))
            {
                asked.push((what, part, reading));
            }
        }
        asked
    }

    /// Takes what the trainee reads.
    pub(super) fn take_reading(&mut self, value: f64) -> Outcome {
        let Some((what, _)) = self.to_read() else {
            return Outcome::Refused("no needle waits to be read".to_owned());
        };
        if !value.is_finite() {
            return Outcome::Refused("a reading is a number".to_owned());
        }
        let entry = self.log().len() - 1;
        let asked = self.asked(entry);
        let Some((_, _, shown)) = asked.into_iter().find(|(asked, ..)| *asked == what) else {
            return Outcome::Refused("no needle waits to be read".to_owned());
        };
        self.said.push(Said { entry, what, value, shown });
        Outcome::Noted
    }

    /// What a sighting is told as: words, or where needles are to be read, what the trainee
    /// has said of it.
    pub fn told(&self, entry: usize, what: What, percept: Percept) -> String {
        let circuit = self.circuit();
        if let (What::Face(part), Percept::Look(Look::Out)) = (what, percept)
            && self.pulled_by(entry, part)
        {
            return PULLED.to_owned();
        }
        let (What::Face(_), Percept::Reading(_)) = (what, percept) else {
            return percept.told(what, circuit);
        };
        if !self.rules.read_needles {
            return percept.told(what, circuit);
        }
        // What has not changed was read when it last did.
        let said = self.said.iter().rev().find(|said| {
            said.entry <= entry && said.what == what && Percept::Reading(said.shown) == percept
        });
        match said {
            Some(said) => said.told(circuit),
            None if self.log().is_empty() => percept.told(what, circuit),
            None if self.in_write_up(what, percept) => percept.told(what, circuit),
            None => "to be read".to_owned(),
        }
    }

    /// Whether a breaker was out by the trainee's own hand after an entry of the log.
    fn pulled_by(&self, entry: usize, part: PartId) -> bool {
        let next = self.log().get(entry + 1);
        let hands = next.map_or(&self.place().hands, |next| &next.before.hands);
        matches!(hands.of(part), PartState::Breaker { closed: false, .. })
    }

    /// Whether the crew have said so.
    fn in_write_up(&self, what: What, percept: Percept) -> bool {
        let told = self.write_up().observations.iter();
        told.flat_map(|observation| &observation.percepts).any(|seen| *seen == (what, percept))
    }

    /// What a needle at the station is told as now.
    pub fn needle_told(&self, part: PartId, reading: Reading) -> String {
        let entry = self.log().len().saturating_sub(1);
        self.told(entry, What::Face(part), Percept::Reading(reading))
    }
}
