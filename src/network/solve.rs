//! One electrical balance: every net voltage for a given memory of the parts.
//!
//! Nodal analysis: currents into every net sum to zero, unknowns are the net
//! voltages. Every closed path has an impedance (a closed contact has a few
//! milliohms, as real ones do), so no branch current is needed as an unknown, and
//! contacts in parallel share their current as they would on the aircraft.
//!
//! Filaments and motors conduct by their own voltage; they are balanced by fixed-point
//! iteration, which converges fast because supplies are stiff.

use std::collections::{BTreeMap, btree_map::Entry};
use std::sync::Arc;

use num_complex::Complex64;

use super::element::{self, Element, Form, Slots};
use super::solution::{AcGroup, Solution};
use super::sparse::{Plan, Scalar};
use super::state::State;
use crate::circuit::{AIRFRAME, Circuit, Converter, Kind, Lamp, NetId, PartId, Vibrator};
use crate::units::magnitude;

/// A circuit ready to be solved: elements, islands and their elimination plans.
#[derive(Clone, Debug)]
pub struct Network {
    circuit: Arc<Circuit>,
    elements: Vec<Element>,
    slots: Vec<Slots>,
    islands: Vec<Arc<Island>>,
    /// By net: island and place in it; `None` for the airframe.
    places: Vec<Option<(u32, u32)>>,
    inner_names: Vec<String>,
    filaments: Vec<PartId>,
    machines: Vec<PartId>,
}

/// Nets that some state could join, other than through the airframe.
#[derive(Debug)]
struct Island {
    plan: Plan,
    nets: Vec<NetId>,
    elements: Vec<u32>,
    /// Whether a direct-current supply stands in it.
    supplied: bool,
    /// Pairs the plan was made for, to recognise the same structure again.
    pairs: Vec<(u32, u32)>,
}

/// Why a circuit has no solution.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SolveError {
    /// Nothing ties this net to anything, not even insulation.
    #[error("net `{net}` hangs in the air: nothing ties it to the airframe")]
    Floating {
        /// The net's name.
        net: String,
    },
    /// Currents and voltages do not come to a balance.
    #[error("no balance found: the voltage across `{part}` does not come to rest")]
    NoBalance {
        /// The part that still changes most.
        part: String,
    },
}

/// Relative change of a conductance at which a balance is found: above what rounding
/// leaves where a net hangs on insulation alone, far below anything that can be read.
const BALANCED: f64 = 1e-11;
/// Rounds after which the search for a balance is given up.
const ROUNDS: usize = 400;
/// Rounds after which changes are halved, in case they swing.
const CALM_AFTER: usize = 30;
/// Draw of a motor held at standstill over its rated draw, an assumption.
const LOCKED_DRAW: f64 = 5.0;

impl Network {
    /// Prepares a circuit.
    pub fn new(circuit: Arc<Circuit>) -> Self {
        Self::build(circuit, None)
    }

    /// Prepares a circuit that differs from one already prepared, sharing the
    /// elimination plans of every island whose structure is the same.
    pub fn like(circuit: Arc<Circuit>, other: &Self) -> Self {
        Self::build(circuit, Some(other))
    }

