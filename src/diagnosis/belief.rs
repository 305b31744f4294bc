//! Which faults the observations so far leave possible, and how probable each is.
//!
//! Exact Bayes over everything that may be wrong: every single fault of the circuit, and
//! where a drill may hide them every pair of faults, every control left in the wrong place,
//! and nothing at all. Each candidate is an aircraft of its own that has gone through the same steps; what it would have shown is
//! compared with what was seen. The likelihood is that of the very instrument the
//! trainee read: a needle's error is unknown but stays, so each candidate keeps the
//! interval in which that error must lie.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::foreseen::Foreseen;
use crate::circuit::{Circuit, PartId, StationId};
use crate::faults::{Cause, Causes, Scope};
use crate::network::SolveError;
use crate::observation::{Act, ErrorSpan, Instrument, Percept, Rig, Showing, Sight, Step, What};

/// What one step showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// What was done.
    pub step: Step,
    /// Where one stood when doing it.
    pub station: StationId,
    /// What was then perceived, in the order of [`Rig::perform`]; in a report perhaps not all.
    pub percepts: Vec<(What, Percept)>,
}

/// Why a candidate is out.
#[derive(Clone, Debug, PartialEq)]
pub struct Exclusion {
    /// Index of the observation that excluded it.
    pub at: usize,
    /// What was looked at.
    pub what: What,
    /// What was seen.
    pub seen: Percept,
    /// What the candidate would have shown, most probable first; empty when its
    /// circuit has no steady state there.
    pub would: Vec<Percept>,
}

/// Something that may be wrong.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// What.
    pub cause: Cause,
    /// How often it is wrong, relative to the others.
    pub weight: f64,
    /// Why it is out, once it is.
    pub excluded: Option<Exclusion>,
    /// Let go once it is out: pairs are many.
    pub(super) rig: Option<Rig>,
    pub(super) known: BTreeMap<Instrument, ErrorSpan>,
    pub(super) log_weight: f64,
    /// What has been worked out of what its aircraft would show next; shared by all that
    /// think about the same moment, and begun anew when the aircraft changes.
    pub(super) foreseen: Arc<Foreseen>,
}

/// The state of knowledge after some observations.
#[derive(Clone, Debug)]
pub struct Belief {
    candidates: Vec<Candidate>,
    groups: Vec<String>,
    group_of: Vec<usize>,
    observations: usize,
}

impl Belief {
    /// Before anything has been observed: every single fault of the circuit, weighted
    /// by its rate. `normal` is the healthy circuit in the setup in which the fault
    /// struck.
    ///
    /// # Errors
    /// [`SolveError`] when some fault leaves the circuit without a solution.
    pub fn prior(normal: &Rig) -> Result<Self, SolveError> {
        Self::after(normal, Scope::SINGLE, &[])
    }

    /// After the first observations, over everything in a scope, weighted as
    /// [`Causes::within`] says. A candidate that they exclude takes no room any more.
    ///
    /// # Errors
    /// [`SolveError`] when some cause leaves the circuit without a solution.
    pub fn after(
        normal: &Rig,
        scope: Scope,
        observations: &[Observation],
    ) -> Result<Self, SolveError> {
        let circuit = normal.circuit();
        let causes = Causes::within(circuit, scope);
        let candidates: Vec<Candidate> = (0..causes.len())
            .into_par_iter()
            .map(|at| {
                let rig = normal
                    .with_cause(&causes.failures(at), &causes.left(at))?
                    .with_latent(causes.latent(at));
                let weight = causes.weight(at);
                let mut candidate = Candidate {
                    cause: causes.cause(at),
                    weight,
                    excluded: None,
                    rig: Some(rig),
                    known: BTreeMap::new(),
                    log_weight: libm::log(weight),
                    foreseen: Arc::default(),
                };
                for (at, observation) in observations.iter().enumerate() {
                    candidate.observe(at, observation);
                }
                Ok(candidate)
            })
            .collect::<Result<_, SolveError>>()?;
        let mut groups: Vec<String> = Vec::new();
        let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
        let group_of = candidates
            .iter()
            .map(|candidate| {
                let name = candidate.cause.repair_group(circuit);
                *numbers.entry(name).or_insert_with_key(|name| {
                    groups.push(name.clone());
                    groups.len() - 1
                })
            })
            .collect();
        Ok(Self { candidates, groups, group_of, observations: observations.len() })
    }

