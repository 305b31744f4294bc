//! One electrical balance: every net voltage for a given memory of the parts.
//!
//! Nodal analysis: currents into every net sum to zero, unknowns are the net
//! voltages. Every closed path has an impedance (a closed contact has a few
//! milliohms, as real ones do), so no branch current is needed as an unknown, and
//! contacts in parallel share their current as they would on the aircraft.

use std::sync::Arc;

use num_complex::Complex64;

use super::element::{self, Element, Form};
use super::follow::{BALANCED, Balance, Due, Follower, Search};
use super::island::{Island, Wiring, islands_of};
use super::machine::{Machine, machines};
use super::solution::{AcGroup, Solution};
use super::sparse::{Factored, Plan};
use super::state::State;
use crate::circuit::{Circuit, Kind, NetId, PartId};
use crate::units::magnitude;

/// A circuit ready to be solved: elements, islands and their elimination plans.
#[derive(Clone, Debug)]
pub struct Network {
    circuit: Arc<Circuit>,
    elements: Vec<Element>,
    islands: Vec<Arc<Island>>,
    /// By net: island and place in it; `None` for the airframe.
    places: Vec<Option<(u32, u32)>>,
    inner_names: Vec<String>,
    inside: Vec<(PartId, [NetId; 3])>,
    followers: Vec<Follower>,
    machines: Vec<Machine>,
    movers: Movers,
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

/// Shaft speed below which a machine gives nothing to speak of.
const LEAST_SPEED: f64 = 0.02;

/// What one solution leaves for the next: matrices and their factors, of which only
/// what a change can reach is worked out again.
#[derive(Default)]
pub(super) struct Workspace {
    direct: Vec<(u32, Factored<f64>)>,
    phasors: Vec<Phasors>,
}

struct Phasors {
    island: u32,
    hertz: f64,
    factored: Factored<Complex64>,
    /// Whether the matrix is known to be that of the present state.
    current: bool,
    /// What one volt of a machine sets up at the island's nets.
    unit: Vec<(PartId, Vec<Complex64>)>,
}

impl Network {
    /// Prepares a circuit.
    pub fn new(circuit: Arc<Circuit>) -> Self {
        Self::build(circuit, &[])
    }

    /// Prepares a circuit that differs from one already prepared, sharing the
    /// elimination plans of every island whose structure is the same.
    pub fn like(circuit: Arc<Circuit>, other: &Self) -> Self {
        Self::build(circuit, &other.islands)
    }

    fn build(circuit: Arc<Circuit>, known: &[Arc<Island>]) -> Self {
        let element::Elements { list: elements, nets, inner_names, inside } =
            element::elements(&circuit);
        let (places, members) = islands_of(&elements, nets);
        let mut machines = machines(&circuit, &elements);
        for machine in &mut machines {
            let nets = machine.phases.iter().flat_map(|at| elements[*at as usize].terminals());
            machine.island = nets.filter_map(|net| places[net.index()]).map(|(i, _)| i).next();
        }
        let wiring =
            Wiring { elements: &elements, places: &places, leak: 1.0 / circuit.insulation_ohms };
        let islands = members
            .into_iter()
            .enumerate()
            .map(|(number, members)| {
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
                let mut hertz: Vec<f64> = machines
                    .iter()
                    .filter(|machine| machine.island == Some(number as u32))
                    .flat_map(Machine::usual_hertz)
                    .collect();
                hertz.sort_by(f64::total_cmp);
                hertz.dedup();
                Arc::new(Island::new(plan, members, hertz, wiring))
            })
            .collect();
        let followers = circuit
            .parts_with_ids()
            .filter_map(|(id, p)| Follower::of(id, &p.kind, nets_inside(&inside, id)))
            .collect();
        let movers = movers(&circuit, &inside);
        Self {
            circuit,
            elements,
            islands,
            places,
            inner_names,
            inside,
            followers,
            machines,
            movers,
        }
    }

    /// The circuit this network was made from.
    pub fn circuit(&self) -> &Arc<Circuit> {
        &self.circuit
    }

    /// Nets, including those inside parts.
    pub fn nets(&self) -> usize {
        self.places.len()
    }

    /// The name of a net, including those inside parts.
    pub fn net_name(&self, net: NetId) -> &str {
        let own = self.circuit.nets.len();
        self.circuit.nets.get(net.index()).unwrap_or_else(|| &self.inner_names[net.index() - own])
    }

    /// The three nets behind the terminals of a gyro, transformer-rectifier or phase
    /// relay: they stand off from its terminals where a winding or line is open.
    ///
    /// # Panics
    /// When the part is none of these.
    pub fn rotor_nets(&self, part: PartId) -> [NetId; 3] {
        nets_inside(&self.inside, part).expect("only three-phase consumers have nets inside")
    }

    pub(super) fn elements(&self) -> &[Element] {
        &self.elements
    }

    pub(super) fn islands(&self) -> &[Arc<Island>] {
        &self.islands
    }

    /// The island of a net and its place there; `None` for the airframe.
    pub(super) fn place(&self, net: NetId) -> Option<(u32, u32)> {
        self.places[net.index()]
    }

    pub(super) fn followers(&self) -> &[Follower] {
        &self.followers
    }

    pub(super) fn machines(&self) -> &[Machine] {
        &self.machines
    }

    pub(super) fn movers(&self) -> &Movers {
        &self.movers
    }

    fn wiring(&self) -> Wiring<'_> {
        let leak = 1.0 / self.circuit.insulation_ohms;
        Wiring { elements: &self.elements, places: &self.places, leak }
    }

