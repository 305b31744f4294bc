//! What can be asked of a network besides its voltages: ohms with everything dead, and
//! how well Kirchhoff's current law is kept.

use super::element::{self, Element, Matrix};
use super::flow::phase_amps;
use super::prepare::{Network, SolveError};
use super::solution::Solution;
use super::sparse::Scalar;
use super::state::{Flow, PartState, State};
use crate::circuit::{Kind, NetId, PartId};

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
        // A diode conducts if the meter drives it the right way; whether it does shows
        // only once the others are known, so this takes a few rounds.
        let diodes: Vec<(PartId, NetId, NetId)> = self
            .circuit()
            .parts_with_ids()
            .filter_map(|(id, part)| match &part.kind {
                Kind::Diode(diode) => Some((id, diode.anode, diode.cathode)),
                _ => None,
            })
            .collect();
        for (part, ..) in &diodes {
            cold.set(*part, PartState::Flow(Flow::Neither));
        }
        for _ in 0..=diodes.len() {
            let volts = self.driven(&cold, a, b)?;
            let mut moved = false;
            for (part, anode, cathode) in &diodes {
                let forward = volts[anode.index()] - volts[cathode.index()] > 0.0;
                let flow = if forward { Flow::Out } else { Flow::Neither };
                moved |= cold.flow(*part) != flow;
                cold.set(*part, PartState::Flow(flow));
            }
            if !moved {
                return Ok((volts[a.index()] - volts[b.index()]).abs());
            }
        }
        let volts = self.driven(&cold, a, b)?;
        Ok((volts[a.index()] - volts[b.index()]).abs())
    }

    /// Volts by net with one ampere in at `a` and out at `b`, so that the volts between
    /// them are the ohms.
    fn driven(&self, cold: &State, a: NetId, b: NetId) -> Result<Vec<f64>, SolveError> {
        let mut volts = vec![0.0; self.nets()];
        for (number, island) in self.islands().iter().enumerate() {
            let at =
                |net| self.place(net).filter(|(i, _)| *i == number as u32).map(|(_, l)| l as usize);
            let ends = [at(a), at(b)];
            if ends == [None, None] {
                continue;
            }
            let mut solved = vec![0.0; island.nets.len()];
            for (end, amps) in ends.iter().zip([1.0, -1.0]) {
                if let Some(local) = end {
                    solved[*local] += amps;
                }
            }
            let mut workspace = self.workspace();
            let probed = self.probe_direct(number, cold, &mut solved, &mut workspace);
            self.give_back(workspace);
            probed?;
            for (net, solved) in island.nets.iter().zip(solved) {
                volts[net.index()] = solved;
            }
        }
        Ok(volts)
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
            |e| Some(element::supply_amps(e, state)),
            &solution.dc,
        );
        for group in &solution.ac {
            self.miss(
                &mut missed,
                |e| element::phasor_matrix(e, state, group.hertz),
                |e| phase_amps(e, group),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::AIRFRAME;
    use crate::network::tests::network;

    fn ohms(network: &Network, a: &str, b: &str) -> f64 {
        let net = |name| network.circuit().find_net(name).expect("a net");
        let state = State::at_rest(network.circuit());
        network.ohms_between(&state, net(a), net(b)).expect("everything is tied down")
    }

    #[test]
    fn paths_in_parallel_all_count_and_a_lamp_is_cold() {
        let network = network(
            "A B",
            &[
                "Resistor(id: \"R1\", a: \"A\", b: \"B\", ohms: 30)",
                "Resistor(id: \"R2\", a: \"A\", b: \"B\", ohms: 60)",
                "Lamp(id: \"L\", a: \"B\", volts: 28, bulb_amps: 0.04, bulbs: 2)",
            ],
        );
        assert!((ohms(&network, "A", "B") - 20.0).abs() < 1e-3);
        // 28 V over 0.08 A hot, a tenth of that cold, by way of the airframe.
        assert!((ohms(&network, "B", "GND") - 35.0).abs() < 1e-3);
        assert!((ohms(&network, "A", "GND") - 55.0).abs() < 1e-3);
        assert_eq!(ohms(&network, "A", "A"), 0.0);
    }

    #[test]
    fn separate_circuits_read_through_their_insulation() {
        let network = network(
            "A B",
            &[
                "Resistor(id: \"R1\", a: \"A\", b: \"GND\", ohms: 30)",
                "Meter(id: \"M\", plus: \"B\", burden_ohms: 5, scale: [(0, 0), (1, 1)], divisions: [0, 1])",
            ],
        );
        assert!((ohms(&network, "A", "B") - 35.0).abs() < 1e-3);
    }

    #[test]
    fn a_transformer_reads_the_resistance_of_its_windings() {
        // 3 percent of 115 V squared over 60 VA is 6.6125 ohms in all: half of it in
        // the primary, and the other half in the secondary by the square of the ratio.
        let network = network(
            "P S",
            &["Transformer(id: \"T\", p1: \"P\", s1: \"S\", volt_amps: 60, series_percent: 3)"],
        );
        let half = 0.03 * 115.0 * 115.0 / 60.0 / 2.0;
        let ratio: f64 = 26.0 / 115.0;
        assert!((ohms(&network, "P", "GND") / half - 1.0).abs() < 0.03);
        assert!((ohms(&network, "S", "GND") / (half * ratio * ratio) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn machines_that_were_never_run_read_their_standing_resistance() {
        let network = network(
            "D A C",
            &["Converter(id: \"CV\", dc: \"D\", a: \"A\", b: \"GND\", c: \"C\", volt_amps: 1000)"],
        );
        let read = ohms(&network, "D", "GND");
        // 24 V squared over five times (200 + 1000 / 0.6) W.
        assert!((read - 24.0 * 24.0 / (5.0 * (200.0 + 1000.0 / 0.6))).abs() < 1e-6, "{read}");
    }

    #[test]
    fn a_voltage_that_is_wrong_shows_in_the_residual() {
        let network = network(
            "A B",
            &[
                "Supply(id: \"E\", plus: \"A\", volts: 28)",
                "Resistor(id: \"R1\", a: \"A\", b: \"B\", ohms: 10)",
                "Resistor(id: \"R2\", a: \"B\", b: \"GND\", ohms: 10)",
            ],
        );
        let mut state = State::at_rest(network.circuit());
        let mut solution = network.balance(&mut state).expect("it has a solution");
        assert!(network.kirchhoff_residual(&state, &solution) < 1e-12);
        assert_eq!(solution.dc[AIRFRAME.index()], 0.0);
        solution.dc[2] += 1e-6;
        assert!(network.kirchhoff_residual(&state, &solution) > 1e-8);
    }
}
