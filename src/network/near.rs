//! The balance of a state near a base case.
//!
//! Filaments and motors are looked for at their ports alone, all at once by Newton's
//! method: each asks for a conductance that follows from its volts, and all volts follow
//! from all conductances.

use std::borrow::Cow;

use num_complex::Complex64;

use super::base::BaseCase;
use super::dense::Dense;
use super::follow::{BALANCED, Follower, UNHEARD};
use super::patch::{DirectPatch, conductance};
use super::prepare::{Network, SolveError};
use super::solution::{AcGroup, Solution};
use super::solve::{LEAST_SPEED, Workspace};
use super::state::State;
use crate::circuit::NetId;
use crate::units::magnitude;

/// Rounds in which a balance near a base case is looked for.
const ROUNDS: u32 = 25;

/// Filaments and motors beyond which a fresh solution is quicker than a dense system of
/// their ports.
pub(super) const MOST_PORTS: usize = 24;

/// What of a machine's voltages has to be worked out again.
#[derive(Clone, Copy, PartialEq)]
enum Stale {
    Nothing,
    /// Its electromotive force: its speed has changed.
    Force,
    /// All of it: something has changed in what it feeds.
    All,
}

/// The search for a balance near a base case.
struct Search<'a> {
    network: &'a Network,
    base: &'a BaseCase,
    /// Elements other than filaments that are not as in the base case.
    altered: Vec<u32>,
    direct: DirectPatch<'a>,
    /// By port: whether its element is still its own.
    joined: Vec<bool>,
    /// By machine.
    alone: Vec<Option<Alone<'a>>>,
    stale: Vec<Stale>,
}

/// What one running machine sets up by itself.
struct Alone<'a> {
    volts: Volts<'a>,
    hertz: f64,
    emf_volts: f64,
    /// For one volt of electromotive force: on the sensed terminal, delivered watts, and
    /// by port volts across it.
    sensed: f64,
    watts: f64,
    across: Vec<f64>,
}

enum Volts<'a> {
    /// By place, for one volt of electromotive force.
    Unit(Cow<'a, [Complex64]>),
    /// As they are, from a fresh solution.
    Fresh(AcGroup),
}

/// Where the followers stand in one round.
struct Round {
    /// By port: siemens above those of the base case.
    more: Vec<f64>,
    /// By port: direct volts.
    dc: Vec<f64>,
    /// By port: what is asked less what it has, and how the former goes with volts.
    gaps: Vec<(f64, f64)>,
    /// By port: the shaft speed it asks for, where that is another.
    speeds: Vec<Option<f64>>,
    /// The largest gap relative to what is asked.
    widest: f64,
}

impl Network {
    /// The balance of a state: from a base case where that is near enough, afresh where
    /// it is not.
    ///
    /// # Errors
    /// [`SolveError`] when a net hangs in the air or no balance is found.
    pub(super) fn balance_near(
        &self,
        base: Option<&BaseCase>,
        state: &mut State,
        workspace: &mut Workspace,
    ) -> Result<Solution, SolveError> {
        if let Some(base) = base.filter(|base| base.serves(self))
            && let Some((solution, found)) = self.balance_from(base, state, workspace)?
        {
            *state = found;
            return Ok(solution);
        }
        self.balance_in(state, workspace)
    }

