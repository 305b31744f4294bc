//! From parts to the few electrical elements that the solver stamps.
//!
//! A part becomes one or more elements between nets; some parts need nets of
//! their own (the star point of an alternator). This is the one place that knows
//! how each kind of part behaves electrically.

use num_complex::Complex64;

use super::sparse::Scalar;
use super::state::{PartState, State};
use crate::circuit::{AIRFRAME, Circuit, ContactSet, Gyro, Kind, NetId, PartId};
use crate::units::phasor;

/// Ohms below which nothing in the model goes, those of a good bolted joint. A
/// shorter path would drown the insulation of its nets in its own last digits.
const LEAST_OHMS: f64 = 1e-5;

/// Conductance of a resistance of at least [`LEAST_OHMS`].
pub(super) fn siemens(ohms: f64) -> f64 {
    1.0 / ohms.max(LEAST_OHMS)
}

/// A series impedance: resistance, and reactance that holds at `hertz`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Impedance {
    /// Ohms.
    pub ohms: f64,
    /// Ohms of reactance at `hertz`; negative for a capacitor.
    pub reactance_ohms: f64,
    /// The frequency at which the reactance holds.
    pub hertz: f64,
}

impl Impedance {
    /// A plain resistance.
    pub fn resistance(ohms: f64) -> Self {
        Self { ohms, reactance_ohms: 0.0, hertz: 1.0 }
    }

    /// Its admittance in siemens at a frequency above zero. The reactance of a coil
    /// goes with frequency, that of a capacitor against it.
    pub(super) fn admittance(self, hertz: f64) -> Complex64 {
        let times = if self.reactance_ohms < 0.0 { self.hertz / hertz } else { hertz / self.hertz };
        let reactance = self.reactance_ohms * times;
        let square = self.ohms * self.ohms + reactance * reactance;
        if square < LEAST_OHMS * LEAST_OHMS {
            return Complex64::new(1.0 / LEAST_OHMS, 0.0);
        }
        if square.is_infinite() {
            return Complex64::ZERO;
        }
        Complex64::new(self.ohms / square, -reactance / square)
    }

    /// Its conductance in siemens for direct current, which a capacitor blocks.
    fn conductance(self) -> f64 {
        if self.reactance_ohms < 0.0 { 0.0 } else { siemens(self.ohms) }
    }
}

/// When a contact is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Gate {
    /// While the part, a breaker or fuse, is closed.
    Protector,
    /// While the part, a switch, stands in this position.
    Position(u8),
    /// While the part, a relay, is operated (or released, for `false`).
    Relay(bool),
}

impl Gate {
    /// Whether the contact is closed.
    pub(super) fn closed(self, part: PartId, state: &State) -> bool {
        match self {
            Self::Protector => state.protector_closed(part),
            Self::Position(position) => state.of(part) == PartState::Position(position),
            Self::Relay(operated) => state.operated(part) == operated,
        }
    }
}

/// What an element does.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Form {
    /// Nothing: what stood here is open. It is kept so that a circuit with an open
    /// part has the structure of the sound one and shares its elimination plans.
    Absent,
    /// An impedance between two nets.
    Branch(Impedance),
    /// A contact: ohms while its gate is closed, nothing otherwise.
    Contact {
        /// When it is closed.
        gate: Gate,
        /// Ohms while closed.
        ohms: f64,
    },
    /// A conductance between two nets that follows its own voltage; its value is
    /// kept in the state.
    Filament,
    /// A direct-current supply in series with a resistance.
    Supply {
        /// Open-circuit volts.
        volts: f64,
        /// Ohms in series.
        ohms: f64,
    },
    /// One phase of a machine in series with its impedance.
    Phase {
        /// Its electromotive force for one volt line to line (for a single phase: one
        /// volt), which the regulator scales.
        unit: Complex64,
        /// In series.
        inner: Impedance,
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
    /// Its nets, two to four of them used.
    pub nets: [NetId; 4],
    /// How many of `nets` are used.
    pub terminals: u8,
    /// What it does.
    pub form: Form,
}

