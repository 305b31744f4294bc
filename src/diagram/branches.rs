//! Which parts hang together: what a bus or a source feeds, down to the loads and back.
//!
//! Worked out from the circuit alone. Every part is followed upstream, towards lower
//! potentials, until it comes to a bus: a net that feeds [`BUS_FEEDS`] parts or more. What
//! meets no bus on its way belongs to the source it ends at.

use std::collections::{BTreeMap, BTreeSet};

use super::bundle::siblings;
use super::potential::Potentials;
use crate::circuit::{AIRFRAME, Circuit, Kind, NetId, PartId};

/// Parts that a net feeds from which on it counts as a bus.
const BUS_FEEDS: usize = 4;

/// Parts that hang together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Branch {
    /// The bus or source that feeds them; for returns and linkages, what they are.
    pub name: String,
    /// The parts, one path after the other as power takes it, each with the number of
    /// parts between it and the bus.
    pub parts: Vec<(PartId, usize)>,
}

/// Where a branch begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Head {
    /// A bus, as the first of the nets it is made of.
    Bus(NetId),
    /// A source without one.
    Source(PartId),
    /// The airframe: grounds and studs, which many branches share.
    Airframe,
    /// Nothing electrical: levers and the like.
    Linkage,
}

/// All parts of a circuit by branch, nearest to the sources first; every part is in one.
pub fn branches(circuit: &Circuit) -> Vec<Branch> {
    let ways = Ways::of(circuit);
    let mut heads: BTreeMap<Head, Vec<PartId>> = BTreeMap::new();
    for (part, _) in circuit.parts_with_ids() {
        heads.entry(ways.head(circuit, part)).or_default().push(part);
    }
    let near = |head: &Head| match head {
        Head::Bus(net) => (0, ways.potentials.of_net(*net)),
        Head::Source(_) => (0, 0),
        Head::Airframe => (1, 0),
        Head::Linkage => (2, 0),
    };
    let mut heads: Vec<(Head, Vec<PartId>)> = heads.into_iter().collect();
    heads.sort_by_key(|(head, _)| near(head));
    let name = |head: Head| match head {
        Head::Bus(net) => ways.bus_name(circuit, net),
        Head::Source(part) => circuit.part(part).id.clone(),
        Head::Airframe => "GROUNDS".to_owned(),
        Head::Linkage => "LINKAGES".to_owned(),
    };
    heads
        .into_iter()
        .map(|(head, parts)| Branch { name: name(head), parts: ways.in_order(head, &parts) })
        .collect()
}

/// How power reaches every part.
struct Ways {
    potentials: Potentials,
    /// By part: the net it is fed from; none for sources and for what has no nets.
    fed_from: Vec<Option<NetId>>,
    /// By net: the part that feeds it.
    feeder: Vec<Option<PartId>>,
    /// By net: the bus it is, as the first of its phases.
    bus: Vec<Option<NetId>>,
}

impl Ways {
    fn of(circuit: &Circuit) -> Self {
        let potentials = Potentials::of(circuit);
        let mut fed_from = vec![None; circuit.parts.len()];
        let mut feeder = vec![None; circuit.nets.len()];
        let mut feeds = vec![0; circuit.nets.len()];
        for (id, part) in circuit.parts_with_ids() {
            let mut nets = circuit.connections(id);
            nets.retain(|net| *net != AIRFRAME);
            nets.sort_by_key(|net| potentials.of_net(*net));
            let from = nets.first().copied().filter(|_| !is_source(&part.kind));
            fed_from[id.index()] = from;
            if let Some(from) = from {
                feeds[from.index()] += 1;
            }
            let low = from.map_or(0, |net| potentials.of_net(net));
            for net in nets {
                let on = from.is_none() || potentials.of_net(net) > low;
                if on && feeder[net.index()].is_none() {
                    feeder[net.index()] = Some(id);
                }
            }
        }
        let mut bus: Vec<Option<NetId>> = vec![None; circuit.nets.len()];
        for net in (0..circuit.nets.len()).map(|index| NetId(index as u32)) {
            let returns = potentials.is_return(net);
            if net == AIRFRAME || returns || feeds[net.index()] < BUS_FEEDS {
                continue;
            }
            let first = (1..net.index()).map(|index| NetId(index as u32)).find(|other| {
                bus[other.index()].is_some()
                    && siblings(circuit.net_name(*other), circuit.net_name(net))
            });
            bus[net.index()] = first.and_then(|first| bus[first.index()]).or(Some(net));
        }
        Self { potentials, fed_from, feeder, bus }
    }

    /// The part before this one, on the way from the sources, within its branch.
    fn before(&self, part: PartId) -> Option<PartId> {
        let from = self.fed_from[part.index()]?;
        if self.bus[from.index()].is_some() {
            return None;
        }
        self.feeder[from.index()].filter(|feeder| *feeder != part)
    }

    /// Where the branch of a part begins.
    fn head(&self, circuit: &Circuit, part: PartId) -> Head {
        match circuit.part(part).kind {
            Kind::Ground(_) | Kind::GroundStud(_) => return Head::Airframe,
            _ if circuit.connections(part).is_empty() => return Head::Linkage,
            _ => {}
        }
        let mut at = part;
        let mut seen = BTreeSet::from([part]);
        loop {
            if let Some(bus) = self.fed_from[at.index()].and_then(|net| self.bus[net.index()]) {
                return Head::Bus(bus);
            }
            match self.before(at) {
                Some(before) if seen.insert(before) => at = before,
                _ => return Head::Source(at),
            }
        }
    }

    /// The name of a bus: that of its net, its phases left out where it has several.
    fn bus_name(&self, circuit: &Circuit, bus: NetId) -> String {
        let name = circuit.net_name(bus);
        let phases = self.bus.iter().filter(|of| **of == Some(bus)).count();
        let alone = name.strip_suffix(|c| ('A'..='C').contains(&c)).filter(|_| phases > 1);
        alone.map_or(name, |alone| alone.trim_end_matches(['.', '-', '_', ' '])).to_owned()
    }

    /// Parts of one branch, each behind the one that feeds it.
    fn in_order(&self, head: Head, parts: &[PartId]) -> Vec<(PartId, usize)> {
        let within: BTreeSet<PartId> = parts.iter().copied().collect();
        let mut behind: BTreeMap<Option<PartId>, Vec<PartId>> = BTreeMap::new();
        for part in parts {
            let before = match head {
                Head::Bus(_) | Head::Source(_) => self.before(*part),
                Head::Airframe | Head::Linkage => None,
            };
            behind.entry(before.filter(|before| within.contains(before))).or_default().push(*part);
        }
        let mut ordered = Vec::new();
        let mut seen = BTreeSet::new();
        let mut waiting: Vec<(PartId, usize)> = Vec::new();
        // What goes round in a ring has no first part; it follows at the end, as it comes.
        for start in behind.get(&None).into_iter().flatten().chain(parts) {
            waiting.push((*start, 0));
            while let Some((part, depth)) = waiting.pop() {
                if !seen.insert(part) {
                    continue;
                }
                ordered.push((part, depth));
                let next = behind.get(&Some(part)).into_iter().flatten().rev();
                waiting.extend(next.map(|next| (*next, depth + 1)));
            }
        }
        ordered
    }
}

/// Whether a part gives power by itself.
fn is_source(kind: &Kind) -> bool {
    matches!(
        kind,
        Kind::Supply(_)
            | Kind::Battery(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Alternator(_)
    )
}
