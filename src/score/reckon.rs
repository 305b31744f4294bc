//! The record of a drill: what each step cost over the best one, and par.

use super::mark::{Ending, Exchanged, Record, StepRecord};
use crate::circuit::{Circuit, PartId};
use crate::diagnosis::{Belief, NO_BITS, Prospect};
use crate::drill::{Entry, Mark, PROVEN, Session};
use crate::isolation::{Isolation, Position, Trying};
use crate::observation::{Act, Step, Whereabouts};
use crate::planning;

/// Work for one step and for par, in table entries touched.
const STEP_WORK: u64 = 4_000_000;
const PAR_WORK: u64 = 40_000_000;

/// Expected minutes of the best known strategy from the write-up on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Par {
    /// Those of the strategy found.
    pub minutes: f64,
    /// No strategy takes fewer.
    pub least_minutes: f64,
    /// What that strategy takes for the fault that was hidden.
    pub own_minutes: f64,
}

/// Reckons a drill step by step.
pub(super) struct Reckoner {
    isolation: Isolation,
    found: Whereabouts,
    failed: Option<PartId>,
    steps: Vec<StepRecord>,
}

impl Reckoner {
    /// A drill as the write-up leaves it.
    pub(super) fn new(belief: &Belief, circuit: &Circuit, session: &Session) -> Self {
        let found = Whereabouts::start(circuit);
        Self {
            isolation: Isolation::new(belief, circuit, &found),
            found,
            failed: Some(session.truth().0.part),
            steps: Vec::new(),
        }
    }

    /// Where one stands, on the table.
    fn position(&self, belief: &Belief, place: &Whereabouts) -> Position {
        let posterior = belief.posterior();
        let opened = place.opened.iter().enumerate().filter(|(_, open)| **open);
        Position {
            weights: self.isolation.candidates().iter().map(|at| posterior[*at]).collect(),
            open: opened.map(|(at, _)| at as u32).collect(),
            setting: self.isolation.setting(&self.found, place),
        }
    }

    /// Takes in one step: what was known before it, and what it was worth.
    pub(super) fn step(&mut self, before: &Belief, entry: &Entry, worth: &Prospect, advised: bool) {
        let step = entry.observation.step;
        let exchanged = if let Step::Act(Act::Replace(part)) = step {
            // Whoever changes the failed part a second time changes a good one.
            Some(match self.failed.take_if(|failed| *failed == part) {
                Some(_) => Exchanged::Failed,
                None => Exchanged::Good,
            })
        } else {
            None
        };
        let mut record = StepRecord {
            exchanged,
            cautions: entry.breaches.len() as u32,
            advised,
            ..StepRecord::default()
        };
        let minutes = entry.minutes;
        let tells_nothing = worth.bits <= NO_BITS && worth.fault_bits <= NO_BITS;
        let known = before.group_entropy_bits() <= NO_BITS;
        // A walk or a control moved may be on the way to something; a look is free; what
        // was pulled has to go back. These lose at least nothing.
        let on_the_way = matches!(
            step,
            Step::LookAround
                | Step::Go(_)
                | Step::Act(Act::Set { .. } | Act::Refit(_) | Act::PushIn(_) | Act::FitSpare(_))
        );
        if known || tells_nothing {
            record.implied = !on_the_way;
            record.lost_minutes = (if on_the_way { 0.0 } else { minutes }, minutes);
        } else {
            let (lost, untested) = self.lost(before, entry);
            record.lost_minutes = lost.unwrap_or((0.0, minutes));
            record.untested = untested && exchanged.is_some();
        }
        self.steps.push(record);
    }

    /// Expected minutes that a step costs more than the best one, where it is among the
    /// tests of the table; and whether a look or a measurement could tell something then.
    fn lost(&self, before: &Belief, entry: &Entry) -> (Option<(f64, f64)>, bool) {
        let position = self.position(before, &entry.before);
        let Ok((problem, which)) = self.isolation.problem(&position) else { return (None, false) };
        let trials = self.isolation.trials();
        let untested =
            which.iter().any(|test| !matches!(trials[*test as usize].trying, Trying::Exchange(_)));
        let station = entry.before.station;
        let trial = self.isolation.trial_of(entry.observation.step, station, position.setting);
        let test = trial.and_then(|trial| which.iter().position(|test| *test == trial));
        let lost = test.and_then(|test| planning::regret(&problem, test as u32, STEP_WORK).ok());
        (lost, untested)
    }

    /// The record and par, once everything has been taken in; `belief` is what was known
    /// at the call.
    pub(super) fn finish(self, session: &Session, belief: &Belief) -> (Record, Par) {
        let circuit = session.circuit();
        let truth = session.truth().0;
        let ending = match session.call() {
            None => Ending::NoCall,
            Some(call) if circuit.part(call.fault.part).group != circuit.part(truth.part).group => {
                Ending::Wrong
            }
            Some(call) if belief.group_probability(circuit, call.fault.part) >= PROVEN => {
                Ending::Proven
            }
            Some(_) => Ending::Unproven,
        };
        let par = self.par(belief, truth);
        let wrong_marks = session
            .marks()
            .iter()
            .filter(|(part, mark)| {
                let possible = belief.alive().any(|c| c.fault.part == **part);
                match mark {
                    Mark::Cleared => possible,
                    Mark::Suspect => !possible,
                }
            })
            .count();
        let record = Record {
            steps: self.steps,
            ending,
            minutes: session.minutes(),
            par_minutes: par.minutes.max(par.own_minutes),
            wrong_marks: wrong_marks as u32,
        };
        (record, par)
    }

    fn par(&self, belief: &Belief, truth: &crate::faults::Fault) -> Par {
        let Ok((problem, _)) = self.isolation.problem(&self.isolation.start()) else {
            return Par::default();
        };
        let plan = planning::plan(&problem, PAR_WORK);
        let own = self
            .isolation
            .candidates()
            .iter()
            .position(|at| belief.candidates()[*at].fault == *truth);
        let shows = |own: usize| {
            let tests = &problem.table().tests;
            move |test: u32| tests[test as usize].outcomes[own]
        };
        let walked = own.and_then(|own| plan.policy.walk(&problem, shows(own)));
        Par {
            minutes: plan.upper,
            least_minutes: plan.lower,
            own_minutes: walked.map_or(plan.upper, |walk| walk.minutes),
        }
    }
}
