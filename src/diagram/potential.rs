//! Which way power is meant to go: a number for every net that rises from the sources
//! through what they feed to the returns.

use crate::circuit::{AIRFRAME, Circuit, ContactSet, Kind, NetId};

/// From where on a number belongs to a net behind a load, and from where on to a return.
const BEHIND_LOADS: u32 = 100_000;
const RETURNS: u32 = 200_000;
/// The airframe itself.
const GROUND: u32 = 400_000;

/// A number for every net, lower nearer to a source.
#[derive(Clone, Debug)]
pub(super) struct Potentials(Vec<u32>);

impl Potentials {
    /// Works them out: steps from the nearest source for what a source feeds; for
    /// returns, steps to the airframe counted down; for what is left, steps through loads.
    pub(super) fn of(circuit: &Circuit) -> Self {
        let nets = circuit.nets.len();
        let mut numbers: Vec<Option<u32>> = vec![None; nets];
        numbers[AIRFRAME.index()] = Some(GROUND);
        let mut through: Vec<Vec<NetId>> = vec![Vec::new(); nets];
        let mut plain: Vec<Vec<NetId>> = vec![Vec::new(); nets];
        let mut any: Vec<Vec<NetId>> = vec![Vec::new(); nets];
        let mut sources = Vec::new();
        let mut grounded = Vec::new();
        for part in &circuit.parts {
            let paths = paths(&part.kind);
            sources.extend(paths.sources);
            grounded.extend(paths.grounds);
            for (a, b) in &paths.conducts {
                plain[a.index()].push(*b);
                plain[b.index()].push(*a);
                through[a.index()].push(*b);
                through[b.index()].push(*a);
            }
            for (a, b) in &paths.converts {
                through[a.index()].push(*b);
            }
            let all = part.kind.nets();
            for a in &all {
                any[a.index()].extend(all.iter().filter(|b| *b != a));
            }
        }
        let fed = steps(&through, &sources, &numbers);
        for (number, step) in numbers.iter_mut().zip(&fed) {
            *number = number.or(*step);
        }
        // What a conductor alone joins to the airframe, be it by way of a contact.
        grounded.extend(plain[AIRFRAME.index()].iter().copied());
        let back = steps(&plain, &grounded, &numbers);
        for (number, step) in numbers.iter_mut().zip(&back) {
            *number = number.or(step.map(|step| GROUND - 1 - step.min(RETURNS / 2)));
        }
        let reached: Vec<NetId> = (0..nets)
            .filter(|net| numbers[*net].is_some_and(|number| number < BEHIND_LOADS))
            .map(|net| NetId(net as u32))
            .collect();
        let free: Vec<Option<u32>> =
            numbers.iter().map(|n| n.filter(|number| *number >= BEHIND_LOADS)).collect();
        let behind = steps(&any, &reached, &free);
        for (number, step) in numbers.iter_mut().zip(&behind) {
            *number = number.or(step.map(|step| BEHIND_LOADS + step));
        }
        Self(numbers.into_iter().map(|number| number.unwrap_or(BEHIND_LOADS)).collect())
    }

    /// The number of a net.
    pub(super) fn of_net(&self, net: NetId) -> u32 {
        self.0[net.index()]
    }

    /// Whether a net is a way back to the airframe, or the airframe itself.
    pub(super) fn is_return(&self, net: NetId) -> bool {
        self.of_net(net) >= RETURNS
    }
}

/// Steps from the nearest of the starts, leaving out nets that have a number already.
fn steps(ways: &[Vec<NetId>], starts: &[NetId], taken: &[Option<u32>]) -> Vec<Option<u32>> {
    let mut steps: Vec<Option<u32>> = vec![None; ways.len()];
    let mut round: Vec<NetId> = Vec::new();
    for start in starts {
        if taken[start.index()].is_none() && steps[start.index()].is_none() {
            steps[start.index()] = Some(0);
            round.push(*start);
        }
    }
    let mut step = 0;
    while !round.is_empty() {
        step += 1;
        let mut next = Vec::new();
        for from in round {
            for to in &ways[from.index()] {
                if taken[to.index()].is_none() && steps[to.index()].is_none() {
                    steps[to.index()] = Some(step);
                    next.push(*to);
                }
            }
        }
        round = next;
    }
    steps
}

