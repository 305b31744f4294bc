//! A state near a base case, worked out from what is different there.
//!
//! Every element is one or more *edges*, pairs of nets, with a matrix between their
//! voltages and currents: a wire is one edge, a transformer two. With `Z` the volts at
//! each changed edge for an ampere through each in the base case, `D` the change of the
//! edges' admittances and `J` of what sources drive through them, the currents `I` that
//! do in the base case what the changes do follow from a small dense system,
//!
//! `(1 + D Z) I = J - D V0`,
//!
//! and every voltage from these: what an ampere through each edge sets up, times `I`.
//!
//! That loses digits where a change takes away nearly all that ties a net down: a
//! motor's only lead opened, say. Such a system is refused, and so is one whose currents
//! do not add up at the changed nets; a fresh solution then takes its place.

use std::borrow::Cow;

use num_complex::Complex64;
use num_traits::Zero;

use super::base::{BaseCase, Group, Linear};
use super::dense::Dense;
use super::element::{self, Element, Form, Matrix};
use super::island::Island;
use super::prepare::Network;
use super::sparse::Scalar;
use super::state::State;
use crate::circuit::{AIRFRAME, NetId, PartId};

/// Changed edges beyond which a fresh solution is as quick.
const MOST_EDGES: usize = 12;
/// What currents at a changed net may fail to add up by, relative to the largest.
const RESIDUAL: f64 = 1e-10;
/// Volts that make no difference to anything.
const NO_VOLTS: f64 = 1e-9;

/// What is different from a base case, for one kind of current.
#[derive(Debug)]
pub(super) struct Changed<T> {
    edges: Vec<[NetId; 2]>,
    /// Change of admittance between the edges, row by row.
    admittance: Vec<T>,
    /// Change of what sources drive through the edges.
    amps: Vec<T>,
}

