//! Nets that hang together, and how their elements make up a matrix.
//!
//! Every entry of a matrix is the sum of what the elements put there, taken in the
//! order of the elements. So an entry can be worked out again by itself when one of
//! its elements has changed, and comes out as it would in a matrix made afresh, to the
//! last bit.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::element::{self, Element, Form, Matrix};
use super::sparse::{Factored, Plan, Scalar, Singular, Top};
use super::state::State;
use crate::circuit::{AIRFRAME, NetId};

/// Nets that some state could join, other than through the airframe.
#[derive(Debug)]
pub(super) struct Island {
    /// The elimination plan over its nets.
    pub plan: Arc<Plan>,
    /// Its nets, by place in the plan.
    pub nets: Vec<NetId>,
    /// The pairs of places the plan was made for, to know the same structure again.
    pub pairs: Vec<(u32, u32)>,
    /// The steps on which the voltages of filaments and motors hang.
    pub top: Top,
    /// Whether the volts of a supply in it go with what another part is fed.
    pub fed_through_parts: bool,
    /// Its supplies of direct current among all elements.
    supplies: Vec<u32>,
    /// Its elements, in order.
    elements: Vec<u32>,
    /// By element: where its values start. Each has as many as its matrix has entries.
    starts: Vec<u32>,
    /// By value: the slot it goes to, [`NOWHERE`] for the airframe's.
    slots: Vec<u32>,
    /// Which of `elements` depend on the state.
    variable: Vec<u32>,
    /// Which of `elements` depend on the frequency.
    reactive: Vec<u32>,
    /// Which of `variable` are filaments.
    filaments: Vec<u32>,
    /// By slot: where its values start in `sums`.
    firsts: Vec<u32>,
    /// By slot: the values that add up to its entry, in order.
    sums: Vec<u32>,
}

/// The slot of a value that goes into no matrix.
const NOWHERE: u32 = u32::MAX;

/// A change to no element.
const NO_PLACE: u32 = u32::MAX;

/// Elements as they are in a network: those of the sound circuit, some exchanged.
#[derive(Clone, Copy)]
pub(super) struct Wiring<'a> {
    /// All elements of the sound circuit.
    pub sound: &'a [Element],
    /// Those that differ, by index, in order.
    pub exchanged: &'a [(u32, Element)],
    /// Siemens of insulation from every net to the airframe.
    pub leak: f64,
}

impl<'a> Wiring<'a> {
    /// An element as it is.
    pub(super) fn element(&self, index: u32) -> &'a Element {
        let exchanged = self.exchanged.iter().find(|(at, _)| *at == index);
        exchanged.map_or(&self.sound[index as usize], |(_, element)| element)
    }
}

/// The matrix of an island as it stands at present, with its factors.
#[derive(Debug)]
pub(super) struct Stamped<T> {
    /// What each element puts in, laid out as the island says.
    values: Vec<T>,
    /// By variable element: what its values were worked out for.
    conditions: Vec<f64>,
    /// The exchanged elements that are in it.
    exchanged: Vec<(u32, Element)>,
    /// Slots whose sums are out of date.
    stale: Vec<u32>,
    /// Nodes at which something has changed since [`Stamped::forget_touched`].
    touched: Vec<u32>,
    /// Whether an electromotive force has been put in or taken out since then.
    sources_changed: bool,
    factored: Factored<T>,
}

impl Island {
    /// An island of these members, with this plan for its structure.
    pub(super) fn new(
        plan: Arc<Plan>,
        members: Members,
        all: &[Element],
        places: &[Option<(u32, u32)>],
        watched: &[NetId],
    ) -> Self {
        let Members { nets, elements, pairs } = members;
        let (mut starts, mut slots) = (Vec::with_capacity(elements.len()), Vec::new());
        let (mut variable, mut filaments, mut ends) = (Vec::new(), Vec::new(), Vec::new());
        let (mut supplies, mut fed_through_parts) = (Vec::new(), false);
        let mut reactive = Vec::new();
        let place = |net: &NetId| places[net.index()].map(|(_, local)| local);
        for (at, index) in (0..).zip(&elements) {
            let e = &all[*index as usize];
            starts.push(slots.len() as u32);
            for a in e.terminals() {
                for b in e.terminals() {
                    let both = place(a).zip(place(b));
                    slots.push(both.map_or(NOWHERE, |(a, b)| plan.slot(a, b)));
                }
            }
            if e.form.follows_frequency() {
                reactive.push(at);
            }
            // A part that is open has left an element behind that does nothing; whether
            // it follows the state does not matter then.
            if e.form.follows_state() {
                if matches!(e.form, Form::Filament) {
                    filaments.push(variable.len() as u32);
                }
                variable.push(at);
            }
            if matches!(e.form, Form::Filament) {
                ends.extend(e.terminals().iter().filter_map(place));
            }
            match &e.form {
                Form::Supply { .. } => supplies.push(*index),
                Form::GatedSupply { follows, .. } => {
                    supplies.push(*index);
                    fed_through_parts |= follows;
                }
                Form::Absent
                | Form::Branch(_)
                | Form::Contact { .. }
                | Form::Filament
                | Form::Phase { .. }
                | Form::Coupling { .. }
                | Form::Coupled(_)
                | Form::Rotor { .. } => {}
            }
        }
        let mut firsts = vec![0_u32; plan.slots() + 1];
        for slot in slots.iter().filter(|slot| **slot != NOWHERE) {
            firsts[*slot as usize + 1] += 1;
        }
        for slot in 1..firsts.len() {
            firsts[slot] += firsts[slot - 1];
        }
        let mut next = firsts.clone();
        let mut sums = vec![0; firsts[plan.slots()] as usize];
        for (value, slot) in (0..).zip(&slots).filter(|(_, slot)| **slot != NOWHERE) {
            sums[next[*slot as usize] as usize] = value;
            next[*slot as usize] += 1;
        }
        let here = |net: &&NetId| nets.binary_search(net).is_ok();
        ends.extend(watched.iter().filter(here).filter_map(place));
        let top = plan.top(ends);
        Self {
            plan,
            nets,
            pairs,
            top,
            fed_through_parts,
            supplies,
            elements,
            starts,
            slots,
            variable,
            reactive,
            filaments,
            firsts,
            sums,
        }
    }

