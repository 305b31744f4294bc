//! A state near a base case, worked out from what is different there.
//!
//! With `Z` the volts for one ampere into each place of the base case, changed nodes
//! `T`, the change `D` of their admittances and `J` of what is driven into them, the new
//! voltages are `V = V0 + Z (J - D V)`. Taken at the nodes `T` alone this is a small
//! dense system; what it gives, put back, is every voltage.
//!
//! That loses digits where a change takes away nearly all that ties a node down: a
//! motor's only lead opened, say. Such a system is refused, and so is one whose currents
//! do not add up at the changed nodes; a fresh solution then takes its place.

use num_complex::Complex64;
use num_traits::Zero;

use super::base::{BaseCase, Group, Linear};
use super::dense::Dense;
use super::element::{self, Element, Form, Matrix};
use super::prepare::Network;
use super::sparse::Scalar;
use super::state::State;
use crate::circuit::{AIRFRAME, NetId};

/// Changed nodes beyond which a fresh solution is as quick.
const MOST_NODES: usize = 24;
/// What currents at a changed node may fail to add up by, relative to the largest.
const RESIDUAL: f64 = 1e-10;

/// The change of one element's matrix between its terminals.
struct Change<'a, T> {
    nets: &'a [NetId],
    by: Matrix<T>,
}

/// The changes at some nodes of one kind of current.
pub(super) struct Changed<T> {
    nodes: Vec<NetId>,
    /// Change of admittance between the nodes, row by row.
    admittance: Vec<T>,
    /// Change of what sources drive into the nodes.
    amps: Vec<T>,
}

/// Direct current with everything but filaments and motors dealt with.
pub(super) struct DirectPatch<'a> {
    base: &'a BaseCase,
    changed: Changed<f64>,
    /// Volts at the changed nodes with the ports as in the base case.
    still: Vec<f64>,
    /// By port: volts at the changed nodes for an ampere through it.
    answers: Vec<Vec<f64>>,
    /// By port: its volts with the ports as in the base case.
    pub open: Vec<f64>,
    /// Volts at each port for an ampere through each, row by row.
    pub between: Vec<f64>,
}

impl Network {
    /// The elements other than filaments that are not as in a base case, in order.
    pub(super) fn altered(&self, base: &BaseCase, state: &State) -> Vec<u32> {
        let exchanged = self.exchanged.iter().chain(&base.network.exchanged).map(|(at, _)| *at);
        let mut altered: Vec<u32> = exchanged.collect();
        for (at, (now, then)) in state.parts.iter().zip(&base.state().parts).enumerate() {
            if now != then {
                altered.extend(base.moved_by(crate::circuit::PartId(at as u32)));
            }
        }
        altered.sort_unstable();
        altered.dedup();
        altered
    }

    /// What is different in direct current; `None` when it is too much.
    pub(super) fn direct_changes(
        &self,
        base: &BaseCase,
        state: &State,
        altered: &[u32],
    ) -> Option<Changed<f64>> {
        let (now, then) = (self.wiring(), base.network.wiring());
        let mut changes = Vec::new();
        let mut driven: Vec<(NetId, f64)> = Vec::new();
        for &index in altered {
            let (e, was) = (now.element(index), then.element(index));
            let change = difference(e, was, state, base.state(), element::direct_matrix);
            changes.extend(change);
            let amps =
                element::supply_amps(e, state) - element::supply_amps(was, base.state());
            if amps != 0.0 {
                driven.extend([(e.nets[0], amps), (e.nets[1], -amps)]);
            }
        }
        let changed = Changed::gather(&changes, &driven)?;
        // What nothing has supplied in the base case has not been solved for there.
        let supplied = |net: &NetId| {
            self.place(*net).is_none_or(|(island, _)| base.direct[island as usize].is_some())
        };
        changed.nodes.iter().all(supplied).then_some(changed)
    }

