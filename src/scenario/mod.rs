//! Scenarios: drills that an instructor has written for a system.
//!
//! A file of drills ([`read_drills`]) says what each hides, on which build, what the crew
//! tell of it, and what the trainee may use. [`Scenario::ready`] holds it against the system
//! and finds what is wrong with it; what comes out begins a [`Session`].

mod file;
mod ready;
mod seal;
mod weigh;

use std::sync::Arc;

pub use file::{Hidden, Scenario, Tells, WriteUpFile, read_drills, sealed_text, unsealed_text};
pub use seal::{seal, unseal};
pub use weigh::{Advised, advice, advised};

use crate::chance::Chance;
use crate::circuit::Circuit;
use crate::drill::{Baseline, Rules, Session, Terms};
use crate::faults::{Cause, Scope};
use crate::network::SolveError;

/// A scenario held against its system, ready to begin.
#[derive(Clone, Debug)]
pub struct Ready {
    /// The build, its controls standing as the scenario says.
    pub circuit: Arc<Circuit>,
    /// What may be hidden, and how often relative to the others; at least one.
    pub hidden: Vec<(Cause, f64)>,
    /// What else the trainee has to reckon with.
    pub scope: Scope,
    /// What the crew tell, where one begins, what is ruled out.
    pub terms: Terms,
    /// What is asked of the trainee, and how far the drill helps.
    pub rules: Rules,
    /// The number that the instruments' errors are drawn from, where the scenario fixes it.
    pub seed: Option<u64>,
}

impl Ready {
    /// Begins the drill. The seed draws what is hidden where there is a choice, and the
    /// instruments' errors unless the scenario fixes them.
    ///
    /// # Errors
    /// [`SolveError`] when the circuit or a faulted circuit has no solution.
    pub fn begin(&self, seed: u64) -> Result<Session, SolveError> {
        self.begin_from(&Arc::new(Baseline::new(Arc::clone(&self.circuit))?), seed)
    }

    /// The same from what drills on its circuit share.
    ///
    /// # Errors
    /// [`SolveError`] when a faulted circuit has no solution.
    pub fn begin_from(&self, baseline: &Arc<Baseline>, seed: u64) -> Result<Session, SolveError> {
        let weights: Vec<f64> = self.hidden.iter().map(|(_, weight)| *weight).collect();
        let drawn = Chance::stream(seed, "pool").weighted(&weights).unwrap_or(0);
        let cause = &self.hidden[drawn].0;
        let seed = self.seed.unwrap_or(seed);
        let terms = self.terms.clone();
        Ok(Session::planted_from(baseline, cause, self.scope, terms, seed)?.under(self.rules))
    }
}
