//! The reasoning done again the long way, for comparison: an aircraft of its own for every
//! fault, taken through every step, and what is read found by trying errors.
//!
//! Of the program it uses the aircraft, what it shows, and how an instrument reads with a
//! given error; nothing of how the reasoner keeps or weighs what it knows.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use halfsplit::circuit::{Circuit, StationId};
use halfsplit::diagnosis::Observation;
use halfsplit::faults;
use halfsplit::observation::{
    Act, Dial, Instrument, Percept, Reading, Rig, Showing, Sight, Step, What,
};

/// An interval of errors.
pub(super) type Errors = (f64, f64);
const ANY: Errors = (-1.0, 1.0);

/// Why a fault is out.
#[derive(Clone, Debug)]
pub(super) struct Out {
    pub(super) at: usize,
    pub(super) what: What,
    pub(super) seen: Percept,
    /// What it could have shown, with probabilities; empty when it has no steady state.
    pub(super) would: Vec<(Percept, f64)>,
}

/// One fault with its own aircraft.
#[derive(Clone)]
pub(super) struct Suspect {
    pub(super) code: String,
    pub(super) group: String,
    pub(super) rig: Rig,
    /// Rate times the probability of all that was seen.
    pub(super) weight: f64,
    pub(super) out: Option<Out>,
    errors: BTreeMap<Instrument, Errors>,
}

/// The least error within an interval that reads so high, found by halving.
fn least_error(dial: Dial, mark: i64, (low, high): Errors) -> Option<f64> {
    if dial.reading(low).mark >= mark {
        return Some(low);
    }
    if dial.reading(high).mark < mark {
        return None;
    }
    let (mut below, mut above) = (low, high);
    for _ in 0..200 {
        let middle = f64::midpoint(below, above);
        if dial.reading(middle).mark >= mark { above = middle } else { below = middle }
    }
    Some(above)
}

/// The errors that give a reading, with the probability that it is one of them.
fn errors_for(dial: Dial, seen: Reading, within: Errors) -> Option<(Errors, f64)> {
    if seen.range != dial.range {
        return None;
    }
    let (low, high) = within;
    if high <= low || dial.error == 0.0 {
        return (dial.reading(low) == seen).then_some((within, 1.0));
    }
    let from = least_error(dial, seen.mark, within)?;
    let to = least_error(dial, seen.mark + 1, within).unwrap_or(high);
    (to > from).then(|| ((from, to), (to - from) / (high - low)))
}

/// Everything that can be read, with probabilities.
fn readings(dial: Dial, within: Errors) -> Vec<(Reading, Errors, f64)> {
    (dial.reading(within.0).mark..=dial.reading(within.1).mark)
        .filter_map(|mark| {
            let reading = Reading { range: dial.range, mark };
            let (errors, probability) = errors_for(dial, reading, within)?;
            Some((reading, errors, probability))
        })
        .collect()
}

impl Suspect {
    fn known(&self, what: What) -> Errors {
        what.instrument().and_then(|i| self.errors.get(&i).copied()).unwrap_or(ANY)
    }

    fn could(&self, sight: Sight) -> Vec<(Percept, f64)> {
        match sight.showing {
            Showing::Look(look) => vec![(Percept::Look(look), 1.0)],
            Showing::Position(at) => vec![(Percept::Position(at), 1.0)],
            Showing::Dial(dial) => readings(dial, self.known(sight.what))
                .into_iter()
                .map(|(reading, _, p)| (Percept::Reading(reading), p))
                .collect(),
        }
    }

    fn observe(&mut self, at: usize, observation: &Observation) {
        if let Step::Act(Act::Replace(part)) = observation.step {
            self.errors.remove(&Instrument::Meter(part));
        }
        let Ok(sights) = self.rig.perform(observation.step, observation.station, &mut Vec::new())
        else {
            let (what, seen) = observation.percepts[0];
            self.out = Some(Out { at, what, seen, would: Vec::new() });
            return;
        };
        assert_eq!(sights.len(), observation.percepts.len(), "{}", self.code);
        for (sight, (what, seen)) in sights.into_iter().zip(&observation.percepts) {
            assert_eq!(sight.what, *what);
            let factor = match (sight.showing, seen) {
                (Showing::Look(look), Percept::Look(word)) if look == *word => Some(1.0),
                (Showing::Position(at), Percept::Position(seen)) if at == *seen => Some(1.0),
                (Showing::Dial(dial), Percept::Reading(reading)) => {
                    let found = errors_for(dial, *reading, self.known(*what));
                    found.map(|(errors, probability)| {
                        let instrument = what.instrument().expect("a dial is an instrument's");
                        self.errors.insert(instrument, errors);
                        probability
                    })
                }
                _ => None,
            };
            let Some(factor) = factor else {
                let would = self.could(sight);
                self.out = Some(Out { at, what: *what, seen: *seen, would });
                return;
            };
            self.weight *= factor;
        }
    }

