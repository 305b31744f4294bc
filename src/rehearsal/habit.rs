//! Habits: how a simulated trainee chooses the next step, and when they call.

use super::ground::{Ground, Standing};
use crate::chance::Chance;
use crate::diagnosis::NO_BITS;
use crate::drill::PROVEN;
use crate::isolation::Trying;
use crate::score::{Ending, Record, StepRecord};

/// Steps after which a trainee gives up and calls what seems likeliest.
const PATIENCE: usize = 40;
/// How often a forgetful trainee does again what they have done, and how often one
/// misreads what is shown: assumptions.
const FORGETS: f64 = 0.3;
const MISREADS: f64 = 0.15;
/// How often a step of the random one is an exchange: an assumption.
const SWAPS_AT_RANDOM: f64 = 0.1;

/// A habit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Habit {
    /// Makes the best step known.
    BestStep,
    /// Makes the step that divides what is left most evenly, of those about as good the
    /// nearest; changes parts only when nothing else tells anything.
    HalfSplitter,
    /// Works down one list of steps made beforehand, whatever has been seen.
    ChartFollower,
    /// Makes the quickest step that tells anything.
    NearestFirst,
    /// Looks at the flight deck in every setting of the controls, then changes what that
    /// points at.
    TrustsTheLamp,
    /// Changes the likeliest part, and the next, until it works.
    PartsSwapper,
    /// Makes any step.
    Random,
    /// Makes the best step, but often repeats one.
    Forgetful,
    /// Makes the best step, but now and then misreads what is shown.
    MisreadsTheNeedle,
    /// Calls the likeliest part at once.
    LuckyGuesser,
}

impl Habit {
    /// All of them, the best first.
    pub const ALL: [Self; 10] = [
        Self::BestStep,
        Self::HalfSplitter,
        Self::ChartFollower,
        Self::NearestFirst,
        Self::Forgetful,
        Self::MisreadsTheNeedle,
        Self::TrustsTheLamp,
        Self::PartsSwapper,
        Self::Random,
        Self::LuckyGuesser,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::BestStep => "best-step",
            Self::HalfSplitter => "half-splitter",
            Self::ChartFollower => "chart-follower",
            Self::NearestFirst => "nearest-first",
            Self::TrustsTheLamp => "trusts-the-lamp",
            Self::PartsSwapper => "parts-swapper",
            Self::Random => "random",
            Self::Forgetful => "forgetful",
            Self::MisreadsTheNeedle => "misreads-the-needle",
            Self::LuckyGuesser => "lucky-guesser",
        }
    }

    /// Works one drill with this fault and returns the record and how many parts were
    /// exchanged.
    pub(super) fn work(
        self,
        ground: &Ground<'_>,
        fault: u32,
        chance: &mut Chance,
    ) -> (Record, u32) {
        let start = ground.start(fault);
        let mut drill = Drill {
            ground,
            fault,
            truth: start.clone(),
            believed: start.clone(),
            made: Vec::new(),
            steps: Vec::new(),
            minutes: 0.0,
            parts: 0,
        };
        while drill.steps.len() < PATIENCE {
            let Some(test) = self.next(&drill, chance) else { break };
            let misread = self == Self::MisreadsTheNeedle && chance.unit() < MISREADS;
            drill.make(test, misread.then_some(chance));
        }
        let par = ground.worth(&start).upper.max(best_minutes(ground, &start, fault));
        (drill.record(par), drill.parts)
    }

    /// The test to make next; `None` to call.
    fn next(self, drill: &Drill<'_>, chance: &mut Chance) -> Option<u32> {
        let (ground, here) = (drill.ground, &drill.believed);
        if self == Self::LuckyGuesser || ground.likeliest(here).1 >= PROVEN {
            return None;
        }
        let telling = || (0..ground.tests()).filter(|test| ground.tells(here, *test));
        let exchange = |test: &u32| matches!(ground.trial(*test).trying, Trying::Exchange(_));
        let best = || ground.worth(here).best;
        match self {
            Self::BestStep | Self::MisreadsTheNeedle => best(),
            Self::Forgetful => {
                let again = !drill.made.is_empty() && chance.unit() < FORGETS;
                if again {
                    let at = (chance.unit() * drill.made.len() as f64) as usize;
                    Some(drill.made[at])
                } else {
                    best()
                }
            }
            Self::HalfSplitter => {
                let splits = |swap: bool| -> Option<u32> {
                    let bits: Vec<(u32, f64)> = telling()
                        .filter(|test| exchange(test) == swap)
                        .map(|test| (test, ground.bits(here, test)))
                        .filter(|(_, bits)| *bits > NO_BITS)
                        .collect();
                    let best = bits.iter().map(|(_, bits)| *bits).fold(0.0, f64::max);
                    let even = bits.iter().filter(|(_, bits)| *bits >= AS_EVEN * best);
                    let nearness = |test: u32| -ground.minutes(here, test).1;
                    most(even.map(|(test, _)| *test), nearness).map(|(test, _)| test)
                };
                splits(false).or_else(|| splits(true))
            }
            Self::ChartFollower => {
                // The list: quickest information first, as seen from the start.
                let start = ground.start(drill.fault);
                let rate = |t: u32| {
                    ground.bits(&start, t) / ground.minutes(&start, t).1.max(LEAST_MINUTES)
                };
                let fresh = (0..ground.tests())
                    .filter(|t| !drill.made.contains(t) && ground.tells(&start, *t));
                most(fresh, rate).map(|(test, _)| test)
            }
            Self::NearestFirst => {
                let nearness = |t: u32| -ground.minutes(here, t).1;
                let tells = telling().filter(|t| ground.bits(here, *t) > 0.0);
                most(tells, nearness).map(|(test, _)| test)
            }
            Self::TrustsTheLamp => {
                let looks = |t: &u32| {
                    matches!(ground.trial(*t).trying, Trying::Look | Trying::Hold(_))
                        && ground.minutes(here, *t).1 <= LOOK_MINUTES
                };
                most(telling().filter(looks), |t| ground.bits(here, t))
                    .filter(|(_, bits)| *bits > 0.0)
                    .map(|(test, _)| test)
                    .or_else(|| drill.likeliest_exchange())
            }
            Self::PartsSwapper => drill.likeliest_exchange(),
            Self::Random => {
                let swap = chance.unit() < SWAPS_AT_RANDOM;
                let list: Vec<u32> = (0..ground.tests()).filter(|t| exchange(t) == swap).collect();
                list.get((chance.unit() * list.len() as f64) as usize).copied()
            }
            Self::LuckyGuesser => None,
        }
    }
}

