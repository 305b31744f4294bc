//! Judging a drill: the debrief, and the marks under a rubric.

mod debrief;
mod explain;
mod finder;
mod glance;
mod habit;
mod help;
mod mark;
mod path;
mod reckon;
mod remark;
mod rubric;
mod tell;

pub use debrief::{BestStep, Debrief, ExclusionLine, Row, Verdict, debrief, told_with_walk};
pub use explain::{Provable, StillPossible};
pub use glance::{Beginnings, Glance, Glimpse, glance};
pub use habit::{Habit, HabitKind};
pub use help::help_told;
pub use mark::{Ending, Exchanged, Record, Score, StepRecord};
pub use path::{Known, ParStep, Path, Point};
pub use reckon::Par;
pub use rubric::Rubric;
pub use tell::{FEW_FAULTS, LEGEND, Reason};