    /// What one volt of a machine sets up; `None` when that takes a fresh solution.
    pub(super) fn unit_from(
        &self,
        base: &BaseCase,
        group: &Group,
        machine: usize,
        state: &State,
        altered: &[u32],
    ) -> Option<Vec<Complex64>> {
        let linear = &base.phasors[group.linear as usize];
        let (now, then) = (self.wiring(), base.network.wiring());
        let matrix = |e: &Element, state: &State| element::phasor_matrix(e, state, group.hertz);
        let phases = &self.machines()[machine].phases;
        let mut changes = Vec::new();
        let mut driven: Vec<(NetId, Complex64)> = Vec::new();
        for &index in altered {
            let (e, was) = (now.element(index), then.element(index));
            changes.extend(difference(e, was, state, base.state(), matrix));
            if phases.contains(&index) {
                let amps = phase_amps(e, group.hertz) - phase_amps(was, group.hertz);
                driven.extend([(e.nets[0], amps), (e.nets[1], -amps)]);
            }
        }
        for (port, follower) in base.ports.iter().zip(self.followers()) {
            let e = now.element(port.element);
            let siemens = conductance(e, state, follower.part.index());
            if siemens != port.siemens && !altered.contains(&port.element) {
                let mut by = [Complex64::ZERO; 36];
                let y = Complex64::from(siemens - port.siemens);
                (by[0], by[1], by[2], by[3]) = (y, -y, -y, y);
                changes.push(Change { nets: &e.nets[..2], by });
            }
        }
        let place = |net: NetId| {
            self.place(net).filter(|(island, _)| *island == linear.island).map(|(_, at)| at)
        };
        changes.retain(|c| c.nets.iter().all(|net| *net == AIRFRAME || place(*net).is_some()));
        // A change between nodes that carry nothing changes nothing, unless another one
        // brings something there.
        let live = |net: NetId| place(net).is_some_and(|at| !group.unit[at as usize].is_zero());
        let fed = |net: NetId| driven.iter().any(|(other, _)| *other == net);
        let touches = |c: &Change<_>| c.nets.iter().any(|net| live(*net) || fed(*net));
        let inside = |c: &Change<_>| c.nets.iter().all(|net| *net == AIRFRAME || live(*net));
        let mut idle: Vec<NetId> = Vec::new();
        if changes.iter().filter(|c| touches(c)).all(inside) && driven.iter().all(|d| live(d.0)) {
            let quiet = changes.iter().filter(|c| !touches(c));
            idle.extend(quiet.flat_map(|c| c.nets));
            changes.retain(touches);
        }
        if changes.is_empty() && driven.is_empty() {
            return Some(group.unit.clone());
        }
        let changed = Changed::gather(&changes, &driven)?;
        let island = &self.islands()[linear.island as usize];
        let z = |a: NetId, b: NetId| match (place(a), place(b)) {
            (Some(a), Some(b)) => linear.column(island, b)[a as usize],
            _ => Complex64::ZERO,
        };
        let local = |net: &NetId| place(*net);
        let places: Option<Vec<u32>> = changed.nodes.iter().map(local).collect();
        let places = places?;
        let small = changed.system(&z)?;
        let mut volts: Vec<Complex64> = places.iter().map(|at| group.unit[*at as usize]).collect();
        changed.add_driven(&z, &mut volts);
        let injected = changed.injected(&small.solve(&volts));
        let mut unit = group.unit.clone();
        for (node, amps) in places.iter().zip(&injected) {
            if !amps.is_zero() {
                add(&mut unit, linear.column(island, *node), *amps);
            }
        }
        let base_amps = |at: u32| group.amps[at as usize];
        let sound = changed.adds_up(linear, island, &places, &unit, base_amps, None)
            && idle.iter().all(|net| place(*net).is_none_or(|at| unit[at as usize].is_zero()));
        sound.then_some(unit)
    }
}

/// The conductance of a filament as it is among the elements.
pub(super) fn conductance(e: &Element, state: &State, part: usize) -> f64 {
    if matches!(e.form, Form::Filament) { state.conductance[part] } else { 0.0 }
}

/// Amperes that one volt of a machine drives through one of its phases when shorted.
fn phase_amps(e: &Element, hertz: f64) -> Complex64 {
    if let Form::Phase { unit, inner } = &e.form {
        unit * inner.admittance(hertz)
    } else {
        Complex64::ZERO
    }
}

/// The change of an element's matrix, if any. Filaments that have stayed such are left
/// to their ports.
fn difference<'a, T: Scalar>(
    e: &'a Element,
    was: &Element,
    state: &State,
    before: &State,
    matrix: impl Fn(&Element, &State) -> Matrix<T>,
) -> Option<Change<'a, T>> {
    if matches!((&e.form, &was.form), (Form::Filament, Form::Filament)) {
        return None;
    }
    let n = e.terminals().len() * e.terminals().len();
    let (mut by, then) = (matrix(e, state), matrix(was, before));
    for (by, then) in by.iter_mut().zip(then) {
        *by -= then;
    }
    by[..n].iter().any(|y| !y.is_zero()).then_some(Change { nets: e.terminals(), by })
}

fn add<T: Scalar>(sum: &mut [T], column: &[T], times: T) {
    for (sum, value) in sum.iter_mut().zip(column) {
        *sum += *value * times;
    }
}

