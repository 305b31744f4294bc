//! Nets that hang together, and what of their admittance matrix never changes.
//!
//! Of all that stands in an island only contacts, gated supplies, filaments and rotors
//! depend on the state. The rest is summed up once; a matrix for a state is that sum with the
//! closed contacts, the filaments and the rotors added.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use num_complex::Complex64;

use super::element::{self, Element, Form, Gate, Matrix, siemens};
use super::sparse::{Plan, Scalar};
use super::state::{State, Turning};
use crate::circuit::{AIRFRAME, NetId, PartId};

/// Nets that some state could join, other than through the airframe.
#[derive(Debug)]
pub(super) struct Island {
    /// The elimination plan over its nets.
    pub plan: Arc<Plan>,
    /// Its nets, by place in the plan.
    pub nets: Vec<NetId>,
    /// Whether a direct-current supply stands in it.
    pub supplied: bool,
    /// Currents that its standing supplies drive into its nets when shorted, by place.
    supply_amps: Vec<f64>,
    gated: Vec<Gated>,
    /// The pairs of places the plan was made for, to know the same structure again.
    pub pairs: Vec<(u32, u32)>,
    elements: Vec<u32>,
    contacts: Vec<Contact>,
    filaments: Vec<(PartId, Corners)>,
    direct: Vec<f64>,
    /// By frequency that a machine in it is rated for.
    phasors: Vec<(f64, OnceLock<Fixed>)>,
}

/// Where a two-terminal element's entries stand: two on the diagonal, two off it.
type Corners = [u32; 4];

#[derive(Debug)]
struct Contact {
    gate: Gate,
    part: PartId,
    siemens: f64,
    at: Corners,
}

/// A supply that is there only in some states.
#[derive(Debug)]
struct Gated {
    gate: Gate,
    part: PartId,
    /// Whether its amperes go with what the state holds as the part's speed.
    follows: bool,
    /// Amperes when shorted.
    amps: f64,
    /// The places of its terminals.
    places: [Option<u32>; 2],
}

/// The part of a phasor matrix that does not depend on the state, and the rotors.
#[derive(Debug)]
struct Fixed {
    values: Vec<Complex64>,
    rotors: Vec<Rotor>,
}

#[derive(Debug)]
struct Rotor {
    part: PartId,
    at: [u32; 9],
    standing: [Complex64; 9],
    forward: [Complex64; 9],
    backward: [Complex64; 9],
}

/// What islands are made from.
#[derive(Clone, Copy)]
pub(super) struct Wiring<'a> {
    /// All elements.
    pub elements: &'a [Element],
    /// By net: island and place in it; `None` for the airframe.
    pub places: &'a [Option<(u32, u32)>],
    /// Siemens of insulation from every net to the airframe.
    pub leak: f64,
}

impl Wiring<'_> {
    fn place(&self, net: NetId) -> Option<u32> {
        self.places[net.index()].map(|(_, local)| local)
    }

    /// The slots of an element's matrix, row by row. Entries of the airframe go to the
    /// one slot past the end, which nothing reads.
    fn slots(&self, plan: &Plan, e: &Element) -> [u32; 36] {
        let mut slots = [plan.slots() as u32; 36];
        let n = e.terminals().len();
        for (row, a) in e.terminals().iter().enumerate() {
            for (column, b) in e.terminals().iter().enumerate() {
                if let (Some(a), Some(b)) = (self.place(*a), self.place(*b)) {
                    slots[row * n + column] = plan.slot(a, b);
                }
            }
        }
        slots
    }

    fn corners(&self, plan: &Plan, e: &Element) -> Corners {
        let slots = self.slots(plan, e);
        [slots[0], slots[3], slots[1], slots[2]]
    }

    /// Insulation and the elements that do not depend on the state.
    fn fixed<T: Scalar>(
        &self,
        plan: &Plan,
        members: &[u32],
        matrix: impl Fn(&Form) -> Option<Matrix<T>>,
    ) -> Vec<T> {
        let mut values = vec![T::zero(); plan.slots() + 1];
        values[..plan.nodes()].fill(T::from(self.leak));
        for index in members {
            let e = &self.elements[*index as usize];
            if let Some(y) = matrix(&e.form) {
                let n = e.terminals().len();
                for (slot, y) in self.slots(plan, e)[..n * n].iter().zip(y) {
                    values[*slot as usize] += y;
                }
            }
        }
        values
    }
}