/// Direct current with everything but filaments and motors dealt with.
pub(super) struct DirectPatch<'a> {
    base: &'a BaseCase,
    changed: Changed<f64>,
    /// Currents through the edges with the ports as in the base case.
    still: Vec<f64>,
    /// By port: currents through the edges for an ampere through it, edge by edge.
    answers: Vec<f64>,
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
                altered.extend(base.moved_by(PartId(at as u32)));
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
        let mut changed = Changed::none();
        for &index in altered {
            let (e, was) = (now.element(index), then.element(index));
            let driven = element::supply_amps(e, state) - element::supply_amps(was, base.state());
            let matrix = (!same_filament(e, was)).then(|| {
                less(element::direct_matrix(e, state), &element::direct_matrix(was, base.state()))
            });
            changed.add(e, matrix, driven);
        }
        // What nothing has supplied in the base case has not been solved for there.
        let island = |net: &NetId| self.place(*net).map(|(island, _)| island);
        let mut islands = changed.edges.iter().flatten().filter_map(island);
        let first = islands.next();
        let whole = first.is_none_or(|first| {
            base.direct[first as usize].is_some() && islands.all(|other| other == first)
        });
        (whole && changed.edges.len() <= MOST_EDGES).then_some(changed)
    }

    /// What one volt of a machine sets up; `None` when that takes a fresh solution.
    pub(super) fn unit_from<'b>(
        &self,
        base: &BaseCase,
        group: &'b Group,
        machine: usize,
        state: &State,
        altered: &[u32],
    ) -> Option<Cow<'b, [Complex64]>> {
        let linear = &base.phasors[group.linear as usize];
        let island = &self.islands()[linear.island as usize];
        let place = |net: NetId| {
            self.place(net).filter(|(island, _)| *island == linear.island).map(|(_, at)| at)
        };
        let live = |net: NetId| place(net).is_some_and(|at| !group.unit[at as usize].is_zero());
        let changed = self.phasor_changes(base, group, machine, state, altered, &live)?;
        let (changed, idle) = changed;
        if changed.edges.is_empty() {
            return Some(group.unit.as_slice().into());
        }
        let size = changed.edges.len();
        let mut between = vec![Complex64::ZERO; size * size];
        let column = |net: NetId| place(net).map(|at| linear.column(island, at));
        let columns: Vec<_> = changed.edges.iter().map(|[a, b]| [column(*a), column(*b)]).collect();
        for (at, columns) in columns.iter().enumerate() {
            for (row, [a, b]) in changed.edges.iter().enumerate() {
                let volts = |net: NetId| {
                    place(net).map_or(Complex64::ZERO, |at| between_columns(columns, at as usize))
                };
                between[row * size + at] = volts(*a) - volts(*b);
            }
        }
        let across = |[a, b]: &[NetId; 2]| {
            let volts =
                |net: NetId| place(net).map_or(Complex64::ZERO, |at| group.unit[at as usize]);
            volts(*a) - volts(*b)
        };
        let before: Vec<Complex64> = changed.edges.iter().map(across).collect();
        let mut through = changed.asked(&before);
        changed.system(&between)?.solve(&mut through);
        let mut unit = group.unit.clone();
        for (columns, amps) in columns.iter().zip(&through) {
            spread(&mut unit, columns, *amps);
        }
        let amps = |at: u32| group.amps[at as usize];
        let sound = changed.adds_up(self, linear, island, &unit, &amps, &[])
            && idle.iter().all(|net| place(*net).is_none_or(|at| unit[at as usize].is_zero()));
        sound.then_some(unit.into())
    }

    /// What is different for one machine, and the nets of what is left out because
    /// nothing is on it; `None` when it is too much.
    fn phasor_changes(
        &self,
        base: &BaseCase,
        group: &Group,
        machine: usize,
        state: &State,
        altered: &[u32],
        live: &impl Fn(NetId) -> bool,
    ) -> Option<(Changed<Complex64>, Vec<NetId>)> {
        let (now, then) = (self.wiring(), base.network.wiring());
        let phases = &self.machines()[machine].phases;
        let mut all: Vec<(&Element, Option<Matrix<Complex64>>, Complex64)> = Vec::new();
        for &index in altered {
            let (e, was) = (now.element(index), then.element(index));
            let driven = if phases.contains(&index) {
                phase_amps(e, group.hertz) - phase_amps(was, group.hertz)
            } else {
                Complex64::ZERO
            };
            if !same_filament(e, was) {
                let hertz = group.hertz;
                let (y, before) = (
                    element::phasor_matrix(e, state, hertz),
                    element::phasor_matrix(was, base.state(), hertz),
                );
                all.push((e, Some(less(y, &before)), driven));
            }
        }
        for (port, follower) in base.ports.iter().zip(self.followers()) {
            let e = now.element(port.element);
            let more = conductance(e, state, follower.part) - port.siemens;
            if more != 0.0 && altered.binary_search(&port.element).is_err() {
                let mut by = [Complex64::ZERO; 36];
                by[0] = more.into();
                all.push((e, Some(by), Complex64::ZERO));
            }
        }
        // A change between nets that carry nothing changes nothing, unless another one
        // brings something there.
        let touched = |(e, _, driven): &(&Element, Option<_>, Complex64)| {
            !driven.is_zero() || e.terminals().iter().any(|net| live(*net))
        };
        let inside = |(e, ..): &(&Element, Option<_>, Complex64)| {
            e.terminals().iter().all(|net| *net == AIRFRAME || live(*net))
        };
        let mut idle = Vec::new();
        if all.iter().all(|one| !touched(one) || inside(one)) {
            let quiet = all.iter().filter(|one| !touched(one));
            idle.extend(quiet.flat_map(|(e, ..)| e.terminals()));
            all.retain(touched);
        }
        let mut changed = Changed::none();
        for (e, by, driven) in all {
            changed.add(e, by, driven);
        }
        (changed.edges.len() <= MOST_EDGES).then_some((changed, idle))
    }
}

/// Whether both are filaments, which are left to their ports.
fn same_filament(e: &Element, was: &Element) -> bool {
    matches!((&e.form, &was.form), (Form::Filament, Form::Filament))
}

fn less<T: Scalar>(mut y: Matrix<T>, before: &Matrix<T>) -> Matrix<T> {
    for (y, before) in y.iter_mut().zip(before) {
        *y -= *before;
    }
    y
}

/// The conductance of a filament as it is among the elements.
pub(super) fn conductance(e: &Element, state: &State, part: PartId) -> f64 {
    if matches!(e.form, Form::Filament) { state.conductance[part.index()] } else { 0.0 }
}

/// Amperes that one volt of a machine drives through one of its phases when shorted.
fn phase_amps(e: &Element, hertz: f64) -> Complex64 {
    if let Form::Phase { unit, inner } = &e.form {
        unit * inner.admittance(hertz)
    } else {
        Complex64::ZERO
    }
}

/// The edges of an element of so many terminals, each by two of these.
fn edges_of(terminals: usize) -> &'static [(usize, usize)] {
    match terminals {
        2 => &[(0, 1)],
        // A star without neutral: what goes in at two terminals comes out at the third.
        3 => &[(0, 2), (1, 2)],
        4 => &[(0, 1), (2, 3)],
        _ => &[(0, 3), (1, 4), (2, 5)],
    }
}

/// Volts at a place for one ampere through an edge, from what its two nets do.
fn between_columns<T: Scalar>([a, b]: &[Option<&[T]>; 2], at: usize) -> T {
    match (a, b) {
        (Some(a), Some(b)) => a[at] - b[at],
        (Some(a), None) => a[at],
        (None, Some(b)) => -b[at],
        (None, None) => T::zero(),
    }
}

