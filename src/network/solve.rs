//! One electrical balance: every net voltage for a given memory of the parts.
//!
//! Nodal analysis: currents into every net sum to zero, unknowns are the net
//! voltages. Every closed path has an impedance (a closed contact has a few
//! milliohms, as real ones do), so no branch current is needed as an unknown, and
//! contacts in parallel share their current as they would on the aircraft.

use num_complex::Complex64;

use super::element::{self, Element, Form};
use super::follow::{Balance, Due, Search};
use super::island::{Island, Stamped};
use super::machine::Machine;
use super::prepare::{Network, SolveError};
use super::solution::{AcGroup, Solution};
use super::state::State;
use crate::circuit::{NetId, PartId};
use crate::units::magnitude;

/// Shaft speed below which a machine gives nothing to speak of.
pub(super) const LEAST_SPEED: f64 = 0.02;

/// What one solution leaves for the next: matrices and their factors, of which only
/// what a change can reach is worked out again.
#[derive(Debug, Default)]
pub(super) struct Workspace {
    /// By island, once it has been solved.
    direct: Vec<Option<Direct>>,
    phasors: Vec<Phasors>,
}

impl Workspace {
    /// Leaves it open whether the matrices at frequencies are those of the present state.
    pub(super) fn distrust_phasors(&mut self) {
        for phasors in &mut self.phasors {
            phasors.current = false;
        }
    }
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
                workspace.distrust_phasors();
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
    pub(super) fn group(
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
        Ok(Some(self.regulated(machine, number, speed, unit)))
    }

    /// What a machine sets up when its regulator has its way; `unit` is what one volt of
    /// it does, by place in its island.
    pub(super) fn regulated(
        &self,
        machine: &Machine,
        number: u32,
        speed: f64,
        unit: &[Complex64],
    ) -> AcGroup {
        let sensed =
            self.place(machine.sensed()).map_or(0.0, |(_, local)| magnitude(unit[local as usize]));
        let emf_volts = machine.emf_volts(speed, sensed);
        let mut volts = vec![Complex64::ZERO; self.nets()];
        for (net, unit) in self.islands()[number as usize].nets.iter().zip(unit) {
            volts[net.index()] = unit * emf_volts;
        }
        AcGroup { source: machine.part, hertz: machine.hertz(speed), emf_volts, volts }
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
    pub(super) fn unit_amps(&self, machine: &Machine, hertz: f64) -> Vec<Complex64> {
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
    pub(super) fn delivered_watts(&self, group: &AcGroup) -> f64 {
        let Some(machine) = self.machines.iter().find(|m| m.part == group.source) else {
            return 0.0;
        };
        let force = group.emf_volts;
        if force == 0.0 {
            return 0.0;
        }
        let volts = |net: NetId| group.volts[net.index()] / force;
        force * force * self.watts_of_one_volt(machine, group.hertz, volts)
    }

    /// The same for an electromotive force of one volt that sets up these voltages.
    pub(super) fn watts_of_one_volt(
        &self,
        machine: &Machine,
        hertz: f64,
        volts: impl Fn(NetId) -> Complex64,
    ) -> f64 {
        self.phases(machine, hertz)
            .map(|([a, b], unit, admittance)| {
                let amps = (unit - (volts(a) - volts(b))) * admittance;
                (unit * amps.conj()).re
            })
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::circuit::Kind;
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