    /// The likeliest candidates that are still possible, at most so many; the rest of what
    /// is known stays as it is. For thinking ahead where there are very many.
    #[must_use]
    pub fn likeliest_only(&self, most: usize) -> Self {
        let mut alive: Vec<usize> = (0..self.candidates.len())
            .filter(|at| self.candidates[*at].excluded.is_none())
            .collect();
        let weight = |at: &usize| self.candidates[*at].log_weight;
        alive.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.cmp(b)));
        alive.truncate(most);
        alive.sort_unstable();
        Self {
            candidates: alive.iter().map(|at| self.candidates[*at].clone()).collect(),
            groups: self.groups.clone(),
            group_of: alive.iter().map(|at| self.group_of[*at]).collect(),
            observations: self.observations,
        }
    }

    /// All candidates, the excluded ones too, in part order.
    pub fn candidates(&self) -> &[Candidate] {
        &self.candidates
    }

    /// The candidates still possible.
    pub fn alive(&self) -> impl Iterator<Item = &Candidate> {
        self.candidates.iter().filter(|c| c.excluded.is_none())
    }

    /// Whether the same is known, of the same aircraft: whatever is worked out of one holds for
    /// the other. How many observations led there does not matter.
    pub fn says_the_same(&self, other: &Self) -> bool {
        self.candidates.len() == other.candidates.len()
            && self.candidates.iter().zip(&other.candidates).all(|(one, other)| {
                let rigs = match (&one.rig, &other.rig) {
                    (Some(one), Some(other)) => one.is(other),
                    (None, None) => true,
                    _ => false,
                };
                rigs && one.excluded.is_some() == other.excluded.is_some()
                    && one.log_weight.to_bits() == other.log_weight.to_bits()
                    && one.known == other.known
                    && one.cause == other.cause
            })
    }

    /// The same without what has been worked out of what would be seen next: for keeping it,
    /// not for asking it.
    #[must_use]
    pub fn without_foresight(&self) -> Self {
        let mut bare = self.clone();
        for candidate in &mut bare.candidates {
            candidate.foreseen = Arc::default();
        }
        bare
    }

    /// How many observations have been taken in.
    pub fn observations(&self) -> usize {
        self.observations
    }

    /// Takes in an observation.
    pub fn observe(&mut self, observation: &Observation) {
        let at = self.observations;
        self.observations += 1;
        self.candidates
            .par_iter_mut()
            .filter(|c| c.excluded.is_none())
            .for_each(|candidate| candidate.observe(at, observation));
    }

    /// Lets every candidate go through a step whose outcome is not looked at: for
    /// thinking two steps ahead.
    pub(super) fn undergo(&mut self, step: Step, station: StationId) {
        for candidate in self.candidates.iter_mut().filter(|c| c.excluded.is_none()) {
            let Some(rig) = &mut candidate.rig else { continue };
            if matches!(step, Step::Act(_)) {
                candidate.foreseen = Arc::default();
            }
            // A candidate whose circuit has no steady state there stays as it was.
            let _ = rig.perform(step, station, &mut Vec::new());
        }
    }

    /// Posterior probability of every candidate, in order; zero for excluded ones.
    /// All zero when nothing is left.
    pub fn posterior(&self) -> Vec<f64> {
        let highest = self.alive().map(|c| c.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = self
            .candidates
            .iter()
            .map(|c| match c.excluded {
                None => libm::exp(c.log_weight - highest),
                Some(_) => 0.0,
            })
            .collect();
        let total: f64 = weights.iter().sum();
        if total == 0.0 { weights } else { weights.into_iter().map(|w| w / total).collect() }
    }

    /// Names of the repair groups: parts that are changed together.
    pub fn groups(&self) -> &[String] {
        &self.groups
    }

    /// The repair group of each candidate, as an index into [`Belief::groups`].
    pub fn group_of(&self) -> &[usize] {
        &self.group_of
    }

    /// Posterior probability of every repair group.
    pub fn group_posterior(&self) -> Vec<f64> {
        self.by_group(&self.posterior())
    }

    /// Sums of what belongs to the candidates, by repair group.
    pub(super) fn by_group(&self, of_candidates: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.groups.len()];
        for (p, group) in of_candidates.iter().zip(&self.group_of) {
            sums[*group] += p;
        }
        sums
    }

    /// Uncertainty about which repair group has failed, in bits.
    pub fn group_entropy_bits(&self) -> f64 {
        entropy_bits(&self.group_posterior())
    }

    /// Uncertainty about which fault it is, in bits.
    pub fn entropy_bits(&self) -> f64 {
        entropy_bits(&self.posterior())
    }

    /// The candidate for a cause.
    pub fn candidate(&self, cause: &Cause) -> Option<&Candidate> {
        self.candidates.iter().find(|c| c.cause == *cause)
    }

    /// The most probable candidate, the first of several equal ones.
    pub fn likeliest(&self) -> Option<(&Candidate, f64)> {
        self.candidates
            .iter()
            .zip(self.posterior())
            .filter(|(c, _)| c.excluded.is_none())
            .reduce(|best, next| if next.1 > best.1 { next } else { best })
    }

    /// The probability that what mends a cause is what has to be done.
    pub fn group_probability(&self, circuit: &Circuit, cause: &Cause) -> f64 {
        let name = cause.repair_group(circuit);
        self.groups.iter().position(|g| *g == name).map_or(0.0, |at| self.group_posterior()[at])
    }

    /// The probability that something in the repair group of a part has failed.
    pub fn part_probability(&self, circuit: &Circuit, part: PartId) -> f64 {
        let group = &circuit.part(part).group;
        let in_group =
            |cause: &Cause| cause.failed_parts(circuit).any(|p| circuit.part(p).group == *group);
        let all = self.candidates.iter().zip(self.posterior());
        all.filter(|(c, p)| *p > 0.0 && in_group(&c.cause)).map(|(_, p)| p).sum()
    }
}

