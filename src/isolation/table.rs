//! Filling in the table: every candidate put through every test.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::alike::{codes, outcomes};
use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::diagnosis::{Belief, Candidate};
use crate::network::PartState;
use crate::observation::{
    Act, Function, Look, Probe, Rig, Showing, Step, Touch, Whereabouts, walking_minutes,
};
use crate::planning::{self, Problem, ProblemError, Table, Test};

/// What a test consists of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trying {
    /// Go there if need be and look around.
    Look,
    /// Hold a control that springs back, look, and let go.
    Hold(Act),
    /// Measure.
    Measure(Probe),
    /// Pull a fuse, look at it and put it back.
    PullFuse(PartId),
    /// Exchange a part and look whether it has helped.
    Exchange(PartId),
}

/// One test.
#[derive(Clone, Debug, PartialEq)]
pub struct Trial {
    /// What is done.
    pub trying: Trying,
    /// Where.
    pub station: StationId,
    /// The control that has to be moved first, if any.
    pub setting: Option<Act>,
}

/// Where one stands in an isolation.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Weight of each candidate of the isolation; zero for one that is out.
    pub weights: Vec<f64>,
    /// Stations that have been visited.
    pub open: Vec<u32>,
    /// The setting, an index into that of [`Isolation::setting`]; `None` for another one.
    pub setting: Option<u32>,
}

/// Candidates, tests and costs.
#[derive(Clone, Debug)]
pub struct Isolation {
    candidates: Vec<usize>,
    parts: Vec<PartId>,
    trials: Vec<Trial>,
    /// Controls moved, in the order of the table's configurations after the first.
    settings: Vec<Act>,
    table: Table,
}

/// One test with what every candidate shows of everything it shows.
struct Shown {
    trial: Trial,
    minutes: f64,
    needs: Option<u32>,
    outcomes: Vec<u16>,
}

