//! The best next step, planned: the table of a drill is made once, and every state that
//! it holds is looked up in it.

use std::sync::OnceLock;

use super::session::{Advice, PROVEN, advise_by};
use super::thoughts::Thoughts;
use crate::circuit::{Circuit, StationId};
use crate::diagnosis::{
    Belief, Candidate, NO_BITS, Prospect, best_single_among, outcomes_of_path, path_with_look,
    value_of_path,
};
use crate::isolation::{Found, Isolation, Position, Trying};
use crate::observation::{Act, Rig, Step, Whereabouts};
use crate::planning::{self, Problem, Strategy};
use crate::units::minutes;

/// Work spent on one piece of advice, in table entries touched: the same on every machine,
/// and some tens of milliseconds on a usual one.
const WORK: u64 = 1_500_000;

/// Work spent on the strategy from the start.
const STRATEGY_WORK: u64 = 40_000_000;

/// Work spent on what is left after each outcome of a step outside the table.
const WORK_AFTER: u64 = 200_000;

/// Faults up to which a table is made afresh where the state is not in the first one; with
/// more of them that would take too long to wait for.
const FEW_ENOUGH: usize = 40;

/// What a piece of advice rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rests {
    /// A strategy for all that is left, from the table of the drill or one made afresh.
    Plan(Outlook),
    /// Bits a minute of one step: no table holds the state.
    Weighing,
}

/// What a strategy promises from here on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlook {
    /// Expected minutes of the best strategy found, until everything that can be told apart
    /// has been.
    pub minutes: f64,
    /// No strategy of the table's tests takes fewer; zero where the first step is none of them.
    pub least_minutes: f64,
}

impl Rests {
    /// In words, as one sentence.
    pub fn told(&self) -> String {
        match self {
            Self::Plan(Outlook { minutes: expected, least_minutes: least }) => format!(
                "Planned: {} expected from here to a proven call, every station walked to once; {}.",
                minutes(*expected),
                if *least == 0.0 {
                    "it begins outside the table, so no floor is proved".to_owned()
                } else if minutes(*expected) == minutes(*least) {
                    "proved the least with the tests it reckons with".to_owned()
                } else {
                    format!("no strategy takes less than {}", minutes(*least))
                }
            ),
            Self::Weighing => "No plan holds as things stand: this step was weighed by itself, \
                               and tells most a minute."
                .to_owned(),
        }
    }
}

/// The table of a drill, and the aircraft that it was made of.
#[derive(Clone, Debug)]
pub struct Advisor {
    start: Whereabouts,
    isolation: Isolation,
    belief: Belief,
    best: OnceLock<Option<Best>>,
}

/// The best strategy known from the start of a drill.
#[derive(Clone, Debug)]
pub struct Best {
    /// The problem that it solves.
    pub problem: Problem,
    /// Where each test of that stands among [`Isolation::trials`].
    pub which: Vec<u32>,
    /// The strategy.
    pub strategy: Strategy,
}

impl Advisor {
    /// Makes the table of a drill as the write-up leaves it: `belief` is what that says, from
    /// where one starts.
    pub fn new(belief: Belief, circuit: &Circuit, start: Whereabouts) -> Self {
        let isolation = Isolation::new(&belief, circuit, &start);
        Self { start, isolation, belief, best: OnceLock::new() }
    }

    /// What was known when the table was made.
    pub fn belief(&self) -> &Belief {
        &self.belief
    }

    /// Where one began, and with what.
    pub fn start(&self) -> &Whereabouts {
        &self.start
    }

    /// The best strategy known from the start; `None` where nothing is possible. It is worked
    /// out when it is first asked for.
    pub fn best(&self) -> Option<&Best> {
        let best = self.best.get_or_init(|| {
            let (problem, which) = self.isolation.problem(&self.isolation.start()).ok()?;
            let strategy = planning::strategy(&problem, STRATEGY_WORK);
            Some(Best { problem, which, strategy })
        });
        best.as_ref()
    }

    /// The table.
    pub fn isolation(&self) -> &Isolation {
        &self.isolation
    }

    /// Where somebody stands in the table; `None` where it does not hold: more than one
    /// control has been moved, or some fault that is still possible would have left the
    /// aircraft otherwise than it was when the table was made.
    pub fn find(&self, belief: &Belief, circuit: &Circuit, place: &Whereabouts) -> Option<Found> {
        let found = self.isolation.find(circuit, &self.start, place)?;
        let moved = self.isolation.moved(found.setting);
        let (mut all, known) =
            (belief.candidates().iter().enumerate(), self.isolation.candidates());
        let holds = |at: usize, candidate: &Candidate| {
            known.binary_search(&at).is_ok()
                && self.belief.candidates().get(at).is_some_and(|then| {
                    let (now, before) = (candidate.rig(), then.rig());
                    then.cause == candidate.cause
                        && now
                            .zip(before)
                            .is_some_and(|(now, before)| same(now, before, circuit, &found, moved))
                })
        };
        all.all(|(at, now)| now.excluded.is_some() || holds(at, now)).then_some(found)
    }

    /// Where somebody stands, with what is known, as the planner takes it.
    pub fn position(
        &self,
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
        found: Option<&Found>,
    ) -> Position {
        self.isolation.position(circuit, (&self.start, place), found, &belief.posterior())
    }