/// How power can go through a part.
#[derive(Default)]
pub(super) struct Paths {
    /// Nets it feeds by itself.
    pub(super) sources: Vec<NetId>,
    /// Nets it bonds to the airframe.
    pub(super) grounds: Vec<NetId>,
    /// Pairs that it joins like a conductor, perhaps by a contact.
    pub(super) conducts: Vec<(NetId, NetId)>,
    /// Pairs across which it passes power on in another form, one way.
    pub(super) converts: Vec<(NetId, NetId)>,
}

fn throws(sets: &[ContactSet]) -> Vec<(NetId, NetId)> {
    let throws =
        sets.iter().flat_map(|set| [set.released, set.operated].map(|to| (set.common, to)));
    throws.filter_map(|(common, to)| Some((common, to?))).collect()
}

/// How power can go through a part of this kind.
pub(super) fn paths(kind: &Kind) -> Paths {
    let sources = |nets: &[NetId]| Paths { sources: nets.to_vec(), ..Paths::default() };
    let conducts = |conducts: Vec<(NetId, NetId)>| Paths { conducts, ..Paths::default() };
    let converts = |converts: Vec<(NetId, NetId)>| Paths { converts, ..Paths::default() };
    match kind {
        Kind::Supply(s) => sources(&[s.plus]),
        Kind::Battery(b) => sources(&[b.plus]),
        Kind::Generator(g) => sources(&[g.plus]),
        Kind::Receptacle(r) => sources(&[r.plus, r.interlock]),
        Kind::Alternator(a) => sources(&a.phases),
        Kind::Converter(c) => converts(c.phases.iter().map(|phase| (c.dc, *phase)).collect()),
        Kind::Vibrator(v) => converts(vec![(v.dc, v.out)]),
        Kind::TransformerRectifier(t) => {
            converts(t.phases.iter().map(|phase| (*phase, t.plus)).collect())
        }
        Kind::Transformer(t) => converts(vec![(t.primary[0], t.secondary[0])]),
        Kind::Wire(w) => conducts(vec![(w.a, w.b)]),
        Kind::Feeder(f) => conducts((0..3).map(|phase| (f.from[phase], f.to[phase])).collect()),
        Kind::Resistor(r) => conducts(vec![(r.a, r.b)]),
        Kind::Diode(d) => conducts(vec![(d.anode, d.cathode)]),
        Kind::Shunt(s) => conducts(vec![(s.a, s.b)]),
        Kind::Splice(s) => conducts(s.nets.windows(2).map(|two| (two[0], two[1])).collect()),
        Kind::Connector(c) => conducts(c.pins.iter().map(|pin| (pin.a, pin.b)).collect()),
        Kind::Ground(g) => Paths { grounds: vec![g.net], ..Paths::default() },
        Kind::GroundStud(g) => Paths { grounds: g.nets.clone(), ..Paths::default() },
        Kind::Breaker(b) => conducts(vec![(b.line, b.load)]),
        Kind::Fuse(f) => conducts(vec![(f.line, f.load)]),
        Kind::Switch(s) | Kind::PushSwitch(s) | Kind::ChangeoverSwitch(s) => {
            conducts(s.closures.iter().map(|c| (c.a, c.b)).collect())
        }
        Kind::Microswitch(m) => conducts(m.closures.iter().map(|c| (c.a, c.b)).collect()),
        Kind::Relay(r) | Kind::Contactor(r) => conducts(throws(&r.contacts)),
        Kind::ReverseCurrentRelay(r) => conducts(vec![(r.generator, r.bus)]),
        Kind::PhaseRelay(r) => conducts(throws(&r.contacts)),
        Kind::Flasher(f) => conducts(vec![(f.line, f.load)]),
        Kind::Mechanism(_)
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
        | Kind::FrequencyMeter(_) => Paths::default(),
    }
}