    /// Everything that one thing after another could be read as along a path, needles with
    /// any error that is still possible.
    pub(super) fn reads(&self, path: &[Step], mut station: StationId) -> Vec<(What, Vec<Percept>)> {
        let mut rig = self.rig.clone();
        let mut read = Vec::new();
        for step in path {
            let Ok(seen) = rig.perform(*step, station, &mut Vec::new()) else { return read };
            for sight in seen {
                let all = self.could(sight).into_iter().map(|(percept, _)| percept).collect();
                read.push((sight.what, all));
            }
            if let Step::Go(there) = step {
                station = *there;
            }
        }
        read
    }

    /// What it shows along a path, with probabilities. `None` where needles make too many
    /// ways to count them all.
    pub(super) fn shows(
        &self,
        path: &[Step],
        mut station: StationId,
    ) -> Option<BTreeMap<Vec<Percept>, f64>> {
        let mut rig = self.rig.clone();
        let mut sights = Vec::new();
        for step in path {
            let Ok(seen) = rig.perform(*step, station, &mut Vec::new()) else {
                return Some(BTreeMap::from([(Vec::new(), 1.0)]));
            };
            sights.extend(seen);
            if let Step::Go(there) = step {
                station = *there;
            }
        }
        let mut ways = vec![(Vec::new(), 1.0, self.errors.clone())];
        for sight in sights {
            match sight.showing {
                Showing::Look(look) => {
                    for (seen, _, _) in &mut ways {
                        seen.push(Percept::Look(look));
                    }
                }
                Showing::Position(at) => {
                    for (seen, _, _) in &mut ways {
                        seen.push(Percept::Position(at));
                    }
                }
                Showing::Dial(dial) => {
                    if ways.len() >= 256 {
                        return None;
                    }
                    let instrument = sight.what.instrument().expect("a dial is an instrument's");
                    let mut more = Vec::new();
                    for (seen, p, errors) in ways {
                        let within = errors.get(&instrument).copied().unwrap_or(ANY);
                        for (reading, narrower, share) in readings(dial, within) {
                            let mut seen = seen.clone();
                            seen.push(Percept::Reading(reading));
                            let mut errors = errors.clone();
                            errors.insert(instrument, narrower);
                            more.push((seen, p * share, errors));
                        }
                    }
                    ways = more;
                }
            }
        }
        let mut shown = BTreeMap::new();
        for (seen, p, _) in ways {
            *shown.entry(seen).or_default() += p;
        }
        Some(shown)
    }
}

/// Everyone who may be it.
#[derive(Clone)]
pub(super) struct Suspects {
    pub(super) all: Vec<Suspect>,
    pub(super) observations: usize,
}

fn entropy(shares: impl IntoIterator<Item = f64>) -> f64 {
    shares.into_iter().filter(|p| *p > 0.0).map(|p| -p * libm::log2(p)).sum()
}

impl Suspects {
    /// Every fault of the circuit, before anything has been seen.
    pub(super) fn fresh(circuit: &Arc<Circuit>) -> Self {
        let normal = Rig::normal(Arc::clone(circuit)).expect("it settles");
        let all = faults::all(circuit)
            .into_par_iter()
            .map(|(fault, mode)| Suspect {
                code: fault.code(circuit),
                group: circuit.part(fault.part).group.clone(),
                rig: normal.with_failed(fault.part, mode.faulted).expect("it settles"),
                weight: mode.rate,
                out: None,
                errors: BTreeMap::new(),
            })
            .collect();
        Self { all, observations: 0 }
    }