/// Nothing counts as quicker than this.
const LEAST_MINUTES: f64 = 0.05;
/// A split counts as even that tells this share of what the most even one does.
const AS_EVEN: f64 = 0.8;
/// A look that takes no longer is one from where one stands.
const LOOK_MINUTES: f64 = 0.25;

/// The item that is worth most, the first of equals, with its worth.
fn most(items: impl Iterator<Item = u32>, worth: impl Fn(u32) -> f64) -> Option<(u32, f64)> {
    items.map(|item| (item, worth(item))).reduce(|a, b| if b.1 > a.1 { b } else { a })
}

/// Minutes that the best known strategy takes for one fault.
fn best_minutes(ground: &Ground<'_>, start: &Standing, fault: u32) -> f64 {
    let (mut here, mut minutes) = (start.clone(), 0.0);
    while let Some(test) = ground.worth(&here).best {
        if ground.likeliest(&here).1 >= PROVEN {
            break;
        }
        minutes += ground.minutes(&here, test).1;
        here = ground.after(&here, test, fault);
    }
    minutes
}

/// A drill in the hands of a simulated trainee.
struct Drill<'a> {
    ground: &'a Ground<'a>,
    fault: u32,
    /// What is known of the fault.
    truth: Standing,
    /// What the trainee takes for known.
    believed: Standing,
    made: Vec<u32>,
    steps: Vec<StepRecord>,
    minutes: f64,
    parts: u32,
}

impl Drill<'_> {
    /// Makes a test; with `misread` what it shows is taken for something else that could
    /// have been shown.
    fn make(&mut self, test: u32, misread: Option<&mut Chance>) {
        let ground = self.ground;
        self.steps.push(ground.judge(&self.truth, test, self.fault));
        self.minutes += ground.minutes(&self.truth, test).1;
        self.parts += u32::from(matches!(ground.trial(test).trying, Trying::Exchange(_)));
        let mut shown = ground.outcome(test, self.fault);
        if let Some(chance) = misread {
            let mut others: Vec<u16> =
                self.believed.alive.iter().map(|at| ground.outcome(test, *at)).collect();
            others.sort_unstable();
            others.dedup();
            others.retain(|other| *other != shown);
            if let Some(other) = others.get((chance.unit() * others.len() as f64) as usize) {
                shown = *other;
            }
        }
        let believed = ground.with_outcome(&self.believed, test, shown);
        self.truth = ground.after(&self.truth, test, self.fault);
        // Somebody for whom nothing is left starts again from what really was shown.
        self.believed = if believed.alive.is_empty() { self.truth.clone() } else { believed };
        self.made.push(test);
    }

    /// The exchange of the likeliest part that has not been exchanged yet.
    fn likeliest_exchange(&self) -> Option<u32> {
        let ground = self.ground;
        let group = |group: u32| {
            let all = self.believed.alive.iter().copied().filter(|at| ground.group(*at) == group);
            all.collect::<Vec<_>>()
        };
        let mut groups: Vec<u32> = self.believed.alive.iter().map(|at| ground.group(*at)).collect();
        groups.sort_unstable();
        groups.dedup();
        let fresh = |test: &u32| {
            !self.made.contains(test) && matches!(ground.trial(*test).trying, Trying::Exchange(_))
        };
        let exchanges: Vec<u32> = (0..ground.tests()).filter(fresh).collect();
        let of_group = |at: u32| {
            let of_it = |part| group(at).into_iter().any(|c| ground.concerns(c, part));
            exchanges.iter().copied().find(
                |test| matches!(ground.trial(*test).trying, Trying::Exchange(part) if of_it(part)),
            )
        };
        let mut ranked: Vec<(f64, u32)> =
            groups.iter().map(|at| (ground.share(&self.believed, *at), *at)).collect();
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        ranked.into_iter().find_map(|(_, at)| of_group(at))
    }

    fn record(&self, par_minutes: f64) -> Record {
        let ground = self.ground;
        let (called, _) = ground.likeliest(&self.believed);
        let right = called == ground.group(self.fault);
        let proven = ground.share(&self.truth, called) >= PROVEN;
        Record {
            steps: self.steps.clone(),
            ending: match (right, proven) {
                (true, true) => Ending::Proven,
                (true, false) => Ending::Unproven,
                (false, _) => Ending::Wrong,
            },
            minutes: self.minutes,
            par_minutes,
            cleared: ground.cleared(&ground.start(self.fault), &self.truth),
            wrong_marks: 0,
            reminded: 0,
            judged: 0,
            unchecked: false,
        }
    }
}