impl<T: Scalar> Changed<T> {
    /// Changes put together by node; `None` when there are too many.
    fn gather(changes: &[Change<'_, T>], driven: &[(NetId, T)]) -> Option<Self> {
        let touched = changes.iter().flat_map(|c| c.nets.iter().copied());
        let touched = touched.chain(driven.iter().map(|(net, _)| *net));
        let mut nodes: Vec<NetId> = touched.filter(|net| *net != AIRFRAME).collect();
        nodes.sort_unstable();
        nodes.dedup();
        let size = nodes.len();
        if size > MOST_NODES {
            return None;
        }
        let at = |net: &NetId| nodes.binary_search(net).ok();
        let mut admittance = vec![T::zero(); size * size];
        for change in changes {
            let n = change.nets.len();
            for (row, a) in change.nets.iter().enumerate() {
                for (column, b) in change.nets.iter().enumerate() {
                    if let (Some(a), Some(b)) = (at(a), at(b)) {
                        admittance[a * size + b] += change.by[row * n + column];
                    }
                }
            }
        }
        let mut amps = vec![T::zero(); size];
        for (net, driven) in driven {
            if let Some(at) = at(net) {
                amps[at] += *driven;
            }
        }
        Some(Self { nodes, admittance, amps })
    }

    /// `1 + Z D` in factors, `z` being volts at the first net for one ampere into the
    /// second; `None` when it has lost its digits.
    fn system(&self, z: &impl Fn(NetId, NetId) -> T) -> Option<Dense<T>> {
        let size = self.nodes.len();
        let mut matrix = vec![T::zero(); size * size];
        for row in 0..size {
            for (at, node) in self.nodes.iter().enumerate() {
                let volts = z(self.nodes[row], *node);
                if volts.is_zero() {
                    continue;
                }
                for column in 0..size {
                    matrix[row * size + column] += volts * self.admittance[at * size + column];
                }
            }
            matrix[row * size + row] += T::one();
        }
        Dense::factor(size, matrix)
    }

    /// Adds what the change of the sources sets up at the nodes.
    fn add_driven(&self, z: &impl Fn(NetId, NetId) -> T, volts: &mut [T]) {
        for (node, amps) in self.nodes.iter().zip(&self.amps) {
            if !amps.is_zero() {
                for (volts, here) in volts.iter_mut().zip(&self.nodes) {
                    *volts += z(*here, *node) * *amps;
                }
            }
        }
    }

    /// Currents into the nodes that do in the base case what the changes do.
    fn injected(&self, volts: &[T]) -> Vec<T> {
        let mut injected = self.injected_by(volts);
        for (injected, amps) in injected.iter_mut().zip(&self.amps) {
            *injected += *amps;
        }
        injected
    }

    /// The same for changed admittances alone.
    fn injected_by(&self, volts: &[T]) -> Vec<T> {
        let size = self.nodes.len();
        let through = |row: usize| {
            let row = &self.admittance[row * size..(row + 1) * size];
            row.iter().zip(volts).fold(T::zero(), |sum, (y, v)| sum - *y * *v)
        };
        (0..size).map(through).collect()
    }

    /// Whether the currents at the changed nodes add up with these voltages; `ports` are
    /// currents through filaments that are not among the changes.
    fn adds_up(
        &self,
        linear: &Linear<T>,
        island: &super::island::Island,
        places: &[u32],
        volts: &[T],
        base_amps: impl Fn(u32) -> T,
        ports: Option<&dyn Fn(NetId) -> T>,
    ) -> bool {
        let here: Vec<T> = places.iter().map(|at| volts[*at as usize]).collect();
        let injected = self.injected(&here);
        self.nodes.iter().zip(places).zip(injected).all(|((net, place), injected)| {
            let (out, size) = linear.current(island, *place, volts);
            let ports = ports.map_or(T::zero(), |ports| ports(*net));
            let left = out - injected - base_amps(*place) - ports;
            left.size() <= RESIDUAL * size.max(injected.size())
        })
    }
}

impl<'a> DirectPatch<'a> {
    /// Deals with all changes but those of filaments and motors; `None` when that would
    /// lose too many digits.
    pub(super) fn new(base: &'a BaseCase, changed: Changed<f64>) -> Option<Self> {
        let small = changed.system(&|a, b| base.direct_volts(a, b))?;
        let at_base = |net: &NetId| {
            base.direct_place(*net).map_or(0.0, |(linear, at)| linear.volts[at as usize])
        };
        let mut volts: Vec<f64> = changed.nodes.iter().map(at_base).collect();
        changed.add_driven(&|a, b| base.direct_volts(a, b), &mut volts);
        let still = small.solve(&volts);
        let size = changed.nodes.len();
        let ports = base.ports.len();
        // Volts at each port for an ampere into each changed node.
        let reach: Vec<f64> = base
            .ports
            .iter()
            .flat_map(|port| {
                let [a, b] = port.nets;
                changed
                    .nodes
                    .iter()
                    .map(move |node| base.direct_volts(a, *node) - base.direct_volts(b, *node))
            })
            .collect();
        let seen = |port: usize, injected: &[f64]| -> f64 {
            let reach = &reach[port * size..(port + 1) * size];
            reach.iter().zip(injected).map(|(z, amps)| z * amps).sum()
        };
        let injected = changed.injected(&still);
        let open = (0..ports)
            .map(|at| base.port_volts(at) + seen(at, &injected))
            .collect();
        let mut between = base.between.clone();
        let mut answers = Vec::with_capacity(ports);
        for (at, port) in base.ports.iter().enumerate() {
            let answer = if let (Some((island, column)), true) = (&port.column, size > 0) {
                let own = |net: &NetId| match base.network.place(*net) {
                    Some((other, local)) if other == *island => column[local as usize],
                    _ => 0.0,
                };
                let answer = small.solve(&changed.nodes.iter().map(own).collect::<Vec<_>>());
                let taken = changed.injected_by(&answer);
                for row in 0..ports {
                    between[row * ports + at] += seen(row, &taken);
                }
                answer
            } else {
                vec![0.0; size]
            };
            answers.push(answer);
        }
        Some(Self { base, changed, still, answers, open, between })
    }