    /// The balance of a state as worked out from a base case, and the state with its
    /// starting points brought up to date; `None` when that does not do.
    fn balance_from(
        &self,
        base: &BaseCase,
        state: &State,
        workspace: &mut Workspace,
    ) -> Result<Option<(Solution, State)>, SolveError> {
        let Some(mut search) = Search::new(self, base, state) else { return Ok(None) };
        let mut state = state.clone();
        for follower in self.followers() {
            let conductance = &mut state.conductance[follower.part.index()];
            if conductance.is_nan() {
                *conductance = follower.first_guess();
            }
        }
        for _ in 0..ROUNDS {
            if !search.alternating(&state, workspace)? {
                return Ok(None);
            }
            let Some(round) = search.round(&state) else { return Ok(None) };
            if round.widest <= BALANCED && round.speeds.iter().all(Option::is_none) {
                let through = round.more.iter().zip(&round.dc).map(|(more, volts)| -more * volts);
                let mut dc = vec![0.0; self.nets()];
                let sound = search.direct.volts(&through.collect::<Vec<_>>(), &mut dc);
                return Ok(sound.map(|()| (Solution { dc, ac: search.groups(&state) }, state)));
            }
            if search.step(&round, &mut state).is_none() {
                return Ok(None);
            }
        }
        Ok(None)
    }
}

impl<'a> Search<'a> {
    /// `None` when too much is different from the base case.
    fn new(network: &'a Network, base: &'a BaseCase, state: &State) -> Option<Self> {
        let altered = network.altered(base, state);
        let changed = network.direct_changes(base, state, &altered)?;
        let direct = DirectPatch::new(base, changed)?;
        // A port whose element has been exchanged is among the changes already.
        let joined = |port: &super::base::Port| altered.binary_search(&port.element).is_err();
        let machines = network.machines().len();
        Some(Self {
            joined: base.ports.iter().map(joined).collect(),
            network,
            base,
            altered,
            direct,
            alone: (0..machines).map(|_| None).collect(),
            stale: vec![Stale::All; machines],
        })
    }

    /// Brings what the machines set up, each alone, up to date; `false` when one of them
    /// has a frequency of its own, for which nothing has been made ready.
    fn alternating(
        &mut self,
        state: &State,
        workspace: &mut Workspace,
    ) -> Result<bool, SolveError> {
        let network = self.network;
        for (at, machine) in network.machines().iter().enumerate() {
            let stale = std::mem::replace(&mut self.stale[at], Stale::Nothing);
            if stale == Stale::Nothing {
                continue;
            }
            let speed = machine.speed(state);
            if !machine.gives() || speed < LEAST_SPEED || machine.island.is_none() {
                self.alone[at] = None;
                continue;
            }
            let hertz = machine.hertz(speed);
            if let (Stale::Force, Some(alone)) = (stale, &mut self.alone[at])
                && matches!(alone.volts, Volts::Unit(_))
                && alone.hertz == hertz
            {
                alone.emf_volts = machine.emf_volts(speed, alone.sensed);
                continue;
            }
            let Some(base) = self.base.groups[at].iter().find(|group| group.hertz == hertz) else {
                return Ok(false);
            };
            let unit = network.unit_from(self.base, base, at, state, &self.altered);
            self.alone[at] = if let Some(unit) = unit {
                Some(self.unit(at, hertz, speed, unit))
            } else {
                workspace.distrust_phasors();
                network.group(machine, state, workspace)?.map(|group| self.fresh(group))
            };
        }
        Ok(true)
    }

    fn unit(&self, at: usize, hertz: f64, speed: f64, unit: Cow<'a, [Complex64]>) -> Alone<'a> {
        let (network, machine) = (self.network, &self.network.machines()[at]);
        let place = |net| network.place(net).filter(|(island, _)| Some(*island) == machine.island);
        let volts = |net| place(net).map_or(Complex64::ZERO, |(_, at)| unit[at as usize]);
        let across = |(a, b): (NetId, NetId)| magnitude(volts(a) - volts(b));
        let sensed = magnitude(volts(machine.sensed()));
        Alone {
            hertz,
            emf_volts: machine.emf_volts(speed, sensed),
            sensed,
            watts: network.watts_of_one_volt(machine, hertz, volts),
            across: network.followers().iter().map(|follower| across(follower.nets())).collect(),
            volts: Volts::Unit(unit),
        }
    }

    fn fresh(&self, group: AcGroup) -> Alone<'a> {
        let (network, force) = (self.network, group.emf_volts);
        let across = |(a, b): (NetId, NetId)| {
            magnitude(group.volts[a.index()] - group.volts[b.index()]) / force
        };
        Alone {
            hertz: group.hertz,
            emf_volts: force,
            sensed: 0.0,
            watts: network.delivered_watts(&group) / (force * force),
            across: network.followers().iter().map(|follower| across(follower.nets())).collect(),
            volts: Volts::Fresh(group),
        }
    }