impl Element {
    /// The nets it stands between.
    pub(super) fn terminals(&self) -> &[NetId] {
        &self.nets[..usize::from(self.terminals)]
    }
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

    fn two(&mut self, part: PartId, a: NetId, b: NetId, form: Form) {
        self.elements.push(Element { part, nets: [a, b, AIRFRAME, AIRFRAME], terminals: 2, form });
    }

    /// The same, or nothing in its place.
    fn two_if(&mut self, there: bool, part: PartId, a: NetId, b: NetId, form: Form) {
        self.two(part, a, b, if there { form } else { Form::Absent });
    }

    /// A resistance, infinite when open.
    fn branch(&mut self, part: PartId, a: NetId, b: NetId, ohms: f64) {
        let form = Form::Branch(Impedance::resistance(ohms));
        self.two_if(ohms.is_finite(), part, a, b, form);
    }

    /// A contact, of infinite ohms when it never makes.
    fn contact(&mut self, part: PartId, gate: Gate, a: NetId, b: NetId, ohms: f64) {
        self.two_if(ohms.is_finite(), part, a, b, Form::Contact { gate, ohms });
    }

    fn contact_set(&mut self, part: PartId, set: &ContactSet) {
        if let Some(net) = set.released {
            self.contact(part, Gate::Relay(false), set.common, net, set.released_ohms);
        }
        if let Some(net) = set.operated {
            self.contact(part, Gate::Relay(true), set.common, net, set.operated_ohms);
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
        match &part.kind {
            Kind::Supply(supply) => {
                let form = Form::Supply { volts: supply.volts, ohms: supply.ohms };
                b.two(id, supply.plus, supply.minus, form);
            }
            Kind::Wire(wire) => match wire.chafed_ohms {
                None => b.branch(id, wire.a, wire.b, wire.ohms),
                Some(ohms) => {
                    let middle = b.inner_net(format!("{} middle", part.id));
                    b.branch(id, wire.a, middle, wire.ohms / 2.0);
                    b.branch(id, middle, wire.b, wire.ohms / 2.0);
                    b.branch(id, middle, AIRFRAME, ohms);
                }
            },
            Kind::Resistor(resistor) => {
                b.branch(id, resistor.a, resistor.b, resistor.ohms);
            }
            Kind::Ground(ground) => b.branch(id, ground.net, AIRFRAME, ground.ohms),
            Kind::Breaker(breaker) => {
                b.contact(id, Gate::Protector, breaker.line, breaker.load, breaker.ohms);
            }
            Kind::Fuse(fuse) => b.contact(id, Gate::Protector, fuse.line, fuse.load, fuse.ohms),
            Kind::Switch(switch) => {
                for closure in &switch.closures {
                    let gate = Gate::Position(closure.position);
                    b.contact(id, gate, closure.a, closure.b, closure.ohms);
                }
            }
            Kind::Relay(relay) => {
                b.branch(id, relay.x1, relay.x2, relay.coil_ohms);
                for set in &relay.contacts {
                    b.contact_set(id, set);
                }
            }
            Kind::Lamp(lamp) => {
                b.two_if(lamp.bulbs_good > 0, id, lamp.a, lamp.b, Form::Filament);
            }
            Kind::Converter(converter) => {
                b.two_if(converter.motor_sound, id, converter.dc, converter.ret, Form::Filament);
                let star = b.inner_net(format!("{} star point", part.id));
                let inner = Impedance {
                    ohms: converter.phase_ohms,
                    reactance_ohms: converter.phase_reactance_ohms,
                    hertz: converter.hertz,
                };
                for phase in 0..3 {
                    let form = Form::Phase { unit: unit_phase(phase), inner };
                    b.two_if(converter.phase_sound[phase], id, converter.phases[phase], star, form);
                }
            }
            Kind::Vibrator(vibrator) => {
                b.two(id, vibrator.dc, vibrator.ret, Form::Filament);
                let inner = Impedance::resistance(vibrator.ohms);
                let form = Form::Phase { unit: Complex64::ONE, inner };
                b.two(id, vibrator.out, vibrator.neutral, form);
            }
            Kind::Transformer(t) => {
                // The core sits behind half the winding resistance, so that it is
                // still there for a voltage that comes in from the secondary when
                // the primary winding is open.
                let core = b.inner_net(format!("{} core", part.id));
                let half = Form::Branch(Impedance::resistance(t.series_ohms / 2.0));
                b.two_if(t.primary_sound, id, t.primary[0], core, half);
                b.branch(id, core, t.primary[1], t.core_ohms);
                b.branch(id, core, t.primary[1], t.shorted_turns_ohms);
                // A magnetising coil passes direct current; what resistance the primary
                // has stands ahead of it already.
                let magnetising = Impedance {
                    ohms: t.series_ohms / 100.0,
                    reactance_ohms: t.magnetising_reactance_ohms,
                    hertz: t.hertz,
                };
                b.two(id, core, t.primary[1], Form::Branch(magnetising));
                let coupling = Form::Coupling {
                    ratio: t.secondary_volts / t.primary_volts,
                    inner: Impedance {
                        ohms: t.series_ohms / 2.0,
                        reactance_ohms: t.leakage_reactance_ohms,
                        hertz: t.hertz,
                    },
                };
                b.elements.push(Element {
                    part: id,
                    nets: [core, t.primary[1], t.secondary[0], t.secondary[1]],
                    terminals: 4,
                    form: if t.secondary_sound { coupling } else { Form::Absent },
                });
            }
            Kind::Load(load) => {
                let form = Form::Branch(Impedance {
                    ohms: load.ohms,
                    reactance_ohms: load.reactance_ohms,
                    hertz: load.hertz,
                });
                b.two_if(load.ohms.is_finite(), id, load.a, load.b, form);
            }
            Kind::Load3(load) => {
                let star = b.inner_net(format!("{} star point", part.id));
                for phase in 0..3 {
                    let form = Form::Branch(Impedance {
                        ohms: load.leg_ohms[phase],
                        reactance_ohms: load.leg_reactance_ohms,
                        hertz: load.hertz,
                    });
                    let whole = load.leg_ohms[phase].is_finite();
                    b.two_if(whole, id, load.phases[phase], star, form);
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
                    nets,
                    terminals: 3,
                    form: Form::Rotor { running, standing },
                });
            }
            Kind::Meter(meter) => b.branch(id, meter.plus, meter.minus, meter.burden_ohms),
        }
    }
    Elements { list: b.elements, nets: b.nets, inner_names: b.inner_names }
}

