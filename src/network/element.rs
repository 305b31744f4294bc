//! From parts to the few electrical elements that the solver stamps.
//!
//! A part becomes one or more elements between nets; some parts need nets of
//! their own (the star point of an alternator). This is the one place that knows
//! how each kind of part behaves electrically.

use num_complex::Complex64;

use super::sparse::{Plan, Scalar};
use super::state::{PartState, State};
use crate::circuit::{AIRFRAME, Circuit, ContactSet, Gyro, Kind, NetId, PartId};
use crate::units::phasor;

/// A series impedance: resistance, and reactance that holds at `hertz`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Impedance {
    /// Ohms.
    pub ohms: f64,
    /// Ohms of reactance at `hertz`.
    pub reactance_ohms: f64,
    /// The frequency at which the reactance holds.
    pub hertz: f64,
}

impl Impedance {
    /// A plain resistance.
    pub fn resistance(ohms: f64) -> Self {
        Self { ohms, reactance_ohms: 0.0, hertz: 1.0 }
    }

    /// Its admittance at a frequency; reactance goes with frequency.
    pub(super) fn admittance<T: Scalar>(self, hertz: f64) -> T {
        T::admittance(self.ohms, self.reactance_ohms * (hertz / self.hertz))
    }
}

/// When an element is in the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Gate {
    /// Always.
    Always,
    /// While the part, a breaker or fuse, is closed.
    Protector,
    /// While the part, a switch, stands in this position.
    Position(u8),
    /// While the part, a relay, is operated (or released, for `false`).
    Relay(bool),
}

impl Gate {
    /// Whether the gate is closed.
    pub(super) fn closed(self, part: PartId, state: &State) -> bool {
        match self {
            Self::Always => true,
            Self::Protector => state.protector_closed(part),
            Self::Position(position) => state.of(part) == PartState::Position(position),
            Self::Relay(operated) => state.operated(part) == operated,
        }
    }
}

/// What an element does.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Form {
    /// An impedance between two nets.
    Branch(Impedance),
    /// A conductance between two nets that follows its own voltage; its value is
    /// kept in the state.
    Filament,
    /// A source of electromotive force in series with an impedance. For direct
    /// current the phasor is the volts; for a machine it is the unit phasor of the
    /// phase, scaled by its regulator.
    Emf {
        /// Volts, or unit phasor.
        emf: Complex64,
        /// In series.
        inner: Impedance,
        /// Whether a machine drives it; a supply otherwise.
        machine: bool,
    },
    /// The ideal-ratio part of a transformer between four nets (primary two,
    /// secondary two) behind a leakage impedance on the primary side.
    Coupling {
        /// Secondary over primary volts.
        ratio: f64,
        /// Leakage and half the winding resistance, referred to the primary.
        inner: Impedance,
    },
    /// A three-phase machine between three nets, by sequence impedance (star
    /// equivalent without neutral).
    Rotor {
        /// Positive sequence while it turns.
        running: Impedance,
        /// Either sequence with the rotor standing; negative sequence always.
        standing: Impedance,
    },
}

/// One element of the network.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Element {
    /// The part it belongs to.
    pub part: PartId,
    /// When it is in the circuit.
    pub gate: Gate,
    /// Its nets, two to four of them used.
    pub nets: [NetId; 4],
    /// How many of `nets` are used.
    pub terminals: u8,
    /// What it does.
    pub form: Form,
}

/// The elements of a circuit and the nets the parts brought themselves.
pub(super) struct Elements {
    /// All elements, grouped by part in part order.
    pub list: Vec<Element>,
    /// Nets in total, those of the circuit first.
    pub nets: usize,
    /// Name of each net beyond the circuit's own.
    pub inner_names: Vec<String>,
}