    /// The best next step, or the call. It depends on the table, what is known and where one
    /// stands alone; `thoughts` only spare working the same out again.
    pub fn advise(
        &self,
        thoughts: &Thoughts,
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
    ) -> Advice {
        let groups = belief.group_posterior();
        let weighed = || advise_by(belief, circuit, || thoughts.best(belief, circuit, place));
        if groups.iter().any(|p| *p >= PROVEN) {
            return weighed();
        }
        let candidates = belief.alive().count();
        let planned = thoughts.planned(belief, place, || {
            self.planned(belief, circuit, place).or_else(|| {
                (candidates > 0 && candidates <= FEW_ENOUGH)
                    .then(|| thoughts.afresh(belief, circuit, place))
                    .and_then(|afresh| afresh.planned(belief, circuit, place))
            })
        });
        let Some((prospect, outlook)) = planned else { return weighed() };
        let groups = groups.iter().filter(|p| **p > 0.0).count();
        Advice::Do { prospect, candidates, groups, rests: Rests::Plan(outlook) }
    }

    /// Expected minutes when a step outside the table is made first and the best strategy
    /// known in it follows.
    fn minutes_after(
        &self,
        belief: &Belief,
        circuit: &Circuit,
        (place, found): (&Whereabouts, &Found),
        prospect: &Prospect,
    ) -> f64 {
        let path = prospect.path();
        let mut then = place.clone();
        for step in &path {
            then.after(circuit, *step);
        }
        let later = self.isolation.find(circuit, &self.start, &then);
        let outcomes = outcomes_of_path(belief, place, &path);
        let mut weights = vec![0.0; belief.candidates().len()];
        let after: f64 = outcomes
            .iter()
            .map(|outcome| {
                weights.fill(0.0);
                for (at, p) in outcome {
                    weights[*at] += p;
                }
                let found = later.as_ref().unwrap_or(found);
                let places = (&self.start, &then);
                let position = self.isolation.position(circuit, places, Some(found), &weights);
                let mass: f64 = outcome.iter().map(|(_, p)| p).sum();
                self.isolation
                    .problem(&position)
                    .map_or(0.0, |(problem, _)| mass * planning::advise(&problem, WORK_AFTER).upper)
            })
            .sum();
        prospect.minutes + after
    }

    /// The first step of the best strategy that the table gives, if it holds here and any of
    /// its tests tells something; or a step outside the table where that is quicker.
    fn planned(
        &self,
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
    ) -> Option<(Prospect, Outlook)> {
        let found = self.find(belief, circuit, place)?;
        let position = self.position(belief, circuit, place, Some(&found));
        let (problem, which) = self.isolation.problem(&position).ok()?;
        let advice = planning::advise(&problem, WORK);
        let test = which[advice.test? as usize];
        let prospect = self.prospect(test, belief, circuit, (place, &found))?;
        let outlook = Outlook { minutes: advice.upper, least_minutes: advice.lower };
        // The plan already is the best of the table's tests, and a step that by itself takes
        // longer than all of it is out.
        let outside = |step: Step, station: StationId, minutes: f64| {
            minutes < outlook.minutes
                && self.isolation.trial_of(step, station, position.setting).is_none()
        };
        if belief.alive().count() <= FEW_ENOUGH
            && let Some(single) = best_single_among(belief, circuit, place, outside)
        {
            let minutes = self.minutes_after(belief, circuit, (place, &found), &single);
            if minutes < outlook.minutes {
                // The floor holds for strategies of the table's tests alone.
                return Some((single, Outlook { minutes, least_minutes: 0.0 }));
            }
        }
        // What the table takes for a difference may be none to these eyes.
        (prospect.bits > NO_BITS).then_some((prospect, outlook))
    }

    /// A test as steps from here, with their value.
    pub fn prospect(
        &self,
        test: u32,
        belief: &Belief,
        circuit: &Circuit,
        (place, found): (&Whereabouts, &Found),
    ) -> Option<Prospect> {
        let path = match self.isolation.trials()[test as usize].trying {
            Trying::Exchange(part) => path_with_look(belief, circuit, place, Act::Replace(part)),
            Trying::Reset(breaker) => path_with_look(belief, circuit, place, Act::PushIn(breaker)),
            Trying::Look | Trying::Hold(_) | Trying::Measure(_) | Trying::PullFuse(_) => {
                self.isolation.path(test, circuit, &self.start, (place, found))
            }
        };
        value_of_path(belief, circuit, place, &path)
    }
}

/// Whether an aircraft now is as it was when the table was made, but for the control moved
/// since and fuses that are out.
fn same(now: &Rig, then: &Rig, circuit: &Circuit, found: &Found, moved: Option<Act>) -> bool {
    if found.fuses_out.is_empty() && moved.is_none() && now.is(then) {
        return true;
    }
    if !now.failed_parts().eq(then.failed_parts()) {
        return false;
    }
    let after = |rig: &Rig, acts: &mut dyn Iterator<Item = Act>| {
        let mut rig = rig.clone();
        for act in acts {
            let station = circuit.part(act.part()).station;
            rig.perform(Step::Act(act), station, &mut Vec::new()).ok()?;
        }
        Some(rig)
    };
    let mut refits = found.fuses_out.iter().map(|fuse| Act::Refit(*fuse));
    let (now, then) = (after(now, &mut refits), after(then, &mut moved.into_iter()));
    match (now, then) {
        (Some(now), Some(then)) => now.settled().state.parts == then.settled().state.parts,
        _ => false,
    }
}
