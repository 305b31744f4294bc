//! How well a system's faults are found and told apart, in the figures of the trade.
//!
//! A test is an observation in a setup. The figures are those of MIL-STD-2165 and IEEE 1522
//! in style, their definitions from memory: the fraction of faults detected (FFD), the
//! fraction of those isolated to a group of at most L (FFI), and the mean size of an ambiguity
//! group, each weighted by failure rates.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::setup::Setup;
use super::{Case, Dictionary, Fingerprint, Shown};
use crate::circuit::{AIRFRAME, Circuit, NetId, StationId, TestPoint};
use crate::network::SolveError;
use crate::observation::walking_minutes;

/// Faults that cannot be told apart, and what of them is found at all.
#[derive(Clone, Debug, PartialEq)]
pub struct Testability {
    /// Faults that show nothing, by their places in what was given.
    pub missed: Vec<usize>,
    /// Ambiguity groups of those that show something, largest rate first.
    pub groups: Vec<Vec<usize>>,
    rates: Vec<f64>,
}

impl Testability {
    /// Groups faults of these rates by what they show; `sound` is what shows when nothing has
    /// failed.
    pub fn of<S: Ord>(rates: &[f64], shown: &[S], sound: &S) -> Self {
        let mut by_shown: BTreeMap<&S, Vec<usize>> = BTreeMap::new();
        for (at, shown) in shown.iter().enumerate() {
            by_shown.entry(shown).or_default().push(at);
        }
        let missed = by_shown.remove(sound).unwrap_or_default();
        let mut groups: Vec<Vec<usize>> = by_shown.into_values().collect();
        let of = Self { missed, groups: Vec::new(), rates: rates.to_vec() };
        groups.sort_by(|x, y| of.rate(y).total_cmp(&of.rate(x)).then(x.cmp(y)));
        Self { groups, ..of }
    }

    fn rate(&self, faults: &[usize]) -> f64 {
        faults.iter().map(|at| self.rates[*at]).sum()
    }

    fn detected(&self) -> f64 {
        self.groups.iter().map(|group| self.rate(group)).sum()
    }

    /// FFD: the rate of detected faults over the rate of all.
    pub fn detected_fraction(&self) -> f64 {
        let all: f64 = self.rates.iter().sum();
        if all > 0.0 { self.detected() / all } else { 0.0 }
    }

    /// FFI(L): the rate of detected faults in groups of at most `most`, over the rate of all
    /// detected. `size` counts a group: its faults, or the units to be changed for them.
    pub fn isolated_fraction(&self, most: usize, size: impl Fn(&[usize]) -> usize) -> f64 {
        let within = self.groups.iter().filter(|group| size(group) <= most);
        let rate: f64 = within.map(|group| self.rate(group)).sum();
        let detected = self.detected();
        if detected > 0.0 { rate / detected } else { 0.0 }
    }

    /// Mean size of an ambiguity group, weighted by the rates of the groups, and plain.
    pub fn mean_sizes(&self, size: impl Fn(&[usize]) -> usize) -> (f64, f64) {
        let (mut weighted, mut plain) = (0.0, 0.0);
        for group in &self.groups {
            weighted += size(group) as f64 * self.rate(group);
            plain += size(group) as f64;
        }
        let detected = self.detected();
        let count = self.groups.len() as f64;
        let over = |sum: f64, by: f64| if by > 0.0 { sum / by } else { 0.0 };
        (over(weighted, detected), over(plain, count))
    }

    /// Bits of doubt that are left on average once everything has been looked at, faults that
    /// show nothing being one group: the entropy within the groups, weighted by rate.
    pub fn doubt_bits(&self) -> f64 {
        let all: f64 = self.rates.iter().sum();
        if all <= 0.0 {
            return 0.0;
        }
        let mut bits = 0.0;
        for group in self.groups.iter().chain([&self.missed]) {
            let of = self.rate(group);
            for rate in group.iter().map(|at| self.rates[*at]).filter(|rate| *rate > 0.0) {
                bits -= rate / all * libm::log2(rate / of);
            }
        }
        bits
    }
}