/// Star equivalent impedances of a gyro motor, per phase.
///
/// `Z = V / (sqrt 3 I)` at the power factor; with the rotor standing the current
/// is `locked_ratio` times as large.
pub fn gyro_impedances(gyro: &Gyro) -> (Impedance, Impedance) {
    let phase_volts = gyro.volts / 3.0_f64.sqrt();
    let of = |amps: f64, power_factor: f64| Impedance {
        ohms: phase_volts / amps * power_factor,
        reactance_ohms: phase_volts / amps * (1.0 - power_factor * power_factor).sqrt(),
        hertz: gyro.hertz,
    };
    (of(gyro.amps, gyro.power_factor), of(gyro.amps * gyro.locked_ratio, gyro.locked_power_factor))
}

struct Builder {
    elements: Vec<Element>,
    nets: usize,
    inner_names: Vec<String>,
}

impl Builder {
    fn inner_net(&mut self, name: String) -> NetId {
        let net = NetId(self.nets as u32);
        self.nets += 1;
        self.inner_names.push(name);
        net
    }

    fn two(&mut self, part: PartId, gate: Gate, a: NetId, b: NetId, form: Form) {
        self.elements.push(Element {
            part,
            gate,
            nets: [a, b, AIRFRAME, AIRFRAME],
            terminals: 2,
            form,
        });
    }

    /// A branch, unless it is open.
    fn branch(&mut self, part: PartId, gate: Gate, a: NetId, b: NetId, ohms: f64) {
        if ohms.is_finite() {
            self.two(part, gate, a, b, Form::Branch(Impedance::resistance(ohms)));
        }
    }

    fn contact_set(&mut self, part: PartId, set: &ContactSet) {
        if let Some(net) = set.released {
            self.branch(part, Gate::Relay(false), set.common, net, set.released_ohms);
        }
        if let Some(net) = set.operated {
            self.branch(part, Gate::Relay(true), set.common, net, set.operated_ohms);
        }
    }
}

/// Unit phasor of phase `index` of a set whose line-to-line volts are one.
fn unit_phase(index: usize) -> Complex64 {
    phasor(1.0 / 3.0_f64.sqrt(), -120.0 * index as f64)
}