    fn build(circuit: Arc<Circuit>, other: Option<&Self>) -> Self {
        let element::Elements { list: elements, nets, inner_names } = element::elements(&circuit);
        let mut islands_of = Joined::new(nets);
        for e in &elements {
            let used = &e.nets[..e.terminals as usize];
            let mut first = None;
            for &net in used.iter().filter(|net| **net != AIRFRAME) {
                let first = *first.get_or_insert(net.0);
                islands_of.join(first, net.0);
            }
        }
        let mut island_numbers: BTreeMap<u32, u32> = BTreeMap::new();
        let mut island_nets: Vec<Vec<NetId>> = Vec::new();
        let mut places = vec![None; nets];
        for net in 1..nets as u32 {
            let number = *island_numbers.entry(islands_of.root(net)).or_insert_with(|| {
                island_nets.push(Vec::new());
                island_nets.len() as u32 - 1
            });
            let members = &mut island_nets[number as usize];
            places[net as usize] = Some((number, members.len() as u32));
            members.push(NetId(net));
        }
        let mut island_elements = vec![Vec::new(); island_nets.len()];
        let mut island_pairs = vec![Vec::new(); island_nets.len()];
        let mut supplied = vec![false; island_nets.len()];
        for (index, e) in elements.iter().enumerate() {
            let local: Vec<(u32, u32)> =
                e.nets[..e.terminals as usize].iter().filter_map(|n| places[n.index()]).collect();
            let Some(&(island, _)) = local.first() else {
                continue;
            };
            island_elements[island as usize].push(index as u32);
            supplied[island as usize] |= matches!(e.form, Form::Emf { machine: false, .. });
            for (at, &(_, a)) in local.iter().enumerate() {
                for &(_, b) in &local[at + 1..] {
                    island_pairs[island as usize].push((a.min(b), a.max(b)));
                }
            }
        }
        let islands: Vec<Arc<Island>> = island_nets
            .into_iter()
            .zip(island_elements)
            .zip(island_pairs)
            .zip(supplied)
            .map(|(((nets, elements), mut pairs), supplied)| {
                pairs.sort_unstable();
                pairs.dedup();
                let same = other.and_then(|o| {
                    o.islands.iter().find(|i| {
                        i.supplied == supplied
                            && i.nets == nets
                            && i.pairs == pairs
                            && i.elements == elements
                    })
                });
                same.cloned().unwrap_or_else(|| {
                    let plan = Plan::new(nets.len(), pairs.iter().copied());
                    Arc::new(Island { plan, nets, elements, supplied, pairs })
                })
            })
            .collect();
        let slots = elements
            .iter()
            .map(|e| {
                let island = e.nets.iter().find_map(|n| places[n.index()]).map(|(i, _)| i);
                island.map_or([None; 16], |i| {
                    element::slots(e, &islands[i as usize].plan, |n| {
                        places[n.index()].map(|(_, local)| local)
                    })
                })
            })
            .collect();
        let by_kind = |wanted: fn(&Kind) -> bool| {
            circuit.parts_with_ids().filter(|(_, p)| wanted(&p.kind)).map(|(id, _)| id).collect()
        };
        let filaments = by_kind(|k| matches!(k, Kind::Lamp(_)));
        let machines = by_kind(|k| matches!(k, Kind::Converter(_) | Kind::Vibrator(_)));
        Self { circuit, elements, slots, islands, places, inner_names, filaments, machines }
    }

    /// The circuit this network was made from.
    pub fn circuit(&self) -> &Arc<Circuit> {
        &self.circuit
    }

    /// Nets, including those inside parts.
    pub fn nets(&self) -> usize {
        self.places.len()
    }

    /// Converters and vibrators, in part order.
    pub fn machines(&self) -> &[PartId] {
        &self.machines
    }

    /// The nets of a rotor's windings, which stand off from its terminals where a
    /// winding is open.
    pub fn rotor_nets(&self, part: PartId) -> [NetId; 3] {
        let rotor = self.elements.iter().find(|e| e.part == part);
        let nets = rotor.expect("a rotor has an element").nets;
        [nets[0], nets[1], nets[2]]
    }

    /// The name of a net, including those inside parts.
    pub fn net_name(&self, net: NetId) -> &str {
        let own = self.circuit.nets.len();
        self.circuit.nets.get(net.index()).unwrap_or_else(|| &self.inner_names[net.index() - own])
    }

    /// Solves for every net voltage with the memory held still. The state's
    /// starting points for filaments and motors are brought up to date.
    ///
    /// # Errors
    /// [`SolveError`] when a net hangs in the air or no balance is found.
    pub fn balance(&self, state: &mut State) -> Result<Solution, SolveError> {
        for &part in self.filaments.iter().chain(&self.machines) {
            let index = part.index();
            if state.conductance[index].is_nan() {
                state.conductance[index] = match &self.circuit.part(part).kind {
                    Kind::Lamp(lamp) => lamp_conductance(lamp, lamp.volts),
                    _ => 1.0,
                };
            }
        }
        let mut solution = Solution { dc: vec![0.0; self.nets()], ac: Vec::new() };
        let mut ac_is_current = false;
        for round in 0..ROUNDS {
            if !ac_is_current {
                solution.ac = self.alternating(state)?;
            }
            self.direct(state, &mut solution.dc)?;
            let (change, worst, speeds_changed) = self.follow(state, &solution, round);
            if change <= BALANCED && !speeds_changed {
                return Ok(solution);
            }
            let ac_filaments = !solution.ac.is_empty()
                && self.filaments.iter().any(|&lamp| {
                    let Kind::Lamp(l) = &self.circuit.part(lamp).kind else {
                        return false;
                    };
                    solution.ac_between(l.a, l.b) > 0.0
                });
            ac_is_current = !speeds_changed && !ac_filaments && round > 0;
            if round + 1 == ROUNDS {
                let part = self.circuit.part(worst.unwrap_or(PartId(0))).id.clone();
                return Err(SolveError::NoBalance { part });
            }
        }
        unreachable!("the loop returns in its last round")
    }