/// A test point that does not exist.
#[derive(Clone, Debug, PartialEq)]
pub struct NewPoint {
    /// The net it would be on.
    pub net: NetId,
    /// The station where it would be: of those with a part on the net, the one reached soonest.
    pub station: StationId,
    /// Minutes from the first station to there.
    pub minutes: f64,
    /// Faults and groups with it.
    pub with: Testability,
}

/// Everything looked at in every setup, and what comes of it.
#[derive(Clone, Debug)]
pub struct Survey {
    /// Single faults by what they show.
    pub now: Testability,
    /// For each test, in setup order, whether each fault shows in it; `None` where the setup
    /// has no solution.
    pub depends: Vec<Option<Vec<Vec<bool>>>>,
    /// The point that would leave the least doubt, where one would leave less than now.
    pub best: Option<NewPoint>,
}

impl Dictionary {
    /// Lets every single fault strike in every setup and looks at everything there is, and at
    /// every net that has no test point as if it had one.
    ///
    /// # Errors
    /// [`SolveError`] when the sound circuit has no solution.
    pub fn survey(&self, setups: &[Setup]) -> Result<Survey, SolveError> {
        let circuit = self.circuit();
        let points = possible_points(circuit);
        let with_points = Arc::new(Circuit {
            test_points: circuit
                .test_points
                .iter()
                .chain(points.iter().map(|(p, _)| p))
                .cloned()
                .collect(),
            ..(**circuit).clone()
        });
        let wide = Dictionary::new(with_points)?;
        let known = self.observations().len();
        let faults = wide.faults().len();
        let rates: Vec<f64> = wide.faults().iter().map(|(_, mode)| mode.rate).collect();
        // For each case, the sound one first, what is shown now and what each new point adds.
        let mut prints = vec![vec![Fingerprint::default(); 1 + points.len()]; 1 + faults];
        let mut depends = Vec::with_capacity(setups.len());
        for setup in setups {
            let Ok(page) = wide.settle(setup) else {
                depends.push(None);
                continue;
            };
            let sound = wide.entry(&page, Case::Sound)?.shown().to_vec();
            let rows: Vec<Vec<bool>> = prints
                .par_iter_mut()
                .enumerate()
                .map(|(at, prints)| {
                    let case = at.checked_sub(1).map_or(Case::Sound, |at| Case::One(at as u32));
                    let Ok(entry) = wide.entry(&page, case) else {
                        for print in prints.iter_mut() {
                            *print = print.with_no_solution();
                        }
                        return vec![true; known];
                    };
                    add(prints, entry.shown(), known);
                    let pairs = entry.shown().iter().zip(&sound).take(known);
                    pairs.map(|(is, was)| is.percept != was.percept).collect()
                })
                .collect();
            depends.push(Some(rows.into_iter().skip(1).collect()));
        }
        let of = |point: Option<usize>| {
            let shown: Vec<_> = prints
                .iter()
                .map(|prints| (prints[0], point.map(|point| prints[1 + point])))
                .collect();
            Testability::of(&rates, &shown[1..], &shown[0])
        };
        let now = of(None);
        let mut best: Option<(f64, NewPoint)> = None;
        for (at, (point, minutes)) in points.iter().enumerate() {
            let with = of(Some(at));
            let left = with.doubt_bits();
            // Of two that help alike the nearer one, then the first.
            let better = best.as_ref().is_none_or(|(least, other)| {
                left < least - SAME_BITS || (left < least + SAME_BITS && *minutes < other.minutes)
            });
            if better && left < now.doubt_bits() - SAME_BITS {
                let (net, station) = (point.net, point.station);
                best = Some((left, NewPoint { net, station, minutes: *minutes, with }));
            }
        }
        Ok(Survey { now, depends, best: best.map(|(_, point)| point) })
    }
}