impl Island {
    /// An island of these members; `hertz` are the frequencies that the machines in it
    /// are rated for.
    pub(super) fn new(
        plan: Arc<Plan>,
        members: Members,
        hertz: Vec<f64>,
        wiring: Wiring<'_>,
    ) -> Self {
        let Members { nets, elements, pairs } = members;
        let mut island = Self {
            direct: wiring.fixed(&plan, &elements, element::fixed_direct),
            supplied: false,
            supply_amps: vec![0.0; nets.len()],
            gated: Vec::new(),
            contacts: Vec::new(),
            filaments: Vec::new(),
            phasors: hertz.into_iter().map(|hertz| (hertz, OnceLock::new())).collect(),
            plan,
            nets,
            pairs,
            elements,
        };
        for index in &island.elements {
            let e = &wiring.elements[*index as usize];
            match &e.form {
                Form::Contact { gate, ohms } => island.contacts.push(Contact {
                    gate: *gate,
                    part: e.part,
                    siemens: siemens(*ohms),
                    at: wiring.corners(&island.plan, e),
                }),
                Form::Filament => {
                    island.filaments.push((e.part, wiring.corners(&island.plan, e)));
                }
                Form::Supply { volts, ohms } => {
                    let amps = volts * siemens(*ohms);
                    island.supplied |= amps != 0.0;
                    for (net, amps) in e.nets.into_iter().zip([amps, -amps]) {
                        if let Some(place) = wiring.place(net) {
                            island.supply_amps[place as usize] += amps;
                        }
                    }
                }
                Form::GatedSupply { gate, volts, ohms, follows } => {
                    island.contacts.push(Contact {
                        gate: *gate,
                        part: e.part,
                        siemens: siemens(*ohms),
                        at: wiring.corners(&island.plan, e),
                    });
                    island.supplied |= *volts != 0.0;
                    island.gated.push(Gated {
                        gate: *gate,
                        part: e.part,
                        follows: *follows,
                        amps: volts * siemens(*ohms),
                        places: [wiring.place(e.nets[0]), wiring.place(e.nets[1])],
                    });
                }
                Form::Absent
                | Form::Branch(_)
                | Form::Phase { .. }
                | Form::Coupling { .. }
                | Form::Coupled(_)
                | Form::Rotor { .. } => {}
            }
        }
        island
    }

    /// The currents that its supplies drive into its nets when shorted, by place.
    pub(super) fn supply_amps(&self, state: &State) -> Vec<f64> {
        let mut amps = self.supply_amps.clone();
        for gated in self.gated.iter().filter(|g| g.gate.closed(g.part, state)) {
            let times = if gated.follows { state.speed[gated.part.index()] } else { 1.0 };
            for (place, sign) in gated.places.iter().zip([1.0, -1.0]) {
                if let Some(place) = place {
                    amps[*place as usize] += sign * times * gated.amps;
                }
            }
        }
        amps
    }

    /// The direct-current matrix in a state.
    pub(super) fn direct(&self, state: &State) -> Vec<f64> {
        let mut values = self.direct.clone();
        self.add_two_terminal(&mut values, state);
        values
    }

    /// The phasor matrix in a state at a frequency above zero.
    pub(super) fn phasor(&self, state: &State, hertz: f64, wiring: Wiring<'_>) -> Vec<Complex64> {
        if let Some((_, fixed)) = self.phasors.iter().find(|(rated, _)| *rated == hertz) {
            let fixed = fixed.get_or_init(|| self.fixed(hertz, wiring));
            self.add_variable(fixed.values.clone(), &fixed.rotors, state)
        } else {
            // A machine off its rated speed: worked out for this once.
            let fixed = self.fixed(hertz, wiring);
            self.add_variable(fixed.values, &fixed.rotors, state)
        }
    }

    fn fixed(&self, hertz: f64, wiring: Wiring<'_>) -> Fixed {
        let values =
            wiring.fixed(&self.plan, &self.elements, |form| element::fixed_phasor(form, hertz));
        let rotors = self
            .elements
            .iter()
            .map(|index| &wiring.elements[*index as usize])
            .filter_map(|e| {
                let Form::Rotor { running, standing } = &e.form else { return None };
                let y2 = standing.admittance(hertz);
                let slots = wiring.slots(&self.plan, e);
                Some(Rotor {
                    part: e.part,
                    at: std::array::from_fn(|at| slots[at]),
                    standing: element::rotor(y2, y2),
                    forward: element::rotor(running.admittance(hertz), y2),
                    backward: element::rotor(y2, running.admittance(hertz)),
                })
            })
            .collect();
        Fixed { values, rotors }
    }

