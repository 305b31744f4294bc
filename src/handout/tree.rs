//! The chart as a tree of numbered steps.

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::circuit::{Circuit, StationId};
use crate::diagnosis::Belief;
use crate::isolation::{Isolation, Trying, crew_stations, mended};
use crate::observation::{self, Percept, Rig, Showing, Sight, What, Whereabouts};
use crate::planning::{self, Plan, ProblemError};

/// An isolation chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// What it is of.
    pub title: String,
    /// Faults that it isolates.
    pub faults: usize,
    /// Repair groups they belong to.
    pub groups: usize,
    /// Expected minutes of somebody who works by it.
    pub minutes: f64,
    /// No chart takes fewer.
    pub least_minutes: f64,
    /// Where one begins and how the controls stand there, then the cautions of every place that
    /// the chart leads to; a sentence an element, without its stop.
    pub begin: Vec<String>,
    /// What parts are called, by their ids.
    pub labels: BTreeMap<String, String>,
    /// Its nodes; the first is where one begins.
    pub nodes: Vec<Node>,
    /// Faults that, taken through the steps, show something else than the chart says.
    pub astray: Vec<String>,
}

/// One place in a chart.
#[derive(Clone, Debug, PartialEq)]
pub enum Node {
    /// Something to do.
    Step(Step),
    /// Something to repair.
    Leaf(Leaf),
}

/// Something to do, and what it may show.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its number, from 1 in the order of the chart.
    pub number: usize,
    /// What to do, walks included, one sentence each without its stop.
    pub acts: Vec<String>,
    /// The same as steps; an exchange is followed by whatever it needs to show its effect.
    pub path: Vec<observation::Step>,
    /// Minutes of it.
    pub minutes: f64,
    /// What it may show; at least two.
    pub branches: Vec<Branch>,
}

/// One thing that a step may show.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// What is seen.
    pub shows: String,
    /// How likely that is from the start, of all faults.
    pub share: f64,
    /// The node that follows.
    pub to: usize,
}

/// What is left when nothing more can be told apart, or need be.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf {
    /// Repair groups and their faults, likeliest first.
    pub groups: Vec<(String, Vec<String>)>,
    /// How likely it is from the start.
    pub share: f64,
    /// Minutes since the start.
    pub minutes: f64,
}

impl Chart {
    /// The chart of the best strategy that so much work finds.
    ///
    /// # Errors
    /// [`ProblemError`] when there is nothing to isolate.
    pub fn new(
        title: String,
        circuit: &Circuit,
        (belief, isolation): (&Belief, &Isolation),
        start: &Whereabouts,
        work: u64,
    ) -> Result<Self, ProblemError> {
        let (problem, which) = isolation.problem(&isolation.start())?;
        let plan = planning::plan(&problem, work);
        let weights = &problem.table().candidates;
        let total: f64 = weights.iter().map(|candidate| candidate.weight).sum();
        let rigs = isolation
            .candidates()
            .iter()
            .filter_map(|at| belief.candidates()[*at].rig().cloned())
            .collect::<Vec<_>>();
        let mut maker = Maker {
            circuit,
            isolation,
            start,
            plan: &plan,
            outcomes: problem.table().tests.iter().map(|test| &test.outcomes[..]).collect(),
            which: &which,
            shares: weights.iter().map(|candidate| candidate.weight / total).collect(),
            nodes: Vec::new(),
            steps: 0,
            astray: Vec::new(),
        };
        let standing = Standing {
            place: start.clone(),
            alive: (0..rigs.len()).zip(rigs).collect(),
            clock: 0.0,
        };
        if !plan.policy.steps.is_empty() {
            maker.node(0, standing);
        }
        let Maker { nodes, mut astray, .. } = maker;
        astray.sort();
        astray.dedup();
        Ok(Self {
            title,
            faults: plan.candidates,
            groups: plan.groups,
            minutes: plan.upper,
            least_minutes: plan.lower,
            begin: begin(circuit, start, &nodes),
            labels: circuit
                .parts
                .iter()
                .filter(|part| !part.label.is_empty() && part.label != part.id)
                .map(|part| (part.id.clone(), part.label.clone()))
                .collect(),
            nodes,
            astray,
        })
    }
}