    /// Lets every filament and motor follow its voltage; returns the largest
    /// relative change, whose it was, and whether any shaft speed changed.
    fn follow(
        &self,
        state: &mut State,
        solution: &Solution,
        round: usize,
    ) -> (f64, Option<PartId>, bool) {
        let mut largest = (0.0, None);
        let mut speeds_changed = false;
        for &part in self.filaments.iter().chain(&self.machines) {
            let index = part.index();
            let wanted = match &self.circuit.part(part).kind {
                Kind::Lamp(lamp) => lamp_conductance(lamp, solution.rms_between(lamp.a, lamp.b)),
                Kind::Converter(c) => {
                    let volts = solution.dc_between(c.dc, c.ret).abs();
                    let speed = c.speed_factor * (volts / c.governed_volts).min(1.0);
                    if state.running(part) && (speed - state.speed[index]).abs() > 1e-12 {
                        state.speed[index] = speed;
                        speeds_changed = true;
                    }
                    let watts = self.delivered_watts(part, solution);
                    converter_conductance(c, state.running(part), watts, volts)
                }
                Kind::Vibrator(v) => {
                    let volts = solution.dc_between(v.dc, v.ret).abs();
                    let speed = volts / v.rated_dc_volts;
                    if state.running(part) && (speed - state.speed[index]).abs() > 1e-12 {
                        state.speed[index] = speed;
                        speeds_changed = true;
                    }
                    let watts = self.delivered_watts(part, solution);
                    vibrator_conductance(v, state.running(part), watts, volts)
                }
                _ => unreachable!("only filaments and machines are followed"),
            };
            let change = ((wanted - state.conductance[index]) / wanted.max(1e-12)).abs();
            if change > largest.0 {
                largest = (change, Some(part));
            }
            if change > BALANCED {
                let step = if round < CALM_AFTER { 1.0 } else { 0.5 };
                state.conductance[index] += step * (wanted - state.conductance[index]);
            }
        }
        (largest.0, largest.1, speeds_changed)
    }

    fn assemble<T: Scalar>(
        &self,
        island: &Island,
        matrix: impl Fn(&Element) -> Option<[T; 16]>,
        insulation: T,
    ) -> Vec<T> {
        let mut values = vec![T::zero(); island.plan.slots()];
        for value in &mut values[..island.plan.nodes()] {
            *value = insulation;
        }
        for &index in &island.elements {
            let e = &self.elements[index as usize];
            if let Some(y) = matrix(e) {
                let entries = usize::from(e.terminals) * usize::from(e.terminals);
                for (slot, y) in self.slots[index as usize][..entries].iter().zip(y) {
                    if let Some(slot) = slot {
                        values[*slot as usize] += y;
                    }
                }
            }
        }
        values
    }

    fn floating(&self, island: &Island, node: u32) -> SolveError {
        SolveError::Floating { net: self.net_name(island.nets[node as usize]).to_owned() }
    }

    /// Direct voltages with every supply on.
    fn direct(&self, state: &State, dc: &mut [f64]) -> Result<(), SolveError> {
        let insulation = 1.0 / self.circuit.insulation_ohms;
        for island in &self.islands {
            // An island without a supply stands at zero, provided that insulation
            // ties it down; without insulation it has to be looked at.
            if !island.supplied && insulation > 0.0 {
                continue;
            }
            let mut values =
                self.assemble(island, |e| element::direct_matrix(e, state), insulation);
            let mut rhs = vec![0.0; island.nets.len()];
            for &index in &island.elements {
                let e = &self.elements[index as usize];
                if let Form::Emf { emf, inner, machine: false } = &e.form {
                    let amps = emf.re / inner.ohms.max(1e-6);
                    self.inject(&mut rhs, e, amps);
                }
            }
            island.plan.factor(&mut values).map_err(|s| self.floating(island, s.node))?;
            island.plan.solve(&values, &mut rhs);
            for (net, volts) in island.nets.iter().zip(&rhs) {
                dc[net.index()] = *volts;
            }
        }
        Ok(())
    }

    /// Adds a current that enters at an element's first net and leaves at its second.
    fn inject<T: Scalar>(&self, rhs: &mut [T], e: &Element, amps: T) {
        if let Some((_, local)) = self.places[e.nets[0].index()] {
            rhs[local as usize] += amps;
        }
        if let Some((_, local)) = self.places[e.nets[1].index()] {
            rhs[local as usize] -= amps;
        }
    }

