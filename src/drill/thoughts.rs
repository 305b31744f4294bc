//! What has been worked out while thinking about one drill.
//!
//! Nothing here changes an answer: whoever looks around twice and learns nothing stands before
//! the same question, and a table made where somebody stood holds where they walk to.

use std::sync::{Arc, Mutex, PoisonError};

use super::advisor::{Advisor, Outlook};
use crate::circuit::Circuit;
use crate::diagnosis::{Belief, Prospect, best_prospect};
use crate::observation::Whereabouts;

/// Moments that are kept, the last ones: more than anybody comes back to.
const KEPT: usize = 32;

/// What has been worked out so far; empty at first.
#[derive(Debug, Default)]
pub struct Thoughts {
    /// The last table that was made away from that of the drill.
    afresh: Mutex<Option<Arc<Advisor>>>,
    moments: Mutex<Vec<Moment>>,
}

/// What has been worked out of something that there may be none of.
#[derive(Debug)]
enum Answer<T> {
    NotAsked,
    Found(Option<T>),
}

/// A question and its answers.
#[derive(Debug)]
struct Moment {
    belief: Belief,
    place: Whereabouts,
    best: Answer<Prospect>,
    planned: Answer<(Prospect, Outlook)>,
}

impl Thoughts {
    /// The same as [`best_prospect`].
    pub fn best(
        &self,
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
    ) -> Option<Prospect> {
        let find = || best_prospect(belief, circuit, place);
        self.kept((belief, place), |moment| &mut moment.best, find)
    }

    /// What a plan says, which `find` works out.
    pub(super) fn planned(
        &self,
        belief: &Belief,
        place: &Whereabouts,
        find: impl FnOnce() -> Option<(Prospect, Outlook)>,
    ) -> Option<(Prospect, Outlook)> {
        self.kept((belief, place), |moment| &mut moment.planned, find)
    }

    /// What has been kept of a moment; else it is worked out and kept.
    fn kept<T: Clone>(
        &self,
        (belief, place): (&Belief, &Whereabouts),
        of: impl Fn(&mut Moment) -> &mut Answer<T>,
        find: impl FnOnce() -> Option<T>,
    ) -> Option<T> {
        let moments = || self.moments.lock().unwrap_or_else(PoisonError::into_inner);
        let same = |m: &&mut Moment| m.place.is(place) && m.belief.says_the_same(belief);
        if let Some(moment) = moments().iter_mut().rev().find(same)
            && let Answer::Found(known) = of(moment)
        {
            return known.clone();
        }
        let found = find();
        let mut moments = moments();
        if let Some(moment) = moments.iter_mut().rev().find(same) {
            *of(moment) = Answer::Found(found.clone());
            return found;
        }
        if moments.len() >= KEPT {
            moments.remove(0);
        }
        let (belief, place) = (belief.without_foresight(), place.clone());
        let mut moment =
            Moment { belief, place, best: Answer::NotAsked, planned: Answer::NotAsked };
        *of(&mut moment) = Answer::Found(found.clone());
        moments.push(moment);
        found
    }

    /// The table of what is known now and of how hands have left everything. Where one stands
    /// and what is open only moves the walks, which are counted anew each time it is asked.
    pub(super) fn afresh(
        &self,
        belief: &Belief,
        circuit: &Circuit,
        place: &Whereabouts,
    ) -> Arc<Advisor> {
        let mut last = self.afresh.lock().unwrap_or_else(PoisonError::into_inner);
        let holds = last.as_ref().filter(|last| {
            last.start().has_prepared_the_same(place) && last.belief().says_the_same(belief)
        });
        match holds {
            Some(known) => Arc::clone(known),
            None => Arc::clone(last.insert(Arc::new(Advisor::new(
                belief.clone(),
                circuit,
                place.clone(),
            )))),
        }
    }
}
