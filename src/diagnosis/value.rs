//! What each possible next step could tell, and at what price.
//!
//! The value of a step is its expected information gain about the repair group: the
//! entropy now less the expected entropy after its outcome. The price is minutes,
//! walking and opening included.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::belief::{Belief, Candidate, entropy_bits};
use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::network::PartState;
use crate::observation::{
    Act, ErrorSpan, Function, Instrument, Probe, Showing, Sight, Step, Touch, What, Whereabouts,
};

/// A step one could take next, walking there included.
#[derive(Clone, Debug, PartialEq)]
pub struct Prospect {
    /// What to do once there.
    pub step: Step,
    /// Where it is done.
    pub station: StationId,
    /// Whether one has to walk there first.
    pub walk: bool,
    /// Minutes in all.
    pub minutes: f64,
    /// Expected information about which repair group has failed, in bits.
    pub bits: f64,
    /// Expected information about which fault it is, in bits.
    pub fault_bits: f64,
}

impl Prospect {
    /// Bits a minute: what steps are ranked by. While repair groups are still in
    /// doubt those count, afterwards the fault itself.
    fn rate(&self) -> (f64, f64) {
        (self.bits / self.minutes.max(0.05), self.fault_bits / self.minutes.max(0.05))
    }
}

/// Information below this is none: it is what rounding leaves.
pub const NO_BITS: f64 = 1e-9;

/// Branches of one candidate's outcome kept apart; beyond this only the most probable
/// reading of a further dial is followed. This bounds advice on a panel full of
/// needles; the posterior is exact all the same.
const BRANCHES: usize = 256;

