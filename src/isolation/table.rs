//! Filling in the table: every candidate put through every test.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::alike::{codes, outcomes};
use super::{Position, noticed};
use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::diagnosis::{Belief, Candidate};
use crate::faults::Cause;
use crate::network::{PartState, SolveError};
use crate::observation::{
    Act, Function, Probe, Rig, Showing, Step, Touch, Whereabouts, walking_minutes,
};
use crate::planning::{self, Configuration, Problem, ProblemError, Table, Test};

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
    /// Push in a breaker that is out and look whether it holds.
    Reset(PartId),
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

/// Candidates that a table holds at the most.
const MOST_CANDIDATES: usize = 600;

/// Candidates, tests and costs.
#[derive(Clone, Debug)]
pub struct Isolation {
    pub(super) candidates: Vec<usize>,
    causes: Vec<Cause>,
    /// Whether every candidate that is possible is in it.
    whole: bool,
    pub(super) trials: Vec<Trial>,
    /// Tests that tell what one of `trials` at the same place tells, with its place there
    /// and the minutes that they take more.
    pub(super) alike: Vec<(Trial, u32, f64)>,
    /// Controls moved, in the order of the table's configurations after the first.
    pub(super) settings: Vec<Act>,
    pub(super) table: Table,
}

/// A control moved: its number among the settings, and how.
type Setting = Option<(u32, Act)>;

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

    /// The same for every fault that the crew of a system would notice, from the flight deck
    /// before anybody has looked around.
    ///
    /// # Errors
    /// [`SolveError`] when some fault leaves the circuit without a solution.
    pub fn of_system(circuit: &Arc<Circuit>) -> Result<Self, SolveError> {
        let normal = Rig::normal(Arc::clone(circuit))?;
        let belief = Belief::prior(&normal)?;
        let place = Whereabouts::start(circuit);
        Ok(Self::among(&belief, circuit, &place, |c| {
            c.rig().is_some_and(|rig| noticed(&normal, rig))
        }))
    }

    /// The same for those that a condition holds for.
    fn among(
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
        counts: impl Fn(&Candidate) -> bool,
    ) -> Self {
        let posterior = belief.posterior();
        let possible = |(at, c): (usize, &'_ Candidate)| {
            (c.excluded.is_none() && posterior[at] > 0.0 && counts(c)).then_some(at)
        };
        let mut candidates: Vec<usize> =
            belief.candidates().iter().enumerate().filter_map(possible).collect();
        let whole = candidates.len() <= MOST_CANDIDATES;
        if !whole {
            candidates.sort_by(|a, b| posterior[*b].total_cmp(&posterior[*a]).then(a.cmp(b)));
            candidates.truncate(MOST_CANDIDATES);
            candidates.sort_unstable();
        }
        let alive: Vec<(usize, &Candidate)> =
            candidates.iter().map(|at| (*at, &belief.candidates()[*at])).collect();
        let rigs: Vec<&Rig> = alive.iter().filter_map(|(_, c)| c.rig()).collect();
        let as_found: Vec<Option<&Rig>> = rigs.iter().copied().map(Some).collect();
        let mut settings: Vec<Act> = Vec::new();
        let mut shown = looks(circuit, &as_found, None);
        shown.extend(measurements(circuit, place, &as_found, None));
        shown.extend(pulled_fuses(circuit, &rigs, place));
        shown.extend(resets(circuit, &rigs, place));
        shown.extend(exchanges(circuit, &rigs, &alive));
        for act in moves(circuit, place) {
            let station = circuit.part(act.part()).station;
            if let Act::Hold { .. } = act {
                shown.push(held(place.minutes(circuit, Step::Act(act)), &rigs, act, station));
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
            shown.extend(looks(circuit, &moved, needs));
            shown.extend(measurements(circuit, place, &moved, needs));
        }
        if !place.barred.is_empty() {
            shown.retain(|one| !is_barred(&one.trial, circuit, place));
        }
        let weights: Vec<f64> = candidates.iter().map(|at| posterior[*at]).collect();
        let (shown, alike) = worth_keeping(shown);
        let groups = belief.group_of();
        let moving = |act: &Act| place.minutes(circuit, Step::Act(*act));
        // To put a control back takes as long as to move it; which one it will be the table
        // does not say, so it counts the quickest: no floor may be too high.
        let back = settings.iter().map(moving).reduce(f64::min).unwrap_or(0.0);
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
            configurations: std::iter::once(Configuration { minutes: back, places: [None; 2] })
                .chain(settings.iter().map(|act| Configuration {
                    minutes: moving(act),
                    places: [Some(circuit.part(act.part()).station.index() as u32), None],
                }))
                .collect(),
            start: Some(0),
            open: vec![place.station.index() as u32],
        };
        let trials = shown.into_iter().map(|s| s.trial).collect();
        let causes = alive.iter().map(|(_, candidate)| candidate.cause.clone()).collect();
        Self { candidates, causes, whole, trials, alike, settings, table }
    }

    /// The candidates, as indices into those of the belief it was made from.
    pub fn candidates(&self) -> &[usize] {
        &self.candidates
    }

    /// What each candidate says is wrong.
    pub fn causes(&self) -> &[Cause] {
        &self.causes
    }

    /// Whether every candidate that is possible is in it. Where pairs of faults are looked
    /// for there can be too many; then it holds the likeliest, and what is proved about it
    /// is proved about them alone.
    pub fn is_whole(&self) -> bool {
        self.whole
    }

    /// The tests, in the order of the table's.
    pub fn trials(&self) -> &[Trial] {
        &self.trials
    }

    /// The numbers.
    pub fn table(&self) -> &Table {
        &self.table
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
            places: position.places.clone(),
            configurations: position.configurations.clone(),
            start: position.setting,
            open: position.open.clone(),
        })?;
        Ok((problem, which))
    }
}