    /// The place of an element among those of the island.
    fn place_of(&self, element: u32) -> u32 {
        self.elements.binary_search(&element).map_or(NO_PLACE, |at| at as u32)
    }

    /// Currents that the supplies drive into the nets when shorted, by place; tells
    /// whether any supply gives something in some state.
    pub(super) fn supply_amps(
        &self,
        wiring: Wiring<'_>,
        places: &[Option<(u32, u32)>],
        state: &State,
        amps: &mut [f64],
    ) -> bool {
        let mut supplied = false;
        amps.fill(0.0);
        for index in &self.supplies {
            let e = wiring.element(*index);
            supplied |= e.drives();
            let driven = element::supply_amps(e, state);
            for (net, driven) in e.nets.into_iter().zip([driven, -driven]) {
                if let Some((_, place)) = places[net.index()] {
                    amps[place as usize] += driven;
                }
            }
        }
        supplied
    }
}

impl<T: Scalar> Stamped<T> {
    /// A matrix with nothing in it yet.
    pub(super) fn new(island: &Island) -> Self {
        Self {
            values: vec![T::zero(); island.slots.len()],
            conditions: vec![f64::NAN; island.variable.len()],
            exchanged: Vec::new(),
            stale: Vec::new(),
            touched: Vec::new(),
            sources_changed: false,
            factored: Factored::new(&island.plan),
        }
    }

    /// Puts every element in: for a new matrix, or one at another frequency.
    pub(super) fn stamp_all(
        &mut self,
        island: &Island,
        wiring: Wiring<'_>,
        state: &State,
        matrix: impl Fn(&Element, &State) -> Matrix<T>,
    ) {
        self.exchanged.clear();
        self.exchanged.extend(wiring.exchanged.iter().cloned());
        self.conditions.fill(f64::NAN);
        for (at, index) in (0..).zip(&island.elements) {
            let y = matrix(wiring.element(*index), state);
            let first = island.starts[at as usize] as usize;
            let n = island.values_of(at);
            self.values[first..first + n].copy_from_slice(&y[..n]);
        }
        for (condition, at) in self.conditions.iter_mut().zip(&island.variable) {
            let e = wiring.element(island.elements[*at as usize]);
            *condition = element::condition(e, state).unwrap_or(f64::NAN);
        }
        for slot in 0..island.plan.slots() as u32 {
            self.sum(island, wiring.leak, slot);
        }
        self.stale.clear();
    }

    /// Brings in what has changed: exchanged elements, and what follows the state.
    pub(super) fn follow(
        &mut self,
        island: &Island,
        wiring: Wiring<'_>,
        state: &State,
        matrix: impl Fn(&Element, &State) -> Matrix<T>,
    ) {
        let renewed = self.exchanged != wiring.exchanged;
        if renewed {
            let before = std::mem::take(&mut self.exchanged);
            let drives = |(at, e): &(u32, Element)| {
                let sound = &wiring.sound[*at as usize];
                [e, sound].iter().any(|e| matches!(e.form, Form::Phase { .. }))
            };
            self.sources_changed |= before.iter().chain(wiring.exchanged).any(drives);
            for (index, _) in &before {
                self.put(island, island.place_of(*index), wiring, state, &matrix);
                // What its condition is now shall be looked at again.
                let place = island.place_of(*index);
                if let Ok(at) = island.variable.binary_search(&place) {
                    self.conditions[at] = f64::NAN;
                }
            }
            self.exchanged = before;
            self.exchanged.clear();
            self.exchanged.extend(wiring.exchanged.iter().cloned());
        }
        for (at, place) in island.variable.iter().enumerate() {
            let e = &wiring.sound[island.elements[*place as usize] as usize];
            // An exchanged element answers for itself below.
            if let Some(condition) = element::condition(e, state)
                && condition != self.conditions[at]
            {
                self.conditions[at] = condition;
                self.put(island, *place, wiring, state, &matrix);
            }
        }
        for at in 0..self.exchanged.len() {
            let (index, e) = &self.exchanged[at];
            if renewed || e.form.follows_state() {
                let place = island.place_of(*index);
                self.put(island, place, wiring, state, &matrix);
            }
        }
        self.sum_stale(island, wiring.leak);
    }