    /// Everything that the machines set up, each alone.
    fn groups(self, state: &State) -> Vec<AcGroup> {
        let machines = self.network.machines();
        let alone = self.alone.into_iter().zip(machines);
        alone
            .filter_map(|(alone, machine)| match alone?.volts {
                Volts::Fresh(group) => Some(group),
                Volts::Unit(unit) => {
                    let (number, speed) = (machine.island?, machine.speed(state));
                    Some(self.network.regulated(machine, number, speed, &unit))
                }
            })
            .collect()
    }

    /// What every follower has and asks for.
    fn round(&self, state: &State) -> Option<Round> {
        let followers = self.network.followers();
        let wiring = self.network.wiring();
        let more: Vec<f64> = followers
            .iter()
            .zip(&self.base.ports)
            .zip(&self.joined)
            .map(|((follower, port), joined)| {
                let now = conductance(wiring.element(port.element), state, follower.part);
                if *joined { now - port.siemens } else { 0.0 }
            })
            .collect();
        let mut dc = self.direct.open.clone();
        self.direct.with_ports(more.iter().copied())?.solve(&mut dc);
        let (mut gaps, mut speeds) = (Vec::with_capacity(dc.len()), Vec::with_capacity(dc.len()));
        let mut widest = 0.0_f64;
        for (at, (follower, dc)) in followers.iter().zip(&dc).enumerate() {
            let watts = |part| {
                let machine = self.network.machines().iter().position(|m| m.part == part);
                let alone = machine.and_then(|at| self.alone[at].as_ref());
                alone.map_or(0.0, |alone| alone.watts * alone.emf_volts * alone.emf_volts)
            };
            let volts = |alone: &Alone<'_>| alone.emf_volts * alone.across[at];
            let squares = self.alone.iter().flatten().map(|alone| volts(alone) * volts(alone));
            let ac = squares.fold(0.0, |sum, square| sum + square).sqrt();
            let had = state.conductance[follower.part.index()];
            let (asked, slope) = follower.asked_at((*dc, ac), watts, state);
            gaps.push((asked - had, slope));
            widest = widest.max(((asked - had) / asked.max(1e-12)).abs());
            let speed = follower.speed_at(*dc, state);
            let solved = state.speed[follower.part.index()];
            speeds.push(speed.filter(|speed| (speed - solved).abs() > BALANCED));
        }
        Some(Round { more, dc, gaps, speeds, widest })
    }

    /// Lets every follower take Newton's step.
    ///
    /// With `W` the volts between ports, `G` the conductances above those of the base
    /// case, `V` the volts and `S` how what is asked goes with them, a step costs volts
    /// `u` at the ports with `(1 + W (G + V S)) u = W V gap`, and is `gap - S u`.
    fn step(&mut self, round: &Round, state: &mut State) -> Option<()> {
        let ports = round.gaps.len();
        let joined = |at: usize| if self.joined[at] { round.dc[at] } else { 0.0 };
        let more = (0..ports).map(|at| round.more[at] + joined(at) * round.gaps[at].1);
        let system = self.direct.with_ports(more)?;
        let mut lost = vec![0.0; ports];
        for (row, lost) in lost.iter_mut().enumerate() {
            let between = &self.direct.between[row * ports..(row + 1) * ports];
            let driven = |(at, volts): (usize, &f64)| volts * joined(at) * round.gaps[at].0;
            *lost = between.iter().enumerate().map(driven).sum();
        }
        system.solve(&mut lost);
        for (at, follower) in self.network.followers().iter().enumerate() {
            let (gap, slope) = round.gaps[at];
            let had = &mut state.conductance[follower.part.index()];
            let next = *had + gap - slope * lost[at];
            let next = if next > 0.0 { next } else { *had + gap };
            let change = (next - *had).abs();
            *had = next;
            for (machine, alone) in self.alone.iter().enumerate() {
                let volts = alone.as_ref().map_or(0.0, |a| a.emf_volts * a.across[at]);
                if volts * change > UNHEARD {
                    self.stale[machine] = Stale::All;
                }
            }
            if let Some(speed) = round.speeds[at] {
                state.speed[follower.part.index()] = speed;
                let machine = self.network.machines().iter().position(|m| m.part == follower.part);
                if let Some(machine) = machine
                    && self.stale[machine] == Stale::Nothing
                {
                    self.stale[machine] = Stale::Force;
                }
            }
        }
        Some(())
    }
}