/// Adds what so many amperes through an edge set up.
fn spread<T: Scalar>(volts: &mut [T], columns: &[Option<&[T]>; 2], amps: T) {
    if amps.is_zero() {
        return;
    }
    match columns {
        [Some(a), Some(b)] => {
            for ((volts, a), b) in volts.iter_mut().zip(*a).zip(*b) {
                *volts += (*a - *b) * amps;
            }
        }
        [Some(a), None] => add(volts, a, amps),
        [None, Some(b)] => add(volts, b, -amps),
        [None, None] => {}
    }
}

fn add<T: Scalar>(volts: &mut [T], column: &[T], amps: T) {
    for (volts, each) in volts.iter_mut().zip(column) {
        *volts += *each * amps;
    }
}

impl<T: Scalar> Changed<T> {
    fn none() -> Self {
        Self { edges: Vec::new(), admittance: Vec::new(), amps: Vec::new() }
    }

    /// Takes in one element: the change of its matrix between its terminals, if any, and
    /// of what it drives from its second to its first terminal.
    fn add(&mut self, e: &Element, by: Option<Matrix<T>>, driven: T) {
        let n = e.terminals().len();
        let edges = edges_of(n);
        let differs = by.is_some_and(|by| by[..n * n].iter().any(|y| !y.is_zero()));
        if !differs && driven.is_zero() {
            return;
        }
        let (before, after) = (self.edges.len(), self.edges.len() + edges.len());
        self.edges.extend(edges.iter().map(|(a, b)| [e.nets[*a], e.nets[*b]]));
        self.amps.extend(edges.iter().map(|_| T::zero()));
        self.amps[before] = driven;
        let mut wider = vec![T::zero(); after * after];
        for row in 0..before {
            let (from, to) = (row * before, row * after);
            wider[to..to + before].copy_from_slice(&self.admittance[from..from + before]);
        }
        if let Some(by) = by {
            for (row, (a, _)) in edges.iter().enumerate() {
                for (column, (b, _)) in edges.iter().enumerate() {
                    wider[(before + row) * after + before + column] = by[a * n + b];
                }
            }
        }
        self.admittance = wider;
    }

    /// `1 + D Z` in factors, for volts between the edges; `None` when it has lost its
    /// digits.
    fn system(&self, between: &[T]) -> Option<Dense<T>> {
        let size = self.edges.len();
        let mut matrix = vec![T::zero(); size * size];
        for row in 0..size {
            for at in 0..size {
                let y = self.admittance[row * size + at];
                if !y.is_zero() {
                    for column in 0..size {
                        matrix[row * size + column] += y * between[at * size + column];
                    }
                }
            }
            matrix[row * size + row] += T::one();
        }
        Dense::factor(size, matrix)
    }

    /// `J - D V`: currents into the base case that do what the changes do at these volts
    /// across the edges.
    fn asked(&self, volts: &[T]) -> Vec<T> {
        let mut asked = self.answered(volts);
        for (asked, amps) in asked.iter_mut().zip(&self.amps) {
            *asked += *amps;
        }
        asked
    }

    /// `-D V`.
    fn answered(&self, volts: &[T]) -> Vec<T> {
        let size = self.edges.len();
        let rows = (0..size).map(|row| &self.admittance[row * size..(row + 1) * size]);
        rows.map(|row| row.iter().zip(volts).fold(T::zero(), |sum, (y, v)| sum - *y * *v)).collect()
    }

    /// Whether the currents at the nets of the edges add up with these voltages; `ports`
    /// are further currents, with the nets they come from and go to.
    fn adds_up(
        &self,
        network: &Network,
        linear: &Linear<T>,
        island: &Island,
        volts: &[T],
        amps: &impl Fn(u32) -> T,
        ports: &[([NetId; 2], T)],
    ) -> bool {
        let place = |net: NetId| network.place(net).map(|(_, at)| at);
        let at = |net: NetId| place(net).map_or(T::zero(), |at| volts[at as usize]);
        let across: Vec<T> = self.edges.iter().map(|[a, b]| at(*a) - at(*b)).collect();
        let through = self.asked(&across);
        self.edges.iter().flatten().filter(|net| **net != AIRFRAME).all(|net| {
            let Some(place) = place(*net) else { return false };
            let (out, largest, mut own) = linear.current(island, place, volts);
            let mut left = out - amps(place);
            let mut size = largest;
            for (at, edge) in self.edges.iter().enumerate() {
                if edge.contains(net) {
                    own += self.admittance[at * self.edges.len() + at].size();
                }
            }
            let edges = self.edges.iter().zip(&through);
            for ([a, b], amps) in edges.chain(ports.iter().map(|(nets, amps)| (nets, amps))) {
                if a == net {
                    left -= *amps;
                    size = size.max(amps.size());
                }
                if b == net {
                    left += *amps;
                    size = size.max(amps.size());
                }
            }
            left.size() <= RESIDUAL * size + NO_VOLTS * own
        })
    }
}

