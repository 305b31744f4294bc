//! Solving a circuit: net voltages for a given memory of its parts, and what the
//! parts then do, until the circuit has settled.
//!
//! * [`Network`] is a circuit made ready: elements, islands, elimination plans.
//! * [`State`] is everything with memory: switch positions, relays, machines that
//!   turn, breakers and fuses.
//! * [`Solution`] is every net voltage, direct and by alternating source.
//! * [`BaseCase`] is a settled state made ready for the faults that may strike in it.
//! * [`Settled`] is where it comes to rest, with the events on the way.
//!
//! The solver does not know what a fault is: a faulted circuit is just a circuit.

mod base;
mod dense;
mod element;
mod event;
mod flow;
mod follow;
mod island;
mod machine;
mod measure;
mod moves;
mod near;
mod parts;
mod patch;
mod prepare;
mod protect;
mod settle;
mod solution;
mod solve;
mod sparse;
mod state;

pub use base::BaseCase;
pub use element::Impedance;
pub use event::Event;
pub use parts::gyro_impedances;
pub use prepare::{Network, SolveError};
pub use protect::{BREAKER, FUSE, Thermal};
pub use settle::{STEP_LIMIT, Settled, StopReason};
pub use solution::{AcGroup, Solution};
pub use state::{Flow, PartState, State, Turning};

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::Network;
    use crate::circuit::read_system;

    /// A network of these parts, written as in a file with `at` left out; `nets` are
    /// names with spaces between.
    pub(super) fn network(nets: &str, parts: &[&str]) -> Network {
        let nets: Vec<String> = nets.split(' ').map(|net| format!("{net:?}")).collect();
        let parts: Vec<String> =
            parts.iter().map(|part| part.replacen('(', "(at: \"s\", ", 1)).collect();
        let text = format!(
            "System(id: \"t\", title: \"t\", stations: [Station(id: \"s\", title: \"s\")], \
             nets: [{}], parts: [{}])",
            nets.join(", "),
            parts.join(", ")
        );
        let (circuit, findings) = read_system("test", &text);
        Network::new(Arc::new(circuit.unwrap_or_else(|| panic!("{findings:?}"))))
    }
}
