//! Why a step was weak, since when its outcome was known, and what would still have told
//! the faults apart that were left: all of it worked out from what was known then.

use std::fmt::Write;

use super::debrief::told_with_walk;
use crate::circuit::Circuit;
use crate::diagnosis::{
    Apart, Belief, Candidate, Prospect, apart, left_after, shows_otherwise, tells_nothing_after,
};
use crate::drill::{Call, Entry, PROVEN, Session};
use crate::faults::{Cause, Fault};
use crate::observation::{Step, Whereabouts};
use crate::units::{bits, counted, minutes};

/// Faults left at the call for which a step that would tell them apart is looked for.
const MOST_LEFT: usize = 12;

/// From when on a call was provable, and what came after that.
#[derive(Clone, Debug, PartialEq)]
pub struct Provable {
    /// After how many steps; none where the write-up alone proved it.
    pub after_steps: usize,
    /// Steps done after that.
    pub more_steps: usize,
    /// Minutes spent on them.
    pub more_minutes: f64,
}

impl Provable {
    /// In one sentence, without its full stop.
    pub fn told(&self) -> String {
        let from = match self.after_steps {
            0 => "the write-up alone made a call provable".to_owned(),
            step => format!("a call was provable from step {step} on"),
        };
        match self.more_steps {
            0 => format!("{from}; no step was done after that"),
            steps => format!(
                "{from}; {} and {} came after that",
                counted(steps, "step"),
                minutes(self.more_minutes)
            ),
        }
    }
}

/// A fault that was still possible at the call, beside the called one.
#[derive(Clone, Debug, PartialEq)]
pub struct StillPossible {
    /// The fault, as `PART:MODE`.
    pub fault: String,
    /// Whether the same repair mends it.
    pub same_repair: bool,
    /// What would have told it from the called fault, in words.
    pub told: String,
    /// The step behind these words and its minutes, if there is one.
    pub step: Option<(Vec<Step>, f64)>,
}

/// How many faults could be left after a step: `7 or 5 of the 12 faults`.
pub(super) fn split(belief: &Belief, place: &Whereabouts, prospect: &Prospect) -> String {
    let left = left_after(belief, place, &prospect.path());
    let all = counted(belief.alive().count(), "fault");
    match left.as_slice() {
        [one] => format!("leaving {one} of the {all}"),
        [one, other] => format!("leaving {one} or {other} of the {all}"),
        [one, two, three] => format!("leaving {one}, {two} or {three} of the {all}"),
        [most, .., least] => format!("leaving between {least} and {most} of the {all}"),
        [] => format!("leaving none of the {all}"),
    }
}

/// What a step provably cost, and what should have been done instead.
pub(super) fn cost(
    circuit: &Circuit,
    belief: &Belief,
    place: &Whereabouts,
    (least, instead): (f64, Option<&Prospect>),
) -> String {
    let least = minutes(least);
    let Some(instead) = instead else {
        return format!("it provably cost {least} more than the planned step");
    };
    format!(
        "it provably cost {least} more than this: {}, {} for {}, {}",
        told_with_walk(circuit, instead),
        bits(instead.bits),
        minutes(instead.minutes),
        split(belief, place, instead)
    )
}

/// Since when nothing more could come of a step: the first point from which on all faults
/// that were then possible predicted the same for it. What is named there is what put out a
/// fault that would have shown something else at the step. `start` is what the write-up
/// left, `log` what was done before the step.
pub(super) fn known_since(
    circuit: &Circuit,
    start: &Belief,
    log: &[Entry],
    entry: &Entry,
) -> Option<String> {
    let mut belief = start.clone();
    let mut before = start.clone();
    let told = start.observations();
    for done in 0..=log.len() {
        // Only where faults have fallen since can the answer be another.
        let fell = |c: &&Candidate| {
            c.excluded.as_ref().is_some_and(|out| done > 0 && out.at == told + done - 1)
        };
        if done == 0 || belief.candidates().iter().any(|c| fell(&c)) {
            let later: Vec<_> =
                log[done..].iter().map(|e| (e.observation.step, e.observation.station)).collect();
            let asked = (&entry.before, entry.observation.step);
            if tells_nothing_after(&belief, circuit, &later, asked) {
                if done == 0 {
                    return Some("known from the write-up on".to_owned());
                }
                let unseen: Vec<_> = log[done - 1..]
                    .iter()
                    .map(|e| (e.observation.step, e.observation.station))
                    .collect();
                let otherwise = shows_otherwise(&before, &belief, circuit, &unseen, asked);
                let first = otherwise.first().map(|at| &belief.candidates()[*at]);
                return Some(match first.and_then(|c| c.excluded.as_ref()) {
                    // Several together have settled it, none of them by itself.
                    None => format!("known since step {done}"),
                    Some(out) => format!(
                        "known since step {done}, where {} was {}",
                        out.what.told(circuit),
                        out.seen.told(out.what, circuit)
                    ),
                });
            }
        }
        if let Some(entry) = log.get(done) {
            before = belief.clone();
            belief.observe(&entry.observation);
        }
    }
    None
}