    /// The same for a matrix that was put together for another frequency.
    pub(super) fn retune(
        &mut self,
        island: &Island,
        wiring: Wiring<'_>,
        state: &State,
        matrix: impl Fn(&Element, &State) -> Matrix<T>,
    ) {
        for place in &island.reactive {
            self.put(island, *place, wiring, state, &matrix);
        }
        for (index, _) in wiring.exchanged {
            self.put(island, island.place_of(*index), wiring, state, &matrix);
        }
        self.follow(island, wiring, state, matrix);
    }

    /// The same where nothing but the conductance of filaments can have changed.
    pub(super) fn follow_filaments(
        &mut self,
        island: &Island,
        wiring: Wiring<'_>,
        state: &State,
        matrix: impl Fn(&Element, &State) -> Matrix<T>,
    ) {
        for at in &island.filaments {
            let place = island.variable[*at as usize];
            let e = wiring.element(island.elements[place as usize]);
            let condition = element::condition(e, state).unwrap_or(f64::NAN);
            if condition != self.conditions[*at as usize] {
                self.conditions[*at as usize] = condition;
                self.put(island, place, wiring, state, &matrix);
            }
        }
        self.sum_stale(island, wiring.leak);
    }

    /// Works out the values of one element again.
    fn put(
        &mut self,
        island: &Island,
        place: u32,
        wiring: Wiring<'_>,
        state: &State,
        matrix: &impl Fn(&Element, &State) -> Matrix<T>,
    ) {
        if place == NO_PLACE {
            return;
        }
        let e = wiring.element(island.elements[place as usize]);
        let first = island.starts[place as usize] as usize;
        let n = e.terminals().len();
        let before = self.stale.len();
        if n == 2 && e.form.follows_state() {
            let y = T::from(element::condition(e, state).unwrap_or_default());
            self.change(island, first, &[y, -y, -y, y]);
        } else {
            self.change(island, first, &matrix(e, state)[..n * n]);
        }
        if self.stale.len() > before {
            let diagonal = (0..n).map(|row| island.slots[first + row * n + row]);
            self.touched.extend(diagonal.filter(|slot| *slot != NOWHERE));
        }
    }

    fn change(&mut self, island: &Island, first: usize, values: &[T]) {
        for (at, y) in (first..).zip(values) {
            if self.values[at] != *y {
                self.values[at] = *y;
                if island.slots[at] != NOWHERE {
                    self.stale.push(island.slots[at]);
                }
            }
        }
    }

    /// Whether what has changed leaves a solution as it is: nothing where that has a
    /// voltage, and no source.
    ///
    /// An admittance between nodes that stand at exactly zero carries nothing, whatever
    /// it is; so where direct current alone flows, the alternating voltages need not be
    /// worked out again when a contact moves.
    pub(super) fn spares(&self, solution: &[T]) -> bool {
        !self.sources_changed && self.touched.iter().all(|node| solution[*node as usize].is_zero())
    }

    /// Starts afresh to note what changes.
    pub(super) fn forget_touched(&mut self) {
        self.touched.clear();
        self.sources_changed = false;
    }

    fn sum_stale(&mut self, island: &Island, leak: f64) {
        while let Some(slot) = self.stale.pop() {
            self.sum(island, leak, slot);
        }
    }

    fn sum(&mut self, island: &Island, leak: f64, slot: u32) {
        let (first, last) = (island.firsts[slot as usize], island.firsts[slot as usize + 1]);
        let insulation = if (slot as usize) < island.plan.nodes() { leak } else { 0.0 };
        let sum = island.sums[first as usize..last as usize]
            .iter()
            .fold(T::from(insulation), |sum, value| sum + self.values[*value as usize]);
        self.factored.set(&island.plan, slot, sum);
    }

    /// Brings the factors up to date; tells whether that changed any.
    ///
    /// # Errors
    /// [`Singular`] with the place of a net that hangs in the air.
    pub(super) fn refactor(&mut self, island: &Island) -> Result<bool, Singular> {
        self.factored.refactor(&island.plan)
    }

    /// The factors, as last brought up to date.
    pub(super) fn factors(&self) -> &Factored<T> {
        &self.factored
    }
}

impl Island {
    /// How many values an element puts in.
    fn values_of(&self, place: u32) -> usize {
        let next = self.starts.get(place as usize + 1).map_or(self.slots.len(), |s| *s as usize);
        next - self.starts[place as usize] as usize
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
    use super::*;
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
        let state = State::at_rest(network.circuit());
        let supplied: Vec<bool> =
            (0..2).map(|number| network.supply_amps(number, &state, &mut [0.0; 2])).collect();
        assert_eq!(supplied, [true, false]);
    }
}