    /// What each running machine alone sets up. A circuit is linear in one source,
    /// so it is solved for one volt and scaled to what the regulator asks.
    fn alternating(&self, state: &State) -> Result<Vec<AcGroup>, SolveError> {
        let insulation = Complex64::new(1.0 / self.circuit.insulation_ohms, 0.0);
        let mut factored: BTreeMap<(u32, u64), Vec<Complex64>> = BTreeMap::new();
        let mut groups = Vec::new();
        for &machine in &self.machines {
            if !state.running(machine) {
                continue;
            }
            let speed = state.speed[machine.index()];
            let (hertz, out) = match &self.circuit.part(machine).kind {
                Kind::Converter(c) if c.field_sound => (c.hertz * speed, c.phases[0]),
                Kind::Vibrator(v) => (v.hertz, v.out),
                _ => continue,
            };
            let own: Vec<&Element> = self
                .elements
                .iter()
                .filter(|e| e.part == machine && matches!(e.form, Form::Emf { .. }))
                .collect();
            let Some((number, _)) =
                own.iter().flat_map(|e| &e.nets[..2]).find_map(|net| self.places[net.index()])
            else {
                continue;
            };
            let island = &self.islands[number as usize];
            let key = (number, hertz.to_bits());
            let values = match factored.entry(key) {
                Entry::Occupied(made) => made.into_mut(),
                Entry::Vacant(place) => {
                    let mut values = self.assemble(
                        island,
                        |e| element::phasor_matrix(e, state, hertz),
                        insulation,
                    );
                    island.plan.factor(&mut values).map_err(|s| self.floating(island, s.node))?;
                    place.insert(values)
                }
            };
            let mut rhs = vec![Complex64::ZERO; island.nets.len()];
            for e in &own {
                if let Form::Emf { emf, inner, .. } = &e.form {
                    self.inject(&mut rhs, e, emf * inner.admittance::<Complex64>(hertz));
                }
            }
            island.plan.solve(values, &mut rhs);
            let sensed =
                self.places[out.index()].map_or(0.0, |(_, local)| magnitude(rhs[local as usize]));
            let emf_volts = match &self.circuit.part(machine).kind {
                Kind::Converter(c) => {
                    let ceiling = c.ceiling_volts * speed;
                    if sensed * ceiling > c.volts { c.volts / sensed } else { ceiling }
                }
                Kind::Vibrator(v) => v.volts * speed,
                _ => continue,
            };
            let mut volts = vec![Complex64::ZERO; self.nets()];
            for (net, unit) in island.nets.iter().zip(&rhs) {
                volts[net.index()] = unit * emf_volts;
            }
            groups.push(AcGroup { source: machine, hertz, emf_volts, volts });
        }
        Ok(groups)
    }

    /// Watts that the electromotive forces of a machine deliver, its own windings'
    /// losses included.
    fn delivered_watts(&self, machine: PartId, solution: &Solution) -> f64 {
        let Some(group) = solution.ac.iter().find(|g| g.source == machine) else {
            return 0.0;
        };
        self.elements
            .iter()
            .filter(|e| e.part == machine)
            .filter_map(|e| match &e.form {
                Form::Emf { emf, inner, .. } => Some((e, emf, inner)),
                _ => None,
            })
            .map(|(e, emf, inner)| {
                let force = emf * group.emf_volts;
                let across = group.volts[e.nets[0].index()] - group.volts[e.nets[1].index()];
                let amps = (force - across) * inner.admittance::<Complex64>(group.hertz);
                (force * amps.conj()).re
            })
            .sum()
    }

    /// Ohms between two nets as a hand meter finds them with all sources dead:
    /// every path in parallel counts. Filaments are taken cold.
    ///
    /// # Errors
    /// [`SolveError::Floating`] when a net hangs in the air.
    pub fn ohms_between(&self, state: &State, a: NetId, b: NetId) -> Result<f64, SolveError> {
        let mut cold = state.clone();
        for &part in &self.filaments {
            if let Kind::Lamp(lamp) = &self.circuit.part(part).kind {
                cold.conductance[part.index()] = lamp_conductance(lamp, 0.0);
            }
        }
        let insulation = 1.0 / self.circuit.insulation_ohms;
        // One ampere in at `a` and out at `b`: the volts between them are the ohms.
        let mut volts = [0.0; 2];
        for number in 0..self.islands.len() as u32 {
            let at = |net: NetId| {
                self.places[net.index()].filter(|(i, _)| *i == number).map(|(_, l)| l as usize)
            };
            let (at_a, at_b) = (at(a), at(b));
            if at_a.is_none() && at_b.is_none() {
                continue;
            }
            let island = &self.islands[number as usize];
            let mut values =
                self.assemble(island, |e| element::direct_matrix(e, &cold), insulation);
            let mut rhs = vec![0.0; island.nets.len()];
            if let Some(local) = at_a {
                rhs[local] += 1.0;
            }
            if let Some(local) = at_b {
                rhs[local] -= 1.0;
            }
            island.plan.factor(&mut values).map_err(|s| self.floating(island, s.node))?;
            island.plan.solve(&values, &mut rhs);
            if let Some(local) = at_a {
                volts[0] = rhs[local];
            }
            if let Some(local) = at_b {
                volts[1] = rhs[local];
            }
        }
        Ok((volts[0] - volts[1]).abs())
    }

