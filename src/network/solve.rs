//! One electrical balance: every net voltage for a given memory of the parts.
//!
//! Nodal analysis: currents into every net sum to zero, unknowns are the net
//! voltages. Every closed path has an impedance (a closed contact has a few
//! milliohms, as real ones do), so no branch current is needed as an unknown, and
//! contacts in parallel share their current as they would on the aircraft.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use num_complex::Complex64;

use super::element::{self, Element, Form};
use super::follow::{Balance, Due, Follower, Search};
use super::island::{Island, Stamped, Wiring, islands_of};
use super::machine::{Machine, machines};
use super::parts;
use super::solution::{AcGroup, Solution};
use super::sparse::Plan;
use super::state::State;
use crate::circuit::{Circuit, Kind, NetId, Part, PartId};
use crate::units::magnitude;

/// A circuit ready to be solved: elements, islands and their elimination plans.
///
/// A circuit of which a few parts have turned into something else shares all of that
/// with the one it was made from: see [`Network::with_parts`].
#[derive(Clone, Debug)]
pub struct Network {
    sound: Arc<Sound>,
    /// The parts that differ from the sound circuit, in part order.
    changed: Vec<(PartId, Kind)>,
    /// The elements that differ, in order.
    exchanged: Vec<(u32, Element)>,
    followers: Arc<[Follower]>,
    machines: Arc<[Machine]>,
    /// The circuit with its changed parts, once somebody asks for it.
    circuit: OnceLock<Arc<Circuit>>,
}

/// What circuits of the same structure share.
#[derive(Debug)]
struct Sound {
    circuit: Arc<Circuit>,
    elements: Vec<Element>,
    islands: Vec<Arc<Island>>,
    /// By net: island and place in it; `None` for the airframe.
    places: Vec<Option<(u32, u32)>>,
    inner_names: Vec<String>,
    inside: Vec<(PartId, [NetId; 3])>,
    movers: Movers,
    /// Workspaces nobody is using. What is in one makes no difference to what comes
    /// out, only to how soon: neighbouring states share most of their factors.
    idle: Mutex<Vec<Workspace>>,
}

/// The parts that move by themselves, in part order.
#[derive(Clone, Debug, Default)]
pub(super) struct Movers {
    /// What conducts one way only: diodes, rectifiers, batteries.
    pub one_way: Vec<PartId>,
    /// Relays, contactors, solenoids and flashers.
    pub relays: Vec<PartId>,
    /// Converters, vibrators, motors and gyros; with each gyro the nets of its windings,
    /// which stand off from its terminals where a winding is open.
    pub machines: Vec<(PartId, Option<[NetId; 3]>)>,
    /// Breakers and fuses.
    pub protectors: Vec<PartId>,
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

/// Parts that may differ between circuits that share everything else.
const MOST_CHANGED: usize = 8;
/// Workspaces kept for later: about one for each thread that settles.
const MOST_IDLE: usize = 16;

/// Shaft speed below which a machine gives nothing to speak of.
const LEAST_SPEED: f64 = 0.02;

/// What one solution leaves for the next: matrices and their factors, of which only
/// what a change can reach is worked out again.
#[derive(Debug, Default)]
pub(super) struct Workspace {
    /// By island, once it has been solved.
    direct: Vec<Option<Direct>>,
    phasors: Vec<Phasors>,
}

/// Direct current in one island.
#[derive(Debug)]
struct Direct {
    stamped: Stamped<f64>,
    /// Whether its matrix has been put together.
    begun: bool,
    /// Whether supplies stand in it that give something in some state.
    supplied: bool,
    /// What its supplies drive into its nets when shorted.
    amps: Vec<f64>,
    /// The same with all that lies below the top dealt with.
    below: Vec<f64>,
    /// Volts by place.
    volts: Vec<f64>,
}

/// What is to become of islands without a supply.
#[derive(Clone, Copy, PartialEq)]
enum Dead {
    /// Nothing: they stand at zero.
    LeftAlone,
    /// They are factored like the others.
    SolvedToo,
}

/// How far the matrix of an island at a frequency has got.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    /// There is nothing in it.
    Empty,
    /// It is one for another frequency.
    OtherFrequency,
    /// It has been put together for this one.
    Begun,
}

