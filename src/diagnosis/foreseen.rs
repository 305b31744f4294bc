//! What an aircraft would show on steps that have not been done, kept while it stays as it is.
//!
//! Whoever thinks ahead asks for the same sights again and again: the value of every step before
//! a measurement and after it, the best step and the plan. Sights depend on the aircraft, on
//! what hands have done to it since and on where one looks from, and on nothing else.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use crate::circuit::StationId;
use crate::observation::{Act, Rig, Sight, Step};

/// What is looked at: the station, what is done there without hands (nothing where it is the
/// last of the acts itself that shows something), and the acts before.
type Key = (StationId, Option<Step>, Vec<Act>);

/// Sights by what has been done; `None` where that has no steady state.
#[derive(Debug, Default)]
pub(super) struct Foreseen(Mutex<BTreeMap<Key, Option<Arc<[Sight]>>>>);

impl Foreseen {
    /// What is seen on a path of steps; `None` when some state on it cannot be solved. `rig` is
    /// the aircraft that all this is kept of.
    pub(super) fn along(&self, rig: &Rig, from: StationId, path: &[Step]) -> Option<Vec<Sight>> {
        let mut station = from;
        let mut acts: Vec<Act> = Vec::new();
        // The aircraft after so many of the acts, made once something is not known yet.
        let mut ahead: Option<(Rig, usize)> = None;
        let mut seen = Vec::new();
        for step in path {
            // To arrive shows what a look around there shows.
            let step = match *step {
                Step::Go(there) => {
                    station = there;
                    Step::LookAround
                }
                step => step,
            };
            let without_hands = match step {
                Step::Act(act) => {
                    acts.push(act);
                    None
                }
                step => Some(step),
            };
            let key = (station, without_hands, acts.clone());
            let known = self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&key).cloned();
            let sights = known.unwrap_or_else(|| {
                let sights = shown(rig, &mut ahead, &acts, station, step).map(Arc::from);
                let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
                all.entry(key).or_insert(sights).clone()
            });
            seen.extend_from_slice(&sights?);
        }
        Some(seen)
    }
}

/// What a step shows after the acts; where it is itself an act, that is the last of them.
fn shown(
    rig: &Rig,
    ahead: &mut Option<(Rig, usize)>,
    acts: &[Act],
    station: StationId,
    step: Step,
) -> Option<Vec<Sight>> {
    if let (Step::Probe(probe), []) = (step, acts) {
        let showing = rig.probe(probe).ok()?;
        return Some(vec![Sight { what: crate::observation::What::Display(probe), showing }]);
    }
    let (rig, done) = ahead.get_or_insert_with(|| (rig.clone(), 0));
    let before = acts.len() - usize::from(matches!(step, Step::Act(_)));
    for act in &acts[*done..before] {
        rig.perform(Step::Act(*act), station, &mut Vec::new()).ok()?;
    }
    *done = acts.len();
    rig.perform(step, station, &mut Vec::new()).ok()
}
