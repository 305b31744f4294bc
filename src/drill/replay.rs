//! What the aircraft was really like, step by step: for looking back once the call has
//! been made.

use super::Session;
use super::reader::Reader;
use crate::diagnosis::Observation;
use crate::faults::{Causes, Scope};
use crate::network::SolveError;
use crate::observation::{Act, Rig, Step};

impl Session {
    /// The aircraft as the failure left it and after every step; nothing while the drill
    /// still runs, since it would tell the answer.
    ///
    /// # Errors
    /// [`SolveError`] when some state has no solution, which a drill does not reach.
    pub fn looked_back(&self) -> Result<Vec<Rig>, SolveError> {
        if self.call().is_none() {
            return Ok(Vec::new());
        }
        let (circuit, cause) = (self.circuit(), self.truth());
        let causes = Causes::within(circuit, Scope::of(circuit, cause));
        let at = causes.position(cause).expect("what a drill hides is of its circuit");
        let mut rig = self
            .normal()
            .with_cause(&causes.failures(at), &causes.left(at))?
            .with_latent(causes.latent(at));
        self.write_up().undergo(&mut rig)?;
        let mut rigs = vec![rig.clone()];
        for entry in self.log() {
            let station = entry.before.station;
            rig.perform(entry.observation.step, station, &mut Vec::new())?;
            rigs.push(rig.clone());
        }
        Ok(rigs)
    }

    /// What the same trainee would have been shown on another way through the same drill, one
    /// observation a step; nothing while the drill still runs.
    ///
    /// # Errors
    /// [`SolveError`] when some state has no solution.
    pub fn shown_along(&self, steps: &[Step]) -> Result<Vec<Observation>, SolveError> {
        let rigs = self.looked_back()?;
        let Some(mut rig) = rigs.into_iter().next() else { return Ok(Vec::new()) };
        let (circuit, mut place) = (self.circuit(), self.start().clone());
        let mut reader = Reader::new(self.seed());
        let mut shown = Vec::new();
        for step in steps {
            let station = place.station;
            let sights = rig.perform(*step, station, &mut Vec::new())?;
            if let Step::Act(Act::Replace(part)) = step {
                reader.renew(*part);
            }
            let percepts = sights.into_iter().map(|s| (s.what, reader.read(s))).collect();
            shown.push(Observation { step: *step, station, percepts });
            place.after(circuit, *step);
        }
        Ok(shown)
    }
}