/// Phasors in one island at one frequency.
#[derive(Debug)]
struct Phasors {
    island: u32,
    /// A frequency that a machine is rated for, or the last other one.
    hertz: f64,
    rated: bool,
    stamped: Stamped<Complex64>,
    stage: Stage,
    /// Whether the matrix is known to be that of the present state.
    current: bool,
    /// What one volt of a machine sets up at the island's nets.
    unit: Vec<(PartId, Vec<Complex64>)>,
}

impl Direct {
    fn deal_with_below(&mut self, island: &Island) {
        self.below.clone_from(&self.amps);
        self.stamped.factors().solve_below(&island.plan, &island.top, &mut self.below);
    }
}

impl Network {
    /// Prepares a circuit.
    pub fn new(circuit: Arc<Circuit>) -> Self {
        Self::build(circuit, &[])
    }

    /// Prepares a circuit that differs from one already prepared. Where it differs in
    /// the values of a few parts everything is shared; where structure differs, the
    /// elimination plans of the islands that have kept theirs.
    pub fn like(circuit: Arc<Circuit>, other: &Self) -> Self {
        let sound = &other.sound.circuit;
        let alike = sound.nets.len() == circuit.nets.len()
            && sound.insulation_ohms == circuit.insulation_ohms
            && sound.parts.len() == circuit.parts.len()
            && sound.parts.iter().zip(&circuit.parts).all(|(a, b)| a.id == b.id);
        if alike {
            let changed: Vec<(PartId, Kind)> = circuit
                .parts_with_ids()
                .filter(|(id, part)| part.kind != sound.part(*id).kind)
                .map(|(id, part)| (id, part.kind.clone()))
                .collect();
            if let Some(network) = other.exchange(changed) {
                return Self { circuit: OnceLock::from(circuit), ..network };
            }
        }
        Self::build(circuit, &other.sound.islands)
    }

    /// This network with some parts turned into something else of the same kind: a
    /// fault, or a cure. Takes next to no time where they keep their structure, as
    /// nearly all faults do.
    #[must_use]
    pub fn with_parts(&self, parts: &[(PartId, Kind)]) -> Self {
        let mut changed = self.changed.clone();
        for (part, kind) in parts {
            changed.retain(|(other, _)| other != part);
            if *kind != self.sound.circuit.part(*part).kind {
                changed.push((*part, kind.clone()));
            }
        }
        changed.sort_by_key(|(part, _)| *part);
        self.exchange(changed).unwrap_or_else(|| {
            let mut circuit = self.circuit().as_ref().clone();
            for (part, kind) in parts {
                circuit.parts[part.index()].kind = kind.clone();
            }
            Self::build(Arc::new(circuit), &self.sound.islands)
        })
    }