/// The admittance matrix of an element between its terminals, row by row.
pub(super) type Matrix<T> = [T; 16];

/// What an element that is neither contact nor filament nor rotor does at a frequency
/// above zero; `None` for those three.
pub(super) fn fixed_phasor(form: &Form, hertz: f64) -> Option<Matrix<Complex64>> {
    match form {
        Form::Absent => Some([Complex64::ZERO; 16]),
        Form::Branch(z) | Form::Phase { inner: z, .. } => Some(two_terminal(z.admittance(hertz))),
        Form::Supply { ohms, .. } => Some(two_terminal(siemens(*ohms).into())),
        Form::Coupling { ratio, inner } => {
            let admittance = inner.admittance(hertz);
            let turns = [1.0, -1.0, -1.0 / ratio, 1.0 / ratio];
            let mut y = [Complex64::ZERO; 16];
            for row in 0..4 {
                for column in 0..4 {
                    y[row * 4 + column] = admittance * (turns[row] * turns[column]);
                }
            }
            Some(y)
        }
        Form::Contact { .. } | Form::Filament | Form::Rotor { .. } => None,
    }
}

/// The same for direct current: reactances vanish, a transformer is two separate
/// windings, a rotor is its winding resistance; `None` for contact and filament.
pub(super) fn fixed_direct(form: &Form) -> Option<Matrix<f64>> {
    match form {
        Form::Absent => Some([0.0; 16]),
        Form::Branch(z) | Form::Phase { inner: z, .. } => Some(two_terminal(z.conductance())),
        Form::Supply { ohms, .. } => Some(two_terminal(siemens(*ohms))),
        Form::Coupling { ratio, inner } => {
            // Half the winding resistance stands ahead of the core and is the primary's;
            // this is the other half, as the secondary has it.
            let winding = siemens(inner.ohms * ratio * ratio);
            let mut y = [0.0; 16];
            for (row, column, sign) in [(2, 2, 1.0), (3, 3, 1.0), (2, 3, -1.0), (3, 2, -1.0)] {
                y[row * 4 + column] = sign * winding;
            }
            Some(y)
        }
        Form::Rotor { standing, .. } => {
            let g = standing.conductance();
            let mut y = [0.0; 16];
            for row in 0..3 {
                for column in 0..3 {
                    y[row * 3 + column] = if row == column { 2.0 } else { -1.0 } * g / 3.0;
                }
            }
            Some(y)
        }
        Form::Contact { .. } | Form::Filament => None,
    }
}

