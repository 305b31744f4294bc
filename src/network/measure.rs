//! What can be asked of a network besides its voltages: ohms with everything dead, and
//! how well Kirchhoff's current law is kept.

use super::element::{self, Element, Form, Matrix, siemens};
use super::solution::Solution;
use super::solve::{Network, SolveError};
use super::sparse::Scalar;
use super::state::State;
use crate::circuit::NetId;

/// Amperes below which a current is not worth a share of: the last bit of a voltage
/// across a milliohm contact is some picoamperes by itself.
const LEAST_AMPS: f64 = 0.01;

impl Network {
    /// Ohms between two nets as a hand meter finds them with all sources dead:
    /// every path in parallel counts. Filaments are taken cold, motors at standstill.
    ///
    /// # Errors
    /// [`SolveError::Floating`] when a net hangs in the air.
    pub fn ohms_between(&self, state: &State, a: NetId, b: NetId) -> Result<f64, SolveError> {
        let mut cold = state.clone();
        for follower in self.followers() {
            cold.conductance[follower.part.index()] = follower.at_rest();
        }
        // One ampere in at `a` and out at `b`: the volts between them are the ohms.
        let mut volts = [0.0; 2];
        for (number, island) in self.islands().iter().enumerate() {
            let at =
                |net| self.place(net).filter(|(i, _)| *i == number as u32).map(|(_, l)| l as usize);
            let ends = [at(a), at(b)];
            if ends == [None, None] {
                continue;
            }
            let mut matrix = island.direct(&cold);
            let mut solved = vec![0.0; island.nets.len()];
            for (end, amps) in ends.iter().zip([1.0, -1.0]) {
                if let Some(local) = end {
                    solved[*local] += amps;
                }
            }
            island.plan.factor(&mut matrix).map_err(|s| self.floating(island, s.node))?;
            island.plan.solve(&matrix, &mut solved);
            for (end, volts) in ends.iter().zip(&mut volts) {
                if let Some(local) = end {
                    *volts = solved[*local];
                }
            }
        }
        Ok((volts[0] - volts[1]).abs())
    }

    /// How far Kirchhoff's current law is missed: the largest sum of currents at a
    /// net over the largest current anywhere, over all sources, or over ten
    /// milliamperes where no current is larger.
    ///
    /// Worked out from the elements themselves, not from the matrices that were
    /// factored.
    pub fn kirchhoff_residual(&self, state: &State, solution: &Solution) -> f64 {
        let mut missed = Missed { worst: 0.0, largest: LEAST_AMPS };
        self.miss(
            &mut missed,
            |e| element::direct_matrix(e, state),
            |e| match &e.form {
                Form::Supply { volts, ohms } => Some(volts * siemens(*ohms)),
                Form::Absent
                | Form::Branch(_)
                | Form::Contact { .. }
                | Form::Filament
                | Form::Phase { .. }
                | Form::Coupling { .. }
                | Form::Rotor { .. } => None,
            },
            &solution.dc,
        );
        for group in &solution.ac {
            self.miss(
                &mut missed,
                |e| element::phasor_matrix(e, state, group.hertz),
                |e| match &e.form {
                    Form::Phase { unit, inner } if e.part == group.source => {
                        Some(unit * group.emf_volts * inner.admittance(group.hertz))
                    }
                    Form::Absent
                    | Form::Branch(_)
                    | Form::Contact { .. }
                    | Form::Filament
                    | Form::Supply { .. }
                    | Form::Phase { .. }
                    | Form::Coupling { .. }
                    | Form::Rotor { .. } => None,
                },
                &group.volts,
            );
        }
        missed.worst / missed.largest
    }

    fn miss<T: Scalar>(
        &self,
        missed: &mut Missed,
        matrix: impl Fn(&Element) -> Matrix<T>,
        source: impl Fn(&Element) -> Option<T>,
        volts: &[T],
    ) {
        let leak = T::from(1.0 / self.circuit().insulation_ohms);
        let mut sums: Vec<T> = volts.iter().map(|v| leak * *v).collect();
        for e in self.elements() {
            let y = matrix(e);
            let sourced = source(e).unwrap_or(T::zero());
            let n = e.terminals().len();
            for (row, net) in e.terminals().iter().enumerate() {
                let mut amps = match row {
                    0 => -sourced,
                    1 => sourced,
                    _ => T::zero(),
                };
                for (column, other) in e.terminals().iter().enumerate() {
                    amps += y[row * n + column] * volts[other.index()];
                }
                missed.largest = missed.largest.max(amps.size());
                sums[net.index()] += amps;
            }
        }
        missed.worst = sums[1..].iter().map(|s| s.size()).fold(missed.worst, f64::max);
    }
}

/// The largest sum of currents at a net so far, and the largest current.
struct Missed {
    worst: f64,
    largest: f64,
}