/// Whether the drill rules a test out, or the move of a control that it needs.
fn is_barred(trial: &Trial, circuit: &Circuit, place: &Whereabouts) -> bool {
    let step = match trial.trying {
        Trying::Look => Step::Go(trial.station),
        Trying::Hold(act) => Step::Act(act),
        Trying::Measure(probe) => Step::Probe(probe),
        Trying::PullFuse(fuse) => Step::Act(Act::Pull(fuse)),
        Trying::Reset(breaker) => Step::Act(Act::PushIn(breaker)),
        Trying::Exchange(part) => Step::Act(Act::Replace(part)),
    };
    let mut steps = [step].into_iter().chain(trial.setting.map(Step::Act));
    steps.any(|step| place.bars(circuit, step).is_some())
}

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

fn looks(circuit: &Circuit, rigs: &[Option<&Rig>], needs: Setting) -> Vec<Shown> {
    let stations: Vec<StationId> = circuit.stations_with_ids().map(|(id, _)| id).collect();
    let look = |station: StationId| {
        let faces = |rig: &Rig| {
            rig.faces(station).chain(rig.standing(station)).map(|(_, showing)| showing).collect()
        };
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

fn measurements(
    circuit: &Circuit,
    place: &Whereabouts,
    rigs: &[Option<&Rig>],
    needs: Setting,
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
            minutes: place.minutes(circuit, Step::Probe(probe)),
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

fn held(minutes: f64, rigs: &[&Rig], act: Act, station: StationId) -> Shown {
    let shown: Vec<Option<Vec<Showing>>> = rigs
        .par_iter()
        .map(|rig| {
            let mut rig = (*rig).clone();
            let sights = rig.perform(Step::Act(act), station, &mut Vec::new()).ok()?;
            Some(sights.into_iter().map(|sight| sight.showing).collect())
        })
        .collect();
    Shown {
        trial: Trial { trying: Trying::Hold(act), station, setting: None },
        minutes,
        needs: Some(0),
        outcomes: encode(&shown),
    }
}

fn pulled_fuses(circuit: &Circuit, rigs: &[&Rig], place: &Whereabouts) -> Vec<Shown> {
    let seated = |id: PartId| matches!(place.hands.of(id), PartState::Fuse { seated: true, .. });
    circuit
        .parts_with_ids()
        .filter(|(id, part)| matches!(part.kind, Kind::Fuse(_)) && seated(*id))
        .map(|(id, part)| {
            let shown: Vec<Option<Vec<Showing>>> =
                rigs.iter().map(|rig| Some(vec![Showing::Look(rig.fuse_look(id))])).collect();
            Shown {
                trial: Trial { trying: Trying::PullFuse(id), station: part.station, setting: None },
                minutes: [Act::Pull(id), Act::Refit(id)]
                    .map(|act| place.minutes(circuit, Step::Act(act)))
                    .iter()
                    .sum(),
                needs: None,
                outcomes: encode(&shown),
            }
        })
        .collect()
}

/// What all stations show.
fn all_faces(rig: &Rig, circuit: &Circuit) -> Vec<Showing> {
    let seen = circuit.stations_with_ids().flat_map(|(station, _)| rig.faces(station));
    seen.map(|(_, showing)| showing).collect()
}

/// Pushing in each breaker that has tripped in some of the aircraft, and looking from its
/// station and from where the crew sit.
fn resets(circuit: &Circuit, rigs: &[&Rig], place: &Whereabouts) -> Vec<Shown> {
    let tripped = |rig: &Rig, id: PartId| {
        matches!(rig.settled().state.of(id), PartState::Breaker { closed: false, tripped: true })
    };
    let deck = circuit.stations_with_ids().find(|(_, s)| s.crew).map(|(id, _)| id);
    circuit
        .parts_with_ids()
        .filter(|(id, _)| rigs.iter().any(|rig| tripped(rig, *id)))
        .map(|(id, part)| {
            let stations: Vec<StationId> = deck.into_iter().chain([part.station]).collect();
            let shown: Vec<Option<Vec<Showing>>> = rigs
                .par_iter()
                .map(|rig| {
                    let mut rig = (*rig).clone();
                    if tripped(&rig, id) {
                        let push = Step::Act(Act::PushIn(id));
                        rig.perform(push, part.station, &mut Vec::new()).ok()?;
                    }
                    let seen = stations.iter().flat_map(|station| rig.faces(*station));
                    Some(seen.map(|(_, showing)| showing).collect())
                })
                .collect();
            let back = deck.map_or(0.0, |deck| walking_minutes(circuit, part.station, deck));
            Shown {
                trial: Trial { trying: Trying::Reset(id), station: part.station, setting: None },
                minutes: place.minutes(circuit, Step::Act(Act::PushIn(id))) + back,
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
    let before: Vec<Option<Vec<Showing>>> =
        rigs.par_iter().map(|rig| Some(all_faces(rig, circuit))).collect();
    let mut parts: Vec<PartId> =
        alive.iter().flat_map(|(_, c)| c.cause.failed_parts(circuit)).collect();
    parts.sort_unstable();
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
                if candidate.cause.concerns(id) {
                    shown[at] = mended(rigs[at], circuit, id).map(|rig| all_faces(&rig, circuit));
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
pub(crate) fn mended(rig: &Rig, circuit: &Circuit, part: PartId) -> Option<Rig> {
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
/// quickest; the others with the place of the one they are like and the minutes that they
/// take more.
fn worth_keeping(shown: Vec<Shown>) -> (Vec<Shown>, Vec<(Trial, u32, f64)>) {
    let mut best: BTreeMap<Telling, Vec<usize>> = BTreeMap::new();
    for (at, test) in shown.iter().enumerate() {
        if test.outcomes.iter().any(|outcome| *outcome != 0) {
            let key = (test.trial.station.index() as u32, test.needs, test.outcomes.clone());
            best.entry(key).or_default().push(at);
        }
    }
    let quickest = |same: &Vec<usize>| {
        let quicker = |a: usize, b: usize| if shown[b].minutes < shown[a].minutes { b } else { a };
        same.iter().copied().reduce(quicker)
    };
    let mut kept: Vec<(usize, Vec<usize>)> =
        best.into_values().filter_map(|same| Some((quickest(&same)?, same))).collect();
    kept.sort_unstable();
    let mut alike = Vec::new();
    for (number, (at, same)) in (0..).zip(&kept) {
        for other in same.iter().filter(|other| *other != at) {
            let more = shown[*other].minutes - shown[*at].minutes;
            alike.push((shown[*other].trial.clone(), number, more));
        }
    }
    let mut shown: Vec<Option<Shown>> = shown.into_iter().map(Some).collect();
    let keep = kept.into_iter().filter_map(|(at, _)| shown[at].take()).collect();
    (keep, alike)
}