/// Whether a repair group is proven.
pub(super) fn is_provable(belief: &Belief) -> bool {
    belief.group_posterior().into_iter().fold(0.0, f64::max) >= PROVEN
}

/// From when on a call was provable; `after` is the number of steps after which that was
/// first so.
pub(super) fn provable(session: &Session, after: Option<usize>) -> Option<Provable> {
    let after_steps = after?;
    let later = &session.log()[after_steps..];
    Some(Provable {
        after_steps,
        more_steps: later.len(),
        more_minutes: later.iter().map(|entry| entry.minutes).sum(),
    })
}

/// What would have told the called fault from each other one that was still possible, the
/// likeliest first; and, where the call was wrong, what spoke against it.
pub(super) fn others(session: &Session, belief: &Belief, call: &Call) -> Vec<StillPossible> {
    let circuit = session.circuit();
    let called = candidate(belief, &call.cause);
    let Some(called) = called.filter(|c| c.excluded.is_none()) else { return Vec::new() };
    let mut left: Vec<(&Candidate, f64)> = belief
        .candidates()
        .iter()
        .zip(belief.posterior())
        .filter(|(c, _)| c.excluded.is_none() && c.cause != called.cause)
        .collect();
    left.sort_by(|a, b| b.1.total_cmp(&a.1));
    // The hidden fault is told of whatever its probability.
    let planted = session.truth();
    let planted = left.iter().position(|(c, _)| c.cause == *planted);
    let told = (0..left.len()).filter(|at| *at < MOST_LEFT || Some(*at) == planted);
    told.map(|at| left[at].0).map(|other| still(circuit, session, belief, called, other)).collect()
}

fn candidate<'a>(belief: &'a Belief, cause: &Cause) -> Option<&'a Candidate> {
    belief.candidates().iter().find(|c| c.cause == *cause)
}

fn still(
    circuit: &Circuit,
    session: &Session,
    belief: &Belief,
    called: &Candidate,
    other: &Candidate,
) -> StillPossible {
    let code = other.cause.code(circuit);
    let found = apart(belief, circuit, session.place(), (called, other));
    let same = called.cause.repair_group(circuit) == other.cause.repair_group(circuit);
    let shared = if same { "it is mended with the called part; " } else { "" };
    let told = match &found {
        None => "no single step tells it from the called fault".to_owned(),
        Some(Apart { path, minutes: price, what, one, other }) => format!(
            "{} ({}) would tell: {} would be {}, and {} with the called fault",
            path.iter().map(|step| step.told(circuit)).collect::<Vec<_>>().join(", then "),
            minutes(*price),
            what.told(circuit),
            other.told(*what, circuit),
            one.told(*what, circuit)
        ),
    };
    StillPossible {
        fault: code,
        same_repair: same,
        told: format!("{shared}{told}"),
        step: found.map(|found| (found.path, found.minutes)),
    }
}

/// Of a wrong call that shares a fault with what was hidden: which of its faults were right,
/// which were not, and which were missed.
pub(super) fn shared(session: &Session) -> Option<String> {
    let circuit = session.circuit();
    let (call, truth) = (&session.call()?.cause, session.truth());
    let codes = |of: &Cause, others: &Cause, same: bool| -> Vec<String> {
        let within = |fault: &&Fault| {
            others
                .faults()
                .iter()
                .any(|other| circuit.part(other.part).group == circuit.part(fault.part).group)
                == same
        };
        of.faults().iter().filter(within).map(|fault| fault.code(circuit)).collect()
    };
    let right = codes(call, truth, true);
    if right.is_empty() || call.repair_group(circuit) == truth.repair_group(circuit) {
        return None;
    }
    let mut told = format!("right was {}", right.join(" and "));
    let (wrong, missed) = (codes(call, truth, false), codes(truth, call, false));
    for (word, codes) in [("wrong", wrong), ("missed", missed)] {
        if !codes.is_empty() {
            let _ = write!(told, ", {word} was {}", codes.join(" and "));
        }
    }
    Some(told)
}

/// What spoke against a wrong call, or that nothing did.
pub(super) fn against(session: &Session, belief: &Belief, from_write_up: usize) -> Option<String> {
    let circuit = session.circuit();
    let (call, truth) = (session.call()?, session.truth());
    if call.cause.repair_group(circuit) == truth.repair_group(circuit) {
        return None;
    }
    let code = call.cause.code(circuit);
    let shared = shared(session).map_or_else(String::new, |told| format!("{told}; "));
    let Some(out) = candidate(belief, &call.cause)?.excluded.as_ref() else {
        return Some(format!("{shared}nothing that was seen spoke against {code}"));
    };
    let when = out
        .at
        .checked_sub(from_write_up)
        .map_or("the write-up".to_owned(), |row| format!("step {}", row + 1));
    let would = out
        .would
        .first()
        .map_or("no steady state".to_owned(), |would| would.told(out.what, circuit));
    Some(format!(
        "{shared}{when} spoke against {code}: {} was {}, and would have been {would}",
        out.what.told(circuit),
        out.seen.told(out.what, circuit)
    ))
}
