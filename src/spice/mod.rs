//! A settled circuit as a netlist for a circuit simulator of the SPICE family.
//!
//! What is written is the linear network that remains once everything with memory has
//! come to rest: contacts that are closed, filaments as hot as they are, machines at
//! the speed they turn. Direct current is one netlist; each machine that gives
//! alternating voltage is another, at its own frequency and with the others'
//! electromotive forces at zero, since machines that run free are never in step.
//!
//! Each kind of part is read here from what its own fields say, not from the elements
//! that the solver stamps: so a simulator that runs the netlist checks the solver, and
//! not the solver itself.
//!
//! ```
//! use std::sync::Arc;
//! use halfsplit::{library, network::{Network, State}, spice};
//!
//! let network = Network::new(Arc::new(library::load("bench").expect("it comes along")));
//! let settled = network.settle(State::at_rest(network.circuit())).expect("it settles");
//! let text = spice::netlist(&network, &settled, spice::Group::Direct);
//! assert!(text.contains("V_bt1 x_bt1 0 DC 27.5 AC 0 0"));
//! ```

mod card;
mod machine;
mod name;
mod part;
mod sheet;

pub use card::{Card, Value};
pub use sheet::Netlist;

use std::collections::BTreeMap;

use crate::circuit::PartId;
use crate::network::{Network, Settled};

/// One set of sources that is solved together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// All direct-current sources.
    Direct,
    /// One machine, at its frequency.
    Machine(PartId),
}

/// The groups of a settled circuit: direct current, then each machine that gives.
pub fn groups(settled: &Settled) -> Vec<Group> {
    let machines = settled.solution.ac.iter().map(|group| Group::Machine(group.source));
    [Group::Direct].into_iter().chain(machines).collect()
}

/// The netlist of one group, ready to be run.
///
/// # Panics
/// When the group is a machine that gives nothing in this state.
pub fn netlist(network: &Network, settled: &Settled, group: Group) -> String {
    sheet(network, settled, group).to_string()
}

/// The same, card by card.
///
/// # Panics
/// When the group is a machine that gives nothing in this state.
pub fn sheet(network: &Network, settled: &Settled, group: Group) -> Netlist {
    let circuit = network.circuit();
    let names = name::Names::of(circuit);
    let own = match group {
        Group::Direct => None,
        Group::Machine(part) => Some(
            settled
                .solution
                .ac
                .iter()
                .find(|given| given.source == part)
                .expect("a netlist is written for a machine that gives"),
        ),
    };
    let watts: BTreeMap<PartId, f64> = settled
        .solution
        .ac
        .iter()
        .map(|given| (given.source, machine::delivered_watts(circuit, given)))
        .collect();
    let mut writer =
        part::Writer { circuit, settled, own, watts: &watts, names: &names, cards: Vec::new() };
    let insulation = writer.insulation();
    let parts = (0..circuit.parts.len() as u32).map(|at| writer.part(PartId(at))).collect();
    Netlist::new(circuit, group, own.map(|given| given.hertz), names.nodes, insulation, parts)
}