    /// Whether it shares its structure with another.
    pub fn is_akin(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.sound, &other.sound)
    }

    /// The sound circuit with these parts changed; `None` when it takes a structure of
    /// its own.
    fn exchange(&self, changed: Vec<(PartId, Kind)>) -> Option<Self> {
        // Past some changes it is a circuit of its own.
        if changed.len() > MOST_CHANGED {
            return None;
        }
        let sound = &self.sound;
        let mut exchanged = Vec::new();
        let mut followers = Arc::clone(&self.followers);
        let mut machines = Arc::clone(&self.machines);
        // Start from what the sound circuit has: this one may have changes of its own.
        for (part, _) in &self.changed {
            renew(sound, *part, &sound.circuit.part(*part).kind, &mut followers, &mut machines)?;
        }
        for (id, kind) in &changed {
            let was = sound.circuit.part(*id);
            if was.kind.id() != kind.id() {
                return None;
            }
            let first = sound.elements.partition_point(|e| e.part < *id);
            let own = &sound.elements[first..];
            let own = &own[..own.partition_point(|e| e.part == *id)];
            let nets = sound.circuit.nets.len();
            let inner = own.iter().flat_map(Element::terminals).map(|net| net.index());
            let inner = inner.filter(|net| *net >= nets).min().unwrap_or(sound.places.len());
            let part = Part { kind: kind.clone(), ..was.clone() };
            let made = parts::elements_of(std::iter::once((*id, &part)), inner).list;
            if made.len() != own.len() {
                return None;
            }
            for (index, (e, was)) in (first as u32..).zip(made.into_iter().zip(own)) {
                if e.terminals() != was.terminals() || !e.form.can_stand_in_for(&was.form) {
                    return None;
                }
                if e != *was {
                    exchanged.push((index, e));
                }
            }
            renew(sound, *id, kind, &mut followers, &mut machines)?;
        }
        let (sound, circuit) = (Arc::clone(sound), OnceLock::new());
        Some(Self { sound, changed, exchanged, followers, machines, circuit })
    }

    fn build(circuit: Arc<Circuit>, known: &[Arc<Island>]) -> Self {
        let parts::Elements { list: elements, nets, inner_names, inside } =
            parts::elements(&circuit);
        let (places, members) = islands_of(&elements, nets);
        let mut machines = machines(&circuit, &elements);
        for machine in &mut machines {
            let nets = machine.phases.iter().flat_map(|at| elements[*at as usize].terminals());
            machine.island = nets.filter_map(|net| places[net.index()]).map(|(i, _)| i).next();
        }
        let followers: Vec<Follower> = circuit
            .parts_with_ids()
            .filter_map(|(id, p)| Follower::of(id, &p.kind, nets_inside(&inside, id)))
            .collect();
        let watched: Vec<NetId> = followers.iter().flat_map(Follower::watched).collect();
        let islands = members
            .into_iter()
            .map(|members| {
                let plan = known
                    .iter()
                    .find(|i| i.nets.len() == members.nets.len() && i.pairs == members.pairs)
                    .map_or_else(
                        || {
                            let pairs = members.pairs.iter().copied();
                            Arc::new(Plan::new(members.nets.len(), pairs))
                        },
                        |same| same.plan.clone(),
                    );
                Arc::new(Island::new(plan, members, &elements, &places, &watched))
            })
            .collect();
        let movers = movers(&circuit, &inside);
        let sound = Sound {
            circuit,
            elements,
            islands,
            places,
            inner_names,
            inside,
            movers,
            idle: Mutex::new(Vec::new()),
        };
        Self {
            sound: Arc::new(sound),
            changed: Vec::new(),
            exchanged: Vec::new(),
            followers: followers.into(),
            machines: machines.into(),
            circuit: OnceLock::new(),
        }
    }

    /// The circuit, with whatever parts have changed.
    pub fn circuit(&self) -> &Arc<Circuit> {
        self.circuit.get_or_init(|| {
            if self.changed.is_empty() {
                return Arc::clone(&self.sound.circuit);
            }
            let mut circuit = self.sound.circuit.as_ref().clone();
            for (part, kind) in &self.changed {
                circuit.parts[part.index()].kind = kind.clone();
            }
            Arc::new(circuit)
        })
    }

    /// The circuit as it is drawn: its parts as they were before any of them changed.
    /// Good for names, nets, test points and which parts there are.
    pub fn drawing(&self) -> &Circuit {
        &self.sound.circuit
    }

    /// What a part is, whether it has changed or not.
    pub fn kind(&self, part: PartId) -> &Kind {
        let changed = self.changed.iter().find(|(other, _)| *other == part);
        changed.map_or_else(|| &self.sound.circuit.part(part).kind, |(_, kind)| kind)
    }

    /// Nets, including those inside parts.
    pub fn nets(&self) -> usize {
        self.sound.places.len()
    }

    /// The name of a net, including those inside parts.
    pub fn net_name(&self, net: NetId) -> &str {
        let names = &self.sound.circuit.nets;
        let inner = &self.sound.inner_names;
        names.get(net.index()).unwrap_or_else(|| &inner[net.index() - names.len()])
    }

    /// The three nets behind the terminals of a gyro, transformer-rectifier or phase
    /// relay: they stand off from its terminals where a winding or line is open.
    ///
    /// # Panics
    /// When the part is none of these.
    pub fn rotor_nets(&self, part: PartId) -> [NetId; 3] {
        nets_inside(&self.sound.inside, part).expect("only three-phase consumers have nets inside")
    }

    /// Every element as it is.
    pub(super) fn elements(&self) -> impl Iterator<Item = &Element> {
        let wiring = self.wiring();
        (0..self.sound.elements.len() as u32).map(move |index| wiring.element(index))
    }

    pub(super) fn islands(&self) -> &[Arc<Island>] {
        &self.sound.islands
    }

    /// The island of a net and its place there; `None` for the airframe.
    pub(super) fn place(&self, net: NetId) -> Option<(u32, u32)> {
        self.sound.places[net.index()]
    }

    pub(super) fn followers(&self) -> &[Follower] {
        &self.followers
    }

    pub(super) fn machines(&self) -> &[Machine] {
        &self.machines
    }

    pub(super) fn movers(&self) -> &Movers {
        &self.sound.movers
    }

    /// Whether nothing that carries current differs from another network of the same
    /// structure, nor anything that moves by itself.
    pub(super) fn behaves_like(&self, other: &Self) -> bool {
        let moves = |part: PartId| {
            let movers = self.movers();
            self.followers.iter().any(|f| f.part == part)
                || self.machines.iter().any(|m| m.part == part)
                || movers.relays.binary_search(&part).is_ok()
                || movers.machines.iter().any(|(id, _)| *id == part)
                || movers.protectors.binary_search(&part).is_ok()
        };
        let differs = |(part, kind): &(PartId, Kind)| moves(*part) && other.kind(*part) != kind;
        self.is_akin(other)
            && self.exchanged == other.exchanged
            && !self.changed.iter().any(differs)
            && !other.changed.iter().any(|(part, kind)| moves(*part) && self.kind(*part) != kind)
    }

    fn wiring(&self) -> Wiring<'_> {
        let leak = 1.0 / self.sound.circuit.insulation_ohms;
        Wiring { sound: &self.sound.elements, exchanged: &self.exchanged, leak }
    }

    /// A workspace for one settling, with whatever an earlier one has left in it.
    pub(super) fn workspace(&self) -> Workspace {
        let mut idle = self.sound.idle.lock().unwrap_or_else(PoisonError::into_inner);
        idle.pop().unwrap_or_default()
    }

    /// Gives a workspace back.
    pub(super) fn give_back(&self, workspace: Workspace) {
        let mut idle = self.sound.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < MOST_IDLE {
            idle.push(workspace);
        }
    }

    /// Solves for every net voltage with the memory held still. The state's
    /// starting points for filaments and motors are brought up to date.
    ///
    /// # Errors
    /// [`SolveError`] when a net hangs in the air or no balance is found.
    pub fn balance(&self, state: &mut State) -> Result<Solution, SolveError> {
        let mut workspace = self.workspace();
        let solution = self.balance_in(state, &mut workspace);
        self.give_back(workspace);
        solution
    }

    /// The same, reusing what earlier solutions have left.
    pub(super) fn balance_in(
        &self,
        state: &mut State,
        workspace: &mut Workspace,
    ) -> Result<Solution, SolveError> {
        for follower in &*self.followers {
            let conductance = &mut state.conductance[follower.part.index()];
            if conductance.is_nan() {
                *conductance = follower.first_guess();
            }
        }
        let mut due = Due::All;
        let mut solution = Solution { dc: vec![0.0; self.nets()], ac: Vec::new() };
        let mut delivered: Vec<(PartId, f64)> = Vec::new();
        let mut search = Search::new(self.followers.len());
        self.begin_direct(state, workspace)?;
        loop {
            if !due.is_nothing() {
                self.alternating(state, &due, workspace, &mut solution.ac)?;
                delivered.clear();
                let watts = |group: &AcGroup| (group.source, self.delivered_watts(group));
                delivered.extend(solution.ac.iter().map(watts));
            }
            self.direct_top(workspace, &mut solution.dc);
            let watts = |part| {
                delivered.iter().find(|(source, _)| *source == part).map_or(0.0, |(_, w)| *w)
            };
            match search.round(&self.followers, &solution, watts, state) {
                Balance::Found => {
                    self.direct_rest(workspace, &mut solution.dc);
                    return Ok(solution);
                }
                Balance::Sought(next) => due = next,
                Balance::Lost(part) => {
                    let part = self.sound.circuit.part(part).id.clone();
                    return Err(SolveError::NoBalance { part });
                }
            }
            self.follow_filaments(state, workspace)?;
        }
    }

    pub(super) fn floating(&self, island: &Island, node: u32) -> SolveError {
        SolveError::Floating { net: self.net_name(island.nets[node as usize]).to_owned() }
    }

    /// The currents that the supplies of an island drive into it when shorted; tells
    /// whether there are any in some state.
    pub(super) fn supply_amps(&self, island: usize, state: &State, amps: &mut [f64]) -> bool {
        self.islands()[island].supply_amps(self.wiring(), &self.sound.places, state, amps)
    }

    /// The factored direct-current matrix of an island in a state.
    fn direct<'a>(
        &self,
        number: usize,
        state: &State,
        dead: Dead,
        workspace: &'a mut Workspace,
    ) -> Result<&'a mut Direct, SolveError> {
        let island = &self.islands()[number];
        if workspace.direct.len() <= number {
            workspace.direct.resize_with(self.islands().len(), || None);
        }
        let direct = workspace.direct[number].get_or_insert_with(|| Direct {
            stamped: Stamped::new(island),
            begun: false,
            supplied: false,
            amps: vec![0.0; island.nets.len()],
            below: vec![0.0; island.nets.len()],
            volts: vec![0.0; island.nets.len()],
        });
        let wiring = self.wiring();
        direct.supplied = self.supply_amps(number, state, &mut direct.amps);
        if !direct.supplied && dead == Dead::LeftAlone {
            return Ok(direct);
        }
        if direct.begun {
            direct.stamped.follow(island, wiring, state, element::direct_matrix);
        } else {
            direct.stamped.stamp_all(island, wiring, state, element::direct_matrix);
            direct.begun = true;
        }
        direct.stamped.forget_touched();
        direct.stamped.refactor(island).map_err(|s| self.floating(island, s.node))?;
        Ok(direct)
    }

    /// One ampere in at one net and out at another of an island, all else dead: solves
    /// for its direct voltages.
    pub(super) fn probe_direct(
        &self,
        number: usize,
        state: &State,
        amps: &mut [f64],
        workspace: &mut Workspace,
    ) -> Result<(), SolveError> {
        let direct = self.direct(number, state, Dead::SolvedToo, workspace)?;
        direct.stamped.factors().solve(&self.islands()[number].plan, amps);
        Ok(())
    }

    /// Brings the direct-current matrices up to date with a state and deals with all
    /// that no filament or motor can change.
    fn begin_direct(&self, state: &State, workspace: &mut Workspace) -> Result<(), SolveError> {
        // An island without a supply stands at zero, provided that insulation ties it
        // down; without insulation it has to be looked at.
        let insulated = self.sound.circuit.insulation_ohms.is_finite();
        let dead = if insulated { Dead::LeftAlone } else { Dead::SolvedToo };
        for (number, island) in self.islands().iter().enumerate() {
            let direct = self.direct(number, state, dead, workspace)?;
            if direct.supplied {
                direct.deal_with_below(island);
            }
        }
        Ok(())
    }

    /// The same once more where only filaments and motors have changed.
    fn follow_filaments(&self, state: &State, workspace: &mut Workspace) -> Result<(), SolveError> {
        for (number, island) in self.islands().iter().enumerate() {
            let Some(direct) = workspace.direct[number].as_mut().filter(|d| d.supplied) else {
                continue;
            };
            let wiring = self.wiring();
            direct.stamped.follow_filaments(island, wiring, state, element::direct_matrix);
            direct.stamped.forget_touched();
            direct.stamped.refactor(island).map_err(|s| self.floating(island, s.node))?;
            if island.fed_through_parts {
                self.supply_amps(number, state, &mut direct.amps);
                direct.deal_with_below(island);
            }
        }
        Ok(())
    }

    /// Direct voltages with every supply on, where filaments and motors stand.
    fn direct_top(&self, workspace: &mut Workspace, dc: &mut [f64]) {
        for (island, direct) in self.islands().iter().zip(&mut workspace.direct) {
            let Some(direct) = direct.as_mut().filter(|d| d.supplied) else { continue };
            direct.volts.clone_from(&direct.below);
            direct.stamped.factors().solve_top(&island.plan, &island.top, &mut direct.volts);
            for node in island.top.nodes(&island.plan) {
                dc[island.nets[node as usize].index()] = direct.volts[node as usize];
            }
        }
    }

    /// Direct voltages everywhere else.
    fn direct_rest(&self, workspace: &mut Workspace, dc: &mut [f64]) {
        for (island, direct) in self.islands().iter().zip(&mut workspace.direct) {
            let Some(direct) = direct.as_mut().filter(|d| d.supplied) else { continue };
            direct.stamped.factors().solve_rest(&island.plan, &island.top, &mut direct.volts);
            for (net, volts) in island.nets.iter().zip(&direct.volts) {
                dc[net.index()] = *volts;
            }
        }
    }

    /// What each running machine alone sets up, where that is due.
    fn alternating(
        &self,
        state: &State,
        due: &Due,
        workspace: &mut Workspace,
        groups: &mut Vec<AcGroup>,
    ) -> Result<(), SolveError> {
        match due {
            Due::All => {
                groups.clear();
                for phasors in &mut workspace.phasors {
                    phasors.current = false;
                }
                for machine in &*self.machines {
                    groups.extend(self.group(machine, state, workspace)?);
                }
            }
            Due::Speeds(parts) => {
                for machine in self.machines.iter().filter(|m| parts.contains(&m.part)) {
                    groups.retain(|group| group.source != machine.part);
                    if let Some(group) = self.group(machine, state, workspace)? {
                        let at = groups.partition_point(|g| g.source < group.source);
                        groups.insert(at, group);
                    }
                }
            }
        }
        Ok(())
    }

    /// What one machine alone sets up; `None` when it gives nothing. A circuit is
    /// linear in one source, so it is solved for one volt and scaled to what the
    /// regulator asks.
    fn group(
        &self,
        machine: &Machine,
        state: &State,
        workspace: &mut Workspace,
    ) -> Result<Option<AcGroup>, SolveError> {
        let speed = machine.speed(state);
        let (true, Some(number)) = (machine.gives() && speed >= LEAST_SPEED, machine.island) else {
            return Ok(None);
        };
        let hertz = machine.hertz(speed);
        let at = self.refresh(workspace, number, hertz, state)?;
        let island = &self.islands()[number as usize];
        let phasors = &mut workspace.phasors[at];
        let unit = if let Some(at) = phasors.unit.iter().position(|(p, _)| *p == machine.part) {
            &phasors.unit[at].1
        } else {
            let mut volts = self.unit_amps(machine, hertz);
            // Changes that spared the other solutions have been left for now.
            phasors.stamped.refactor(island).map_err(|s| self.floating(island, s.node))?;
            phasors.stamped.factors().solve(&island.plan, &mut volts);
            phasors.unit.push((machine.part, volts));
            &phasors.unit[phasors.unit.len() - 1].1
        };
        let sensed =
            self.place(machine.sensed()).map_or(0.0, |(_, local)| magnitude(unit[local as usize]));
        let emf_volts = machine.emf_volts(speed, sensed);
        let mut volts = vec![Complex64::ZERO; self.nets()];
        for (net, unit) in island.nets.iter().zip(unit) {
            volts[net.index()] = unit * emf_volts;
        }
        Ok(Some(AcGroup { source: machine.part, hertz, emf_volts, volts }))
    }

    /// Brings the factored matrix of an island at a frequency up to date and returns
    /// its place.
    fn refresh(
        &self,
        workspace: &mut Workspace,
        number: u32,
        hertz: f64,
        state: &State,
    ) -> Result<usize, SolveError> {
        let island = &self.islands()[number as usize];
        let list = &mut workspace.phasors;
        let known = list.iter().position(|p| p.island == number && p.hertz == hertz);
        let at = known.unwrap_or_else(|| {
            let of_island = |m: &&Machine| m.island == Some(number);
            let rated =
                self.machines.iter().filter(of_island).any(|m| m.usual_hertz().contains(&hertz));
            // A machine off its rated speed passes through many frequencies, of which
            // only the last is kept.
            let odd = list.iter().position(|p| p.island == number && !p.rated && !rated);
            let at = odd.unwrap_or_else(|| {
                let (stamped, stage) = (Stamped::new(island), Stage::Empty);
                let (current, unit) = (false, Vec::new());
                list.push(Phasors { island: number, hertz, rated, stamped, stage, current, unit });
                list.len() - 1
            });
            let phasors = &mut list[at];
            if phasors.stage != Stage::Empty {
                phasors.stage = Stage::OtherFrequency;
            }
            (phasors.hertz, phasors.current) = (hertz, false);
            phasors.unit.clear();
            at
        });
        let phasors = &mut list[at];
        if !phasors.current {
            let (stamped, wiring) = (&mut phasors.stamped, self.wiring());
            let matrix = |e: &Element, state: &State| element::phasor_matrix(e, state, hertz);
            match phasors.stage {
                Stage::Empty => stamped.stamp_all(island, wiring, state, matrix),
                Stage::OtherFrequency => stamped.retune(island, wiring, state, matrix),
                Stage::Begun => stamped.follow(island, wiring, state, matrix),
            }
            phasors.stage = Stage::Begun;
            let spared = phasors.unit.iter().all(|(_, volts)| stamped.spares(volts));
            if !spared || phasors.unit.is_empty() {
                phasors.unit.clear();
                stamped.refactor(island).map_err(|s| self.floating(island, s.node))?;
            }
            stamped.forget_touched();
            phasors.current = true;
        }
        Ok(at)
    }

    /// The currents that one volt of a machine drives into its island when shorted.
    fn unit_amps(&self, machine: &Machine, hertz: f64) -> Vec<Complex64> {
        let number = machine.island.expect("only a machine with an island is solved for");
        let mut amps = vec![Complex64::ZERO; self.islands()[number as usize].nets.len()];
        for (nets, unit, admittance) in self.phases(machine, hertz) {
            for (net, sign) in nets.into_iter().zip([1.0, -1.0]) {
                if let Some((_, local)) = self.place(net) {
                    amps[local as usize] += unit * admittance * sign;
                }
            }
        }
        amps
    }

    /// The phases of a machine: nets, unit electromotive force, admittance.
    fn phases<'a>(
        &'a self,
        machine: &'a Machine,
        hertz: f64,
    ) -> impl Iterator<Item = ([NetId; 2], Complex64, Complex64)> + 'a {
        let wiring = self.wiring();
        machine.phases.iter().filter_map(move |at| {
            let e = wiring.element(*at);
            match &e.form {
                Form::Phase { unit, inner } => {
                    Some(([e.nets[0], e.nets[1]], *unit, inner.admittance(hertz)))
                }
                Form::Absent
                | Form::Branch(_)
                | Form::Contact { .. }
                | Form::Filament
                | Form::Supply { .. }
                | Form::GatedSupply { .. }
                | Form::Coupling { .. }
                | Form::Coupled(_)
                | Form::Rotor { .. } => None,
            }
        })
    }

    /// Watts that the electromotive forces of a machine deliver, its own windings'
    /// losses included.
    fn delivered_watts(&self, group: &AcGroup) -> f64 {
        let Some(machine) = self.machines.iter().find(|m| m.part == group.source) else {
            return 0.0;
        };
        self.phases(machine, group.hertz)
            .map(|([a, b], unit, admittance)| {
                let force = unit * group.emf_volts;
                let amps = (force - (group.volts[a.index()] - group.volts[b.index()])) * admittance;
                (force * amps.conj()).re
            })
            .sum()
    }
}

