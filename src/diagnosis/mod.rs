//! What the observations prove, and what the next one could tell.
//!
//! * [`Belief`] is the exact posterior over every single fault, with the reason why
//!   each excluded candidate is out.
//! * [`prospects`] lists the steps one could take, with their expected information
//!   and their minutes, best first.
//!
//! This layer gets the healthy circuit, the fault library and what was perceived. It
//! never sees the planted fault.

mod belief;
mod foreseen;
mod path;
mod value;

pub use belief::{Belief, Candidate, Exclusion, Observation, entropy_bits};
pub use path::{
    Apart, apart, left_after, outcomes_of_path, path_with_look, shows_otherwise,
    tells_nothing_after, value_of_path,
};
pub use value::{NO_BITS, Prospect, best_prospect, best_single_among, prospects, value_of};
