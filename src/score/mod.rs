//! Judging a drill: the debrief.

mod debrief;

pub use debrief::{
    BestStep, Debrief, ExclusionLine, Row, Verdict, debrief, fault_in_words, told_with_walk,
};