fn nets_inside(inside: &[(PartId, [NetId; 3])], part: PartId) -> Option<[NetId; 3]> {
    let at = inside.binary_search_by_key(&part, |(id, _)| *id).ok()?;
    Some(inside[at].1)
}

/// Brings a part's entries in the lists of followers and machines up to date with what
/// it is; `None` when it is not in the lists that it now belongs to.
fn renew(
    sound: &Sound,
    part: PartId,
    kind: &Kind,
    followers: &mut Arc<[Follower]>,
    machines: &mut Arc<[Machine]>,
) -> Option<()> {
    if let Some(follower) = Follower::of(part, kind, nets_inside(&sound.inside, part)) {
        let at = followers.iter().position(|f| f.part == part)?;
        Arc::make_mut(followers)[at] = follower;
    }
    if let Some(at) = machines.iter().position(|m| m.part == part) {
        let (phases, island) = (machines[at].phases.clone(), machines[at].island);
        let machine = Machine::of(part, kind)?;
        Arc::make_mut(machines)[at] = machine.placed(phases, island);
    } else if Machine::of(part, kind).is_some() {
        return None;
    }
    Some(())
}

fn movers(circuit: &Circuit, inside: &[(PartId, [NetId; 3])]) -> Movers {
    let mut movers = Movers::default();
    for (part, p) in circuit.parts_with_ids() {
        match &p.kind {
            Kind::Battery(_) | Kind::Diode(_) | Kind::TransformerRectifier(_) => {
                movers.one_way.push(part);
            }
            Kind::Relay(_)
            | Kind::Contactor(_)
            | Kind::ReverseCurrentRelay(_)
            | Kind::PhaseRelay(_)
            | Kind::Solenoid(_)
            | Kind::Flasher(_) => movers.relays.push(part),
            Kind::Breaker(_) | Kind::Fuse(_) => movers.protectors.push(part),
            Kind::Converter(_) | Kind::Vibrator(_) | Kind::Motor(_) => {
                movers.machines.push((part, None));
            }
            Kind::Gyro(_) => movers.machines.push((part, nets_inside(inside, part))),
            Kind::Supply(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Alternator(_)
            | Kind::Wire(_)
            | Kind::Feeder(_)
            | Kind::Resistor(_)
            | Kind::Shunt(_)
            | Kind::Splice(_)
            | Kind::Connector(_)
            | Kind::Ground(_)
            | Kind::GroundStud(_)
            | Kind::Switch(_)
            | Kind::PushSwitch(_)
            | Kind::ChangeoverSwitch(_)
            | Kind::Mechanism(_)
            | Kind::Microswitch(_)
            | Kind::Lamp(_)
            | Kind::Horn(_)
            | Kind::Transformer(_)
            | Kind::Load(_)
            | Kind::Load3(_)
            | Kind::Meter(_)
            | Kind::Ammeter(_)
            | Kind::Loadmeter(_)
            | Kind::FrequencyMeter(_) => {}
        }
    }
    movers
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::state::PartState;
    use crate::network::tests::network;

    const AC: [&str; 4] = [
        "Supply(id: \"E\", plus: \"D\", volts: 28, ohms: 0.01)",
        "Converter(id: \"CV\", dc: \"D\", a: \"A\", b: \"GND\", c: \"C\", volt_amps: 1000)",
        "Load(id: \"L\", a: \"A\", volt_amps: 200)",
        "Load(id: \"M\", a: \"C\", volt_amps: 100, power_factor: 0.6)",
    ];

    fn running(network: &Network) -> State {
        let mut state = State::at_rest(network.circuit());
        let part = network.circuit().find_part("CV").expect("a converter");
        state.set(part, PartState::Machine { running: true });
        state
    }

    #[test]
    fn a_divider_divides() {
        let network = network(
            "A B",
            &[
                "Supply(id: \"E\", plus: \"A\", volts: 28, ohms: 1)",
                "Resistor(id: \"R1\", a: \"A\", b: \"B\", ohms: 6)",
                "Resistor(id: \"R2\", a: \"B\", b: \"GND\", ohms: 7)",
            ],
        );
        let state = &mut State::at_rest(network.circuit());
        let solution = network.balance(state).expect("it has a solution");
        assert!((solution.dc[1] - 26.0).abs() < 1e-5);
        assert!((solution.dc[2] - 14.0).abs() < 1e-5);
    }

    #[test]
    fn what_an_earlier_solution_left_changes_nothing() {
        let network = network("D A C", &AC);
        let mut workspace = Workspace::default();
        let solve = |workspace: &mut Workspace| {
            let state = &mut running(&network);
            network.balance_in(state, workspace).expect("it has a solution")
        };
        let first = solve(&mut workspace);
        assert_eq!(solve(&mut workspace), first);
        assert_eq!(solve(&mut Workspace::default()), first);
        assert_eq!(workspace.phasors.len(), 1);
    }

    #[test]
    fn the_regulated_phase_stands_at_its_volts() {
        let network = network("D A C", &AC);
        let solution = network.balance(&mut running(&network)).expect("it has a solution");
        let [group] = solution.ac.as_slice() else { panic!("one source") };
        assert!((magnitude(group.volts[2]) - 115.0).abs() < 1e-9);
        assert_eq!(group.hertz, 400.0);
    }

    #[test]
    fn a_machine_without_supply_has_no_frequency_to_divide_by() {
        let mut parts = AC;
        parts[0] = "Supply(id: \"E\", plus: \"D\", volts: 1e-9)";
        let network = network("D A C", &parts);
        let solution = network.balance(&mut running(&network)).expect("it has a solution");
        assert!(solution.ac.is_empty());
        assert!(solution.dc.iter().all(|volts| volts.abs() <= 1e-9));
    }

    #[test]
    fn a_fault_that_opens_something_shares_every_plan() {
        let network = network("D A C", &AC);
        let mut open = network.circuit().as_ref().clone();
        let Kind::Load(load) = &mut open.parts[2].kind else { unreachable!("a load") };
        load.ohms = f64::INFINITY;
        let other = Network::like(Arc::new(open), &network);
        for (a, b) in network.islands().iter().zip(other.islands()) {
            assert!(Arc::ptr_eq(&a.plan, &b.plan));
        }
    }
}
