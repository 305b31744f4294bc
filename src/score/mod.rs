//! Judging a drill: the debrief, and the marks under a rubric.

mod debrief;
mod explain;
mod mark;
mod reckon;
mod remark;
mod rubric;

pub use debrief::{BestStep, Debrief, ExclusionLine, Row, Verdict, debrief, told_with_walk};
pub use explain::{Provable, StillPossible};
pub use mark::{Ending, Exchanged, Record, Score, StepRecord};
pub use reckon::Par;
pub use rubric::Rubric;
