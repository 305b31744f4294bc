//! The record of a drill: what each step cost over the best one, and par.

use std::sync::Arc;

use super::mark::{Ending, Exchanged, Record, StepRecord};
use super::path::{ParStep, par_steps};
use super::remark::Purpose;
use crate::circuit::{AIRFRAME, Circuit, PartId};
use crate::diagnosis::{Belief, NO_BITS, Prospect};
use crate::drill::{Advice, Advisor, Best, Entry, Help, Mark, PROVEN, Session, Thoughts};
use crate::faults::Cause;
use crate::isolation::Trying;
use crate::network::SolveError;
use crate::observation::{Act, Step};
use crate::planning;

/// Work for one step, in table entries touched.
const STEP_WORK: u64 = 4_000_000;

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

/// What the strategy behind par does about the fault that was hidden.
#[derive(Debug, Default)]
pub(super) struct ParWay {
    pub steps: Vec<ParStep>,
    /// After how many of them a call is provable.
    pub provable: Option<usize>,
}

/// Reckons a drill step by step.
pub(super) struct Reckoner {
    advisor: Arc<Advisor>,
    failed: Vec<PartId>,
    /// What was called in the end.
    called: Option<Cause>,
    /// Parts and fuses that were changed at any time.
    exchanged: Vec<PartId>,
    /// All steps of the drill.
    all_steps: Vec<Step>,
    /// Uncertainty about the repair group after the write-up, in bits.
    doubt: f64,
    /// Probability, after the write-up, of the candidates in the table.
    share: f64,
    steps: Vec<StepRecord>,
    /// Spent on mending what had been isolated.
    mending_minutes: f64,
}

impl Reckoner {
    /// A drill as the write-up leaves it.
    pub(super) fn new(belief: &Belief, circuit: &Circuit, session: &Session) -> Self {
        let advisor = Advisor::new(belief.clone(), circuit, session.start().clone());
        Self::with(Arc::new(advisor), belief, circuit, session)
    }

    /// The same with a table that has been made of it already.
    pub(super) fn with(
        advisor: Arc<Advisor>,
        belief: &Belief,
        circuit: &Circuit,
        session: &Session,
    ) -> Self {
        let posterior = belief.posterior();
        let steps = || session.log().iter().map(|entry| entry.observation.step);
        Self {
            share: advisor.isolation().candidates().iter().map(|at| posterior[*at]).sum(),
            advisor,
            failed: session.truth().failed_parts(circuit).collect(),
            called: session.call().map(|call| call.cause.clone()),
            exchanged: steps()
                .filter_map(|step| match step {
                    Step::Act(Act::Replace(part) | Act::FitSpare(part)) => Some(part),
                    _ => None,
                })
                .collect(),
            all_steps: steps().collect(),
            doubt: belief.group_entropy_bits(),
            steps: Vec::new(),
            mending_minutes: 0.0,
        }
    }

    /// What plans the best next step.
    pub(super) fn advisor(&self) -> &Advisor {
        &self.advisor
    }

