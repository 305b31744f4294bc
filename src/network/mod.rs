//! Solving a circuit: net voltages for a given memory of its parts, and what the
//! parts then do, until the circuit has settled.
//!
//! * [`Network`] is a circuit made ready: elements, islands, elimination plans.
//! * [`State`] is everything with memory: switch positions, relays, machines that
//!   turn, breakers and fuses.
//! * [`Solution`] is every net voltage, direct and by alternating source.
//! * [`Settled`] is where it comes to rest, with the events on the way.
//!
//! The solver does not know what a fault is: a faulted circuit is just a circuit.

mod element;
mod follow;
mod island;
mod machine;
mod measure;
mod protect;
mod settle;
mod solution;
mod solve;
mod sparse;
mod state;

pub use element::{Impedance, gyro_impedances};
pub use protect::{BREAKER, FUSE, Thermal};
pub use settle::{Event, STEP_LIMIT, Settled, StopReason};
pub use solution::{AcGroup, Solution};
pub use solve::{Network, SolveError};
pub use state::{PartState, State};
