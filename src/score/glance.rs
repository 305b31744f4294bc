//! The debrief at a glance: its figures without its words, for many drills at once.
//!
//! Everything here equals what [`super::debrief`] says. It is quicker since nothing is put into
//! words, since the advice at each step is worked out only where a mark hangs on it, and since
//! what begins alike is begun once ([`Beginnings`]).

use std::cell::OnceCell;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use super::debrief::verdict;
use super::explain;
use super::finder::{Deed, Finder};
use super::habit::HabitKind;
use super::mark::Ending;
use super::path;
use super::reckon::{Par, Reckoner};
use super::remark::is_test;
use super::rubric::Rubric;
use crate::circuit::Circuit;
use crate::diagnosis::{Belief, NO_BITS, value_of};
use crate::drill::{Advice, Advisor, Entry, Session, Thoughts};
use crate::network::SolveError;
use crate::observation::Step;

/// Beginnings that are kept at once: each holds the aircraft of everything that is possible.
const KEPT: usize = 3;

/// What a step came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Glimpse {
    /// Information that it could be expected to give, in bits.
    pub expected_bits: f64,
    /// Information that it did give.
    pub gained_bits: f64,
    /// What the best step available then could be expected to give; none where nothing could.
    pub best_bits: Option<f64>,
    /// Whether it was a test that could tell nothing about which part it is, and neither what
    /// would have been advised nor what told most a minute.
    pub told_nothing: bool,
    /// Bits that a test promised less than the best step available then; none where it was
    /// what would have been advised or what told most a minute.
    pub wasted_bits: f64,
}

/// The figures of a debrief.
#[derive(Clone, Debug, PartialEq)]
pub struct Glance {
    /// The hidden fault, as `PART:MODE`.
    pub planted: String,
    /// What was called, as `PART:MODE`; empty when no call was made.
    pub called: String,
    /// Whether the part was right.
    pub right_part: bool,
    /// Whether the call was proven.
    pub proven: bool,
    /// Minutes in all.
    pub minutes: f64,
    /// Minutes that count: those for mending what had been isolated do not.
    pub counted_minutes: f64,
    /// What the minutes are held against: par, or what its way takes to this fault where that
    /// is more.
    pub allowed_minutes: f64,
    /// Expected minutes of the best known strategy.
    pub par: Par,
    /// Points out of a hundred.
    pub points: f64,
    /// Cautions gone against.
    pub cautions: usize,
    /// One a step.
    pub steps: Vec<Glimpse>,
    /// What to work on, worst first, and what each would cost by itself, in points.
    pub habits: Vec<(HabitKind, f64)>,
}

/// Drills that begin alike, begun once: what the write-up leaves possible, with the table for
/// it. The last few are kept.
#[derive(Debug, Default)]
pub struct Beginnings {
    starts: Mutex<VecDeque<(String, Arc<Advisor>)>>,
}

impl Beginnings {
    /// The table of a drill as its write-up leaves it. `build` names everything that the sound
    /// aircraft depends on.
    fn of(&self, build: &str, session: &Session) -> Result<Arc<Advisor>, SolveError> {
        let (scope, told) = (session.scope(), &session.write_up().observations);
        let start = format!("{build} {scope:?} {told:?} {:?}", session.start());
        let starts = || self.starts.lock().unwrap_or_else(PoisonError::into_inner);
        let known = |starts: &mut VecDeque<(String, Arc<Advisor>)>| {
            let at = starts.iter().position(|(known, _)| *known == start)?;
            starts.remove(at)
        };
        // Nobody waits for another here: whoever works it out side by side with others may come
        // back to the same question while it does so.
        let found = known(&mut starts());
        let found = match found {
            Some((_, found)) => found,
            None => Arc::new(Advisor::new(
                session.known_at_start()?,
                session.circuit(),
                session.start().clone(),
            )),
        };
        let mut starts = starts();
        let found = known(&mut starts).map_or(found, |(_, found)| found);
        starts.push_front((start, Arc::clone(&found)));
        starts.truncate(KEPT);
        Ok(found)
    }
}