/// All steps worth considering, best first: most bits a minute, then the order in
/// which they are listed. Steps that can tell nothing are left out.
pub fn prospects(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Vec<Prospect> {
    let mut found: Vec<Prospect> = circuit
        .stations_with_ids()
        .flat_map(|(station, _)| at_station(belief, circuit, place, station))
        .filter(|p| p.bits > NO_BITS || p.fault_bits > NO_BITS)
        .collect();
    found.sort_by(|a, b| {
        let ((ga, fa), (gb, fb)) = (a.rate(), b.rate());
        gb.total_cmp(&ga).then(fb.total_cmp(&fa))
    });
    found
}

/// The value of one step taken here and now.
pub fn value_of(belief: &Belief, circuit: &Circuit, place: &Whereabouts, step: Step) -> Prospect {
    let alive: Vec<&Candidate> = belief.alive().collect();
    let weights = weights(belief);
    let outcomes = |c: &Candidate| sights_after(c, place.station, &[step]);
    let (bits, fault_bits) = gain(belief, &weights, &alive, outcomes);
    let minutes = place.minutes(circuit, step);
    let station = place.done_at(circuit, step);
    Prospect { step, station, walk: false, minutes, bits, fault_bits }
}

fn at_station(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    station: StationId,
) -> Vec<Prospect> {
    let walk = station != place.station;
    let walking = place.minutes_to(circuit, station);
    let mut steps = steps_at(belief, circuit, place, station);
    if walk {
        steps.insert(0, Step::Go(station));
    }
    let alive: Vec<&Candidate> = belief.alive().collect();
    let weights = weights(belief);
    steps
        .into_par_iter()
        .map(|step| {
            let path: &[Step] = match step {
                Step::Go(_) => &[step],
                _ if walk => &[Step::Go(station), step],
                _ => &[step],
            };
            let (bits, fault_bits) =
                gain(belief, &weights, &alive, |c| sights_after(c, place.station, path));
            let minutes = match step {
                Step::Go(_) => walking,
                _ => walking + place.minutes(circuit, step),
            };
            Prospect { step, station, walk, minutes, bits, fault_bits }
        })
        .collect()
}

/// The steps one could take at a station, in a fixed order.
fn steps_at(
    belief: &Belief,
    circuit: &Circuit,
    place: &Whereabouts,
    station: StationId,
) -> Vec<Step> {
    let mut steps = Vec::new();
    let suspected: Vec<PartId> = {
        let mut parts: Vec<PartId> = belief.alive().map(|c| c.fault.part).collect();
        parts.dedup();
        parts
    };
    for (id, part) in circuit.parts_with_ids().filter(|(_, p)| p.station == station) {
        match (&part.kind, place.hands.of(id)) {
            (Kind::Switch(switch), PartState::Position(now)) => {
                for position in (0..switch.positions.len() as u8).filter(|p| *p != now) {
                    let act = if switch.springs_back {
                        Act::Hold { control: id, position }
                    } else {
                        Act::Set { control: id, position }
                    };
                    steps.push(Step::Act(act));
                }
            }
            (Kind::Breaker(_), PartState::Breaker { closed, .. }) => {
                steps.push(Step::Act(if closed { Act::Pull(id) } else { Act::PushIn(id) }));
            }
            (Kind::Fuse(fuse), PartState::Fuse { seated, .. }) => {
                if seated {
                    steps.push(Step::Act(Act::Pull(id)));
                } else if place.spares_of(fuse.amps) > 0 {
                    steps.push(Step::Act(Act::FitSpare(id)));
                }
            }
            _ => {}
        }
        // Exchanging a part tells something only while it is in doubt.
        if suspected.contains(&id) && !matches!(part.kind, Kind::Supply(_) | Kind::Fuse(_)) {
            steps.push(Step::Act(Act::Replace(id)));
        }
    }
    let dead = station_is_dead(belief, circuit, station);
    for (red, black) in probe_pairs(circuit, station) {
        steps.push(Step::Probe(Probe { function: Function::AcVolts, red, black }));
        steps.push(Step::Probe(Probe { function: Function::DcVolts, red, black }));
        if dead {
            steps.push(Step::Probe(Probe { function: Function::Ohms, red, black }));
        }
    }
    steps
}

/// Pairs of test points worth a measurement: each to the airframe, and the two sides
/// of a part that both can be reached.
fn probe_pairs(circuit: &Circuit, station: StationId) -> Vec<(Touch, Touch)> {
    let here: Vec<_> =
        circuit.test_points_with_ids().filter(|(_, t)| t.station == station).collect();
    let mut pairs: Vec<(Touch, Touch)> =
        here.iter().map(|(id, _)| (Touch::Point(*id), Touch::Airframe)).collect();
    for part in &circuit.parts {
        let sides = match &part.kind {
            Kind::Breaker(b) => (b.line, b.load),
            Kind::Fuse(f) => (f.line, f.load),
            Kind::Wire(w) => (w.a, w.b),
            Kind::Relay(r) => (r.x1, r.x2),
            Kind::Load(l) => (l.a, l.b),
            Kind::Supply(_)
            | Kind::Resistor(_)
            | Kind::Ground(_)
            | Kind::Switch(_)
            | Kind::Lamp(_)
            | Kind::Converter(_)
            | Kind::Vibrator(_)
            | Kind::Transformer(_)
            | Kind::Load3(_)
            | Kind::Gyro(_)
            | Kind::Meter(_) => continue,
        };
        let touching =
            |net| here.iter().find(|(_, t)| t.net == net).map(|(id, _)| Touch::Point(*id));
        if let (Some(red), Some(black)) = (touching(sides.0), touching(sides.1)) {
            pairs.push((red, black));
        }
    }
    pairs
}

/// Whether every candidate agrees that the test points of a station are dead.
fn station_is_dead(belief: &Belief, circuit: &Circuit, station: StationId) -> bool {
    belief.alive().all(|c| {
        let solution = &c.rig.settled().solution;
        circuit
            .test_points
            .iter()
            .filter(|t| t.station == station)
            .all(|t| solution.rms_between(t.net, crate::circuit::AIRFRAME) < 0.1)
    })
}

fn weights(belief: &Belief) -> Vec<(f64, usize)> {
    belief
        .posterior()
        .into_iter()
        .zip(belief.group_of())
        .zip(belief.candidates())
        .filter(|(_, c)| c.excluded.is_none())
        .map(|((p, group), _)| (p, *group))
        .collect()
}

/// What a candidate would show on a path of steps; `None` when it cannot be solved.
fn sights_after(candidate: &Candidate, from: StationId, path: &[Step]) -> Option<Vec<Sight>> {
    let mut events = Vec::new();
    if let [Step::Probe(probe)] = path {
        let showing = candidate.rig.probe(*probe).ok()?;
        return Some(vec![Sight { what: What::Display(*probe), showing }]);
    }
    let mut rig = candidate.rig.clone();
    let mut station = from;
    let mut sights = Vec::new();
    for step in path {
        sights.extend(rig.perform(*step, station, &mut events).ok()?);
        if let Step::Go(there) = step {
            station = *there;
        }
    }
    Some(sights)
}

/// Expected gain in bits, about the group and about the fault.
fn gain(
    belief: &Belief,
    weights: &[(f64, usize)],
    alive: &[&Candidate],
    sights: impl Fn(&Candidate) -> Option<Vec<Sight>>,
) -> (f64, f64) {
    // (outcome, group, candidate, weight)
    let mut table: Vec<(u64, usize, usize, f64)> = Vec::new();
    for (index, (candidate, (weight, group))) in alive.iter().zip(weights).enumerate() {
        match sights(candidate) {
            Some(sights) => {
                for (outcome, p) in distribution(&sights, &candidate.known) {
                    table.push((outcome, *group, index, weight * p));
                }
            }
            None => table.push((u64::MAX, *group, index, *weight)),
        }
    }
    table.sort_unstable_by_key(|(outcome, group, index, _)| (*outcome, *group, *index));
    let (mut groups_after, mut faults_after) = (0.0, 0.0);
    for same in table.chunk_by(|a, b| a.0 == b.0) {
        let total: f64 = same.iter().map(|row| row.3).sum();
        if total <= 0.0 {
            continue;
        }
        let by_group: Vec<f64> = same
            .chunk_by(|a, b| a.1 == b.1)
            .map(|rows| rows.iter().map(|row| row.3).sum::<f64>() / total)
            .collect();
        let by_fault: Vec<f64> = same.iter().map(|row| row.3 / total).collect();
        groups_after += total * entropy_bits(&by_group);
        faults_after += total * entropy_bits(&by_fault);
    }
    let positive = |bits: f64| if bits > NO_BITS { bits } else { 0.0 };
    (
        positive(belief.group_entropy_bits() - groups_after),
        positive(belief.entropy_bits() - faults_after),
    )
}

/// One way things may show: what has been seen so far (hashed), how probable that is,
/// and what is then known of each instrument's error.
struct Branch {
    outcome: u64,
    probability: f64,
    known: BTreeMap<Instrument, ErrorSpan>,
}

/// The distribution of what a sequence of sights shows, as (outcome, probability).
/// Outcomes are told apart by a 64-bit hash (FNV-1a).
fn distribution(sights: &[Sight], known: &BTreeMap<Instrument, ErrorSpan>) -> Vec<(u64, f64)> {
    let mut branches =
        vec![Branch { outcome: 0xcbf2_9ce4_8422_2325, probability: 1.0, known: known.clone() }];
    for sight in sights {
        match sight.showing {
            Showing::Look(look) => {
                for branch in &mut branches {
                    branch.outcome = hashed(branch.outcome, look as u64);
                }
            }
            Showing::Dial(dial) => {
                let Some(instrument) = sight.what.instrument() else { continue };
                let narrow = branches.len() >= BRANCHES;
                branches = branches
                    .into_iter()
                    .flat_map(|branch| {
                        let span =
                            branch.known.get(&instrument).copied().unwrap_or(ErrorSpan::WHOLE);
                        let mut outcomes = dial.outcomes(span);
                        if narrow
                            && let Some(most) = outcomes
                                .iter()
                                .copied()
                                .reduce(|a, b| if b.1 > a.1 { b } else { a })
                        {
                            outcomes = vec![(most.0, 1.0)];
                        }
                        outcomes
                            .into_iter()
                            .map(|(reading, p)| {
                                let mut known = branch.known.clone();
                                if let Some((span, _)) = dial.probability(reading, span) {
                                    known.insert(instrument, span);
                                }
                                let mark = (u64::from(reading.range) << 48) ^ reading.mark as u64;
                                Branch {
                                    outcome: hashed(branch.outcome, mark ^ (1 << 60)),
                                    probability: branch.probability * p,
                                    known,
                                }
                            })
                            .collect::<Vec<_>>()
                    })
                    .collect();
            }
        }
    }
    branches.into_iter().map(|b| (b.outcome, b.probability)).collect()
}

fn hashed(hash: u64, word: u64) -> u64 {
    word.to_le_bytes()
        .iter()
        .fold(hash, |h, byte| (h ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3))
}