    /// Takes in one step: what was known before it, what it was worth, whether it was the
    /// one that would have been offered (asked only where that matters, since it takes long to
    /// work out), and whether that had been asked for. Gives its record and the step that should
    /// have been done instead, and what it was for.
    pub(super) fn step(
        &mut self,
        circuit: &Circuit,
        before: &Belief,
        entry: &Entry,
        worth: &Prospect,
        (offered, advised): (&mut dyn FnMut() -> bool, bool),
    ) -> (StepRecord, Option<Prospect>, Purpose) {
        let (mut instead, mut purpose) = (None, Purpose::Search);
        let step = entry.observation.step;
        let exchanged = if let Step::Act(Act::Replace(part)) = step {
            // Whoever changes the failed part a second time changes a good one.
            Some(match self.failed.iter().position(|failed| *failed == part) {
                Some(at) => {
                    self.failed.remove(at);
                    Exchanged::Failed
                }
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
        let isolated = |part| before.part_probability(circuit, part) >= PROVEN;
        let excluded = |part| before.alive().all(|c| !c.cause.concerns(part));
        // Only what leaves the aircraft as it was can be known to have been for nothing, and
        // changing what cannot be it. A walk, a control moved or something pulled may be on
        // the way to something else.
        let for_nothing = match step {
            Step::LookAround | Step::Probe(_) | Step::Act(Act::Hold { .. }) => tells_nothing,
            Step::Act(Act::Replace(part)) => excluded(part),
            Step::Go(_) | Step::Act(_) => false,
        };
        let mends = match step {
            Step::Act(Act::Replace(part) | Act::FitSpare(part)) => isolated(part),
            Step::LookAround | Step::Probe(_) | Step::Act(Act::Hold { .. }) => false,
            // On the way to an exchange or back from it, or to a measurement that confirms.
            Step::Go(_) | Step::Act(_) => {
                before.group_posterior().into_iter().any(|p| p >= PROVEN)
                    && (self.exchanged.iter().any(|part| isolated(*part))
                        || self.will_confirm(circuit, before))
            }
        };
        if mends {
            // What has been isolated may be mended and tried; nothing is lost by that.
            self.mending_minutes += minutes;
            purpose = Purpose::Mend;
        } else if worth.bits <= NO_BITS && self.confirms(circuit, before, step) {
            record.confirming_minutes = minutes;
            purpose = Purpose::Confirm;
        } else if for_nothing && !offered() {
            record.implied = minutes > 0.0;
            record.lost_minutes = (minutes, minutes);
        } else {
            let (lost, untested, better) = self.lost(circuit, before, entry);
            instead = better;
            record.lost_minutes = lost.unwrap_or((0.0, minutes));
            record.untested = untested && exchanged.is_some();
            if record.lost_minutes.0 > 0.0 && offered() {
                // Whoever does what would have been advised loses nothing by it, even where
                // a longer look ahead finds something quicker.
                record.lost_minutes.0 = 0.0;
            }
        }
        self.steps.push(record);
        (record, instead, purpose)
    }

    /// Whether a step measures the part that is called in the end, once that is proven.
    fn confirms(&self, circuit: &Circuit, before: &Belief, step: Step) -> bool {
        let (Step::Probe(probe), Some(called)) = (step, &self.called) else { return false };
        let nets = [probe.red, probe.black].map(|touch| touch.net(circuit));
        let touches = |part: PartId| {
            let own = circuit.part(part).kind.nets();
            nets.iter().any(|net| *net != AIRFRAME && own.contains(net))
        };
        before.group_probability(circuit, called) >= PROVEN
            && called.failed_parts(circuit).any(touches)
    }

    /// Whether the part that is called in the end is measured once more before anybody walks
    /// on.
    fn will_confirm(&self, circuit: &Circuit, before: &Belief) -> bool {
        let mut here = self
            .all_steps
            .iter()
            .skip(self.steps.len() + 1)
            .take_while(|step| !matches!(step, Step::Go(_)));
        here.any(|step| self.confirms(circuit, before, *step))
    }

    /// Expected minutes that a step costs more than the best one, where it is among the
    /// tests of the table; and whether a look or a measurement could tell something then.
    fn lost(
        &self,
        circuit: &Circuit,
        before: &Belief,
        entry: &Entry,
    ) -> (Option<(f64, f64)>, bool, Option<Prospect>) {
        let (advisor, place) = (&self.advisor, &entry.before);
        let found = advisor.find(before, circuit, place);
        let position = advisor.position(before, circuit, place, found.as_ref());
        let isolation = advisor.isolation();
        let Ok((problem, which)) = isolation.problem(&position) else { return (None, false, None) };
        let trials = isolation.trials();
        let untested =
            which.iter().any(|test| !matches!(trials[*test as usize].trying, Trying::Exchange(_)));
        let trial = isolation.trial_of(entry.observation.step, place.station, position.setting);
        let lost = trial.filter(|_| found.is_some()).and_then(|(trial, more)| {
            let test = which.iter().position(|test| *test == trial)?;
            let regret = planning::regret(&problem, test as u32, STEP_WORK).ok()?;
            // What is proved about the likeliest candidates alone is no proof.
            let least = if isolation.is_whole() { regret.least } else { 0.0 };
            Some(((least + more, regret.most + more), regret.instead))
        });
        let (lost, instead) = lost.unzip();
        let instead = instead.flatten().zip(found).and_then(|(test, found)| {
            advisor.prospect(which[test as usize], before, circuit, (place, &found))
        });
        (lost, untested, instead)
    }

    /// The record and par, once everything has been taken in; `belief` is what was known
    /// at the call. Par's way is worked out where it is asked for.
    pub(super) fn finish(
        self,
        session: &Session,
        belief: &Belief,
        (thoughts, with_way): (&Thoughts, bool),
    ) -> Result<(Record, Par, ParWay), SolveError> {
        let circuit = session.circuit();
        let truth = session.truth();
        let ending = match session.call() {
            None => Ending::NoCall,
            Some(call) if call.cause.repair_group(circuit) != truth.repair_group(circuit) => {
                Ending::Wrong
            }
            Some(call) if belief.group_probability(circuit, &call.cause) >= PROVEN => {
                Ending::Proven
            }
            Some(_) => Ending::Unproven,
        };
        let (par, way) = self.par(session, with_way)?;
        let cleared = self.cleared(thoughts, session, belief);
        let asked = |help| session.help_taken().iter().filter(|(_, taken)| *taken == help).count();
        let record = Record {
            steps: self.steps,
            ending,
            minutes: session.minutes() - self.mending_minutes,
            par_minutes: par.minutes.max(par.own_minutes),
            cleared,
            wrong_marks: wrong_marks(session, belief),
            reminded: asked(Help::Reminder) as u32,
            judged: asked(Help::LastStep) as u32,
            unchecked: ending_is_right(ending) && is_unchecked(session),
        };
        Ok((record, par, way))
    }

    /// Share of the doubt about the repair group that the steps have cleared.
    fn cleared(&self, thoughts: &Thoughts, session: &Session, belief: &Belief) -> f64 {
        match self.advisor.advise(thoughts, belief, session.circuit(), session.place()) {
            // Proven, or nothing that could be done tells any more.
            Advice::Call { .. } | Advice::Nothing => 1.0,
            Advice::Do { .. } if self.doubt <= NO_BITS => 0.0,
            Advice::Do { .. } => (1.0 - belief.group_entropy_bits() / self.doubt).clamp(0.0, 1.0),
        }
    }

    fn par(&self, session: &Session, with_way: bool) -> Result<(Par, ParWay), SolveError> {
        let truth = session.truth();
        let isolation = self.advisor.isolation();
        let Some(Best { problem, which, strategy }) = self.advisor.best() else {
            return Ok((Par::default(), ParWay::default()));
        };
        let own = isolation.causes().iter().position(|cause| cause == truth);
        let shows = |own: usize| {
            let tests = &problem.table().tests;
            move |test: u32| tests[test as usize].outcomes[own]
        };
        let walked = own.and_then(|own| strategy.policy.walk(problem, shows(own)));
        let par = Par {
            minutes: strategy.upper,
            // The likeliest candidates alone have this to show for it.
            least_minutes: strategy.lower * self.share,
            own_minutes: walked.as_ref().map_or(strategy.upper, |walk| walk.minutes),
        };
        let way = match walked {
            // What it would have shown is told once the drill is over.
            Some(walk) if with_way && session.call().is_some() => {
                let (steps, provable) = par_steps(session, &self.advisor, which, &walk)?;
                ParWay { steps, provable }
            }
            Some(_) | None => ParWay::default(),
        };
        Ok((par, way))
    }
}

/// Marks on the suspects board that what was seen contradicts.
pub(super) fn wrong_marks(session: &Session, belief: &Belief) -> u32 {
    let contradicted = |(part, mark): &(&PartId, &Mark)| {
        let possible = belief.alive().any(|c| c.cause.concerns(**part));
        match mark {
            Mark::Cleared => possible,
            Mark::Suspect => !possible,
        }
    };
    session.marks().iter().filter(contradicted).count() as u32
}

fn ending_is_right(ending: Ending) -> bool {
    match ending {
        Ending::Unproven | Ending::Proven => true,
        Ending::NoCall | Ending::Wrong => false,
    }
}

/// Whether the called part was exchanged and nobody looked afterwards at a place where
/// something was not as usual when the crew wrote it up.
fn is_unchecked(session: &Session) -> bool {
    let circuit = session.circuit();
    let Some(call) = session.call() else { return false };
    let failed: Vec<PartId> = call.cause.failed_parts(circuit).collect();
    let exchanged = session.log().iter().rposition(|entry| {
        matches!(entry.observation.step, Step::Act(Act::Replace(part)) if failed.contains(&part))
    });
    let Some(exchanged) = exchanged else { return false };
    let symptoms = &session.write_up().symptoms;
    let seen = session.log()[exchanged..].iter().any(|entry| match entry.observation.step {
        Step::Probe(_) => false,
        Step::Go(there) => symptoms.contains(&there),
        Step::LookAround | Step::Act(_) => symptoms.contains(&entry.observation.station),
    });
    !symptoms.is_empty() && !seen
}
