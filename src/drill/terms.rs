//! The terms of a drill: what the crew tell, where one begins, what is ruled out, and how
//! long one has.

use crate::circuit::{Circuit, PartId, StationId};
use crate::observation::{Barred, Whereabouts};

/// How much of what they noticed the crew tell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Telling {
    /// All of it.
    #[default]
    Complete,
    /// What these parts showed, of all that the crew could see; usual or not.
    Partial(Vec<PartId>),
    /// One thing of all that was not as usual, true, and the one that speaks least for what
    /// is really wrong.
    Misleading,
}

/// The terms of a drill.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Terms {
    /// What it is called; empty for a drill that nobody has written.
    pub title: String,
    /// What the trainee is told before it begins.
    pub brief: String,
    /// How much the crew tell.
    pub telling: Telling,
    /// Their own words for it; empty for plain ones.
    pub words: String,
    /// Where one begins; the first station when `None`.
    pub begins_at: Option<StationId>,
    /// What is ruled out.
    pub barred: Barred,
    /// Spare fuses in the box, rating in amperes and how many; those of the system when
    /// `None`.
    pub spares: Option<Vec<(f64, u32)>>,
    /// Minutes that one has; as many as one likes when `None`.
    pub most_minutes: Option<f64>,
    /// What the drill is there to teach, told after the call.
    pub learn: Vec<String>,
}

impl Terms {
    /// Where one stands at the start, and what one has.
    pub(super) fn start(&self, circuit: &Circuit) -> Whereabouts {
        let mut start = Whereabouts::start(circuit);
        if let Some(at) = self.begins_at {
            start.station = at;
            start.opened[at.index()] = true;
        }
        if let Some(spares) = &self.spares {
            start.spares.clone_from(spares);
        }
        start.barred = self.barred.clone();
        start
    }
}