/// Writes a circuit out as elements.
pub(super) fn elements(circuit: &Circuit) -> Elements {
    let mut b = Builder { elements: Vec::new(), nets: circuit.nets.len(), inner_names: Vec::new() };
    for (id, part) in circuit.parts_with_ids() {
        let always = Gate::Always;
        match &part.kind {
            Kind::Supply(supply) => {
                let inner = Impedance::resistance(supply.ohms);
                let emf = Complex64::new(supply.volts, 0.0);
                let form = if supply.volts == 0.0 {
                    Form::Branch(inner)
                } else {
                    Form::Emf { emf, inner, machine: false }
                };
                b.two(id, always, supply.plus, supply.minus, form);
            }
            Kind::Wire(wire) => match wire.chafed_ohms {
                None => b.branch(id, always, wire.a, wire.b, wire.ohms),
                Some(ohms) => {
                    let middle = b.inner_net(format!("{} middle", part.id));
                    b.branch(id, always, wire.a, middle, wire.ohms / 2.0);
                    b.branch(id, always, middle, wire.b, wire.ohms / 2.0);
                    b.branch(id, always, middle, AIRFRAME, ohms);
                }
            },
            Kind::Resistor(resistor) => {
                b.branch(id, always, resistor.a, resistor.b, resistor.ohms);
            }
            Kind::Ground(ground) => b.branch(id, always, ground.net, AIRFRAME, ground.ohms),
            Kind::Breaker(breaker) => {
                b.branch(id, Gate::Protector, breaker.line, breaker.load, breaker.ohms);
            }
            Kind::Fuse(fuse) => b.branch(id, Gate::Protector, fuse.line, fuse.load, fuse.ohms),
            Kind::Switch(switch) => {
                for closure in &switch.closures {
                    let gate = Gate::Position(closure.position);
                    b.branch(id, gate, closure.a, closure.b, closure.ohms);
                }
            }
            Kind::Relay(relay) => {
                b.branch(id, always, relay.x1, relay.x2, relay.coil_ohms);
                for set in &relay.contacts {
                    b.contact_set(id, set);
                }
            }
            Kind::Lamp(lamp) => {
                if lamp.bulbs_good > 0 {
                    b.two(id, always, lamp.a, lamp.b, Form::Filament);
                }
            }
            Kind::Converter(converter) => {
                if converter.motor_sound {
                    b.two(id, always, converter.dc, converter.ret, Form::Filament);
                }
                let star = b.inner_net(format!("{} star point", part.id));
                let inner = Impedance {
                    ohms: converter.phase_ohms,
                    reactance_ohms: converter.phase_reactance_ohms,
                    hertz: converter.hertz,
                };
                for phase in 0..3 {
                    if converter.phase_sound[phase] {
                        let form = Form::Emf { emf: unit_phase(phase), inner, machine: true };
                        b.two(id, always, converter.phases[phase], star, form);
                    }
                }
            }
            Kind::Vibrator(vibrator) => {
                b.two(id, always, vibrator.dc, vibrator.ret, Form::Filament);
                let form = Form::Emf {
                    emf: Complex64::ONE,
                    inner: Impedance::resistance(vibrator.ohms),
                    machine: true,
                };
                b.two(id, always, vibrator.out, vibrator.neutral, form);
            }
            Kind::Transformer(t) => {
                // The core sits behind half the winding resistance, so that it is
                // still there for a voltage that comes in from the secondary when
                // the primary winding is open.
                let core = b.inner_net(format!("{} core", part.id));
                if t.primary_sound {
                    b.branch(id, always, t.primary[0], core, t.series_ohms / 2.0);
                }
                b.branch(id, always, core, t.primary[1], t.core_ohms);
                b.branch(id, always, core, t.primary[1], t.shorted_turns_ohms);
                let magnetising = Impedance {
                    ohms: t.series_ohms,
                    reactance_ohms: t.magnetising_reactance_ohms,
                    hertz: t.hertz,
                };
                b.two(id, always, core, t.primary[1], Form::Branch(magnetising));
                if t.secondary_sound {
                    b.elements.push(Element {
                        part: id,
                        gate: always,
                        nets: [core, t.primary[1], t.secondary[0], t.secondary[1]],
                        terminals: 4,
                        form: Form::Coupling {
                            ratio: t.secondary_volts / t.primary_volts,
                            inner: Impedance {
                                ohms: t.series_ohms / 2.0,
                                reactance_ohms: t.leakage_reactance_ohms,
                                hertz: t.hertz,
                            },
                        },
                    });
                }
            }
            Kind::Load(load) => {
                if load.ohms.is_finite() {
                    let form = Form::Branch(Impedance {
                        ohms: load.ohms,
                        reactance_ohms: load.reactance_ohms,
                        hertz: load.hertz,
                    });
                    b.two(id, always, load.a, load.b, form);
                }
            }
            Kind::Load3(load) => {
                let star = b.inner_net(format!("{} star point", part.id));
                for phase in 0..3 {
                    if load.leg_ohms[phase].is_finite() {
                        let form = Form::Branch(Impedance {
                            ohms: load.leg_ohms[phase],
                            reactance_ohms: load.leg_reactance_ohms,
                            hertz: load.hertz,
                        });
                        b.two(id, always, load.phases[phase], star, form);
                    }
                }
            }
            Kind::Gyro(gyro) => {
                let (running, standing) = gyro_impedances(gyro);
                let mut nets = [AIRFRAME; 4];
                for phase in 0..3 {
                    // A winding that is open leaves its end inside the machine in the air.
                    nets[phase] = if gyro.winding_sound[phase] {
                        gyro.phases[phase]
                    } else {
                        b.inner_net(format!("{} inside, phase {}", part.id, ["A", "B", "C"][phase]))
                    };
                }
                b.elements.push(Element {
                    part: id,
                    gate: always,
                    nets,
                    terminals: 3,
                    form: Form::Rotor { running, standing },
                });
            }
            Kind::Meter(meter) => b.branch(id, always, meter.plus, meter.minus, meter.burden_ohms),
        }
    }
    Elements { list: b.elements, nets: b.nets, inner_names: b.inner_names }
}

