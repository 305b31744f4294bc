//! What a net feeds, and what it is fed through: worked out from the circuit alone, with
//! every contact taken as one that may close.

use std::collections::VecDeque;

use super::potential::{Potentials, paths};
use crate::circuit::{AIRFRAME, Circuit, NetId, PartId};

/// Which way a trace goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// From the sources to the loads.
    On,
    /// From the loads to the sources.
    Back,
}

/// Parts and nets that power passes on its way.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Trace {
    /// By part: whether it is on the way.
    pub parts: Vec<bool>,
    /// By net: whether it is on the way.
    pub nets: Vec<bool>,
    /// The parts that the net feeds, nearest first; those where a way ends come with `true`.
    pub fed: Vec<(PartId, bool)>,
    /// The parts through which the net is fed, nearest first; sources come with `true`.
    pub feeding: Vec<(PartId, bool)>,
}

/// All that a net, or the nets of one line, feed and are fed through.
pub fn trace(circuit: &Circuit, from: &[NetId]) -> Trace {
    let potentials = Potentials::of(circuit);
    let mut trace = Trace {
        parts: vec![false; circuit.parts.len()],
        nets: vec![false; circuit.nets.len()],
        ..Trace::default()
    };
    trace.fed = follow(circuit, &potentials, (from, Way::On), &mut trace);
    trace.feeding = follow(circuit, &potentials, (from, Way::Back), &mut trace);
    trace
}

/// Goes one way from some nets, net by net; returns the parts met, in order.
fn follow(
    circuit: &Circuit,
    potentials: &Potentials,
    (from, way): (&[NetId], Way),
    trace: &mut Trace,
) -> Vec<(PartId, bool)> {
    // By net: the part and the net on its other side.
    let mut joined: Vec<Vec<(PartId, NetId)>> = vec![Vec::new(); circuit.nets.len()];
    let mut ends: Vec<Vec<PartId>> = vec![Vec::new(); circuit.nets.len()];
    for (id, part) in circuit.parts_with_ids() {
        let paths = paths(&part.kind);
        let both = paths.conducts.iter().flat_map(|(a, b)| [(*a, *b), (*b, *a)]);
        for (a, b) in both.chain(paths.converts.iter().copied()) {
            let (at, to) = if way == Way::On { (a, b) } else { (b, a) };
            joined[at.index()].push((id, to));
        }
        let through: Vec<NetId> = paths
            .conducts
            .iter()
            .flat_map(|(a, b)| [*a, *b])
            .chain(paths.converts.iter().map(|(a, _)| *a))
            .collect();
        match way {
            // A load, or a coil: power comes in and goes no further.
            Way::On => {
                for net in circuit.connections(id).iter().filter(|net| !through.contains(net)) {
                    if !paths.sources.contains(net) && !paths.grounds.contains(net) {
                        ends[net.index()].push(id);
                    }
                }
            }
            Way::Back => {
                for net in &paths.sources {
                    ends[net.index()].push(id);
                }
            }
        }
    }
    let on = |here: NetId, there: NetId| match way {
        Way::On => potentials.of_net(there) > potentials.of_net(here),
        Way::Back => potentials.of_net(there) < potentials.of_net(here),
    };
    let mut met: Vec<(PartId, bool)> = Vec::new();
    let mut seen = vec![false; circuit.nets.len()];
    let mut waiting: VecDeque<NetId> = from.iter().copied().collect();
    for net in from {
        seen[net.index()] = true;
    }
    while let Some(net) = waiting.pop_front() {
        trace.nets[net.index()] = true;
        let mut meet = |part: PartId, end: bool| {
            trace.parts[part.index()] = true;
            if !met.iter().any(|(other, _)| *other == part) {
                met.push((part, end));
            }
        };
        for (part, there) in &joined[net.index()] {
            let back = *there == AIRFRAME || potentials.is_return(*there);
            if back || !on(net, *there) {
                continue;
            }
            meet(*part, false);
            if !seen[there.index()] {
                seen[there.index()] = true;
                waiting.push_back(*there);
            }
        }
        for part in &ends[net.index()] {
            meet(*part, true);
        }
    }
    met
}
