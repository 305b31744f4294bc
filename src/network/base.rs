//! A base case: one settled state solved once, from which nearby ones follow.
//!
//! A fault changes the circuit in a few places only. With the network `Y` of the base
//! case factored, the voltages with a change `D` at some nodes `T` follow from what one
//! ampere into each of those nodes sets up, `Z = Y^-1` (Sherman, Morrison and Woodbury;
//! Golub and Van Loan, *Matrix Computations*, section on the inverse of a changed
//! matrix; from memory): see [`super::patch`]. Lamps and motors are changes of that kind
//! as well, so looking for their balance takes no further solution of the network.

use std::sync::OnceLock;

use num_complex::Complex64;

use super::element::{self, Element, Form, Gate};
use super::island::{Island, Stamped};
use super::machine::Machine;
use super::near::MOST_PORTS;
use super::prepare::{Network, SolveError};
use super::settle::Settled;
use super::sparse::Scalar;
use super::state::State;
use crate::circuit::{NetId, PartId};

/// A settled state made ready for the faults that may strike in it.
///
/// What is worked out from it depends on the base case and the fault alone, never on
/// what was asked before.
#[derive(Debug)]
pub struct BaseCase {
    pub(super) network: Network,
    settled: Settled,
    /// By island; `None` where nothing supplies it.
    pub(super) direct: Vec<Option<Linear<f64>>>,
    /// By port, that is by follower.
    pub(super) ports: Vec<Port>,
    /// Volts at each port for an ampere through each, row by row.
    pub(super) between: Vec<f64>,
    pub(super) phasors: Vec<Linear<Complex64>>,
    /// By machine: one for each frequency that it usually has, running or not.
    pub(super) groups: Vec<Vec<Group>>,
    /// By part: the elements other than filaments that follow its state.
    moved_by: Vec<Vec<u32>>,
}

/// A network of one island, factored.
#[derive(Debug)]
pub(super) struct Linear<T> {
    pub island: u32,
    pub hertz: f64,
    stamped: Stamped<T>,
    /// What its sources drive into it, by place.
    pub amps: Vec<T>,
    /// Volts by place.
    pub volts: Vec<T>,
    /// By place: volts everywhere for one ampere into it, once asked for.
    columns: Vec<OnceLock<Box<[T]>>>,
}

/// Where a part whose conductance follows its voltage is connected.
#[derive(Debug)]
pub(super) struct Port {
    /// Its element.
    pub element: u32,
    pub nets: [NetId; 2],
    /// Island, and volts by place for one ampere through it; `None` where its island is
    /// not supplied.
    pub column: Option<(u32, Vec<f64>)>,
    /// Its conductance in the base case.
    pub siemens: f64,
}

/// What one volt of a machine sets up.
#[derive(Debug)]
pub(super) struct Group {
    /// Among the phasors.
    pub linear: u32,
    pub hertz: f64,
    /// Amperes it drives into its island when shorted, by place.
    pub amps: Vec<Complex64>,
    /// Volts by place.
    pub unit: Vec<Complex64>,
}

impl BaseCase {
    /// Makes a settled state of a network ready.
    ///
    /// # Errors
    /// [`SolveError`] when the state has no solution, which a settled one has.
    pub fn new(network: &Network, settled: Settled) -> Result<Self, SolveError> {
        let moved_by = moved_by(network);
        let mut base = Self {
            network: network.clone(),
            direct: Vec::new(),
            ports: Vec::new(),
            between: Vec::new(),
            phasors: Vec::new(),
            groups: Vec::new(),
            moved_by,
            settled,
        };
        for (number, island) in network.islands().iter().enumerate() {
            let mut amps = vec![0.0; island.nets.len()];
            let linear = if network.supply_amps(number, base.state(), &mut amps) {
                let hertz = 0.0;
                Some(Linear::new(
                    network,
                    number,
                    hertz,
                    base.state(),
                    element::direct_matrix,
                    amps,
                )?)
            } else {
                None
            };
            base.direct.push(linear);
        }
        base.connect_ports();
        for machine in network.machines() {
            let mut groups = Vec::new();
            if let Some(number) = machine.island {
                let mut hertz = machine.usual_hertz();
                hertz.push(machine.hertz(machine.speed(base.state())));
                hertz.retain(|hertz| *hertz > 0.0);
                hertz.dedup();
                for hertz in hertz {
                    groups.push(base.group(machine, number, hertz)?);
                }
            }
            base.groups.push(groups);
        }
        Ok(base)
    }

    /// What one volt of a machine sets up at a frequency.
    fn group(&mut self, machine: &Machine, number: u32, hertz: f64) -> Result<Group, SolveError> {
        let network = &self.network;
        let same = |l: &Linear<Complex64>| l.island == number && l.hertz == hertz;
        let amps = network.unit_amps(machine, hertz);
        let linear = if let Some(at) = self.phasors.iter().position(same) {
            at
        } else {
            let matrix = |e: &Element, state: &State| element::phasor_matrix(e, state, hertz);
            let none = vec![Complex64::ZERO; amps.len()];
            let state = self.state();
            let linear = Linear::new(network, number as usize, hertz, state, matrix, none)?;
            self.phasors.push(linear);
            self.phasors.len() - 1
        };
        let mut unit = amps.clone();
        let island = &network.islands()[number as usize];
        self.phasors[linear].stamped.factors().solve(&island.plan, &mut unit);
        Ok(Group { linear: linear as u32, hertz, amps, unit })
    }

