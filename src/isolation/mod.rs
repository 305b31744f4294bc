//! A drill as a planning problem: the faults that are still possible, what can be looked
//! at and measured, and what that costs, as the numbers that [`crate::planning`] works on.
//!
//! The aircraft is simplified in four ways, so that a strategy is a tree of fixed
//! outcomes:
//!
//! * Readings that an instrument's error could exchange count as alike. Nobody can do
//!   worse than that; somebody who reads a good instrument may do better.
//! * Controls are moved one at a time from how they stand: *as found*, or one of them in
//!   another position. A control that springs back is held, looked at and let go.
//! * The walk to a station and its opening are paid once, by the first thing done there.
//! * A fuse is pulled, looked at and put back; a part is exchanged, with it whatever fuse
//!   or breaker it had opened, and one looks where that may have helped.
//!
//! What is left when no test tells two groups apart is an ambiguity set, and a strategy
//! ends there.

mod alike;
mod table;

pub use table::{Isolation, Position, Trial, Trying};