/// Where one stands while the chart is made: the aircraft that are still possible, as the
/// steps so far have left them.
struct Standing {
    place: Whereabouts,
    alive: Vec<(usize, Rig)>,
    clock: f64,
}

struct Maker<'a> {
    circuit: &'a Circuit,
    isolation: &'a Isolation,
    start: &'a Whereabouts,
    plan: &'a Plan,
    /// What each of the plan's tests shows of each candidate.
    outcomes: Vec<&'a [u16]>,
    /// The plan's tests among those of the isolation.
    which: &'a [u32],
    shares: Vec<f64>,
    nodes: Vec<Node>,
    steps: usize,
    astray: Vec<String>,
}

impl Maker<'_> {
    /// Makes the node for a step of the plan and all that follow it.
    fn node(&mut self, at: usize, standing: Standing) -> usize {
        let index = self.nodes.len();
        match &self.plan.policy.steps[at] {
            planning::Step::Call { .. } => {
                let leaf = self.leaf(&standing);
                self.nodes.push(Node::Leaf(leaf));
            }
            planning::Step::Make { test, then } => {
                self.steps += 1;
                let number = self.steps;
                let step = Step {
                    number,
                    acts: Vec::new(),
                    path: Vec::new(),
                    minutes: 0.0,
                    branches: Vec::new(),
                };
                self.nodes.push(Node::Step(step));
                let made = self.make(*test, standing);
                let mut branches = Vec::new();
                let mut shown: Vec<(u16, u32, Vec<String>)> = then
                    .iter()
                    .filter(|(outcome, _)| made.parts.contains_key(outcome))
                    .map(|(outcome, next)| {
                        (*outcome, *next, told(self.circuit, &made.parts, *outcome))
                    })
                    .collect();
                rest_last(&mut shown);
                for (outcome, next, shows) in &shown {
                    let Some(part) = made.parts.get(outcome) else { continue };
                    let share = part.iter().map(|(at, ..)| self.shares[*at]).sum();
                    let shows = shows.join("; ");
                    let standing = Standing {
                        place: made.place.clone(),
                        alive: part.iter().map(|(at, rig, _)| (*at, rig.clone())).collect(),
                        clock: made.clock,
                    };
                    let to = self.node(*next as usize, standing);
                    branches.push(Branch { shows, share, to });
                }
                if let Node::Step(step) = &mut self.nodes[index] {
                    step.acts = made.acts;
                    step.path = made.path;
                    step.minutes = made.minutes;
                    step.branches = branches;
                }
            }
        }
        index
    }

    fn leaf(&self, standing: &Standing) -> Leaf {
        let mut groups: BTreeMap<String, (f64, Vec<String>)> = BTreeMap::new();
        for (at, _) in &standing.alive {
            let cause = &self.isolation.causes()[*at];
            let entry = groups.entry(cause.repair_group(self.circuit)).or_default();
            entry.0 += self.shares[*at];
            entry.1.push(cause.code(self.circuit));
        }
        let mut groups: Vec<(String, (f64, Vec<String>))> = groups.into_iter().collect();
        groups.sort_by(|(a, (p, _)), (b, (q, _))| q.total_cmp(p).then(a.cmp(b)));
        Leaf {
            share: standing.alive.iter().map(|(at, _)| self.shares[*at]).sum(),
            groups: groups.into_iter().map(|(name, (_, faults))| (name, faults)).collect(),
            minutes: standing.clock,
        }
    }

    /// Takes every aircraft through a test.
    fn make(&mut self, test: u32, standing: Standing) -> Made {
        let Standing { mut place, alive, clock } = standing;
        let trial = self.which[test as usize];
        let trying = self.isolation.trials()[trial as usize].trying;
        let mut acts = Vec::new();
        let mut minutes = 0.0;
        let mut path = Vec::new();
        if let Some(found) = self.isolation.find(self.circuit, self.start, &place) {
            path = self.isolation.path(trial, self.circuit, self.start, (&place, &found));
        }
        let mut from = Vec::new();
        for step in &path {
            acts.push(step.told(self.circuit));
            minutes += place.minutes(self.circuit, *step);
            from.push(place.station);
            place.after(self.circuit, *step);
        }
        let deck = crew_stations(self.circuit).next().unwrap_or(place.station);
        if matches!(trying, Trying::Exchange(_) | Trying::Reset(_)) {
            acts.push("look whether that has helped".to_owned());
            minutes += observation::walking_minutes(self.circuit, place.station, deck);
        }
        let shown: Vec<(usize, Rig, Vec<Sight>)> = alive
            .into_par_iter()
            .map(|(at, rig)| {
                let (rig, sights) = through(rig, self.circuit, (&path, &from), trying, deck);
                (at, rig, sights)
            })
            .collect();
        let mut parts: Parts = BTreeMap::new();
        for one in shown {
            parts.entry(self.outcomes[test as usize][one.0]).or_default().push(one);
        }
        self.look_for_strays(&parts);
        Made { acts, path, minutes, clock: clock + minutes, place, parts }
    }

    /// Notes the faults that show in one branch what somebody would take for another.
    fn look_for_strays(&mut self, parts: &Parts) {
        for (outcome, part) in parts {
            for (at, _, sights) in part {
                let like = |(_, _, others): &(usize, Rig, Vec<Sight>)| alike(sights, others);
                let elsewhere =
                    parts.iter().any(|(other, part)| other != outcome && part.iter().any(like));
                if elsewhere {
                    self.astray.push(self.isolation.causes()[*at].code(self.circuit));
                }
            }
        }
    }
}

