//! From parts to cards: what each kind of part is between its pins.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use super::card::{Card, Value};
use super::machine::star_volts;
use super::name::Names;
use crate::circuit::{
    Circuit, ContactSet, Feeder, Gyro, Kind, NetId, PartId, Relay, Transformer,
    TransformerRectifier,
};
use crate::network::{AcGroup, Flow, PartState, Settled, Turning};

/// Ohms below which no joint of the model goes.
const LEAST_OHMS: f64 = 1e-5;
/// Draw of a motor held at standstill over its rated draw.
const LOCKED_DRAW: f64 = 5.0;
/// Resistance of a cold filament over that of a hot one.
const COLD_OVER_HOT: f64 = 0.1;

/// Writes the cards of one group.
pub(super) struct Writer<'a> {
    pub circuit: &'a Circuit,
    pub settled: &'a Settled,
    /// What the group's machine gives; `None` for direct current.
    pub own: Option<&'a AcGroup>,
    /// By machine that gives: what its electromotive forces deliver.
    pub watts: &'a BTreeMap<PartId, f64>,
    pub names: &'a Names,
    pub cards: Vec<Card>,
}

impl Writer<'_> {
    /// What ties every net to the airframe; nothing in a circuit without leakage.
    pub(super) fn insulation(&mut self) -> Vec<Card> {
        for net in 1..self.circuit.nets.len() {
            let node = self.names.nodes[net].clone();
            self.leak(&node, &node);
        }
        std::mem::take(&mut self.cards)
    }

    fn node(&self, net: NetId) -> String {
        self.names.nodes[net.index()].clone()
    }

    fn add(&mut self, role: &str, nodes: &[&str], value: Value) {
        let name = format!("{}_{role}", value.letter());
        let nodes = nodes.iter().map(|node| (*node).to_owned()).collect();
        self.cards.push(Card { name, nodes, value });
    }

    fn leak(&mut self, role: &str, node: &str) {
        let ohms = self.circuit.insulation_ohms;
        self.resistor(&format!("leak_{role}"), node, "0", ohms);
    }

    /// A resistance; an infinite one is no card.
    fn resistor(&mut self, role: &str, a: &str, b: &str, ohms: f64) {
        if ohms.is_finite() {
            self.add(role, &[a, b], Value::Ohms(ohms.max(LEAST_OHMS)));
        }
    }

    /// Resistance and, in series, a reactance that holds at `hertz`: a coil where it is
    /// above zero, a capacitor below.
    fn impedance(&mut self, role: &str, ends: [&str; 2], z: (f64, f64), hertz: f64) {
        let [a, b] = ends;
        let (ohms, reactance) = z;
        if !ohms.is_finite() {
            return;
        }
        if self.own.is_none() {
            if reactance >= 0.0 {
                self.resistor(role, a, b, ohms);
            }
            return;
        }
        if reactance == 0.0 {
            self.resistor(role, a, b, ohms);
            return;
        }
        let middle = if ohms == 0.0 { a.to_owned() } else { format!("x_{role}_z") };
        if ohms != 0.0 {
            self.add(role, &[a, &middle], Value::Ohms(ohms));
        }
        let speed = TAU * hertz;
        let value = if reactance > 0.0 {
            Value::Henries(reactance / speed)
        } else {
            Value::Farads(-1.0 / (speed * reactance))
        };
        self.add(role, &[&middle, b], value);
    }

    /// A direct-current source behind its resistance.
    fn supply(&mut self, name: &str, ends: [&str; 2], volts: f64, ohms: f64) {
        let middle = inside(name, "");
        let volts = if self.own.is_none() { volts } else { 0.0 };
        let source = Value::Source { volts, ac_volts: 0.0, degrees: 0.0 };
        self.add(name, &[&middle, ends[1]], source);
        self.resistor(name, ends[0], &middle, ohms);
    }

    /// An electromotive force of a machine: its volts in its own group, else none.
    fn force(&mut self, role: &str, nodes: [&str; 2], own: bool, (volts, degrees): (f64, f64)) {
        let ac_volts = if own { volts } else { 0.0 };
        self.add(role, &nodes, Value::Source { volts: 0.0, ac_volts, degrees });
    }

    fn running(&self, part: PartId) -> bool {
        self.settled.state.of(part) == PartState::Machine { running: true }
    }

    fn operated(&self, part: PartId) -> bool {
        self.settled.state.of(part) == PartState::Relay { operated: true }
    }

    /// The cards of a part.
    pub(super) fn part(&mut self, id: PartId) -> Vec<Card> {
        let part = self.circuit.part(id);
        let name = self.names.parts[id.index()].clone();
        let state = self.settled.state.of(id);
        let solution = &self.settled.solution;
        let own = self.own.is_some_and(|given| given.source == id);
        let emf_volts = self.own.filter(|_| own).map_or(0.0, |given| given.emf_volts);
        match &part.kind {
            Kind::Supply(s) => {
                let ends = [self.node(s.plus), self.node(s.minus)];
                self.supply(&name, [&ends[0], &ends[1]], s.volts, s.ohms);
            }
            Kind::Wire(w) => {
                let (a, b) = (self.node(w.a), self.node(w.b));
                if let Some(chafed_ohms) = w.chafed_ohms {
                    let middle = inside(&name, "middle");
                    self.resistor(&format!("{name}_1"), &a, &middle, w.ohms / 2.0);
                    self.resistor(&format!("{name}_2"), &middle, &b, w.ohms / 2.0);
                    self.resistor(&format!("{name}_chafe"), &middle, "0", chafed_ohms);
                    self.leak(&format!("{name}_middle"), &middle);
                } else {
                    self.resistor(&name, &a, &b, w.ohms);
                }
            }
            Kind::Resistor(r) => self.between(&name, r.a, r.b, r.ohms),
            Kind::Ground(g) => self.between(&name, g.net, crate::circuit::AIRFRAME, g.ohms),
            Kind::Breaker(b) => {
                if matches!(state, PartState::Breaker { closed: true, .. }) {
                    self.between(&name, b.line, b.load, b.ohms);
                }
            }
            Kind::Fuse(f) => {
                if state == (PartState::Fuse { seated: true, blown: false }) {
                    self.between(&name, f.line, f.load, f.ohms);
                }
            }
            Kind::Switch(s) | Kind::PushSwitch(s) | Kind::ChangeoverSwitch(s) => {
                for (at, closure) in s.closures.iter().enumerate() {
                    if state == PartState::Position(closure.position) {
                        let role = format!("{name}_{}", at + 1);
                        self.between(&role, closure.a, closure.b, closure.ohms);
                    }
                }
            }
            Kind::Relay(r) | Kind::Contactor(r) => self.relay(&name, r, self.operated(id)),
            Kind::Lamp(l) => {
                // A filament's current goes with its volts to the power 0.54, so its
                // resistance goes with them to the power 0.46; cold it is a tenth.
                let volts = solution.rms_between(l.a, l.b) / l.volts;
                let factor = if volts > 0.0 { libm::pow(volts, 0.46) } else { 0.0 };
                let each = l.volts / l.bulb_amps * factor.max(COLD_OVER_HOT);
                if l.bulbs_good > 0 {
                    self.between(&name, l.a, l.b, each / f64::from(l.bulbs_good));
                }
            }
            Kind::Converter(c) => {
                if c.motor_sound {
                    // As a motor it is the resistance that draws its power; below its
                    // governed volts it slows and keeps the resistance.
                    let volts = solution.dc_between(c.dc, c.ret).abs();
                    let watts = self.watts.get(&id).copied().unwrap_or_default();
                    let ohms = if self.running(id) {
                        let at = volts.max(c.governed_volts);
                        at * at / (c.idle_watts + watts / c.efficiency)
                    } else {
                        let rated = c.idle_watts + c.volt_amps / c.efficiency;
                        c.governed_volts * c.governed_volts / (LOCKED_DRAW * rated)
                    };
                    self.between(&format!("{name}_motor"), c.dc, c.ret, ohms);
                }
                let star = inside(&name, "star");
                self.leak(&format!("{name}_star"), &star);
                let forces = star_volts(emf_volts);
                for (phase, letter) in ["a", "b", "c"].into_iter().enumerate() {
                    if c.phase_sound[phase] {
                        let role = format!("{name}_{letter}");
                        let (force, terminal) =
                            (inside(&name, &format!("emf_{letter}")), self.node(c.phases[phase]));
                        self.force(&role, [&force, &star], own, forces[phase]);
                        let z = (c.phase_ohms, c.phase_reactance_ohms);
                        self.impedance(&role, [&force, &terminal], z, c.hertz);
                    }
                }
            }
            Kind::Vibrator(v) => {
                let volts = solution.dc_between(v.dc, v.ret).abs();
                let watts = self.watts.get(&id).copied().unwrap_or_default();
                let ohms = if self.running(id) {
                    let at = volts.max(v.start_volts);
                    at * at / (v.idle_watts + watts / v.efficiency)
                } else {
                    v.rated_dc_volts * v.rated_dc_volts / v.idle_watts
                };
                self.between(&format!("{name}_reed"), v.dc, v.ret, ohms);
                let (force, out) = (inside(&name, "emf"), self.node(v.out));
                let neutral = self.node(v.neutral);
                self.force(&name, [&force, &neutral], own, (emf_volts, 0.0));
                self.resistor(&name, &force, &out, v.ohms);
            }
            Kind::Transformer(t) => self.transformer(&name, t),
            Kind::Load(l) => {
                let (a, b) = (self.node(l.a), self.node(l.b));
                self.impedance(&name, [&a, &b], (l.ohms, l.reactance_ohms), l.hertz);
            }
            Kind::Load3(l) => {
                let star = inside(&name, "star");
                self.leak(&format!("{name}_star"), &star);
                for (phase, letter) in ["a", "b", "c"].into_iter().enumerate() {
                    let terminal = self.node(l.phases[phase]);
                    let z = (l.leg_ohms[phase], l.leg_reactance_ohms);
                    self.impedance(&format!("{name}_{letter}"), [&terminal, &star], z, l.hertz);
                }
            }
            Kind::Gyro(g) => self.gyro(&name, g, self.settled.state.turning(id)),
            Kind::Meter(m) | Kind::Ammeter(m) | Kind::Loadmeter(m) | Kind::FrequencyMeter(m) => {
                self.between(&name, m.plus, m.minus, m.burden_ohms);
            }
            Kind::Battery(b) => {
                // One electromotive force when it gives, another when it takes.
                let (volts, ohms) = match self.settled.state.flow(id) {
                    Flow::Out => (b.volts, b.ohms),
                    Flow::In => (b.charge_volts, b.charge_ohms),
                    Flow::Neither => (0.0, f64::INFINITY),
                };
                self.source(&name, b.plus, b.minus, volts, ohms);
            }
            Kind::Generator(g) => {
                let rpm = g.rpm[usize::from(self.settled.state.found_at(g.driven_by))];
                let volts = if rpm >= g.least_rpm { g.volts } else { g.volts * rpm / g.least_rpm };
                self.source(&name, g.plus, g.minus, volts, g.ohms);
            }
            Kind::Receptacle(r) => {
                let (unit, minus) = (inside(&name, "unit"), self.node(r.minus));
                self.leak(&format!("{name}_unit"), &unit);
                self.supply(&name, [&unit, &minus], r.volts, r.ohms);
                if state == PartState::Position(1) {
                    let (plus, small) = (self.node(r.plus), self.node(r.interlock));
                    self.resistor(&format!("{name}_pin"), &unit, &plus, r.pin_ohms);
                    self.resistor(&format!("{name}_small"), &unit, &small, r.interlock_ohms);
                }
            }
            Kind::Alternator(a) => {
                let star = inside(&name, "star");
                self.leak(&format!("{name}_star"), &star);
                let forces = star_volts(emf_volts);
                for (phase, letter) in ["a", "b", "c"].into_iter().enumerate() {
                    if a.phase_sound[phase] {
                        let role = format!("{name}_{letter}");
                        let (force, terminal) = (inside(&role, "emf"), self.node(a.phases[phase]));
                        self.force(&role, [&force, &star], own, forces[phase]);
                        let z = (a.phase_ohms, a.phase_reactance_ohms);
                        self.impedance(&role, [&force, &terminal], z, a.hertz);
                    }
                }
            }
            Kind::TransformerRectifier(t) => self.rectifier(id, &name, t),
            Kind::Feeder(f) => self.feeder(&name, f),
            Kind::Diode(d) => {
                if !d.blocks {
                    self.between(&name, d.anode, d.cathode, d.ohms);
                } else if self.settled.state.flow(id) == Flow::Out {
                    self.source(&name, d.anode, d.cathode, d.drop_volts, d.ohms);
                }
            }
            Kind::Shunt(x) => self.between(&name, x.a, x.b, x.ohms),
            Kind::Splice(x) => {
                let joint = inside(&name, "joint");
                self.star(&name, &joint, &x.nets, &x.joint_ohms);
            }
            Kind::GroundStud(x) => {
                let bolt = inside(&name, "bolt");
                self.star(&name, &bolt, &x.nets, &x.lead_ohms);
                self.resistor(&format!("{name}_bond"), &bolt, "0", x.ohms);
            }
            Kind::Connector(c) => {
                for (at, pin) in c.pins.iter().enumerate() {
                    self.between(&format!("{name}_{}", at + 1), pin.a, pin.b, pin.ohms);
                }
                if let Some((one, other, ohms)) = c.touching {
                    let role = format!("{name}_touch");
                    self.between(&role, c.pins[one].a, c.pins[other].a, ohms);
                }
            }
            Kind::Mechanism(_) => {}
            Kind::Microswitch(m) => {
                let at = m.stays_at.unwrap_or_else(|| self.settled.state.found_at(m.follows));
                for (which, closure) in m.closures.iter().enumerate() {
                    if closure.position == at {
                        let role = format!("{name}_{}", which + 1);
                        self.between(&role, closure.a, closure.b, closure.ohms);
                    }
                }
            }
            Kind::ReverseCurrentRelay(r) => {
                let ground = crate::circuit::AIRFRAME;
                self.between(&format!("{name}_coil"), r.enable, ground, r.coil_ohms);
                if self.operated(id) {
                    self.between(&format!("{name}_main"), r.generator, r.bus, r.ohms);
                }
            }
            Kind::PhaseRelay(r) => {
                let star = inside(&name, "star");
                self.leak(&format!("{name}_star"), &star);
                for (phase, letter) in ["a", "b", "c"].into_iter().enumerate() {
                    let terminal = self.node(r.phases[phase]);
                    let role = format!("{name}_{letter}");
                    self.resistor(&role, &terminal, &star, r.leg_ohms[phase]);
                }
                self.contacts(&name, &r.contacts, self.operated(id));
            }
            Kind::Flasher(f) => {
                if !self.operated(id) {
                    self.between(&name, f.line, f.load, f.ohms);
                }
            }
            Kind::Horn(h) => self.between(&name, h.a, h.b, h.ohms),
            Kind::Motor(m) => {
                let ohms = if self.running(id) { m.running_ohms } else { m.standing_ohms };
                self.between(&name, m.a, m.b, ohms);
            }
            Kind::Solenoid(x) => self.between(&name, x.x1, x.x2, x.coil_ohms),
        }
        std::mem::take(&mut self.cards)
    }

    /// A resistance between two nets.
    fn between(&mut self, role: &str, a: NetId, b: NetId, ohms: f64) {
        let (a, b) = (self.node(a), self.node(b));
        self.resistor(role, &a, &b, ohms);
    }

    fn relay(&mut self, name: &str, r: &Relay, operated: bool) {
        self.between(&format!("{name}_coil"), r.x1, r.x2, r.coil_ohms);
        self.contacts(name, &r.contacts, operated);
    }

    fn contacts(&mut self, name: &str, sets: &[ContactSet], operated: bool) {
        for (at, set) in sets.iter().enumerate() {
            let (to, ohms, throw) = if operated {
                (set.operated, set.operated_ohms, "no")
            } else {
                (set.released, set.released_ohms, "nc")
            };
            if let Some(to) = to {
                self.between(&format!("{name}_{}{throw}", at + 1), set.common, to, ohms);
            }
        }
    }

    /// A supply between two nets; nothing where its ohms are infinite.
    fn source(&mut self, name: &str, plus: NetId, minus: NetId, volts: f64, ohms: f64) {
        if ohms.is_finite() {
            let (plus, minus) = (self.node(plus), self.node(minus));
            self.supply(name, [&plus, &minus], volts, ohms);
        }
    }

    /// Resistances from several nets to one node.
    fn star(&mut self, name: &str, middle: &str, nets: &[NetId], ohms: &[f64]) {
        self.leak(&format!("{name}_star"), middle);
        for (at, (net, ohms)) in nets.iter().zip(ohms).enumerate() {
            let node = self.node(*net);
            self.resistor(&format!("{name}_{}", at + 1), &node, middle, *ohms);
        }
    }

    /// Three equal legs that draw what it gives over its efficiency and what it needs for
    /// itself; on the other side volts in proportion to the mean of its lines.
    fn rectifier(&mut self, id: PartId, name: &str, t: &TransformerRectifier) {
        let solution = &self.settled.solution;
        let whole: Vec<NetId> =
            (0..3).filter(|phase| t.phase_sound[*phase]).map(|phase| t.phases[phase]).collect();
        // With one line open its end inside stands midway between the other two; with two
        // or three open nothing is left.
        let lines = match whole[..] {
            [a, b, c] => {
                [solution.ac_between(a, b), solution.ac_between(b, c), solution.ac_between(c, a)]
            }
            [a, b] => {
                let volts = solution.ac_between(a, b);
                [volts, volts / 2.0, volts / 2.0]
            }
            _ => [0.0; 3],
        };
        let open_volts = t.volts * lines.iter().sum::<f64>() / 3.0 / t.line_volts;
        let gives = self.settled.state.flow(id) == Flow::Out && t.ohms.is_finite();
        let volts = solution.dc_between(t.plus, t.minus);
        let out = if gives { volts * (open_volts - volts) / t.ohms } else { 0.0 };
        let rated = t.line_volts * t.line_volts;
        let squares = lines.iter().map(|v| v * v).sum::<f64>().max(0.03 * rated);
        let siemens = t.idle_watts / rated + 3.0 * out.max(0.0) / t.efficiency / squares;
        let star = inside(name, "star");
        self.leak(&format!("{name}_star"), &star);
        for (phase, letter) in ["a", "b", "c"].into_iter().enumerate() {
            let role = format!("{name}_{letter}");
            let end = if t.phase_sound[phase] {
                self.node(t.phases[phase])
            } else {
                let open = inside(&role, "open");
                self.leak(&format!("{role}_open"), &open);
                open
            };
            self.resistor(&role, &end, &star, 1.0 / siemens);
        }
        if gives {
            self.source(name, t.plus, t.minus, open_volts, t.ohms);
        }
    }

    /// Three conductors: each its own resistance and coil, the coils coupled, and in each
    /// a source for what the others' currents set up across the resistance they share.
    fn feeder(&mut self, name: &str, f: &Feeder) {
        let letters = ["a", "b", "c"];
        let whole: Vec<usize> = (0..3).filter(|phase| f.sound[*phase]).collect();
        let shared = |x: usize, y: usize| match (x.min(y), x.max(y)) {
            (0, 1) => 3,
            (1, 2) => 4,
            _ => 5,
        };
        let place = |phase: usize, what: &str| inside(name, &format!("{}_{what}", letters[phase]));
        for (phase, letter) in letters.into_iter().enumerate() {
            let role = format!("{name}_{letter}");
            let from = self.node(f.from[phase]);
            self.force(&role, [&from, &place(phase, "sensed")], false, (0.0, 0.0));
        }
        for (phase, letter) in letters.into_iter().enumerate() {
            let role = format!("{name}_{letter}");
            let mut at = place(phase, "sensed");
            for other in (0..3).filter(|other| *other != phase) {
                let next = place(phase, &format!("after_{}", letters[other]));
                let through = format!("V_{name}_{}", letters[other]);
                let ohms = f.ohms[shared(phase, other)];
                let pair = format!("{role}{}", letters[other]);
                self.add(&pair, &[&at, &next], Value::VoltsPerAmp { through, ohms });
                at = next;
            }
            // An open conductor ends here, and no current flows in it.
            if f.sound[phase] {
                let to = self.node(f.to[phase]);
                let z = (f.ohms[phase], f.reactance_ohms[phase]);
                self.impedance(&role, [&at, &to], z, f.hertz);
            }
        }
        if self.own.is_none() {
            return;
        }
        for (at, &x) in whole.iter().enumerate() {
            for &y in &whole[at + 1..] {
                let own = f.reactance_ohms[x] * f.reactance_ohms[y];
                let mutual = f.reactance_ohms[shared(x, y)];
                if own > 0.0 && mutual != 0.0 {
                    let coil = |phase: usize| format!("L_{name}_{}", letters[phase]);
                    let inductors = [coil(x), coil(y)];
                    let factor = mutual / own.sqrt();
                    let role = format!("{name}_{}{}", letters[x], letters[y]);
                    self.add(&role, &[], Value::Coupling { inductors, factor });
                }
            }
        }
    }

    /// Half the series resistance, then core and magnetising coil across, then the
    /// other half with the leakage reactance and the ratio. For direct current the
    /// windings are two separate resistances.
    fn transformer(&mut self, name: &str, t: &Transformer) {
        let core = inside(name, "core");
        let (high, low) = (self.node(t.primary[0]), self.node(t.primary[1]));
        let half = t.series_ohms / 2.0;
        self.leak(&format!("{name}_core"), &core);
        if t.primary_sound {
            self.resistor(&format!("{name}_primary"), &high, &core, half);
        }
        self.resistor(&format!("{name}_iron"), &core, &low, t.core_ohms);
        self.resistor(&format!("{name}_shorted"), &core, &low, t.shorted_turns_ohms);
        let z = (t.series_ohms / 100.0, t.magnetising_reactance_ohms);
        self.impedance(&format!("{name}_mag"), [&core, &low], z, t.hertz);
        if !t.secondary_sound {
            return;
        }
        let ratio = t.secondary_volts / t.primary_volts;
        let (s1, s2) = (self.node(t.secondary[0]), self.node(t.secondary[1]));
        let role = format!("{name}_leakage");
        if self.own.is_none() {
            self.resistor(&role, &s1, &s2, half * ratio * ratio);
            return;
        }
        let (before, after) = (inside(name, "before"), inside(name, "after"));
        self.impedance(&role, [&core, &before], (half, t.leakage_reactance_ohms), t.hertz);
        self.force(name, [&before, &after], false, (0.0, 0.0));
        let back = 1.0 / ratio;
        self.add(name, &[&after, &low, &s1, &s2], Value::VoltsPerVolt(back));
        let through = format!("V_{name}");
        self.add(name, &[&s2, &s1], Value::AmpsPerAmp { through, gain: back });
    }

    fn gyro(&mut self, name: &str, g: &Gyro, turning: Turning) {
        let terminals = [0, 1, 2].map(|phase| {
            if g.winding_sound[phase] {
                return self.node(g.phases[phase]);
            }
            let open = inside(name, ["open_a", "open_b", "open_c"][phase]);
            self.leak(&format!("{name}_{phase}"), &open);
            open
        });
        let standing = (g.amps * g.locked_ratio, g.locked_power_factor);
        let star_ohms = |amps: f64| g.volts / 3.0_f64.sqrt() / amps;
        let Some(given) = self.own else {
            let star = inside(name, "star");
            for (terminal, letter) in terminals.iter().zip(["a", "b", "c"]) {
                let ohms = star_ohms(standing.0) * standing.1;
                self.resistor(&format!("{name}_{letter}"), terminal, &star, ohms);
            }
            return;
        };
        let admittance = |(amps, power_factor): (f64, f64)| {
            let ohms = star_ohms(amps);
            let r = ohms * power_factor;
            let x = ohms * (1.0 - power_factor * power_factor).sqrt() * given.hertz / g.hertz;
            let square = r * r + x * x;
            (r / square, -x / square)
        };
        let stands = admittance(standing);
        let turns = admittance((g.amps, g.power_factor));
        let (first, second) = match turning {
            Turning::Stands => (stands, stands),
            Turning::Forward => (turns, stands),
            Turning::Backward => (stands, turns),
        };
        self.rotor(name, &terminals, first, second, given.hertz);
    }

    /// A three-terminal machine by its two sequence admittances: `I = Y V`, each complex
    /// admittance as a transconductance of the voltage and one of the voltage turned by
    /// 90 degrees (a one-ohm reactance fed with it). With `a` a third of a turn,
    /// `Y_ab = (a Y1 + a^2 Y2) / 3` and so round.
    fn rotor(
        &mut self,
        name: &str,
        terminals: &[String; 3],
        first: (f64, f64),
        second: (f64, f64),
        hertz: f64,
    ) {
        let letters = ["a", "b", "c"];
        for (terminal, letter) in terminals.iter().zip(letters) {
            let turned = inside(name, &format!("turned_{letter}"));
            let role = format!("{name}_turn_{letter}");
            self.add(&role, &["0", &turned, terminal, "0"], Value::AmpsPerVolt(1.0));
            self.add(&role, &[&turned, "0"], Value::Henries(1.0 / (TAU * hertz)));
        }
        let root = 3.0_f64.sqrt() / 2.0;
        let times =
            |(ar, ai): (f64, f64), (br, bi): (f64, f64)| (ar * br - ai * bi, ar * bi + ai * br);
        let third = |x: (f64, f64), y: (f64, f64)| ((x.0 + y.0) / 3.0, (x.1 + y.1) / 3.0);
        let (a, a2) = ((-0.5, root), (-0.5, -root));
        let circle = [
            third(first, second),
            third(times(a, first), times(a2, second)),
            third(times(a2, first), times(a, second)),
        ];
        for row in 0..3 {
            for column in 0..3 {
                let (g, b) = circle[(column + 3 - row) % 3];
                let pair = format!("{name}_{}{}", letters[row], letters[column]);
                let turned = inside(name, &format!("turned_{}", letters[column]));
                let (to, from) = (terminals[row].as_str(), terminals[column].as_str());
                self.add(&format!("{pair}_g"), &[to, "0", from, "0"], Value::AmpsPerVolt(g));
                self.add(&format!("{pair}_b"), &[to, "0", &turned, "0"], Value::AmpsPerVolt(b));
            }
        }
    }
}

/// A node of the part's own.
fn inside(part: &str, place: &str) -> String {
    if place.is_empty() { format!("x_{part}") } else { format!("x_{part}_{place}") }
}