/// Bits that rounding may make of nothing.
const SAME_BITS: f64 = 1e-9;

/// Adds what is shown of one case in one setup: everything there is to the first fingerprint,
/// the two voltages of each new point to its own.
fn add(prints: &mut [Fingerprint], shown: &[Shown], known: usize) {
    let (now, new) = shown.split_at(known);
    prints[0] = prints[0].with_shown(now);
    for (print, volts) in prints[1..].iter_mut().zip(new.chunks(2)) {
        *print = print.with_shown(volts);
    }
}

/// A test point on every net that has none, at the station reached soonest of those where a
/// part on the net is worked, with the minutes to there.
fn possible_points(circuit: &Circuit) -> Vec<(TestPoint, f64)> {
    let mut stations: Vec<Option<(f64, StationId)>> = vec![None; circuit.nets.len()];
    for (id, part) in circuit.parts_with_ids() {
        let walk = walking_minutes(circuit, StationId(0), part.station);
        let minutes = walk + circuit.station(part.station).open_minutes;
        for net in circuit.connections(id) {
            let now = &mut stations[net.index()];
            if now.is_none_or(|(least, _)| minutes < least) {
                *now = Some((minutes, part.station));
            }
        }
    }
    let has = |net: NetId| circuit.test_points.iter().any(|point| point.net == net);
    (0..circuit.nets.len() as u32)
        .map(NetId)
        .filter(|net| *net != AIRFRAME && !has(*net))
        .filter_map(|net| {
            let (minutes, station) = stations[net.index()]?;
            let id = circuit.net_name(net).to_owned();
            Some((TestPoint { id, net, station }, minutes))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The five-fault table of Pattipati and Alexandridis 1990 (IEEE Trans SMC 20(4), from
    /// memory), the priors taken as rates.
    const RATES: [f64; 5] = [0.01, 0.02, 0.10, 0.05, 0.12];
    const TABLE: [[u8; 5]; 5] =
        [[0, 1, 0, 0, 1], [0, 0, 1, 1, 0], [1, 0, 0, 1, 1], [1, 1, 0, 0, 0], [1, 1, 1, 1, 0]];

    fn of(tests: &[usize]) -> Testability {
        let shown: Vec<Vec<u8>> =
            TABLE.iter().map(|row| tests.iter().map(|test| row[*test]).collect()).collect();
        Testability::of(&RATES, &shown, &vec![0; tests.len()])
    }

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-4
    }

    #[test]
    fn the_figures_are_those_of_the_table() {
        let size = |group: &[usize]| group.len();
        // Tests, FFD, FFI(1), FFI(2), weighted and plain mean, worked out by hand.
        let cases: [(&[usize], [f64; 5]); 3] = [
            (&[0, 1, 2, 3, 4], [1.0, 1.0, 1.0, 1.0, 1.0]),
            (&[1, 3], [1.0, 0.4, 1.0, 1.6, 5.0 / 3.0]),
            (&[3], [0.8, 0.0, 0.0, 3.0, 3.0]),
        ];
        for (tests, expected) in cases {
            let found = of(tests);
            let (weighted, plain) = found.mean_sizes(size);
            let figures = [
                found.detected_fraction(),
                found.isolated_fraction(1, size),
                found.isolated_fraction(2, size),
                weighted,
                plain,
            ];
            assert!(figures.iter().zip(expected).all(|(a, b)| close(*a, b)), "{figures:?}");
        }
    }

    #[test]
    fn the_doubt_left_is_the_entropy_within_the_groups() {
        assert_eq!(of(&[0, 1, 2, 3, 4]).doubt_bits(), 0.0);
        // With no test at all, the entropy of the rates themselves.
        let all: f64 = RATES.iter().sum();
        let entropy: f64 = RATES.iter().map(|r| -r / all * libm::log2(r / all)).sum();
        assert!(close(of(&[]).doubt_bits(), entropy));
    }
}