/// Aircraft with what they showed last, by the outcome that they belong to.
type Parts = BTreeMap<u16, Vec<(usize, Rig, Vec<Sight>)>>;

/// A test that has been made.
struct Made {
    acts: Vec<String>,
    path: Vec<observation::Step>,
    minutes: f64,
    clock: f64,
    place: Whereabouts,
    parts: Parts,
}

/// An aircraft after a test, and what was to be seen in it.
fn through(
    mut rig: Rig,
    circuit: &Circuit,
    (path, from): (&[observation::Step], &[StationId]),
    trying: Trying,
    deck: StationId,
) -> (Rig, Vec<Sight>) {
    let mut sights = Vec::new();
    if let Trying::Exchange(part) = trying {
        // Whoever exchanges a part also puts back what it had opened.
        if let Some(mended) = mended(&rig, circuit, part) {
            rig = mended;
        }
    } else {
        for (step, station) in path.iter().zip(from) {
            sights = rig.perform(*step, *station, &mut Vec::new()).unwrap_or_default();
        }
    }
    let faces = |rig: &Rig, station: StationId| -> Vec<Sight> {
        rig.faces(station)
            .map(|(part, showing)| Sight { what: What::Face(part), showing })
            .collect()
    };
    match trying {
        Trying::Exchange(_) => {
            let stations = circuit.stations_with_ids();
            sights = stations.flat_map(|(station, _)| faces(&rig, station)).collect();
        }
        Trying::Reset(_) if from.last() != Some(&deck) => sights.extend(faces(&rig, deck)),
        _ => {}
    }
    (rig, sights)
}

/// Whether somebody could take what two aircraft show for the same.
fn alike(one: &[Sight], other: &[Sight]) -> bool {
    one.len() == other.len() && one.iter().zip(other).all(|(a, b)| same(a.showing, b.showing))
}

fn same(a: Showing, b: Showing) -> bool {
    match (a, b) {
        (Showing::Dial(a), Showing::Dial(b)) => {
            a.range == b.range
                && a.reading(-1.0).mark <= b.reading(1.0).mark
                && b.reading(-1.0).mark <= a.reading(1.0).mark
        }
        _ => a == b,
    }
}