    /// How far Kirchhoff's current law is missed: the largest sum of currents at a
    /// net over the largest current anywhere, over all sources; zero when no
    /// current flows.
    pub fn kirchhoff_residual(&self, state: &State, solution: &Solution) -> f64 {
        let dc = self.residual(
            |e| element::direct_matrix(e, state),
            |e| match &e.form {
                Form::Emf { emf, inner, machine: false } => Some(emf.re / inner.ohms.max(1e-6)),
                _ => None,
            },
            &solution.dc,
            1.0 / self.circuit.insulation_ohms,
        );
        solution
            .ac
            .iter()
            .map(|group| {
                self.residual(
                    |e| element::phasor_matrix(e, state, group.hertz),
                    |e| match &e.form {
                        Form::Emf { emf, inner, machine: true } if e.part == group.source => {
                            Some(emf * group.emf_volts * inner.admittance::<Complex64>(group.hertz))
                        }
                        _ => None,
                    },
                    &group.volts,
                    Complex64::new(1.0 / self.circuit.insulation_ohms, 0.0),
                )
            })
            .fold(dc, f64::max)
    }

    fn residual<T: Scalar>(
        &self,
        matrix: impl Fn(&Element) -> Option<[T; 16]>,
        source: impl Fn(&Element) -> Option<T>,
        volts: &[T],
        insulation: T,
    ) -> f64 {
        let mut sums = vec![T::zero(); self.nets()];
        let mut largest = 0.0_f64;
        for (net, sum) in sums.iter_mut().enumerate().skip(1) {
            *sum += insulation * volts[net];
        }
        for e in &self.elements {
            let Some(y) = matrix(e) else { continue };
            let n = e.terminals as usize;
            let sourced = source(e);
            for row in 0..n {
                let mut amps = T::zero();
                for column in 0..n {
                    amps += y[row * n + column] * volts[e.nets[column].index()];
                }
                match (row, sourced) {
                    (0, Some(current)) => amps -= current,
                    (1, Some(current)) => amps += current,
                    _ => {}
                }
                largest = largest.max(amps.size());
                sums[e.nets[row].index()] += amps;
            }
        }
        let worst = sums[1..].iter().map(|s| s.size()).fold(0.0, f64::max);
        if largest == 0.0 { 0.0 } else { worst / largest }
    }
}

/// Filament conductance at a voltage: current follows volts to the power 0.54
/// (common lamp exponent, from memory), and cold resistance is a tenth of hot.
fn lamp_conductance(lamp: &Lamp, volts: f64) -> f64 {
    let hot = lamp.bulb_amps / lamp.volts;
    let relative = volts / lamp.volts;
    let each = if relative <= 0.0 {
        10.0 * hot
    } else {
        (hot * libm::pow(relative, -0.46)).min(10.0 * hot)
    };
    each * f64::from(lamp.bulbs_good)
}

/// Motor conductance of a converter: its power over the square of its volts while
/// governed, constant below that so that a starved motor cannot draw without bound.
fn converter_conductance(
    converter: &Converter,
    running: bool,
    delivered_watts: f64,
    volts: f64,
) -> f64 {
    if !running {
        let rated = converter.idle_watts + converter.volt_amps / converter.efficiency;
        return LOCKED_DRAW * rated / (converter.governed_volts * converter.governed_volts);
    }
    let at = volts.max(converter.governed_volts);
    (converter.idle_watts + delivered_watts / converter.efficiency) / (at * at)
}

/// The same for a vibrator; a reed that stands draws next to nothing.
fn vibrator_conductance(
    vibrator: &Vibrator,
    running: bool,
    delivered_watts: f64,
    volts: f64,
) -> f64 {
    if !running {
        return vibrator.idle_watts / (vibrator.rated_dc_volts * vibrator.rated_dc_volts);
    }
    let at = volts.max(vibrator.start_volts);
    (vibrator.idle_watts + delivered_watts / vibrator.efficiency) / (at * at)
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