/// A rotor by its two sequence admittances:
/// `Y_aa = (Y1 + Y2) / 3`, `Y_ab = (a Y1 + a^2 Y2) / 3`, `Y_ac = (a^2 Y1 + a Y2) / 3`
/// and so around (symmetrical components, no zero sequence since the star has no
/// neutral).
pub(super) fn rotor(y1: Complex64, y2: Complex64) -> [Complex64; 9] {
    let (a, a2) = (phasor(1.0, 120.0), phasor(1.0, -120.0));
    let circle = [(y1 + y2) / 3.0, (a * y1 + a2 * y2) / 3.0, (a2 * y1 + a * y2) / 3.0];
    std::array::from_fn(|at| circle[(at % 3 + 3 - at / 3) % 3])
}

/// The matrix of any element in a state at a frequency above zero.
pub(super) fn phasor_matrix(element: &Element, state: &State, hertz: f64) -> Matrix<Complex64> {
    match &element.form {
        Form::Rotor { running, standing } => {
            let y2 = standing.admittance(hertz);
            let y1 = if state.running(element.part) { running.admittance(hertz) } else { y2 };
            let mut y = [Complex64::ZERO; 16];
            y[..9].copy_from_slice(&rotor(y1, y2));
            y
        }
        form => fixed_phasor(form, hertz)
            .unwrap_or_else(|| two_terminal(Complex64::from(variable_siemens(element, state)))),
    }
}

/// The same for direct current.
pub(super) fn direct_matrix(element: &Element, state: &State) -> Matrix<f64> {
    fixed_direct(&element.form).unwrap_or_else(|| two_terminal(variable_siemens(element, state)))
}

/// Conductance of a contact or filament in a state; zero for anything else.
fn variable_siemens(element: &Element, state: &State) -> f64 {
    match &element.form {
        Form::Contact { gate, ohms } if gate.closed(element.part, state) => siemens(*ohms),
        Form::Filament => state.conductance[element.part.index()],
        Form::Contact { .. }
        | Form::Absent
        | Form::Branch(_)
        | Form::Supply { .. }
        | Form::Phase { .. }
        | Form::Coupling { .. }
        | Form::Rotor { .. } => 0.0,
    }
}