/// What a branch shows, by as few things as part it from every other one.
fn told(circuit: &Circuit, parts: &Parts, outcome: u16) -> Vec<String> {
    let Some(own) = parts.get(&outcome) else { return Vec::new() };
    let mut others: Vec<&Vec<Sight>> = parts
        .iter()
        .filter(|(other, _)| **other != outcome)
        .flat_map(|(_, part)| part.iter().map(|(_, _, sights)| sights))
        .collect();
    let things = own.iter().map(|(_, _, sights)| sights.len()).max().unwrap_or(0);
    let mut chosen: Vec<usize> = Vec::new();
    // The thing that parts it from most of what is still alike, again and again.
    while !others.is_empty() {
        let parted =
            |thing: usize| others.iter().filter(|other| !like_any(own, other, thing)).count();
        let Some(best) = (0..things)
            .filter(|thing| !chosen.contains(thing))
            .max_by_key(|thing| (parted(*thing), things - *thing))
            .filter(|thing| parted(*thing) > 0)
        else {
            break;
        };
        others.retain(|other| like_any(own, other, best));
        chosen.push(best);
    }
    chosen.sort_unstable();
    chosen.iter().filter_map(|thing| words(circuit, own, *thing)).collect()
}

/// Puts the branch that takes most words last and calls it the rest, where others say what it
/// is not.
fn rest_last(shown: &mut Vec<(u16, u32, Vec<String>)>) {
    /// Things that a branch may name.
    const FEW: usize = 3;
    let longest = (0..shown.len()).max_by_key(|at| match shown[*at].2.len() {
        // Nothing that parts it for certain: told by what the others are.
        0 => usize::MAX,
        things => things,
    });
    let Some(at) = longest.filter(|at| {
        let things = shown[*at].2.len();
        things == 0 || things > FEW
    }) else {
        return;
    };
    let (outcome, next, _) = shown.remove(at);
    shown.push((outcome, next, vec!["none of these".to_owned()]));
}

/// Whether an aircraft shows of one thing what any of a branch could be taken to show.
fn like_any(own: &[(usize, Rig, Vec<Sight>)], other: &[Sight], thing: usize) -> bool {
    let Some(seen) = other.get(thing) else { return false };
    own.iter().any(|(_, _, sights)| {
        sights.get(thing).is_some_and(|sight| same(sight.showing, seen.showing))
    })
}

/// What a branch shows of one thing: one word, or the lowest and the highest reading.
fn words(circuit: &Circuit, own: &[(usize, Rig, Vec<Sight>)], thing: usize) -> Option<String> {
    let seen: Vec<Sight> = own.iter().filter_map(|(_, _, s)| s.get(thing).copied()).collect();
    let what = seen.first()?.what;
    let mut told: Vec<(i64, String)> = seen
        .iter()
        .map(|sight| match sight.showing {
            Showing::Look(look) => (0, Percept::Look(look).told(what, circuit)),
            Showing::Position(at) => (0, Percept::Position(at).told(what, circuit)),
            Showing::Dial(dial) => {
                let reading = dial.reading(0.0);
                (reading.mark, Percept::Reading(reading).told(what, circuit))
            }
        })
        .collect();
    told.sort();
    told.dedup();
    let dial = seen.iter().all(|sight| matches!(sight.showing, Showing::Dial(_)));
    let values: Vec<String> = match (&told[..], dial) {
        ([first, .., last], true) => vec![format!("{} to {}", first.1, last.1)],
        (all, _) => all.iter().map(|(_, told)| told.clone()).collect(),
    };
    Some(format!("{} {}", what.told(circuit), values.join(" or ")))
}

/// How one begins, and what to mind at the places one is led to.
fn begin(circuit: &Circuit, start: &Whereabouts, nodes: &[Node]) -> Vec<String> {
    let standing: Vec<String> = circuit
        .parts
        .iter()
        .filter_map(|part| {
            let control = part.kind.control()?;
            let position = control.positions.get(usize::from(control.start))?;
            Some(format!("{} {position}", part.label))
        })
        .collect();
    let mut told = vec![format!("Begin at {}", circuit.station(start.station).title)];
    if !standing.is_empty() {
        told[0] = format!("{} with {}", told[0], standing.join(", "));
    }
    let steps = nodes.iter().filter_map(|node| match node {
        Node::Step(step) => Some(&step.path),
        Node::Leaf(_) => None,
    });
    let mut places = vec![start.station];
    for step in steps.flatten() {
        if let observation::Step::Go(place) = step
            && !places.contains(place)
        {
            places.push(*place);
        }
    }
    for place in places {
        let station = circuit.station(place);
        for caution in &station.cautions {
            told.push(format!("Caution, {}: {}", station.title, caution.trim_end_matches('.')));
        }
    }
    told
}
