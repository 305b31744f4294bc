//! The ground that is worked on: a table, and what is known of each standing in it.

use std::collections::BTreeMap;
use std::sync::{Mutex, OnceLock, PoisonError};

use crate::chance::Chance;
use crate::circuit::{PartId, StationId};
use crate::diagnosis::{NO_BITS, entropy_bits};
use crate::drill::PROVEN;
use crate::isolation::{Isolation, Position, Trial, Trying};
use crate::planning::{self, Setup};
use crate::score::{Exchanged, StepRecord};

/// Work spent on one standing, in table entries touched.
const WORK: u64 = 4_000_000;

/// What is left, and where one stands.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Standing {
    /// Candidates still possible, in order.
    pub alive: Vec<u32>,
    /// Stations visited, in order.
    pub open: Vec<u32>,
    pub setting: Option<u32>,
}

/// What a standing is worth.
#[derive(Clone, Copy, Debug)]
pub(super) struct Worth {
    /// No strategy takes fewer expected minutes; one takes at most so many.
    pub lower: f64,
    pub upper: f64,
    /// The test to make first.
    pub best: Option<u32>,
}

/// A table with what has been worked out of it. What it says depends on the table alone.
#[derive(Debug)]
pub struct Ground<'a> {
    isolation: &'a Isolation,
    deck: u32,
    known: Mutex<BTreeMap<Standing, Worth>>,
    weights: OnceLock<Vec<f64>>,
}

impl<'a> Ground<'a> {
    /// Makes ready the table of a system whose flight deck is this station.
    pub fn new(isolation: &'a Isolation, deck: StationId) -> Self {
        Self {
            isolation,
            deck: deck.index() as u32,
            known: Mutex::default(),
            weights: OnceLock::new(),
        }
    }

    /// The same for a drill that hides one of these, by their places among the isolation's
    /// candidates, each with how often.
    pub fn of_drill(isolation: &'a Isolation, deck: StationId, hidden: &[(usize, f64)]) -> Self {
        let mut weights = vec![0.0; isolation.candidates().len()];
        for (at, weight) in hidden {
            weights[*at] += weight;
        }
        let ground = Self::new(isolation, deck);
        ground.weights.get_or_init(|| weights);
        ground
    }

    /// Draws a fault by its weight, among those that make a drill.
    pub(super) fn draw(&self, chance: &mut Chance) -> u32 {
        chance.weighted(self.weights.get_or_init(|| self.drills())).map_or(0, |at| at as u32)
    }

    /// The weight of every fault whose drill takes reasoning: the first look leaves a
    /// question, the best first step is no exchange of a part, and the tests can prove what
    /// is wrong. Where they cannot, nobody could be marked for a proof; on the aircraft
    /// itself ohms or a second control may tell more. Where there is none, the weights of all.
    fn drills(&self) -> Vec<f64> {
        let all: Vec<f64> = self.isolation.table().candidates.iter().map(|c| c.weight).collect();
        let mut known: BTreeMap<Standing, bool> = BTreeMap::new();
        let asked: Vec<f64> = (0..)
            .zip(&all)
            .map(|(at, weight)| {
                let start = self.start(at);
                let asks = |start: &Standing| {
                    self.likeliest(start).1 < PROVEN && self.begins_with_a_test(start)
                };
                let asked = known.get(&start).copied().unwrap_or_else(|| asks(&start));
                known.insert(start, asked);
                if asked && self.is_provable(at) { *weight } else { 0.0 }
            })
            .collect();
        if asked.iter().any(|weight| *weight > 0.0) { asked } else { all }
    }

    /// Whether all tests together prove a repair group where this is the fault.
    fn is_provable(&self, fault: u32) -> bool {
        let start = self.start(fault);
        let alike = |at: &u32| {
            (0..self.tests()).all(|test| self.outcome(test, *at) == self.outcome(test, fault))
        };
        let alive = start.alive.iter().copied().filter(alike).collect();
        self.likeliest(&Standing { alive, ..start }).1 >= PROVEN
    }

    fn begins_with_a_test(&self, standing: &Standing) -> bool {
        let best = self.worth(standing).best;
        best.is_some_and(|test| !matches!(self.trial(test).trying, Trying::Exchange(_)))
    }

    /// Whether a look or a measurement could tell something about the repair group.
    pub(super) fn is_untested(&self, standing: &Standing) -> bool {
        (0..self.tests()).any(|test| {
            !matches!(self.trial(test).trying, Trying::Exchange(_))
                && self.tells(standing, test)
                && self.bits(standing, test) > NO_BITS
        })
    }