fn two_terminal<T: Scalar>(admittance: T) -> Matrix<T> {
    let mut y = [T::zero(); 16];
    y[0] = admittance;
    y[1] = -admittance;
    y[2] = -admittance;
    y[3] = admittance;
    y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::tests::network;
    use crate::units::magnitude;

    fn near(got: Complex64, expected: Complex64) {
        assert!(magnitude(got - expected) < 1e-12 * magnitude(expected), "{got} {expected}");
    }

    #[test]
    fn reactance_goes_with_frequency_and_a_capacitors_against_it() {
        let coil = Impedance { ohms: 3.0, reactance_ohms: 2.0, hertz: 400.0 };
        near(coil.admittance(800.0), Complex64::new(3.0, 4.0).inv());
        let capacitor = Impedance { ohms: 3.0, reactance_ohms: -8.0, hertz: 400.0 };
        near(capacitor.admittance(800.0), Complex64::new(3.0, -4.0).inv());
        assert_eq!(coil.conductance(), 1.0 / 3.0);
        assert_eq!(capacitor.conductance(), 0.0);
    }

    #[test]
    fn no_impedance_is_too_small_or_too_large_for_a_number() {
        let z = |ohms, reactance_ohms| Impedance { ohms, reactance_ohms, hertz: 1.0 };
        for z in [z(0.0, 0.0), z(1e-300, 0.0), z(1e300, 1e300), z(0.0, 1e-300), z(0.0, -1.0)] {
            for hertz in [1e-300, 1.0, 1e300] {
                let y = z.admittance(hertz);
                assert!(y.re.is_finite() && y.im.is_finite(), "{z:?} at {hertz}: {y}");
                assert!(magnitude(y) <= 1.000_001 / LEAST_OHMS);
            }
            assert!(z.conductance().is_finite());
        }
    }

    #[test]
    fn each_sequence_sees_its_own_admittance() {
        let (y1, y2) = (Complex64::new(0.3, -0.4), Complex64::new(1.0, -2.0));
        let y = rotor(y1, y2);
        let (a, a2) = (phasor(1.0, 120.0), phasor(1.0, -120.0));
        for (volts, seen) in [([Complex64::ONE, a2, a], y1), ([Complex64::ONE, a, a2], y2)] {
            for row in 0..3 {
                let amps: Complex64 =
                    (0..3).map(|column| y[row * 3 + column] * volts[column]).sum();
                near(amps, seen * volts[row]);
            }
        }
        // Nothing flows for the same voltage on all three: the star has no neutral.
        assert!(magnitude(y[0] + y[1] + y[2]) < 1e-15);
    }

    #[test]
    fn a_gyro_draws_its_rated_and_its_locked_current() {
        let parts = ["Gyro(id: \"G\", a: \"A\", b: \"GND\", c: \"C\", amps: 0.35)"];
        let network = network("A C", &parts);
        let Kind::Gyro(gyro) = &network.circuit().parts[0].kind else { unreachable!("a gyro") };
        let (running, standing) = gyro_impedances(gyro);
        let phase_volts = 115.0 / 3.0_f64.sqrt();
        let amps = |z: Impedance| phase_volts * magnitude(z.admittance(400.0));
        assert!((amps(running) - 0.35).abs() < 1e-12);
        assert!((amps(standing) - 0.35 * gyro.locked_ratio).abs() < 1e-12);
    }

    #[test]
    fn what_is_open_leaves_its_place_in_the_structure() {
        let sound = network(
            "A B",
            &[
                "Supply(id: \"E\", plus: \"A\")",
                "Wire(id: \"W\", a: \"A\", b: \"B\")",
                "Lamp(id: \"L\", a: \"B\")",
            ],
        );
        let mut circuit = sound.circuit().as_ref().clone();
        for part in &mut circuit.parts {
            match &mut part.kind {
                Kind::Wire(wire) => wire.ohms = f64::INFINITY,
                Kind::Lamp(lamp) => lamp.bulbs_good = 0,
                _ => {}
            }
        }
        let (sound, open) = (elements(sound.circuit()), elements(&circuit));
        assert_eq!(sound.list.len(), open.list.len());
        for (a, b) in sound.list.iter().zip(&open.list) {
            assert_eq!(a.terminals(), b.terminals());
        }
        assert_eq!(open.list[1].form, Form::Absent);
        assert_eq!(open.list[2].form, Form::Absent);
    }
}