/// Where an element's entries stand in its island's matrix, row by row; `None`
/// where the airframe is involved.
pub(super) type Slots = [Option<u32>; 16];

/// Looks up the slots of an element; `local` gives a net's place in the island.
pub(super) fn slots(element: &Element, plan: &Plan, local: impl Fn(NetId) -> Option<u32>) -> Slots {
    let mut slots = [None; 16];
    let n = element.terminals as usize;
    for row in 0..n {
        for column in 0..n {
            if let (Some(r), Some(c)) = (local(element.nets[row]), local(element.nets[column])) {
                slots[row * n + column] = Some(plan.slot(r, c));
            }
        }
    }
    slots
}

/// The admittance matrix of an element between its terminals, row by row, at a
/// frequency; `None` when it is not in the circuit.
///
/// Sequence admittances of a rotor: `Y_aa = (Y1 + Y2) / 3`,
/// `Y_ab = (a Y1 + a^2 Y2) / 3`, `Y_ac = (a^2 Y1 + a Y2) / 3` and so around
/// (symmetrical components, no zero sequence since the star has no neutral).
pub(super) fn phasor_matrix(
    element: &Element,
    state: &State,
    hertz: f64,
) -> Option<[Complex64; 16]> {
    if !element.gate.closed(element.part, state) {
        return None;
    }
    let mut y = [Complex64::ZERO; 16];
    match &element.form {
        Form::Branch(z) | Form::Emf { inner: z, .. } => two_terminal(&mut y, z.admittance(hertz)),
        Form::Filament => {
            let g = state.conductance[element.part.index()];
            two_terminal(&mut y, Complex64::new(g, 0.0));
        }
        Form::Coupling { ratio, inner } => {
            let admittance: Complex64 = inner.admittance(hertz);
            let turns = [1.0, -1.0, -1.0 / ratio, 1.0 / ratio];
            for row in 0..4 {
                for column in 0..4 {
                    y[row * 4 + column] = admittance * (turns[row] * turns[column]);
                }
            }
        }
        Form::Rotor { running, standing } => {
            let y2: Complex64 = standing.admittance(hertz);
            let y1 = if state.running(element.part) { running.admittance(hertz) } else { y2 };
            let (a, a2) = (phasor(1.0, 120.0), phasor(1.0, -120.0));
            let circle = [(y1 + y2) / 3.0, (a * y1 + a2 * y2) / 3.0, (a2 * y1 + a * y2) / 3.0];
            for row in 0..3 {
                for column in 0..3 {
                    y[row * 3 + column] = circle[(column + 3 - row) % 3];
                }
            }
        }
    }
    Some(y)
}

/// The same for direct current: reactances vanish, a transformer is two separate
/// windings, a rotor is its winding resistance.
pub(super) fn direct_matrix(element: &Element, state: &State) -> Option<[f64; 16]> {
    if !element.gate.closed(element.part, state) {
        return None;
    }
    let mut y = [0.0; 16];
    match &element.form {
        Form::Branch(z) | Form::Emf { inner: z, .. } => {
            two_terminal(&mut y, 1.0 / z.ohms.max(1e-6));
        }
        Form::Filament => two_terminal(&mut y, state.conductance[element.part.index()]),
        Form::Coupling { ratio, inner } => {
            let secondary = 1.0 / (2.0 * inner.ohms * ratio * ratio);
            for (row, column, sign) in [(2, 2, 1.0), (3, 3, 1.0), (2, 3, -1.0), (3, 2, -1.0)] {
                y[row * 4 + column] = sign * secondary;
            }
        }
        Form::Rotor { standing, .. } => {
            let g = 1.0 / standing.ohms;
            for row in 0..3 {
                for column in 0..3 {
                    y[row * 3 + column] = if row == column { 2.0 } else { -1.0 } * g / 3.0;
                }
            }
        }
    }
    Some(y)
}

fn two_terminal<T: Scalar>(y: &mut [T; 16], admittance: T) {
    y[0] = admittance;
    y[1] = -admittance;
    y[2] = -admittance;
    y[3] = admittance;
}
