//! What joins one net to another without using up power, and from where power comes.

use crate::circuit::{AIRFRAME, Circuit, Kind, NetId, PartId};

/// Two nets that a part joins.
#[derive(Clone, Copy, Debug)]
pub(super) struct Joint {
    pub(super) part: PartId,
    pub(super) a: NetId,
    pub(super) b: NetId,
    pub(super) sort: Sort,
}

/// How a part joins two nets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// A conductor with a length: a wire, a feeder.
    Wire,
    /// Whatever touches: a splice, a plug, a closed contact, a shunt.
    Contact,
    /// A breaker or fuse.
    Protector,
    /// From `a` to `b` alone.
    OneWay,
}

/// Every joint of a circuit, contacts taken as closed in any position.
pub(super) fn joints(circuit: &Circuit) -> Vec<Joint> {
    let mut all = Vec::new();
    for (part, p) in circuit.parts_with_ids() {
        let mut add = |a: NetId, b: NetId, sort: Sort| {
            if a != b {
                all.push(Joint { part, a, b, sort });
            }
        };
        let contacts = |sets: &[crate::circuit::ContactSet], add: &mut dyn FnMut(NetId, NetId)| {
            for set in sets {
                for throw in [set.released, set.operated].into_iter().flatten() {
                    add(set.common, throw);
                }
            }
        };
        match &p.kind {
            Kind::Wire(w) => add(w.a, w.b, Sort::Wire),
            Kind::Feeder(f) => {
                f.from.into_iter().zip(f.to).for_each(|(a, b)| add(a, b, Sort::Wire));
            }
            Kind::Shunt(s) => add(s.a, s.b, Sort::Contact),
            Kind::Splice(s) => {
                s.nets.windows(2).for_each(|pair| add(pair[0], pair[1], Sort::Contact));
            }
            Kind::Connector(c) => {
                c.pins.iter().for_each(|pin| add(pin.a, pin.b, Sort::Contact));
            }
            Kind::Diode(d) => add(d.anode, d.cathode, Sort::OneWay),
            Kind::Breaker(b) => add(b.line, b.load, Sort::Protector),
            Kind::Fuse(f) => add(f.line, f.load, Sort::Protector),
            Kind::Switch(s) | Kind::PushSwitch(s) | Kind::ChangeoverSwitch(s) => {
                s.closures.iter().for_each(|c| add(c.a, c.b, Sort::Contact));
            }
            Kind::Microswitch(m) => {
                m.closures.iter().for_each(|c| add(c.a, c.b, Sort::Contact));
            }
            Kind::Relay(r) | Kind::Contactor(r) => {
                contacts(&r.contacts, &mut |a, b| add(a, b, Sort::Contact));
            }
            Kind::PhaseRelay(r) => contacts(&r.contacts, &mut |a, b| add(a, b, Sort::Contact)),
            Kind::ReverseCurrentRelay(r) => add(r.generator, r.bus, Sort::Contact),
            Kind::Flasher(f) => add(f.line, f.load, Sort::Contact),
            Kind::Ground(g) => add(g.net, AIRFRAME, Sort::Contact),
            Kind::GroundStud(g) => g.nets.iter().for_each(|net| {
                add(*net, AIRFRAME, Sort::Contact);
            }),
            Kind::Supply(_)
            | Kind::Battery(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Converter(_)
            | Kind::Vibrator(_)
            | Kind::Alternator(_)
            | Kind::TransformerRectifier(_)
            | Kind::Resistor(_)
            | Kind::Transformer(_)
            | Kind::Mechanism(_)
            | Kind::Lamp(_)
            | Kind::Horn(_)
            | Kind::Motor(_)
            | Kind::Solenoid(_)
            | Kind::Load(_)
            | Kind::Load3(_)
            | Kind::Gyro(_)
            | Kind::Meter(_)
            | Kind::Ammeter(_)
            | Kind::Loadmeter(_)
            | Kind::FrequencyMeter(_) => {}
        }
    }
    all
}

/// The nets from which a part feeds direct current into a system.
pub(super) fn feeds_direct(kind: &Kind) -> Vec<NetId> {
    match kind {
        Kind::Supply(s) => vec![s.plus, s.minus],
        Kind::Battery(b) => vec![b.plus, b.minus],
        Kind::Generator(g) => vec![g.plus, g.minus],
        Kind::Receptacle(r) => vec![r.plus, r.minus],
        Kind::TransformerRectifier(t) => vec![t.plus, t.minus],
        _ => Vec::new(),
    }
    .into_iter()
    .filter(|net| *net != AIRFRAME)
    .collect()
}

/// The nets at which alternating voltage comes out of a part.
pub(super) fn feeds_alternating(kind: &Kind) -> Vec<NetId> {
    match kind {
        Kind::Converter(c) => c.phases.to_vec(),
        Kind::Vibrator(v) => vec![v.out, v.neutral],
        Kind::Alternator(a) => a.phases.to_vec(),
        _ => Vec::new(),
    }
    .into_iter()
    .filter(|net| *net != AIRFRAME)
    .collect()
}

/// For each net the joints at it, by their places in the list.
pub(super) fn at_nets(circuit: &Circuit, joints: &[Joint]) -> Vec<Vec<u32>> {
    let mut at = vec![Vec::new(); circuit.nets.len()];
    for (index, joint) in joints.iter().enumerate() {
        at[joint.a.index()].push(index as u32);
        at[joint.b.index()].push(index as u32);
    }
    at
}

/// Which nets anything that feeds the system can reach in any position of anything, through
/// parts that use power too: what is not among them is dead for ever.
pub(super) fn ever_live(circuit: &Circuit) -> Vec<bool> {
    let mut live = vec![false; circuit.nets.len()];
    let mut todo: Vec<NetId> = Vec::new();
    let mut parts_at: Vec<Vec<PartId>> = vec![Vec::new(); circuit.nets.len()];
    for (part, p) in circuit.parts_with_ids() {
        todo.extend(feeds_direct(&p.kind).into_iter().chain(feeds_alternating(&p.kind)));
        for net in circuit.connections(part) {
            parts_at[net.index()].push(part);
        }
    }
    let mut passed = vec![false; circuit.parts.len()];
    while let Some(net) = todo.pop() {
        if net == AIRFRAME || std::mem::replace(&mut live[net.index()], true) {
            continue;
        }
        for part in &parts_at[net.index()] {
            if !std::mem::replace(&mut passed[part.index()], true) {
                todo.extend(circuit.connections(*part));
            }
        }
    }
    live
}