    /// Solves for every net voltage with the memory held still. The state's
    /// starting points for filaments and motors are brought up to date.
    ///
    /// # Errors
    /// [`SolveError`] when a net hangs in the air or no balance is found.
    pub fn balance(&self, state: &mut State) -> Result<Solution, SolveError> {
        self.balance_in(state, None, BALANCED, &mut Workspace::default())
    }

    /// The same down to a relative change of `enough`, reusing what an earlier solution
    /// of this network has left; `rough` is a less exact solution of this very state.
    pub(super) fn balance_in(
        &self,
        state: &mut State,
        rough: Option<Solution>,
        enough: f64,
        workspace: &mut Workspace,
    ) -> Result<Solution, SolveError> {
        for follower in &self.followers {
            let conductance = &mut state.conductance[follower.part.index()];
            if conductance.is_nan() {
                *conductance = follower.first_guess();
            }
        }
        let mut due = if rough.is_some() { Due::Speeds(Vec::new()) } else { Due::All };
        let mut solution =
            rough.unwrap_or_else(|| Solution { dc: vec![0.0; self.nets()], ac: Vec::new() });
        let mut search = Search::new(self.followers.len(), enough);
        loop {
            self.alternating(state, &due, workspace, &mut solution.ac)?;
            self.direct(state, workspace, &mut solution.dc)?;
            let watts = |part| self.delivered_watts(part, &solution);
            match search.round(&self.followers, &solution, watts, state) {
                Balance::Found => return Ok(solution),
                Balance::Sought(next) => due = next,
                Balance::Lost(part) => {
                    let part = self.circuit.part(part).id.clone();
                    return Err(SolveError::NoBalance { part });
                }
            }
        }
    }

    pub(super) fn floating(&self, island: &Island, node: u32) -> SolveError {
        SolveError::Floating { net: self.net_name(island.nets[node as usize]).to_owned() }
    }

    /// Direct voltages with every supply on.
    fn direct(
        &self,
        state: &State,
        workspace: &mut Workspace,
        dc: &mut [f64],
    ) -> Result<(), SolveError> {
        for (number, island) in (0..).zip(&self.islands) {
            // An island without a supply stands at zero, provided that insulation
            // ties it down; without insulation it has to be looked at.
            if !island.supplied && self.circuit.insulation_ohms.is_finite() {
                continue;
            }
            let known = workspace.direct.iter().position(|(island, _)| *island == number);
            let at = known.unwrap_or_else(|| {
                workspace.direct.push((number, Factored::default()));
                workspace.direct.len() - 1
            });
            let factored = &mut workspace.direct[at].1;
            factored
                .update(&island.plan, island.direct(state))
                .map_err(|s| self.floating(island, s.node))?;
            let mut volts = island.supply_amps(state);
            factored.solve(&island.plan, &mut volts);
            for (net, volts) in island.nets.iter().zip(&volts) {
                dc[net.index()] = *volts;
            }
        }
        Ok(())
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
                for machine in &self.machines {
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
        let island = &self.islands[number as usize];
        let phasors = &mut workspace.phasors[at];
        let unit = if let Some(at) = phasors.unit.iter().position(|(p, _)| *p == machine.part) {
            &phasors.unit[at].1
        } else {
            let mut volts = self.unit_amps(machine, hertz);
            phasors.factored.solve(&island.plan, &mut volts);
            phasors.unit.push((machine.part, volts));
            &phasors.unit[phasors.unit.len() - 1].1
        };
        let sensed = self.places[machine.sensed().index()]
            .map_or(0.0, |(_, local)| magnitude(unit[local as usize]));
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
        let known = workspace.phasors.iter().position(|p| p.island == number && p.hertz == hertz);
        let at = known.unwrap_or_else(|| {
            let factored = Factored::default();
            let unit = Vec::new();
            let made = Phasors { island: number, hertz, factored, current: false, unit };
            workspace.phasors.push(made);
            workspace.phasors.len() - 1
        });
        let phasors = &mut workspace.phasors[at];
        if !phasors.current {
            let island = &self.islands[number as usize];
            let matrix = island.phasor(state, hertz, self.wiring());
            let differs = phasors.factored.update(&island.plan, matrix);
            if differs.map_err(|s| self.floating(island, s.node))? {
                phasors.unit.clear();
            }
            phasors.current = true;
        }
        Ok(at)
    }

    /// The currents that one volt of a machine drives into its island when shorted.
    fn unit_amps(&self, machine: &Machine, hertz: f64) -> Vec<Complex64> {
        let number = machine.island.expect("only a machine with an island is solved for");
        let mut amps = vec![Complex64::ZERO; self.islands[number as usize].nets.len()];
        for (nets, unit, admittance) in self.phases(machine, hertz) {
            for (net, sign) in nets.into_iter().zip([1.0, -1.0]) {
                if let Some((_, local)) = self.places[net.index()] {
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
        machine.phases.iter().filter_map(move |at| {
            let e = &self.elements[*at as usize];
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
    /// losses included; zero for a part that is not a machine or gives nothing.
    fn delivered_watts(&self, part: PartId, solution: &Solution) -> f64 {
        let Some(group) = solution.ac.iter().find(|g| g.source == part) else {
            return 0.0;
        };
        let Some(machine) = self.machines.iter().find(|m| m.part == part) else {
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
            network.balance_in(state, None, BALANCED, workspace).expect("it has a solution")
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
