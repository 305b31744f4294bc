//! Machines that make alternating voltage: what their regulators ask for.

use super::element::{Element, Form};
use super::state::State;
use crate::circuit::{Alternator, Circuit, Converter, Kind, NetId, PartId, Vibrator};

/// A part that makes alternating voltage.
#[derive(Clone, Debug)]
pub(super) struct Machine {
    /// The part.
    pub part: PartId,
    /// Its electromotive forces among the elements.
    pub phases: Vec<u32>,
    /// The island it feeds; `None` when it stands between the airframe and itself.
    pub island: Option<u32>,
    make: Make,
}

#[derive(Clone, Debug)]
enum Make {
    Converter(Converter),
    Vibrator(Vibrator),
    Alternator(Alternator),
}

impl Machine {
    /// The machine that a part is, if it is one; where it stands is filled in later.
    pub(super) fn of(part: PartId, kind: &Kind) -> Option<Self> {
        let make = if let Kind::Converter(c) = kind {
            Make::Converter(c.clone())
        } else if let Kind::Vibrator(v) = kind {
            Make::Vibrator(v.clone())
        } else if let Kind::Alternator(a) = kind {
            Make::Alternator(a.clone())
        } else {
            return None;
        };
        Some(Self { part, phases: Vec::new(), island: None, make })
    }

    /// The same with its phases among the elements and its island.
    pub(super) fn placed(self, phases: Vec<u32>, island: Option<u32>) -> Self {
        Self { phases, island, ..self }
    }

    /// Whether it gives anything when it turns.
    pub(super) fn gives(&self) -> bool {
        match &self.make {
            Make::Converter(c) => c.field_sound,
            Make::Vibrator(_) | Make::Alternator(_) => true,
        }
    }

    /// Two of its terminals and the volts it is rated for between them.
    pub(super) fn output(&self) -> ([NetId; 2], f64) {
        match &self.make {
            Make::Converter(c) => ([c.phases[0], c.phases[2]], c.volts),
            Make::Vibrator(v) => ([v.out, v.neutral], v.volts),
            Make::Alternator(a) => ([a.phases[0], a.phases[2]], a.volts),
        }
    }

    /// Its shaft speed in a state, as a fraction of rated; zero while it stands.
    pub(super) fn speed(&self, state: &State) -> f64 {
        match &self.make {
            Make::Converter(_) | Make::Vibrator(_) => state.speed(self.part),
            Make::Alternator(a) => a.speed(state.found_at(a.driven_by)),
        }
    }

    /// The frequencies it gives most of the time: on a supply that is up to its rating,
    /// or in the positions of what turns it.
    pub(super) fn usual_hertz(&self) -> Vec<f64> {
        match &self.make {
            Make::Converter(c) => vec![c.hertz * c.speed_factor],
            Make::Vibrator(v) => vec![v.hertz],
            Make::Alternator(a) => (0..a.rpm.len() as u8)
                .map(|at| a.hertz * a.speed(at))
                .filter(|h| *h > 0.0)
                .collect(),
        }
    }

    /// Its frequency at a shaft speed; a reed keeps its own.
    pub(super) fn hertz(&self, speed: f64) -> f64 {
        match &self.make {
            Make::Converter(c) => c.hertz * speed,
            Make::Vibrator(v) => v.hertz,
            Make::Alternator(a) => a.hertz * speed,
        }
    }

    /// The terminal whose voltage to the airframe its regulator holds, if it has one.
    pub(super) fn sensed(&self) -> NetId {
        match &self.make {
            Make::Converter(c) => c.phases[0],
            Make::Vibrator(v) => v.out,
            Make::Alternator(a) => a.phases[0],
        }
    }

    /// Its electromotive force when each volt of it puts `sensed` volts on the sensed
    /// terminal: what the regulator asks, as far as the field reaches.
    pub(super) fn emf_volts(&self, speed: f64, sensed: f64) -> f64 {
        match &self.make {
            Make::Converter(c) => {
                let ceiling = c.ceiling_volts * speed;
                if sensed * ceiling > c.volts { c.volts / sensed } else { ceiling }
            }
            Make::Vibrator(v) => v.volts * speed,
            Make::Alternator(a) => a.volts * speed,
        }
    }
}

/// The machines of a circuit, in part order; their islands are filled in later.
pub(super) fn machines(circuit: &Circuit, elements: &[Element]) -> Vec<Machine> {
    let mut machines: Vec<Machine> =
        circuit.parts_with_ids().filter_map(|(part, p)| Machine::of(part, &p.kind)).collect();
    for (at, e) in elements.iter().enumerate() {
        if matches!(e.form, Form::Phase { .. })
            && let Ok(machine) = machines.binary_search_by_key(&e.part, |m| m.part)
        {
            machines[machine].phases.push(at as u32);
        }
    }
    machines
}

#[cfg(test)]
mod tests {
    use crate::network::tests::network;

    #[test]
    fn the_regulator_asks_for_its_volts_as_far_as_the_field_reaches() {
        let parts = [
            "Converter(id: \"CV\", dc: \"D\", a: \"A\", b: \"GND\", c: \"C\", volt_amps: 1000)",
            "Vibrator(id: \"V\", dc: \"D\", out: \"O\")",
        ];
        let network = network("D A C O", &parts);
        let [converter, vibrator] = network.machines() else { panic!("two machines") };
        // Half a volt on the line for each volt inside: 230 V would be needed, and
        // 1.35 times 115 V is all there is.
        assert_eq!(converter.emf_volts(1.0, 0.5), 1.35 * 115.0);
        assert_eq!(converter.emf_volts(1.0, 0.9), 115.0 / 0.9);
        assert_eq!(converter.emf_volts(0.5, 0.9), 0.5 * 1.35 * 115.0);
        assert_eq!(converter.emf_volts(1.0, 0.0), 1.35 * 115.0);
        assert_eq!(vibrator.emf_volts(0.8, 0.1), 0.8 * 110.0);
        assert_eq!(converter.hertz(0.5), 200.0);
        assert_eq!(vibrator.hertz(0.5), 60.0);
    }
}