    /// Where a drill with this fault begins: on the flight deck, having looked around.
    pub(super) fn start(&self, fault: u32) -> Standing {
        let table = self.isolation.table();
        let standing = Standing {
            alive: (0..table.candidates.len() as u32).collect(),
            open: table.open.clone(),
            setting: table.start,
        };
        let look = |trial: &Trial| {
            trial.trying == Trying::Look
                && trial.station.index() as u32 == self.deck
                && trial.setting.is_none()
        };
        match self.isolation.trials().iter().position(look) {
            Some(look) => self.after(&standing, look as u32, fault),
            None => standing,
        }
    }

    /// How many tests there are.
    pub(super) fn tests(&self) -> u32 {
        self.isolation.trials().len() as u32
    }

    /// What a test is.
    pub(super) fn trial(&self, test: u32) -> &'a Trial {
        &self.isolation.trials()[test as usize]
    }

    /// What a test shows of a candidate.
    pub(super) fn outcome(&self, test: u32, candidate: u32) -> u16 {
        self.isolation.table().tests[test as usize].outcomes[candidate as usize]
    }

    /// Minutes that a test takes: by itself, and with walk, opening and control.
    pub(super) fn minutes(&self, standing: &Standing, test: u32) -> (f64, f64) {
        let own = self.isolation.table().tests[test as usize].minutes;
        (own, own + self.setup(standing, test).minutes)
    }

    /// What has to be done before a test.
    fn setup(&self, standing: &Standing, test: u32) -> Setup {
        let is_open = |place: u32| standing.open.contains(&place);
        self.isolation.table().setup(test, is_open, standing.setting)
    }

    /// Whether a test tells anything.
    pub(super) fn tells(&self, standing: &Standing, test: u32) -> bool {
        let first = self.outcome(test, standing.alive[0]);
        standing.alive.iter().any(|at| self.outcome(test, *at) != first)
    }

    /// The standing after a test, where this is the fault.
    pub(super) fn after(&self, standing: &Standing, test: u32, fault: u32) -> Standing {
        self.with_outcome(standing, test, self.outcome(test, fault))
    }

    /// The same for an outcome.
    pub(super) fn with_outcome(&self, standing: &Standing, test: u32, shown: u16) -> Standing {
        let alive = standing.alive.iter().copied();
        let mut next = Standing {
            alive: alive.filter(|at| self.outcome(test, *at) == shown).collect(),
            ..standing.clone()
        };
        let setup = self.setup(standing, test);
        next.open.extend(setup.opens.into_iter().flatten());
        next.open.sort_unstable();
        next.setting = setup.configuration;
        next
    }

    fn weight(&self, candidate: u32) -> f64 {
        self.isolation.table().candidates[candidate as usize].weight
    }

    /// Whether exchanging a part would help against a candidate.
    pub(super) fn concerns(&self, candidate: u32, part: PartId) -> bool {
        self.isolation.causes()[candidate as usize].concerns(part)
    }

    /// The repair group of a candidate.
    pub(super) fn group(&self, candidate: u32) -> u32 {
        self.isolation.table().candidates[candidate as usize].group
    }

    /// The likeliest repair group and its probability.
    pub(super) fn likeliest(&self, standing: &Standing) -> (u32, f64) {
        let mut groups: BTreeMap<u32, f64> = BTreeMap::new();
        for at in &standing.alive {
            *groups.entry(self.group(*at)).or_default() += self.weight(*at);
        }
        let all: f64 = groups.values().sum();
        let first = (0, 0.0);
        let (group, most) =
            groups.into_iter().fold(first, |best, next| if next.1 > best.1 { next } else { best });
        (group, most / all)
    }

    /// Uncertainty about the repair group, in bits.
    fn doubt(&self, standing: &Standing) -> f64 {
        let mut groups: BTreeMap<u32, f64> = BTreeMap::new();
        for at in &standing.alive {
            *groups.entry(self.group(*at)).or_default() += self.weight(*at);
        }
        let all: f64 = groups.values().sum();
        entropy_bits(&groups.into_values().map(|weight| weight / all).collect::<Vec<_>>())
    }

    /// Share of the doubt at the start that is cleared in a standing; all of it where nothing
    /// tells any more.
    pub(super) fn cleared(&self, start: &Standing, now: &Standing) -> f64 {
        let (before, after) = (self.doubt(start), self.doubt(now));
        match self.worth(now).best {
            None => 1.0,
            Some(_) if before <= NO_BITS => 0.0,
            Some(_) => (1.0 - after / before).clamp(0.0, 1.0),
        }
    }

    /// The probability of a repair group.
    pub(super) fn share(&self, standing: &Standing, group: u32) -> f64 {
        let weight = |at: &u32| self.weight(*at);
        let all: f64 = standing.alive.iter().map(weight).sum();
        let own = standing.alive.iter().filter(|at| self.group(**at) == group);
        own.map(weight).sum::<f64>() / all
    }

    /// Bits that a test is expected to tell about the repair group.
    pub(super) fn bits(&self, standing: &Standing, test: u32) -> f64 {
        let mut outcomes: BTreeMap<u16, BTreeMap<u32, f64>> = BTreeMap::new();
        let mut before: BTreeMap<u32, f64> = BTreeMap::new();
        for at in &standing.alive {
            let (group, weight) = (self.group(*at), self.weight(*at));
            *outcomes.entry(self.outcome(test, *at)).or_default().entry(group).or_default() +=
                weight;
            *before.entry(group).or_default() += weight;
        }
        // Entropies weighted by what they are of: `W log2 W - sum w log2 w`.
        let spread = |groups: &BTreeMap<u32, f64>| {
            let all: f64 = groups.values().sum();
            let log = |w: f64| if w > 0.0 { w * libm::log2(w) } else { 0.0 };
            log(all) - groups.values().map(|w| log(*w)).sum::<f64>()
        };
        let all: f64 = before.values().sum();
        ((spread(&before) - outcomes.values().map(spread).sum::<f64>()) / all).max(0.0)
    }

    /// What a standing is worth.
    pub(super) fn worth(&self, standing: &Standing) -> Worth {
        let group = self.group(standing.alive[0]);
        if standing.alive.iter().all(|at| self.group(*at) == group) {
            return Worth { lower: 0.0, upper: 0.0, best: None };
        }
        let known = |ground: &Self| {
            let known = ground.known.lock().unwrap_or_else(PoisonError::into_inner);
            known.get(standing).copied()
        };
        if let Some(worth) = known(self) {
            return worth;
        }
        let mut weights = vec![0.0; self.isolation.table().candidates.len()];
        for at in &standing.alive {
            weights[*at as usize] = self.weight(*at);
        }
        let open = standing.open.clone();
        let setting = standing.setting;
        let position = Position { weights, open, setting, ..self.isolation.start() };
        let worth = match self.isolation.problem(&position) {
            Ok((problem, which)) => {
                let advice = planning::advise(&problem, WORK);
                let best = advice.test.map(|test| which[test as usize]);
                Worth { lower: advice.lower, upper: advice.upper, best }
            }
            // There is always a candidate left, and a table that was one problem is one
            // with fewer candidates too.
            Err(_) => Worth { lower: 0.0, upper: 0.0, best: None },
        };
        self.known.lock().unwrap_or_else(PoisonError::into_inner).insert(standing.clone(), worth);
        worth
    }

    /// Judges a test made where one stands, with this fault.
    pub(super) fn judge(&self, standing: &Standing, test: u32, fault: u32) -> StepRecord {
        let (own, all) = self.minutes(standing, test);
        let exchanged = match self.trial(test).trying {
            Trying::Exchange(part) if self.concerns(fault, part) => Some(Exchanged::Failed),
            Trying::Exchange(_) => Some(Exchanged::Good),
            Trying::Look
            | Trying::Hold(_)
            | Trying::Measure(_)
            | Trying::PullFuse(_)
            | Trying::Reset(_) => None,
        };
        let untested = exchanged.is_some() && self.is_untested(standing);
        let record = StepRecord { exchanged, untested, ..StepRecord::default() };
        if !self.tells(standing, test) {
            return StepRecord { lost_minutes: (own, all), implied: true, ..record };
        }
        let before = self.worth(standing);
        let (mut lower, mut upper, mut sum) = (0.0, 0.0, 0.0);
        let mut outcomes: BTreeMap<u16, f64> = BTreeMap::new();
        for at in &standing.alive {
            *outcomes.entry(self.outcome(test, *at)).or_default() += self.weight(*at);
            sum += self.weight(*at);
        }
        for (outcome, weight) in outcomes {
            let next = self.worth(&self.with_outcome(standing, test, outcome));
            lower += weight / sum * next.lower;
            upper += weight / sum * next.upper;
        }
        let least = (all + lower - before.upper).max(0.0);
        let most = (all + upper - before.lower).max(least);
        StepRecord { lost_minutes: (least, most), ..record }
    }
}