impl Isolation {
    /// Puts every candidate that is still possible through every test.
    pub fn new(belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Self {
        Self::among(belief, circuit, place, |_| true)
    }

    /// The same for those that a condition holds for.
    pub fn among(
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
        counts: impl Fn(&Candidate) -> bool,
    ) -> Self {
        let posterior = belief.posterior();
        let alive: Vec<(usize, &Candidate)> = belief
            .candidates()
            .iter()
            .enumerate()
            .filter(|(at, c)| c.excluded.is_none() && posterior[*at] > 0.0 && counts(c))
            .collect();
        let candidates: Vec<usize> = alive.iter().map(|(at, _)| *at).collect();
        let rigs: Vec<&Rig> = alive.iter().map(|(_, c)| c.rig()).collect();
        let mut settings: Vec<Act> = Vec::new();
        let mut shown = looks(circuit, &rigs, None);
        shown.extend(measurements(circuit, &rigs, None));
        shown.extend(pulled_fuses(circuit, &rigs, place));
        shown.extend(exchanges(circuit, &rigs, &alive));
        for act in moves(circuit, place) {
            let station = circuit.part(act.part()).station;
            if let Act::Hold { .. } = act {
                shown.extend(held(circuit, &rigs, act, station));
                continue;
            }
            let moved: Vec<Option<Rig>> = rigs
                .par_iter()
                .map(|rig| {
                    let mut rig = (*rig).clone();
                    rig.perform(Step::Act(act), station, &mut Vec::new()).ok().map(|_| rig)
                })
                .collect();
            let moved: Vec<Option<&Rig>> = moved.iter().map(Option::as_ref).collect();
            settings.push(act);
            let needs = Some((settings.len() as u32, act));
            shown.extend(looks_of(circuit, &moved, needs));
            shown.extend(measurements_of(circuit, &moved, needs));
        }
        let weights: Vec<f64> = candidates.iter().map(|at| posterior[*at]).collect();
        let shown = worth_keeping(shown);
        let groups = belief.group_of();
        let table = Table {
            candidates: candidates
                .iter()
                .zip(&weights)
                .map(|(at, weight)| planning::Candidate {
                    weight: *weight,
                    group: groups[*at] as u32,
                })
                .collect(),
            tests: shown
                .iter()
                .map(|s| Test {
                    minutes: s.minutes,
                    place: Some(s.trial.station.index() as u32),
                    needs: s.needs,
                    outcomes: s.outcomes.clone(),
                })
                .collect(),
            places: circuit
                .stations_with_ids()
                .map(|(station, _)| place.minutes_to(circuit, station))
                .collect(),
            configurations: std::iter::once(SET_MINUTES)
                .chain(settings.iter().map(|_| SET_MINUTES))
                .collect(),
            start: Some(0),
            open: vec![place.station.index() as u32],
        };
        let trials = shown.into_iter().map(|s| s.trial).collect();
        let parts = alive.iter().map(|(_, candidate)| candidate.fault.part).collect();
        Self { candidates, parts, trials, settings, table }
    }

    /// The candidates, as indices into those of the belief it was made from.
    pub fn candidates(&self) -> &[usize] {
        &self.candidates
    }

    /// The part that each candidate is a fault of.
    pub fn parts(&self) -> &[PartId] {
        &self.parts
    }

    /// The tests, in the order of the table's.
    pub fn trials(&self) -> &[Trial] {
        &self.trials
    }

    /// The numbers.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The position from which it was made.
    pub fn start(&self) -> Position {
        Position {
            weights: self.table.candidates.iter().map(|c| c.weight).collect(),
            open: self.table.open.clone(),
            setting: self.table.start,
        }
    }

    /// Which setting controls are in; `None` when more than one has been moved, or
    /// something else.
    pub fn setting(&self, found: &Whereabouts, now: &Whereabouts) -> Option<u32> {
        let mut moved = now.hands.parts.iter().zip(&found.hands.parts).enumerate();
        let differs = |(_, (now, then)): &(usize, (&PartState, &PartState))| now != then;
        let Some((at, (state, _))) = moved.find(differs) else { return Some(0) };
        let PartState::Position(position) = *state else { return None };
        if moved.any(|one| differs(&one)) {
            return None;
        }
        let act = Act::Set { control: PartId(at as u32), position };
        self.settings.iter().position(|setting| *setting == act).map(|at| at as u32 + 1)
    }

    /// The test that a step amounts to where one stands, if it is among them.
    pub fn trial_of(&self, step: Step, station: StationId, setting: Option<u32>) -> Option<u32> {
        let now = setting?;
        let moved = |setting: u32| setting.checked_sub(1).map(|at| self.settings[at as usize]);
        let (trying, station, needed) = match step {
            Step::LookAround => (Trying::Look, station, moved(now)),
            Step::Go(there) => (Trying::Look, there, moved(now)),
            Step::Act(act @ Act::Hold { .. }) => (Trying::Hold(act), station, None),
            Step::Act(act @ Act::Set { .. }) => (Trying::Look, station, Some(act)),
            Step::Act(Act::Pull(part)) => (Trying::PullFuse(part), station, None),
            Step::Act(Act::Replace(part)) => (Trying::Exchange(part), station, None),
            Step::Probe(probe) => (Trying::Measure(probe), station, moved(now)),
            Step::Act(Act::PushIn(_) | Act::Refit(_) | Act::FitSpare(_)) => return None,
        };
        let wanted = Trial { trying, station, setting: needed };
        self.trials.iter().position(|trial| *trial == wanted).map(|at| at as u32)
    }

    /// The planning problem at a position, over the tests that tell anything there; with
    /// the place of each of them among [`Isolation::trials`].
    ///
    /// # Errors
    /// [`ProblemError`] when no candidate is left.
    pub fn problem(&self, position: &Position) -> Result<(Problem, Vec<u32>), ProblemError> {
        let alive: Vec<usize> =
            (0..self.candidates.len()).filter(|at| position.weights[*at] > 0.0).collect();
        let tells =
            |test: &Test| alive.iter().any(|at| test.outcomes[*at] != test.outcomes[alive[0]]);
        let (which, tests) = (0..)
            .zip(&self.table.tests)
            .filter(|(_, test)| tells(test))
            .map(|(at, test)| {
                let outcomes = alive.iter().map(|at| test.outcomes[*at]).collect();
                (at, Test { outcomes, ..*test })
            })
            .unzip();
        let candidates = alive.iter().map(|at| planning::Candidate {
            weight: position.weights[*at],
            group: self.table.candidates[*at].group,
        });
        let problem = Problem::new(&Table {
            candidates: candidates.collect(),
            tests,
            places: self.table.places.clone(),
            configurations: self.table.configurations.clone(),
            start: position.setting,
            open: position.open.clone(),
        })?;
        Ok((problem, which))
    }
}

/// Minutes to move a control (common practice, no published source).
const SET_MINUTES: f64 = 0.1;
/// Minutes to pull a fuse, look at it and put it back (the same).
const PULL_MINUTES: f64 = 1.0;
/// Minutes for a measurement of volts (the same).
const PROBE_MINUTES: f64 = 0.8;

/// Every control moved to each of its other positions, or held there.
fn moves(circuit: &Circuit, place: &Whereabouts) -> Vec<Act> {
    let mut moves = Vec::new();
    for (control, part) in circuit.parts_with_ids() {
        let (Some(known), PartState::Position(now)) =
            (part.kind.control(), place.hands.of(control))
        else {
            continue;
        };
        for position in (0..known.positions.len() as u8).filter(|at| *at != now) {
            moves.push(if known.springs_back {
                Act::Hold { control, position }
            } else {
                Act::Set { control, position }
            });
        }
    }
    moves
}

/// The outcomes of a test that shows several things of each candidate.
fn encode(shown: &[Option<Vec<Showing>>]) -> Vec<u16> {
    let things = shown.iter().flatten().map(Vec::len).max().unwrap_or(0);
    let columns: Vec<Vec<u32>> = (0..things)
        .map(|thing| {
            let column: Vec<Option<Showing>> = shown
                .iter()
                .map(|all| all.as_ref().and_then(|all| all.get(thing).copied()))
                .collect();
            codes(&column)
        })
        .collect();
    outcomes((0..shown.len()).map(|at| columns.iter().map(|codes| codes[at]).collect()))
}

fn looks(circuit: &Circuit, rigs: &[&Rig], needs: Option<(u32, Act)>) -> Vec<Shown> {
    let rigs: Vec<Option<&Rig>> = rigs.iter().copied().map(Some).collect();
    looks_of(circuit, &rigs, needs)
}

fn looks_of(circuit: &Circuit, rigs: &[Option<&Rig>], needs: Option<(u32, Act)>) -> Vec<Shown> {
    let stations: Vec<StationId> = circuit.stations_with_ids().map(|(id, _)| id).collect();
    let look = |station: StationId| {
        let faces = |rig: &Rig| rig.faces(station).map(|(_, showing)| showing).collect();
        let shown: Vec<Option<Vec<Showing>>> = rigs.par_iter().map(|rig| rig.map(faces)).collect();
        Shown {
            trial: Trial { trying: Trying::Look, station, setting: needs.map(|(_, act)| act) },
            minutes: 0.0,
            needs: Some(needs.map_or(0, |(setting, _)| setting)),
            outcomes: encode(&shown),
        }
    };
    stations.into_iter().map(look).collect()
}

fn measurements(circuit: &Circuit, rigs: &[&Rig], needs: Option<(u32, Act)>) -> Vec<Shown> {
    let rigs: Vec<Option<&Rig>> = rigs.iter().copied().map(Some).collect();
    measurements_of(circuit, &rigs, needs)
}

fn measurements_of(
    circuit: &Circuit,
    rigs: &[Option<&Rig>],
    needs: Option<(u32, Act)>,
) -> Vec<Shown> {
    let points: Vec<_> = circuit.test_points_with_ids().collect();
    let one = |(point, station): (crate::circuit::TestPointId, StationId), function| {
        let probe = Probe { function, red: Touch::Point(point), black: Touch::Airframe };
        let shown: Vec<Option<Vec<Showing>>> = rigs
            .iter()
            .map(|rig| rig.and_then(|rig| rig.probe(probe).ok()).map(|showing| vec![showing]))
            .collect();
        let setting = needs.map(|(_, act)| act);
        Shown {
            trial: Trial { trying: Trying::Measure(probe), station, setting },
            minutes: PROBE_MINUTES,
            needs: Some(needs.map_or(0, |(setting, _)| setting)),
            outcomes: encode(&shown),
        }
    };
    points
        .into_par_iter()
        .flat_map_iter(|(point, known)| {
            [Function::AcVolts, Function::DcVolts]
                .map(|function| one((point, known.station), function))
        })
        .collect()
}

fn held(circuit: &Circuit, rigs: &[&Rig], act: Act, station: StationId) -> Option<Shown> {
    circuit.part(act.part()).kind.control()?;
    let shown: Vec<Option<Vec<Showing>>> = rigs
        .par_iter()
        .map(|rig| {
            let mut rig = (*rig).clone();
            let sights = rig.perform(Step::Act(act), station, &mut Vec::new()).ok()?;
            Some(sights.into_iter().map(|sight| sight.showing).collect())
        })
        .collect();
    Some(Shown {
        trial: Trial { trying: Trying::Hold(act), station, setting: None },
        minutes: SET_MINUTES,
        needs: Some(0),
        outcomes: encode(&shown),
    })
}

fn pulled_fuses(circuit: &Circuit, rigs: &[&Rig], place: &Whereabouts) -> Vec<Shown> {
    let seated = |id: PartId| matches!(place.hands.of(id), PartState::Fuse { seated: true, .. });
    circuit
        .parts_with_ids()
        .filter(|(id, part)| matches!(part.kind, Kind::Fuse(_)) && seated(*id))
        .map(|(id, part)| {
            let blown = |rig: &&Rig| match rig.settled().state.of(id) {
                PartState::Fuse { blown: true, .. } => Look::Blown,
                _ => Look::Whole,
            };
            let shown: Vec<Option<Vec<Showing>>> =
                rigs.iter().map(|rig| Some(vec![Showing::Look(blown(rig))])).collect();
            Shown {
                trial: Trial { trying: Trying::PullFuse(id), station: part.station, setting: None },
                minutes: PULL_MINUTES,
                needs: None,
                outcomes: encode(&shown),
            }
        })
        .collect()
}

/// Exchanging each part that is in doubt, and looking wherever it may have helped. Only the
/// candidates whose part it is change.
fn exchanges(circuit: &Circuit, rigs: &[&Rig], alive: &[(usize, &Candidate)]) -> Vec<Shown> {
    let Some((deck, _)) = circuit.stations_with_ids().find(|(_, s)| s.crew) else {
        return Vec::new();
    };
    let stations: Vec<StationId> = circuit.stations_with_ids().map(|(id, _)| id).collect();
    let faces = |rig: &Rig| -> Vec<Showing> {
        let seen = stations.iter().flat_map(|station| rig.faces(*station));
        seen.map(|(_, showing)| showing).collect()
    };
    let before: Vec<Option<Vec<Showing>>> = rigs.par_iter().map(|rig| Some(faces(rig))).collect();
    let mut parts: Vec<PartId> = alive.iter().map(|(_, c)| c.fault.part).collect();
    parts.dedup();
    let possible =
        |part: &PartId| !matches!(circuit.part(*part).kind, Kind::Supply(_) | Kind::Mechanism(_));
    parts
        .into_par_iter()
        .filter(possible)
        .map(|id| {
            let part = circuit.part(id);
            let mut shown = before.clone();
            for (at, (_, candidate)) in alive.iter().enumerate() {
                if candidate.fault.part == id {
                    shown[at] = mended(rigs[at], circuit, id).map(|rig| faces(&rig));
                }
            }
            Shown {
                trial: Trial { trying: Trying::Exchange(id), station: part.station, setting: None },
                minutes: part.replace_minutes + walking_minutes(circuit, part.station, deck),
                needs: None,
                outcomes: encode(&shown),
            }
        })
        .collect()
}

/// An aircraft with its failed part exchanged, the breakers that had opened reset and the
/// fuses that had blown replaced.
fn mended(rig: &Rig, circuit: &Circuit, part: PartId) -> Option<Rig> {
    let mut rig = rig.clone();
    let perform = |rig: &mut Rig, act: Act| {
        let station = circuit.part(act.part()).station;
        rig.perform(Step::Act(act), station, &mut Vec::new()).ok()
    };
    perform(&mut rig, Act::Replace(part))?;
    for (id, other) in circuit.parts_with_ids() {
        match (&other.kind, rig.settled().state.of(id)) {
            (Kind::Breaker(_), PartState::Breaker { closed: false, tripped: true }) => {
                perform(&mut rig, Act::PushIn(id))?;
            }
            (Kind::Fuse(_), PartState::Fuse { blown: true, .. }) => {
                perform(&mut rig, Act::FitSpare(id))?;
            }
            _ => {}
        }
    }
    Some(rig)
}

/// Where a test is made, in which setting, and what it tells.
type Telling = (u32, Option<u32>, Vec<u16>);

/// The tests that tell something, and of several that tell the same at the same place the
/// quickest.
fn worth_keeping(shown: Vec<Shown>) -> Vec<Shown> {
    let mut best: BTreeMap<Telling, (f64, usize)> = BTreeMap::new();
    for (at, test) in shown.iter().enumerate() {
        if test.outcomes.iter().all(|outcome| *outcome == 0) {
            continue;
        }
        let key = (test.trial.station.index() as u32, test.needs, test.outcomes.clone());
        let entry = best.entry(key).or_insert((test.minutes, at));
        if test.minutes < entry.0 {
            *entry = (test.minutes, at);
        }
    }
    let mut keep: Vec<usize> = best.into_values().map(|(_, at)| at).collect();
    keep.sort_unstable();
    let mut shown: Vec<Option<Shown>> = shown.into_iter().map(Some).collect();
    keep.into_iter().filter_map(|at| shown[at].take()).collect()
}
