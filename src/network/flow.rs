//! Where power goes: what flows into every part at each of its nets.

use num_complex::Complex64;

use super::element::{self, Element, Form, Matrix};
use super::prepare::Network;
use super::solution::{AcGroup, Solution};
use super::sparse::Scalar;
use super::state::State;
use crate::circuit::NetId;

impl Network {
    /// Watts that flow into each part at each of its nets, by part: the direct and all
    /// alternating sources together. What a source gives counts as negative.
    ///
    /// Of alternating current only the active power counts, the real part of `V I*`.
    pub fn watts(&self, state: &State, solution: &Solution) -> Vec<Vec<(NetId, f64)>> {
        let mut watts: Vec<Vec<(NetId, f64)>> = vec![Vec::new(); state.parts.len()];
        let mut add = |e: &Element, net: NetId, more: f64| {
            let of_part = &mut watts[e.part.index()];
            match of_part.iter_mut().find(|(other, _)| *other == net) {
                Some((_, sum)) => *sum += more,
                None => of_part.push((net, more)),
            }
        };
        for e in self.elements() {
            let sourced = element::supply_amps(e, state);
            let matrix = element::direct_matrix(e, state);
            for (net, volts, amps) in currents(e, &matrix, sourced, &solution.dc) {
                add(e, net, volts * amps);
            }
            for group in &solution.ac {
                let sourced = phase_amps(e, group).unwrap_or_default();
                let matrix = element::phasor_matrix(e, state, group.hertz);
                for (net, volts, amps) in currents(e, &matrix, sourced, &group.volts) {
                    add(e, net, (volts * amps.conj()).re);
                }
            }
        }
        watts
    }
}

/// The current that a phase of the machine behind a group sets up, with its winding taken for
/// an admittance (Norton's theorem); `None` for any other element.
pub(super) fn phase_amps(e: &Element, group: &AcGroup) -> Option<Complex64> {
    match &e.form {
        Form::Phase { unit, inner } if e.part == group.source => {
            Some(unit * group.emf_volts * inner.admittance(group.hertz))
        }
        Form::Absent
        | Form::Branch(_)
        | Form::Contact { .. }
        | Form::Filament
        | Form::Supply { .. }
        | Form::GatedSupply { .. }
        | Form::Phase { .. }
        | Form::Coupling { .. }
        | Form::Coupled(_)
        | Form::Rotor { .. } => None,
    }
}

/// Net, volts and the current into the element at each of its terminals.
fn currents<T: Scalar>(
    e: &Element,
    matrix: &Matrix<T>,
    sourced: T,
    volts: &[T],
) -> Vec<(NetId, T, T)> {
    let n = e.terminals().len();
    let mut currents = Vec::with_capacity(n);
    for (row, net) in e.terminals().iter().enumerate() {
        let mut amps = match row {
            0 => -sourced,
            1 => sourced,
            _ => T::zero(),
        };
        for (column, other) in e.terminals().iter().enumerate() {
            amps += matrix[row * n + column] * volts[other.index()];
        }
        currents.push((*net, volts[net.index()], amps));
    }
    currents
}

#[cfg(test)]
mod tests {
    use crate::network::State;
    use crate::network::tests::network;

    #[test]
    fn what_a_source_gives_the_parts_take() {
        let network = network(
            "A B",
            &[
                "Supply(id: \"E\", plus: \"A\", volts: 28)",
                "Wire(id: \"W\", a: \"A\", b: \"B\", ohms: 0.5)",
                "Resistor(id: \"R\", a: \"B\", b: \"GND\", ohms: 13)",
            ],
        );
        let settled = network.settle(State::at_rest(network.circuit())).expect("it settles");
        let watts = network.watts(&settled.state, &settled.solution);
        let total = |part: usize| watts[part].iter().map(|(_, watts)| watts).sum::<f64>();
        assert!(total(0) < -50.0 && total(2) > 50.0, "{watts:?}");
        assert!((total(0) + total(1) + total(2)).abs() < 1e-3, "{watts:?}");
        // Power comes into the wire at A and leaves it at B.
        let [(_, at_a), (_, at_b), ..] = watts[1][..] else { panic!("{watts:?}") };
        assert!(at_a > 50.0 && at_b < -50.0);
    }
}
