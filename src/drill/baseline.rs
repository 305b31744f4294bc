//! What drills on one aircraft have in common.
//!
//! Drills on the same sound aircraft begin with the same question: what is possible before
//! anything has been seen. To strike every fault takes far longer than to weigh what a
//! write-up says of them, so it is done once and every drill copies it.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use crate::circuit::Circuit;
use crate::diagnosis::{Belief, Observation};
use crate::faults::Scope;
use crate::network::SolveError;
use crate::observation::Rig;

/// A sound aircraft with everything that may be wrong with it.
#[derive(Debug)]
pub struct Baseline {
    normal: Rig,
    priors: Mutex<Vec<(Scope, Arc<Belief>)>>,
}

impl Baseline {
    /// A circuit in its normal setup.
    ///
    /// # Errors
    /// [`SolveError`] when it has no solution.
    pub fn new(circuit: Arc<Circuit>) -> Result<Self, SolveError> {
        Ok(Self { normal: Rig::normal(circuit)?, priors: Mutex::default() })
    }

    /// The sound aircraft in the setup in which a fault strikes.
    pub fn normal(&self) -> &Rig {
        &self.normal
    }

    /// What is known after some observations: the same as [`Belief::after`].
    ///
    /// # Errors
    /// [`SolveError`] when something in the scope leaves the circuit without a solution.
    pub fn knowing(&self, scope: Scope, told: &[Observation]) -> Result<Belief, SolveError> {
        if scope.pairs {
            // Far too many to keep an aircraft of each.
            return Belief::after(&self.normal, scope, told);
        }
        let mut belief = Belief::clone(&*self.prior(scope)?);
        for observation in told {
            belief.observe(observation);
        }
        Ok(belief)
    }

    /// What is possible before anything has been seen.
    fn prior(&self, scope: Scope) -> Result<Arc<Belief>, SolveError> {
        let priors = || self.priors.lock().unwrap_or_else(PoisonError::into_inner);
        let known = |priors: &[(Scope, Arc<Belief>)]| {
            priors.iter().find(|(known, _)| *known == scope).map(|(_, prior)| Arc::clone(prior))
        };
        if let Some(prior) = known(&priors()) {
            return Ok(prior);
        }
        // Nobody waits for another here: whoever works it out side by side with others may come
        // back to the same question while it does so. It comes out the same for all.
        let prior = Arc::new(Belief::after(&self.normal, scope, &[])?);
        let mut priors = priors();
        if let Some(prior) = known(&priors) {
            return Ok(prior);
        }
        priors.push((scope, Arc::clone(&prior)));
        Ok(prior)
    }
}

/// Baselines that are kept at once: each holds an aircraft of everything that is possible.
const KEPT: usize = 3;

/// The baselines of drills, by their circuit; the last few are kept.
#[derive(Debug, Default)]
pub struct Baselines(Mutex<VecDeque<Arc<Baseline>>>);

impl Baselines {
    /// That of a circuit.
    ///
    /// # Errors
    /// [`SolveError`] when it has no solution.
    pub fn of(&self, circuit: &Arc<Circuit>) -> Result<Arc<Baseline>, SolveError> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let at = kept.iter().position(|one| Arc::ptr_eq(one.normal.circuit(), circuit));
        let baseline = match at.and_then(|at| kept.remove(at)) {
            Some(baseline) => baseline,
            None => Arc::new(Baseline::new(Arc::clone(circuit))?),
        };
        kept.push_front(Arc::clone(&baseline));
        kept.truncate(KEPT);
        Ok(baseline)
    }
}