impl<'a> DirectPatch<'a> {
    /// Deals with all changes but those of filaments and motors; `None` when that would
    /// lose too many digits.
    pub(super) fn new(base: &'a BaseCase, changed: Changed<f64>) -> Option<Self> {
        let (size, ports) = (changed.edges.len(), base.ports.len());
        let mut patch = Self {
            base,
            changed,
            still: Vec::new(),
            answers: Vec::new(),
            open: (0..ports).map(|at| base.port_volts(at)).collect(),
            between: base.between.clone(),
        };
        let Some((linear, island)) = patch.place() else { return Some(patch) };
        let changed = &patch.changed;
        let place = |net: NetId| base.network.place(net).map(|(_, at)| at as usize);
        let columns: Vec<_> =
            changed.edges.iter().map(|e| linear.columns(base, island, *e)).collect();
        let mut between = vec![0.0; size * size];
        for (at, columns) in columns.iter().enumerate() {
            for (row, [a, b]) in changed.edges.iter().enumerate() {
                let volts = |net| place(net).map_or(0.0, |at| between_columns(columns, at));
                between[row * size + at] = volts(*a) - volts(*b);
            }
        }
        let small = changed.system(&between)?;
        let before: Vec<f64> =
            changed.edges.iter().map(|edge| base.across(*edge, &linear.volts)).collect();
        patch.still = changed.asked(&before);
        small.solve(&mut patch.still);
        // Volts at each port for an ampere through each edge, which for direct current
        // are also volts at the edge for an ampere through the port.
        let mut reach = Vec::with_capacity(size * ports);
        for port in &base.ports {
            let column = port.column.as_ref().filter(|(island, _)| *island == linear.island);
            let volts =
                |edge: &[NetId; 2]| column.map_or(0.0, |(_, column)| base.across(*edge, column));
            reach.extend(changed.edges.iter().map(volts));
        }
        let reach = |port: usize| &reach[port * size..(port + 1) * size];
        let seen = |port: usize, through: &[f64]| -> f64 {
            reach(port).iter().zip(through).map(|(z, amps)| z * amps).sum()
        };
        for port in 0..ports {
            patch.open[port] += seen(port, &patch.still);
            let mut answer = changed.answered(reach(port));
            small.solve(&mut answer);
            for row in 0..ports {
                patch.between[row * ports + port] += seen(row, &answer);
            }
            patch.answers.extend(answer);
        }
        Some(patch)
    }

    /// Where the changes are, if there are any.
    fn place(&self) -> Option<(&'a Linear<f64>, &'a Island)> {
        let base = self.base;
        let mut nets = self.changed.edges.iter().flatten();
        let (island, _) = nets.find_map(|net| base.network.place(*net))?;
        Some((base.direct[island as usize].as_ref()?, &base.network.islands()[island as usize]))
    }

    /// Every direct voltage, with these amperes into the ports beside what they draw in
    /// the base case; `None` when currents do not add up.
    pub(super) fn volts(&self, amps: &[f64], dc: &mut [f64]) -> Option<()> {
        let base = self.base;
        let size = self.changed.edges.len();
        let mut through = self.still.clone();
        for (port, amps) in amps.iter().enumerate() {
            if size > 0 && *amps != 0.0 {
                add(&mut through, &self.answers[port * size..(port + 1) * size], *amps);
            }
        }
        let changed = self.place();
        for linear in base.direct.iter().flatten() {
            let island = &base.network.islands()[linear.island as usize];
            let mut volts = linear.volts.clone();
            for (port, amps) in base.ports.iter().zip(amps) {
                if let Some((number, column)) = &port.column
                    && *number == linear.island
                    && *amps != 0.0
                {
                    add(&mut volts, column, *amps);
                }
            }
            if changed.is_some_and(|(here, _)| here.island == linear.island) {
                for (edge, amps) in self.changed.edges.iter().zip(&through) {
                    spread(&mut volts, &linear.columns(base, island, *edge), *amps);
                }
                let nets = base.ports.iter().map(|port| port.nets);
                let ports: Vec<_> = nets.zip(amps.iter().copied()).collect();
                let own = |at: u32| linear.amps[at as usize];
                let network = &base.network;
                if !self.changed.adds_up(network, linear, island, &volts, &own, &ports) {
                    return None;
                }
            }
            for (net, volts) in island.nets.iter().zip(&volts) {
                dc[net.index()] = *volts;
            }
        }
        Some(())
    }
}
