//! Several steps one after another: what they are worth, what they could show, since when
//! that was known, and which of them tells two faults apart.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::belief::{Belief, Candidate};
use super::value::{NO_BITS, Prospect, Question, distribution, sights_after, value_of};
use crate::circuit::{Circuit, StationId};
use crate::observation::{Act, Dial, ErrorSpan, Percept, Showing, Sight, Step, What, Whereabouts};

/// The value of steps one after another, from where one stands: walks, and what has to be
/// done before something can be looked at, are steps of their own. `None` for no steps.
pub fn value_of_path(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    path: &[Step],
) -> Option<Prospect> {
    let walk = matches!(path, [Step::Go(_), _, ..]);
    let (step, then) = path[usize::from(walk)..].split_first()?;
    let mut along = place.clone();
    let mut minutes = 0.0;
    for step in path {
        minutes += along.minutes(circuit, *step);
        along.after(circuit, *step);
    }
    let station = match path[0] {
        Step::Go(there) => there,
        Step::LookAround | Step::Act(_) | Step::Probe(_) => place.station,
    };
    let question = Question::new(belief, circuit, place);
    let (bits, fault_bits) =
        question.gain(|candidate| sights_after(candidate, place.station, path));
    Some(Prospect { step: *step, station, walk, minutes, bits, fault_bits, then: then.to_vec() })
}

/// What steps one after another could show: for every outcome the probability of each
/// candidate with it, by its place among [`Belief::candidates`].
pub fn outcomes_of_path(
    belief: &Belief,
    place: &Whereabouts,
    path: &[Step],
) -> Vec<Vec<(usize, f64)>> {
    let posterior = belief.posterior();
    let shown: Vec<(usize, Vec<(u64, f64)>)> = belief
        .candidates()
        .par_iter()
        .enumerate()
        .filter(|(_, candidate)| candidate.excluded.is_none())
        .map(|(at, candidate)| {
            let sights = sights_after(candidate, place.station, path);
            let nothing = || vec![(u64::MAX, 1.0)];
            (at, sights.map_or_else(nothing, |sights| distribution(&sights, &candidate.known)))
        })
        .collect();
    let mut outcomes: BTreeMap<u64, Vec<(usize, f64)>> = BTreeMap::new();
    for (at, shown) in shown {
        for (outcome, p) in shown {
            outcomes.entry(outcome).or_default().push((at, p * posterior[at]));
        }
    }
    outcomes.into_values().collect()
}

/// Something done to a part, with the walk to it and with what has to follow an exchange or
/// a reset before it shows whether that has helped.
pub fn path_with_look(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    act: Act,
) -> Vec<Step> {
    let station = circuit.part(act.part()).station;
    Question::new(belief, circuit, place).plan(station, Step::Act(act)).path
}

/// How many faults would be left after each thing that a path could show: every number that
/// can come of it, the largest first.
pub fn left_after(belief: &Belief, place: &Whereabouts, path: &[Step]) -> Vec<usize> {
    let mut left: Vec<usize> = outcomes_of_path(belief, place, path).iter().map(Vec::len).collect();
    left.sort_unstable_by(|a, b| b.cmp(a));
    left.dedup();
    left
}

/// Whether a step could have told nothing to somebody who knew only so much and then took
/// other steps without looking.
pub fn tells_nothing_after(
    belief: &Belief,
    circuit: &Circuit,
    steps: &[(Step, StationId)],
    (place, step): (&Whereabouts, Step),
) -> bool {
    let mut belief = belief.clone();
    for (step, station) in steps {
        belief.undergo(*step, *station);
    }
    let worth = value_of(&belief, circuit, place, step);
    worth.bits <= NO_BITS && worth.fault_bits <= NO_BITS
}

/// Faults possible before and no more after, by their place among [`Belief::candidates`],
/// that could not have shown at a step what every fault possible after would have: where
/// all of these were taken through the same steps unseen, `steps` counting from before.
pub fn shows_otherwise(
    before: &Belief,
    after: &Belief,
    circuit: &Circuit,
    steps: &[(Step, StationId)],
    (place, step): (&Whereabouts, Step),
) -> Vec<usize> {
    let mut belief = before.clone();
    for (step, station) in steps {
        belief.undergo(*step, *station);
    }
    let mut later = after.clone();
    for (step, station) in steps.iter().skip(1) {
        later.undergo(*step, *station);
    }
    let path = Question::new(&later, circuit, place).plan(place.station, step).path;
    let shows = |at: usize| sights_after(&belief.candidates()[at], place.station, &path);
    let left = (0..after.candidates().len()).find(|at| after.candidates()[*at].excluded.is_none());
    let Some((left, expected)) = left.and_then(|at| Some((at, shows(at)?))) else {
        return Vec::new();
    };
    let left = &belief.candidates()[left];
    let fell = |at: &usize| {
        before.candidates()[*at].excluded.is_none() && after.candidates()[*at].excluded.is_some()
    };
    let otherwise = |at: &usize| {
        let other = &belief.candidates()[*at];
        shows(*at).is_none_or(|shown| {
            expected.iter().zip(&shown).any(|(a, b)| differ((left, *a), (other, *b)).is_some())
        })
    };
    (0..before.candidates().len()).filter(fell).filter(otherwise).collect()
}

/// A step that tells two faults apart whatever an instrument's error is.
#[derive(Clone, Debug, PartialEq)]
pub struct Apart {
    /// The step, with the walk to it and what has to follow.
    pub path: Vec<Step>,
    /// Minutes in all.
    pub minutes: f64,
    /// What shows it.
    pub what: What,
    /// What the first of the two would show, most probably.
    pub one: Percept,
    /// What the other would.
    pub other: Percept,
}

/// The quickest step that tells two faults apart for certain; `None` when none does by
/// itself.
pub fn apart(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    (one, other): (&Candidate, &Candidate),
) -> Option<Apart> {
    Question::new(belief, circuit, place).plans().into_iter().find_map(|plan| {
        let shown = sights_after(one, place.station, &plan.path)?;
        let others = sights_after(other, place.station, &plan.path)?;
        let (what, one, other) =
            shown.iter().zip(&others).find_map(|(a, b)| differ((one, *a), (other, *b)))?;
        Some(Apart { minutes: plan.minutes, path: plan.path, what, one, other })
    })
}

/// What two faults show of one thing, if that cannot read alike.
fn differ(
    (one, a): (&Candidate, Sight),
    (other, b): (&Candidate, Sight),
) -> Option<(What, Percept, Percept)> {
    let (first, second) = (readings(one, a), readings(other, b));
    let alike = first.iter().any(|(percept, _)| second.iter().any(|(same, _)| same == percept));
    let likeliest = |of: Vec<(Percept, f64)>| {
        of.into_iter().reduce(|best, next| if next.1 > best.1 { next } else { best })
    };
    if alike {
        return None;
    }
    Some((a.what, likeliest(first)?.0, likeliest(second)?.0))
}

/// Everything that a sight could be read as, with probabilities.
fn readings(candidate: &Candidate, sight: Sight) -> Vec<(Percept, f64)> {
    let dial = |dial: Dial| {
        let known = sight.what.instrument().and_then(|i| candidate.known.get(&i).copied());
        dial.outcomes(known.unwrap_or(ErrorSpan::WHOLE))
    };
    match sight.showing {
        Showing::Look(look) => vec![(Percept::Look(look), 1.0)],
        Showing::Position(at) => vec![(Percept::Position(at), 1.0)],
        Showing::Dial(it) => {
            dial(it).into_iter().map(|(reading, p)| (Percept::Reading(reading), p)).collect()
        }
    }
}
