//! The few electrical elements that the solver stamps, and their matrices.
//!
//! What a part becomes in these terms stands in [`super::parts`].

use num_complex::Complex64;

use super::sparse::Scalar;
use super::state::{Flow, PartState, State, Turning};
use crate::circuit::{Feeder, NetId, PartId};
use crate::units::phasor;

/// Ohms below which nothing in the model goes, those of a good bolted joint. A
/// shorter path would drown the insulation of its nets in its own last digits.
pub(super) const LEAST_OHMS: f64 = 1e-5;

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
    /// While the part, a motor, runs (or stands, for `false`).
    Running(bool),
    /// While current goes this way through the part.
    Flow(Flow),
    /// While another part is found in this position.
    Other(PartId, u8),
}

impl Gate {
    /// Whether the contact is closed.
    pub(super) fn closed(self, part: PartId, state: &State) -> bool {
        match self {
            Self::Protector => state.protector_closed(part),
            Self::Position(position) => state.of(part) == PartState::Position(position),
            Self::Relay(operated) => state.operated(part) == operated,
            Self::Running(running) => state.running(part) == running,
            Self::Flow(flow) => state.flow(part) == flow,
            Self::Other(other, position) => state.found_at(other) == position,
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
    /// The same while its gate is closed, nothing otherwise.
    GatedSupply {
        /// When it is there.
        gate: Gate,
        /// Open-circuit volts, or those at rated input.
        volts: f64,
        /// Ohms in series.
        ohms: f64,
        /// Whether the volts go with the part's input, which the state holds.
        follows: bool,
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
    /// Three conductors that couple, from the first three nets to the last three.
    Coupled(Box<Feeder>),
    /// A three-phase machine between three nets, by sequence impedance (star
    /// equivalent without neutral).
    Rotor {
        /// The sequence it turns with, while it turns.
        running: Impedance,
        /// Either sequence with the rotor standing; always the one it does not turn with.
        standing: Impedance,
    },
}

/// One element of the network.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Element {
    /// The part it belongs to.
    pub part: PartId,
    /// Its nets, two to six of them used.
    pub nets: [NetId; 6],
    /// How many of `nets` are used.
    pub terminals: u8,
    /// What it does.
    pub form: Form,
}

impl Form {
    /// Whether what it does depends on the state.
    pub(super) fn follows_state(&self) -> bool {
        match self {
            Self::Contact { .. }
            | Self::GatedSupply { .. }
            | Self::Filament
            | Self::Rotor { .. } => true,
            Self::Absent
            | Self::Branch(_)
            | Self::Supply { .. }
            | Self::Phase { .. }
            | Self::Coupling { .. }
            | Self::Coupled(_) => false,
        }
    }

    /// Whether what it does to alternating current depends on the frequency.
    pub(super) fn follows_frequency(&self) -> bool {
        match self {
            Self::Branch(z) | Self::Phase { inner: z, .. } | Self::Coupling { inner: z, .. } => {
                z.reactance_ohms != 0.0
            }
            Self::Coupled(_) | Self::Rotor { .. } => true,
            Self::Absent
            | Self::Contact { .. }
            | Self::Filament
            | Self::Supply { .. }
            | Self::GatedSupply { .. } => false,
        }
    }

    /// Whether it can take the place of another in what has been made ready for that
    /// one: what follows the state or drives a current has to be known from the start.
    pub(super) fn can_stand_in_for(&self, other: &Self) -> bool {
        let drives = matches!(self, Self::Phase { .. } | Self::Supply { .. });
        std::mem::discriminant(self) == std::mem::discriminant(other)
            || !self.follows_state() && !drives
    }
}

impl Element {
    /// The nets it stands between.
    pub(super) fn terminals(&self) -> &[NetId] {
        &self.nets[..usize::from(self.terminals)]
    }

    /// Whether it is a supply of direct current that gives something in some state.
    pub(super) fn drives(&self) -> bool {
        match &self.form {
            Form::Supply { volts, .. } | Form::GatedSupply { volts, .. } => *volts != 0.0,
            Form::Absent
            | Form::Branch(_)
            | Form::Contact { .. }
            | Form::Filament
            | Form::Phase { .. }
            | Form::Coupling { .. }
            | Form::Coupled(_)
            | Form::Rotor { .. } => false,
        }
    }
}

/// The admittance matrix of an element between its terminals, row by row.
pub(super) type Matrix<T> = [T; 36];

/// What an element does at a frequency above zero that does not depend on the state;
/// `None` where it does.
pub(super) fn fixed_phasor(form: &Form, hertz: f64) -> Option<Matrix<Complex64>> {
    match form {
        Form::Absent => Some([Complex64::ZERO; 36]),
        Form::Branch(z) | Form::Phase { inner: z, .. } => Some(two_terminal(z.admittance(hertz))),
        Form::Supply { ohms, .. } => Some(two_terminal(siemens(*ohms).into())),
        Form::Coupling { ratio, inner } => {
            let admittance = inner.admittance(hertz);
            let turns = [1.0, -1.0, -1.0 / ratio, 1.0 / ratio];
            let mut y = [Complex64::ZERO; 36];
            for row in 0..4 {
                for column in 0..4 {
                    y[row * 4 + column] = admittance * (turns[row] * turns[column]);
                }
            }
            Some(y)
        }
        Form::Coupled(feeder) => {
            let ratio = hertz / feeder.hertz;
            let z = |at: usize| Complex64::new(feeder.ohms[at], feeder.reactance_ohms[at] * ratio);
            Some(coupled(std::array::from_fn(z), feeder.sound))
        }
        Form::Contact { .. } | Form::GatedSupply { .. } | Form::Filament | Form::Rotor { .. } => {
            None
        }
    }
}

/// The matrix of three coupled conductors with these series impedances (AA, BB, CC, AB,
/// BC, CA): `I = Z^-1 (V1 - V2)` over the conductors that are whole.
fn coupled<T: Scalar>(z: [T; 6], sound: [bool; 3]) -> Matrix<T> {
    let whole: Vec<usize> = (0..3).filter(|phase| sound[*phase]).collect();
    let entry = |row: usize, column: usize| match (row.min(column), row.max(column)) {
        (0, 1) => z[3],
        (1, 2) => z[4],
        (0, 2) => z[5],
        (same, _) => z[same],
    };
    // Gauss and Jordan on [Z | 1]; Z has a positive definite real part, so no pivot is
    // nothing.
    let n = whole.len();
    let mut rows = [[T::zero(); 6]; 3];
    for (row, &a) in whole.iter().enumerate() {
        for (column, &b) in whole.iter().enumerate() {
            rows[row][column] = entry(a, b);
        }
        rows[row][n + row] = T::one();
    }
    for pivot in 0..n {
        let scale = rows[pivot][pivot].inverse();
        for value in &mut rows[pivot] {
            *value *= scale;
        }
        let from = rows[pivot];
        for (row, values) in rows.iter_mut().enumerate().take(n) {
            if row != pivot {
                let times = values[pivot];
                for (value, taken) in values.iter_mut().zip(from) {
                    *value -= times * taken;
                }
            }
        }
    }
    let mut y = [T::zero(); 36];
    for (row, &a) in whole.iter().enumerate() {
        for (column, &b) in whole.iter().enumerate() {
            let admittance = rows[row][n + column];
            y[a * 6 + b] = admittance;
            y[(a + 3) * 6 + b + 3] = admittance;
            y[a * 6 + b + 3] = -admittance;
            y[(a + 3) * 6 + b] = -admittance;
        }
    }
    y
}

/// The same for direct current: reactances vanish, a transformer is two separate
/// windings, a rotor is its winding resistance; `None` for contact and filament.
pub(super) fn fixed_direct(form: &Form) -> Option<Matrix<f64>> {
    match form {
        Form::Absent => Some([0.0; 36]),
        Form::Branch(z) | Form::Phase { inner: z, .. } => Some(two_terminal(z.conductance())),
        Form::Supply { ohms, .. } => Some(two_terminal(siemens(*ohms))),
        Form::Coupling { ratio, inner } => {
            // Half the winding resistance stands ahead of the core and is the primary's;
            // this is the other half, as the secondary has it.
            let winding = siemens(inner.ohms * ratio * ratio);
            let mut y = [0.0; 36];
            for (row, column, sign) in [(2, 2, 1.0), (3, 3, 1.0), (2, 3, -1.0), (3, 2, -1.0)] {
                y[row * 4 + column] = sign * winding;
            }
            Some(y)
        }
        Form::Rotor { standing, .. } => {
            let g = standing.conductance();
            let mut y = [0.0; 36];
            for row in 0..3 {
                for column in 0..3 {
                    y[row * 3 + column] = if row == column { 2.0 } else { -1.0 } * g / 3.0;
                }
            }
            Some(y)
        }
        Form::Coupled(feeder) => Some(coupled(feeder.ohms, feeder.sound)),
        Form::Contact { .. } | Form::GatedSupply { .. } | Form::Filament => None,
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

/// Amperes that a supply of direct current gives in a state when shorted; zero for
/// anything else.
pub(super) fn supply_amps(element: &Element, state: &State) -> f64 {
    match &element.form {
        Form::Supply { volts, ohms } => volts * siemens(*ohms),
        Form::GatedSupply { gate, volts, ohms, follows } if gate.closed(element.part, state) => {
            let times = if *follows { state.speed[element.part.index()] } else { 1.0 };
            times * volts * siemens(*ohms)
        }
        Form::GatedSupply { .. }
        | Form::Absent
        | Form::Branch(_)
        | Form::Contact { .. }
        | Form::Filament
        | Form::Phase { .. }
        | Form::Coupling { .. }
        | Form::Coupled(_)
        | Form::Rotor { .. } => 0.0,
    }
}

/// What the matrix of an element depends on in a state, as one number; `None` when it
/// depends on nothing there.
pub(super) fn condition(element: &Element, state: &State) -> Option<f64> {
    match &element.form {
        Form::Contact { .. } | Form::GatedSupply { .. } | Form::Filament => {
            Some(variable_siemens(element, state))
        }
        Form::Rotor { .. } => Some(match state.turning(element.part) {
            Turning::Stands => 0.0,
            Turning::Forward => 1.0,
            Turning::Backward => -1.0,
        }),
        Form::Absent
        | Form::Branch(_)
        | Form::Supply { .. }
        | Form::Phase { .. }
        | Form::Coupling { .. }
        | Form::Coupled(_) => None,
    }
}

/// The matrix of any element in a state at a frequency above zero.
pub(super) fn phasor_matrix(element: &Element, state: &State, hertz: f64) -> Matrix<Complex64> {
    match &element.form {
        Form::Rotor { running, standing } => {
            let y2 = standing.admittance(hertz);
            let turns = running.admittance(hertz);
            let mut y = [Complex64::ZERO; 36];
            y[..9].copy_from_slice(&match state.turning(element.part) {
                Turning::Stands => rotor(y2, y2),
                Turning::Forward => rotor(turns, y2),
                Turning::Backward => rotor(y2, turns),
            });
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

/// Conductance of a contact, gated supply or filament in a state; zero for anything else.
fn variable_siemens(element: &Element, state: &State) -> f64 {
    match &element.form {
        Form::Contact { gate, ohms } if gate.closed(element.part, state) => siemens(*ohms),
        Form::GatedSupply { gate, ohms, .. } if gate.closed(element.part, state) => siemens(*ohms),
        Form::Filament => state.conductance[element.part.index()],
        Form::Contact { .. }
        | Form::GatedSupply { .. }
        | Form::Absent
        | Form::Branch(_)
        | Form::Supply { .. }
        | Form::Phase { .. }
        | Form::Coupling { .. }
        | Form::Coupled(_)
        | Form::Rotor { .. } => 0.0,
    }
}

fn two_terminal<T: Scalar>(admittance: T) -> Matrix<T> {
    let mut y = [T::zero(); 36];
    y[0] = admittance;
    y[1] = -admittance;
    y[2] = -admittance;
    y[3] = admittance;
    y
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Kind;
    use crate::network::parts::{elements, gyro_impedances};
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
        assert!(open.list[1..].iter().all(|e| e.form == Form::Absent));
    }
}