/// Works out the figures of a drill. `build` names everything that its sound aircraft depends
/// on: two drills with the same name of it have the same.
///
/// # Errors
/// [`SolveError`] when some fault leaves the circuit without a solution.
pub fn glance(
    session: &Session,
    build: &str,
    beginnings: &Beginnings,
) -> Result<Glance, SolveError> {
    let circuit = session.circuit();
    let advisor = beginnings.of(build, session)?;
    let mut belief = advisor.belief().clone();
    let from_write_up = belief.observations();
    let mut reckoner = Reckoner::with(Arc::clone(&advisor), &belief, circuit, session);
    let thoughts = Thoughts::default();
    let mut moments: Vec<Moment<'_>> = Vec::new();
    let mut steps = Vec::new();
    let mut deeds = Vec::new();
    for (index, entry) in session.log().iter().enumerate() {
        let before = belief.clone();
        belief.observe(&entry.observation);
        let step = entry.observation.step;
        let chosen = value_of(&before, circuit, &entry.before, step);
        let best = thoughts.best(&before, circuit, &entry.before);
        let tells = chosen.bits > NO_BITS;
        let is_best = best.as_ref().is_some_and(|best| best.step == step);
        let proven_before = explain::is_provable(&before);
        let best_bits = best.map(|best| best.bits);
        let gained_bits = before.group_entropy_bits() - belief.group_entropy_bits();
        moments.push(Moment { before, entry, tells, is_best, following: OnceCell::new() });
        let advised = session.advice_taken().contains(&index);
        let mut offered = || offered(&moments, index, (&advisor, &thoughts), circuit);
        let before = &moments[index].before;
        let (record, instead, purpose) =
            reckoner.step(circuit, before, entry, &chosen, (&mut offered, advised));
        let short = best_bits.map_or(0.0, |best| best - chosen.bits);
        let could_be_better = chosen.bits <= NO_BITS || short > NO_BITS;
        // What would have been advised takes longest to find out.
        let blamed = could_be_better && is_test(before, step, purpose) && !offered();
        steps.push(Glimpse {
            expected_bits: chosen.bits,
            gained_bits,
            best_bits,
            told_nothing: blamed && chosen.bits <= NO_BITS,
            wasted_bits: if blamed { short.max(0.0) } else { 0.0 },
        });
        deeds.push(Deed { record, worth: chosen, instead, proven_before });
    }
    let (record, par, _) = reckoner.finish(session, &belief, (&thoughts, false))?;
    let verdict = verdict(session, &belief);
    // What stood on the board, and what would have told the last ones apart, matters to some.
    let known = if session.noted().is_empty() { Vec::new() } else { path::known(session, &belief) };
    let early = matches!(record.ending, Ending::Wrong | Ending::Unproven);
    let still = session
        .call()
        .filter(|_| early)
        .map_or(Vec::new(), |call| explain::others(session, &belief, call));
    let against = explain::against(session, &belief, from_write_up);
    let spoken_against = session.call().is_some_and(|call| {
        belief.candidate(&call.cause).is_some_and(|called| called.excluded.is_some())
    });
    let habits = Finder {
        session,
        deeds: &deeds,
        offered: &|at| offered(&moments, at, (&advisor, &thoughts), circuit),
        record: &record,
        known: &known,
        still: &still,
        against: against.as_deref(),
        spoken_against,
    }
    .habits();
    Ok(Glance {
        planted: verdict.planted,
        called: verdict.called,
        right_part: verdict.right_part,
        proven: verdict.proven,
        minutes: session.minutes(),
        counted_minutes: record.minutes,
        allowed_minutes: record.par_minutes,
        par,
        points: record.marked(Rubric::shipped()).total,
        cautions: session.log().iter().map(|entry| entry.breaches.len()).sum(),
        steps,
        habits: habits.iter().map(|habit| (habit.kind, habit.points)).collect(),
    })
}

/// A step as far as advice is concerned.
struct Moment<'a> {
    before: Belief,
    entry: &'a Entry,
    /// Whether it could be expected to tell something about the repair group.
    tells: bool,
    /// Whether it is the one that tells most a minute.
    is_best: bool,
    /// The advised steps that it begins or goes on with, itself first; none where it does not.
    following: OnceCell<Vec<Step>>,
}

/// Whether a step is what would have been offered.
fn offered(
    moments: &[Moment<'_>],
    at: usize,
    by: (&Advisor, &Thoughts),
    circuit: &Circuit,
) -> bool {
    moments[at].is_best || !following(moments, at, by, circuit).is_empty()
}

fn following<'a>(
    moments: &'a [Moment<'_>],
    at: usize,
    (advisor, thoughts): (&Advisor, &Thoughts),
    circuit: &Circuit,
) -> &'a [Step] {
    let moment = &moments[at];
    let step = moment.entry.observation.step;
    moment.following.get_or_init(|| {
        let begun = at.checked_sub(1).filter(|last| !ends(moments[*last].entry.observation.step));
        if let Some(last) = begun {
            let rest =
                following(moments, last, (advisor, thoughts), circuit).get(1..).unwrap_or_default();
            if rest.first() == Some(&step) {
                return rest.to_vec();
            }
        }
        // A look or a measurement is advised for what it tells by itself.
        if ends(step) && !moment.tells {
            return Vec::new();
        }
        match advisor.advise(thoughts, &moment.before, circuit, &moment.entry.before) {
            Advice::Do { prospect, .. } if prospect.path().first() == Some(&step) => {
                prospect.path()
            }
            _ => Vec::new(),
        }
    })
}

/// Whether a step is the last of any advised ones.
fn ends(step: Step) -> bool {
    matches!(step, Step::LookAround | Step::Probe(_))
}
