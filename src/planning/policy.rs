//! A strategy: which test to make first, and what to do after each of its outcomes.

use serde::{Deserialize, Serialize};

use super::problem::Problem;

/// One step of a strategy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub enum Step {
    /// Make a test and go on where its outcome says.
    Make {
        /// Which test.
        test: u32,
        /// Each outcome that is possible here and the step that follows, ascending.
        then: Vec<(u16, u32)>,
    },
    /// Nothing more can be told apart, or need be: these candidates are left.
    Call {
        /// Ascending.
        candidates: Vec<u32>,
    },
}

/// A strategy as a list of steps that starts with the first; each step comes after the one
/// that leads to it. A list, because nesting a long chain would overflow readers of it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Policy {
    /// The steps.
    pub steps: Vec<Step>,
}

/// A walk through a strategy for one candidate.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    /// The tests made, with what they showed.
    pub made: Vec<(u32, u16)>,
    /// Minutes since the start after each of them.
    pub clock: Vec<f64>,
    /// What it took.
    pub minutes: f64,
    /// What was left.
    pub left: Vec<u32>,
}

impl Policy {
    /// The test to make first, if any is needed.
    pub fn first(&self) -> Option<u32> {
        match self.steps.first() {
            Some(Step::Make { test, .. }) => Some(*test),
            Some(Step::Call { .. }) | None => None,
        }
    }

    /// Follows the strategy by the outcomes that `shows` gives. `None` when an outcome comes
    /// that the strategy does not foresee.
    pub fn walk(&self, problem: &Problem, mut shows: impl FnMut(u32) -> u16) -> Option<Walk> {
        let table = problem.table();
        let mut open = table.open.clone();
        let mut config = table.start;
        let mut walk = Walk { made: Vec::new(), clock: Vec::new(), minutes: 0.0, left: Vec::new() };
        let mut at = 0;
        loop {
            match self.steps.get(at)? {
                Step::Call { candidates } => {
                    walk.left.clone_from(candidates);
                    return Some(walk);
                }
                Step::Make { test, then } => {
                    let made = table.tests.get(*test as usize)?;
                    let setup = table.setup(*test, |place| open.contains(&place), config);
                    walk.minutes += made.minutes + setup.minutes;
                    open.extend(setup.opens.into_iter().flatten());
                    config = setup.configuration;
                    let outcome = shows(*test);
                    walk.made.push((*test, outcome));
                    walk.clock.push(walk.minutes);
                    let next = then.iter().find(|(shown, _)| *shown == outcome)?.1 as usize;
                    // Steps lead forward only, so every walk ends.
                    if next <= at {
                        return None;
                    }
                    at = next;
                }
            }
        }
    }

    /// Expected minutes: the walk of every candidate, by weight. `None` when the strategy does
    /// not fit the problem.
    pub fn expected_minutes(&self, problem: &Problem) -> Option<f64> {
        let table = problem.table();
        let (mut sum, mut weights) = (0.0, 0.0);
        for (candidate, one) in table.candidates.iter().enumerate() {
            let walk = self.walk(problem, |test| table.tests[test as usize].outcomes[candidate])?;
            sum += walk.minutes * one.weight;
            weights += one.weight;
        }
        Some(sum / weights)
    }
}