    /// The state it was made from.
    pub fn settled(&self) -> &Settled {
        &self.settled
    }

    /// The network it was made from.
    pub fn network(&self) -> &Network {
        &self.network
    }

    pub(super) fn state(&self) -> &State {
        &self.settled.state
    }

    /// The elements other than filaments that follow the state of a part.
    pub(super) fn moved_by(&self, part: PartId) -> &[u32] {
        &self.moved_by[part.index()]
    }

    fn connect_ports(&mut self) {
        let network = &self.network;
        if network.followers().len() > MOST_PORTS {
            return;
        }
        for follower in network.followers() {
            let nets = follower.nets();
            let own = |(_, e): &(u32, &Element)| {
                e.part == follower.part && e.nets[0] == nets.0 && e.nets[1] == nets.1
            };
            let Some((element, _)) = (0..).zip(&network.sound.elements).find(own) else { continue };
            let nets = [nets.0, nets.1];
            let places = nets.map(|net| network.place(net));
            let island = places.iter().flatten().map(|(island, _)| *island).next();
            let linear = island.and_then(|island| self.direct[island as usize].as_ref());
            let column = linear.map(|linear| {
                let island = &network.islands()[linear.island as usize];
                let mut column = vec![0.0; linear.volts.len()];
                for (place, sign) in places.iter().zip([1.0, -1.0]) {
                    if let Some((_, local)) = place {
                        for (sum, volts) in column.iter_mut().zip(linear.column(island, *local)) {
                            *sum += sign * volts;
                        }
                    }
                }
                (linear.island, column)
            });
            let siemens = match network.wiring().element(element).form {
                Form::Filament => self.settled.state.conductance[follower.part.index()],
                _ => 0.0,
            };
            self.ports.push(Port { element, nets, column, siemens });
        }
        for here in &self.ports {
            for there in &self.ports {
                self.between.push(match (&here.column, &there.column) {
                    (Some((a, _)), Some((b, column))) if a == b => self.across(here.nets, column),
                    _ => 0.0,
                });
            }
        }
    }

    /// Direct volts at a port in the base case.
    pub(super) fn port_volts(&self, port: usize) -> f64 {
        let port = &self.ports[port];
        let linear = port.column.as_ref().and_then(|(at, _)| self.direct[*at as usize].as_ref());
        linear.map_or(0.0, |linear| self.across(port.nets, &linear.volts))
    }

    /// Volts between two nets of an island whose volts these are.
    pub(super) fn across<T: Scalar>(&self, [a, b]: [NetId; 2], volts: &[T]) -> T {
        let at = |net| match self.network.place(net) {
            Some((_, local)) => volts[local as usize],
            None => T::zero(),
        };
        at(a) - at(b)
    }
}

impl<T: Scalar> Linear<T> {
    fn new(
        network: &Network,
        number: usize,
        hertz: f64,
        state: &State,
        matrix: impl Fn(&Element, &State) -> element::Matrix<T>,
        amps: Vec<T>,
    ) -> Result<Self, SolveError> {
        let island = &network.islands()[number];
        let mut stamped = Stamped::new(island);
        stamped.stamp_all(island, network.wiring(), state, matrix);
        stamped.refactor(island).map_err(|s| network.floating(island, s.node))?;
        let mut volts = amps.clone();
        stamped.factors().solve(&island.plan, &mut volts);
        let columns = (0..island.nets.len()).map(|_| OnceLock::new()).collect();
        Ok(Self { island: number as u32, hertz, stamped, amps, volts, columns })
    }

    /// Volts by place for one ampere into a place.
    pub(super) fn column(&self, island: &Island, place: u32) -> &[T] {
        self.columns[place as usize].get_or_init(|| {
            let mut column = vec![T::zero(); island.nets.len()];
            column[place as usize] = T::one();
            self.stamped.factors().solve(&island.plan, &mut column);
            column.into_boxed_slice()
        })
    }

    /// The same for the two nets of an edge; `None` for the airframe.
    pub(super) fn columns<'a>(
        &'a self,
        base: &BaseCase,
        island: &Island,
        edge: [NetId; 2],
    ) -> [Option<&'a [T]>; 2] {
        edge.map(|net| base.network.place(net).map(|(_, at)| self.column(island, at)))
    }

    /// The current out of a place at these volts, the size of the largest of what it
    /// consists of, and that of the place's own admittance.
    pub(super) fn current(&self, island: &Island, place: u32, volts: &[T]) -> (T, f64, f64) {
        self.stamped.factors().row_times(&island.plan, place, volts)
    }
}

/// By part: the elements other than filaments that follow its state.
fn moved_by(network: &Network) -> Vec<Vec<u32>> {
    let mut moved_by = vec![Vec::new(); network.drawing().parts.len()];
    for (index, e) in (0..).zip(&network.sound.elements) {
        let part = match &e.form {
            Form::Contact { gate: Gate::Other(other, _), .. }
            | Form::GatedSupply { gate: Gate::Other(other, _), .. } => *other,
            Form::Contact { .. } | Form::GatedSupply { .. } | Form::Rotor { .. } => e.part,
            Form::Absent
            | Form::Branch(_)
            | Form::Filament
            | Form::Supply { .. }
            | Form::Phase { .. }
            | Form::Coupling { .. }
            | Form::Coupled(_) => continue,
        };
        moved_by[part.index()].push(index);
    }
    moved_by
}