    fn add_variable(
        &self,
        mut values: Vec<Complex64>,
        rotors: &[Rotor],
        state: &State,
    ) -> Vec<Complex64> {
        self.add_two_terminal(&mut values, state);
        for rotor in rotors {
            let y = match state.turning(rotor.part) {
                Turning::Stands => &rotor.standing,
                Turning::Forward => &rotor.forward,
                Turning::Backward => &rotor.backward,
            };
            for (slot, y) in rotor.at.iter().zip(y) {
                values[*slot as usize] += y;
            }
        }
        values
    }

    fn add_two_terminal<T: Scalar>(&self, values: &mut [T], state: &State) {
        let mut add = |[a, b, ab, ba]: Corners, siemens: f64| {
            let y = T::from(siemens);
            values[a as usize] += y;
            values[b as usize] += y;
            values[ab as usize] -= y;
            values[ba as usize] -= y;
        };
        for contact in &self.contacts {
            if contact.gate.closed(contact.part, state) {
                add(contact.at, contact.siemens);
            }
        }
        for (part, at) in &self.filaments {
            add(*at, state.conductance[part.index()]);
        }
    }
}

/// The nets and elements of one island, and its pairs of joined places.
#[derive(Default)]
pub(super) struct Members {
    /// Nets, by place.
    pub nets: Vec<NetId>,
    /// Elements.
    pub elements: Vec<u32>,
    /// Pairs of places that an element joins, in order and without repetition.
    pub pairs: Vec<(u32, u32)>,
}

/// Groups nets into islands: each net's island and place, and each island's members.
pub(super) fn islands_of(
    elements: &[Element],
    nets: usize,
) -> (Vec<Option<(u32, u32)>>, Vec<Members>) {
    let mut joined = Joined::new(nets);
    for e in elements {
        let mut used = e.terminals().iter().filter(|net| **net != AIRFRAME);
        if let Some(first) = used.next() {
            used.for_each(|net| joined.join(first.0, net.0));
        }
    }
    let mut numbers: BTreeMap<u32, u32> = BTreeMap::new();
    let mut islands: Vec<Members> = Vec::new();
    let mut places = vec![None; nets];
    for net in 1..nets as u32 {
        let number = *numbers.entry(joined.root(net)).or_insert_with(|| {
            islands.push(Members::default());
            islands.len() as u32 - 1
        });
        let members = &mut islands[number as usize].nets;
        places[net as usize] = Some((number, members.len() as u32));
        members.push(NetId(net));
    }
    for (index, e) in elements.iter().enumerate() {
        let local: Vec<(u32, u32)> =
            e.terminals().iter().filter_map(|net| places[net.index()]).collect();
        let Some(&(number, _)) = local.first() else { continue };
        let island = &mut islands[number as usize];
        island.elements.push(index as u32);
        for (at, &(_, a)) in local.iter().enumerate() {
            for &(_, b) in &local[at + 1..] {
                island.pairs.push((a.min(b), a.max(b)));
            }
        }
    }
    for island in &mut islands {
        island.pairs.sort_unstable();
        island.pairs.dedup();
    }
    (places, islands)
}

/// Sets that merge.
struct Joined(Vec<u32>);

impl Joined {
    fn new(n: usize) -> Self {
        Self((0..n as u32).collect())
    }

    fn root(&mut self, mut at: u32) -> u32 {
        while self.0[at as usize] != at {
            self.0[at as usize] = self.0[self.0[at as usize] as usize];
            at = self.0[at as usize];
        }
        at
    }

    fn join(&mut self, a: u32, b: u32) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b) as usize] = a.min(b);
    }
}

#[cfg(test)]
mod tests {
    use crate::network::tests::network;

    #[test]
    fn the_airframe_joins_no_islands_and_an_open_switch_does() {
        let network = network(
            "A B C D",
            &[
                "Supply(id: \"E\", plus: \"A\")",
                "Switch(id: \"S\", positions: [\"OFF\", \"ON\"], closes: {\"ON\": [(\"A\", \"B\")]})",
                "Resistor(id: \"R1\", a: \"B\", b: \"GND\", ohms: 10)",
                "Resistor(id: \"R2\", a: \"C\", b: \"GND\", ohms: 10)",
                "Resistor(id: \"R3\", a: \"D\", b: \"C\", ohms: 10)",
            ],
        );
        let islands: Vec<Vec<u32>> =
            network.islands().iter().map(|i| i.nets.iter().map(|net| net.0).collect()).collect();
        assert_eq!(islands, [vec![1, 2], vec![3, 4]]);
        let supplied: Vec<bool> = network.islands().iter().map(|i| i.supplied).collect();
        assert_eq!(supplied, [true, false]);
    }
}