impl DirectPatch<'_> {
    /// `1 + W G` in factors, with `W` the volts between ports and `G` conductances.
    fn with_ports(&self, siemens: impl Iterator<Item = f64>) -> Option<Dense<f64>> {
        let ports = self.open.len();
        let mut matrix = self.between.clone();
        for (column, siemens) in siemens.enumerate() {
            for row in 0..ports {
                matrix[row * ports + column] *= siemens;
            }
            matrix[column * ports + column] += 1.0;
        }
        Dense::factor(ports, matrix)
    }
}

impl BaseCase {
    /// Whether states of a network can be worked out from it.
    fn serves(&self, network: &Network) -> bool {
        network.is_akin(&self.network)
            && network.followers().len() == self.ports.len()
            && network.followers().iter().all(Follower::stands_alone)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Kind;
    use crate::network::tests::network;

    #[test]
    fn a_fault_nearby_follows_from_the_base_case_and_one_that_leaves_a_net_adrift_does_not() {
        let sound = network(
            "D B L A C",
            &[
                "Supply(id: \"E\", plus: \"D\", volts: 28, ohms: 0.01)",
                "Wire(id: \"W\", a: \"D\", b: \"B\", ohms: 0.02)",
                "Lamp(id: \"L\", a: \"B\")",
                "Wire(id: \"X\", a: \"D\", b: \"L\", ohms: 0.02)",
                "Converter(id: \"CV\", dc: \"B\", a: \"A\", b: \"GND\", c: \"C\", volt_amps: 1000)",
                "Load(id: \"M\", a: \"A\", volt_amps: 200)",
            ],
        );
        let settled = sound.settle(State::at_rest(sound.circuit())).expect("it settles");
        let base = BaseCase::new(&sound, settled).expect("it has been settled");
        let from_base = |id: &str, ohms: f64| {
            let part = sound.circuit().find_part(id).expect("a wire");
            let mut kind = sound.circuit().part(part).kind.clone();
            if let Kind::Wire(wire) = &mut kind {
                wire.ohms = ohms;
            }
            let failed = sound.with_parts(&[(part, kind)]);
            let mut state = base.state().clone();
            let mut workspace = Workspace::default();
            let near = failed.balance_from(&base, &state, &mut workspace).expect("it balances");
            let fresh = failed.balance_in(&mut state, &mut workspace).expect("it balances");
            near.map(|(near, _)| (near, fresh))
        };
        let (near, fresh) = from_base("W", 0.1).expect("it is near enough");
        for (near, fresh) in near.dc.iter().zip(&fresh.dc) {
            assert!((near - fresh).abs() < 1e-9, "{near} {fresh}");
        }
        assert_eq!(near.ac.len(), 1);
        for (near, fresh) in near.ac[0].volts.iter().zip(&fresh.ac[0].volts) {
            assert!(magnitude(near - fresh) < 1e-7, "{near} {fresh}");
        }
        // Nothing but insulation ties L down once X is open: too many digits would be lost.
        assert!(from_base("X", f64::INFINITY).is_none());
    }
}