impl Candidate {
    /// The aircraft as it would be with this wrong, after the steps so far; `None` once
    /// that is out.
    pub fn rig(&self) -> Option<&Rig> {
        self.rig.as_ref()
    }

    fn exclude(&mut self, exclusion: Exclusion) {
        self.excluded = Some(exclusion);
        self.rig = None;
        self.known = BTreeMap::new();
        self.foreseen = Arc::default();
    }

    fn observe(&mut self, at: usize, observation: &Observation) {
        if self.excluded.is_some() {
            return;
        }
        if let Step::Act(Act::Replace(part)) = observation.step {
            // Another instrument, another error.
            self.known.remove(&Instrument::Meter(part));
        }
        if matches!(observation.step, Step::Act(_)) {
            self.foreseen = Arc::default();
        }
        let Some(rig) = &mut self.rig else { return };
        let sights = match observation.step {
            Step::Act(_) => {
                rig.perform(observation.step, observation.station, &mut Vec::new()).ok()
            }
            // What leaves the aircraft alone may have been foreseen.
            step => self.foreseen.along(rig, observation.station, &[step]),
        };
        let Some(sights) = sights else {
            if let Some(&(what, seen)) = observation.percepts.first() {
                self.exclude(Exclusion { at, what, seen, would: Vec::new() });
            }
            return;
        };
        // A report may tell of some of what there was to see, in the same order.
        let mut sights = sights.iter();
        for &(what, seen) in &observation.percepts {
            let Some(sight) = sights.find(|sight| sight.what == what) else {
                debug_assert!(false, "every aircraft shows the same things");
                break;
            };
            let Some(probability) = likelihood(sight, seen, &mut self.known) else {
                let would = possible(sight, &self.known);
                self.exclude(Exclusion { at, what, seen, would });
                return;
            };
            self.log_weight += libm::log(probability);
        }
    }
}

/// How probable a percept is where this would be shown; narrows what is known of the
/// instrument's error. `None` when impossible.
fn likelihood(
    sight: &Sight,
    seen: Percept,
    known: &mut BTreeMap<Instrument, ErrorSpan>,
) -> Option<f64> {
    match (sight.showing, seen) {
        (Showing::Look(would), Percept::Look(look)) => (would == look).then_some(1.0),
        (Showing::Position(would), Percept::Position(at)) => (would == at).then_some(1.0),
        (Showing::Dial(dial), Percept::Reading(reading)) => {
            let instrument = sight.what.instrument()?;
            let span = known.get(&instrument).copied().unwrap_or(ErrorSpan::WHOLE);
            let (span, probability) = dial.probability(reading, span)?;
            known.insert(instrument, span);
            Some(probability)
        }
        _ => None,
    }
}

/// What a sight could have shown, most probable first.
fn possible(sight: &Sight, known: &BTreeMap<Instrument, ErrorSpan>) -> Vec<Percept> {
    match sight.showing {
        Showing::Look(look) => vec![Percept::Look(look)],
        Showing::Position(at) => vec![Percept::Position(at)],
        Showing::Dial(dial) => {
            let span = sight
                .what
                .instrument()
                .and_then(|i| known.get(&i).copied())
                .unwrap_or(ErrorSpan::WHOLE);
            let mut outcomes = dial.outcomes(span);
            outcomes.sort_by(|a, b| b.1.total_cmp(&a.1));
            outcomes.into_iter().map(|(reading, _)| Percept::Reading(reading)).collect()
        }
    }
}

/// Entropy of a distribution in bits: `-sum p log2 p` (Shannon 1948).
pub fn entropy_bits(probabilities: &[f64]) -> f64 {
    let sum: f64 = probabilities.iter().filter(|p| **p > 0.0).map(|p| p * libm::log2(*p)).sum();
    (-sum).max(0.0)
}