    /// Every direct voltage, with these amperes into the ports beside what they draw in
    /// the base case; `None` when currents do not add up.
    pub(super) fn volts(&self, amps: &[f64], dc: &mut [f64]) -> Option<()> {
        let base = self.base;
        let mut volts = self.still.clone();
        for (answer, amps) in self.answers.iter().zip(amps) {
            add(&mut volts, answer, *amps);
        }
        let injected = self.changed.injected(&volts);
        for linear in base.direct.iter().flatten() {
            let island = &base.network.islands()[linear.island as usize];
            let mut all = linear.volts.clone();
            for (node, amps) in self.changed.nodes.iter().zip(&injected) {
                if let Some((number, at)) = base.network.place(*node)
                    && number == linear.island
                    && *amps != 0.0
                {
                    add(&mut all, linear.column(island, at), *amps);
                }
            }
            for (port, amps) in base.ports.iter().zip(amps) {
                if let Some((number, column)) = &port.column
                    && *number == linear.island
                    && *amps != 0.0
                {
                    add(&mut all, column, *amps);
                }
            }
            let own = |net: &NetId| base.network.place(*net).filter(|(n, _)| *n == linear.island);
            let places: Vec<u32> =
                self.changed.nodes.iter().filter_map(|net| own(net).map(|(_, at)| at)).collect();
            if places.len() == self.changed.nodes.len() {
                let through = |net: NetId| {
                    base.ports.iter().zip(amps).fold(0.0, |sum, (port, amps)| {
                        let sign = f64::from(u8::from(port.nets[0] == net))
                            - f64::from(u8::from(port.nets[1] == net));
                        sum + sign * amps
                    })
                };
                let base_amps = |at: u32| linear.amps[at as usize];
                let ports: &dyn Fn(NetId) -> f64 = &through;
                if !self.changed.adds_up(linear, island, &places, &all, base_amps, Some(ports)) {
                    return None;
                }
            } else if !places.is_empty() {
                return None;
            }
            for (net, volts) in island.nets.iter().zip(&all) {
                dc[net.index()] = *volts;
            }
        }
        Some(())
    }
}

impl BaseCase {
    fn direct_place(&self, net: NetId) -> Option<(&Linear<f64>, u32)> {
        let (island, at) = self.network.place(net)?;
        Some((self.direct[island as usize].as_ref()?, at))
    }

    /// Direct volts at one net for one ampere into another.
    fn direct_volts(&self, a: NetId, b: NetId) -> f64 {
        match (self.network.place(a), self.direct_place(b)) {
            (Some((island, row)), Some((linear, at))) if island == linear.island => {
                let island = &self.network.islands()[island as usize];
                linear.column(island, at)[row as usize]
            }
            _ => 0.0,
        }
    }

    /// Direct volts at a port in the base case.
    fn port_volts(&self, port: usize) -> f64 {
        let port = &self.ports[port];
        let linear = port.column.as_ref().and_then(|(at, _)| self.direct[*at as usize].as_ref());
        linear.map_or(0.0, |linear| self.across(port.nets, &linear.volts))
    }
}