    /// Single faults and whatever else is given: how it is typed, how it is mended, its weight
    /// over that of all single faults, and what it makes of a sound aircraft.
    pub(super) fn with(
        circuit: &Arc<Circuit>,
        others: Vec<(String, String, f64, Circuit, Vec<Step>)>,
    ) -> Self {
        let mut suspects = Self::fresh(circuit);
        let total: f64 = suspects.all.iter().map(|s| s.weight).sum();
        let normal = Rig::normal(Arc::clone(circuit)).expect("it settles");
        suspects.all.extend(others.into_iter().map(|(code, group, share, broken, steps)| {
            let changed = circuit.parts_with_ids().zip(&broken.parts);
            let changed = changed.filter(|((_, sound), now)| sound.kind != now.kind);
            let failures: Vec<_> = changed.map(|((id, _), now)| (id, now.kind.clone())).collect();
            let mut rig = normal.with_cause(&failures, &[]).expect("it settles");
            for step in steps {
                let Step::Act(act) = step else { panic!("hands alone leave something so") };
                let at = circuit.part(act.part()).station;
                rig.perform(step, at, &mut Vec::new()).expect("it settles");
            }
            let errors = BTreeMap::new();
            Suspect { code, group, rig, weight: share * total, out: None, errors }
        }));
        suspects
    }

    /// Takes in what was seen.
    pub(super) fn observe(&mut self, observation: &Observation) {
        let at = self.observations;
        self.observations += 1;
        let still = self.all.par_iter_mut().filter(|s| s.out.is_none());
        still.for_each(|suspect| suspect.observe(at, observation));
    }

    /// Takes everyone through a step that nobody looks at.
    pub(super) fn undergo(&mut self, step: Step, station: StationId) {
        for suspect in self.all.iter_mut().filter(|s| s.out.is_none()) {
            let _ = suspect.rig.perform(step, station, &mut Vec::new());
        }
    }

    /// Those who may still be it.
    pub(super) fn alive(&self) -> impl Iterator<Item = &Suspect> {
        self.all.iter().filter(|s| s.out.is_none())
    }

    pub(super) fn total(&self) -> f64 {
        self.alive().map(|s| s.weight).sum()
    }

    pub(super) fn by_group(&self) -> BTreeMap<&str, f64> {
        let total = self.total();
        let mut shares = BTreeMap::new();
        for suspect in self.alive() {
            *shares.entry(suspect.group.as_str()).or_default() += suspect.weight / total;
        }
        shares
    }

    /// Uncertainty about the repair group, in bits.
    pub(super) fn group_bits(&self) -> f64 {
        entropy(self.by_group().into_values())
    }

    /// Expected information about the repair group along a path, in bits. `None` where
    /// needles make too many ways to count them all.
    pub(super) fn gain(&self, path: &[Step], from: StationId) -> Option<f64> {
        let total = self.total();
        let shown: Option<Vec<_>> = self
            .all
            .par_iter()
            .filter(|s| s.out.is_none())
            .map(|suspect| Some((suspect, suspect.shows(path, from)?)))
            .collect();
        let mut outcomes: BTreeMap<Vec<Percept>, BTreeMap<&str, f64>> = BTreeMap::new();
        for (suspect, shows) in shown? {
            for (seen, p) in shows {
                let groups = outcomes.entry(seen).or_default();
                *groups.entry(suspect.group.as_str()).or_default() += p * suspect.weight / total;
            }
        }
        let after: f64 = outcomes
            .into_values()
            .map(|groups| {
                let mass: f64 = groups.values().sum();
                mass * entropy(groups.into_values().map(|p| p / mass))
            })
            .sum();
        Some(self.group_bits() - after)
    }

    /// Two who would show different things along a path, if there are any.
    pub(super) fn told_apart(
        &self,
        path: &[Step],
        from: StationId,
    ) -> Option<(&Suspect, &Suspect)> {
        let first = self.alive().next()?;
        let shows = first.shows(path, from)?;
        self.alive().find_map(|other| {
            let others = other.shows(path, from)?;
            // Microvolts, such as a leak through insulation makes, tip a reading that stands
            // on an edge less than once in ten thousand; that is alike for anybody.
            let of = |shown: &BTreeMap<Vec<Percept>, f64>, seen| shown.get(seen).copied();
            let same = shows.keys().chain(others.keys()).all(|seen| {
                let (one, two) = (of(&shows, seen), of(&others, seen));
                (one.unwrap_or(0.0) - two.unwrap_or(0.0)).abs() < 1e-4
            });
            (!same).then_some((first, other))
        })
    }
}
