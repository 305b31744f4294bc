//! What happens after something has changed, until nothing happens any more.
//!
//! What conducts one way only turns over at once, relays move in milliseconds,
//! machines start and stop in seconds, protection opens in seconds to minutes; so each
//! of these settles before the next moves, and only then does the overloaded breaker or
//! fuse with the shortest time open.
//!
//! Relays that want to move at the same time move together. No two real relays are
//! equally fast, so where that leads round in a circle it is tried again with one
//! moving at a time; what still goes round does chatter.

use super::base::BaseCase;
use super::element::siemens;
use super::event::Event;
use super::moves::Moving;
use super::prepare::{Network, SolveError};
use super::protect::{BREAKER, FUSE};
use super::solution::Solution;
use super::solve::Workspace;
use super::state::{PartState, State};
use crate::circuit::{Kind, PartId};

/// Why settling ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StopReason {
    /// Nothing changes any more.
    Steady,
    /// These relays or machines keep changing, with this many changes a cycle.
    Chattering {
        /// What keeps changing.
        parts: Vec<PartId>,
        /// Changes in one cycle.
        period: usize,
    },
    /// Still changing after this many changes.
    StepLimit(usize),
}

/// A circuit at rest, how it got there and why it stopped.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The memory of the parts.
    pub state: State,
    /// Net voltages.
    pub solution: Solution,
    /// While chattering, the other states of the cycle, for what flickers.
    pub cycle: Vec<Solution>,
    /// What happened, in order.
    pub events: Vec<Event>,
    /// Why it ended.
    pub stop: StopReason,
}

/// Changes after which settling gives up.
pub const STEP_LIMIT: usize = 400;

/// Volts that one running machine sets up at another's terminals, as a fraction of
/// the latter's rating, above which the two count as tied together.
const TIED: f64 = 0.2;

/// A state on the way.
struct Seen {
    parts: Vec<PartState>,
    /// Which relay or machine has the first turn, where they move one at a time.
    turn: PartId,
    solution: Solution,
    /// How many events had led to it.
    told: usize,
}

impl Network {
    /// Lets the circuit settle from a state.
    ///
    /// # Errors
    /// [`SolveError`] when some state on the way has no solution.
    pub fn settle(&self, state: State) -> Result<Settled, SolveError> {
        let mut workspace = self.workspace();
        let settled = self.settle_in(state, None, &mut workspace);
        self.give_back(workspace);
        settled
    }

    /// What becomes of a base case when some parts of it have just turned into what they
    /// are in this network: the same as [`Network::struck`], by the shortest way.
    ///
    /// # Errors
    /// [`SolveError`] when some state on the way has no solution.
    pub fn struck_from(
        &self,
        base: &BaseCase,
        parts: &[PartId],
    ) -> Result<Option<Settled>, SolveError> {
        let settled = base.settled();
        if settled.stop == StopReason::Steady && self.behaves_like(base.network()) {
            return Ok(None);
        }
        let mut state = settled.state.clone();
        for part in parts {
            state.adopt_kind(*part, self.kind(*part));
        }
        let mut workspace = self.workspace();
        let near = self.is_akin(base.network()).then_some(base);
        let settled = self.settle_in(state, near, &mut workspace);
        self.give_back(workspace);
        settled.map(Some)
    }

    /// What becomes of a circuit at rest when some parts of it have just turned into
    /// what they are in this network; `None` when that moves nothing and changes no
    /// voltage, as with a pointer that sticks.
    ///
    /// # Errors
    /// [`SolveError`] when some state on the way has no solution.
    pub fn struck(
        &self,
        before: &Self,
        settled: &Settled,
        parts: &[PartId],
    ) -> Result<Option<Settled>, SolveError> {
        if settled.stop == StopReason::Steady && self.behaves_like(before) {
            return Ok(None);
        }
        let mut state = settled.state.clone();
        for part in parts {
            state.adopt_kind(*part, self.kind(*part));
        }
        self.settle(state).map(Some)
    }

    fn settle_in(
        &self,
        mut state: State,
        base: Option<&BaseCase>,
        workspace: &mut Workspace,
    ) -> Result<Settled, SolveError> {
        let mut events = Vec::new();
        // States since the last change that cannot be undone by itself, to see a cycle.
        let mut seen: Vec<Seen> = Vec::new();
        let mut moving = Moving::Together;
        // Only the fault itself is worked out from a base case. What it sets off changes
        // more and more places, which a fresh solution takes in more quickly.
        let mut base = base;
        for _ in 0..STEP_LIMIT {
            let solution = self.balance_near(base.take(), &mut state, workspace)?;
            self.note_paralleled(&state, &solution, &mut events);
            let before =
                seen.iter().position(|s| s.parts == state.parts && s.turn == moving.turn());
            if let Some(first) = before {
                if moving == Moving::Together {
                    moving = Moving::InTurn(PartId(0));
                    events.truncate(seen[first].told);
                    seen.truncate(first);
                    continue;
                }
                let cycle = seen.split_off(first);
                let parts = changing(&cycle);
                let solutions: Vec<Solution> = cycle.into_iter().map(|s| s.solution).collect();
                if self.open_protection(&mut state, &solutions, &mut events) {
                    (seen, moving) = (Vec::new(), Moving::Together);
                    continue;
                }
                let stop = StopReason::Chattering { parts, period: solutions.len() };
                let cycle = solutions.into_iter().skip(1).collect();
                return Ok(Settled { state, solution, cycle, events, stop });
            }
            let (parts, turn, told) = (state.parts.clone(), moving.turn(), events.len());
            if self.turn_over(&mut state, &solution, &mut moving, &mut events)
                || self.move_relays(&mut state, &solution, &mut moving, &mut events)
                || self.turn_machines(&mut state, &solution, &mut moving, &mut events)
            {
                seen.push(Seen { parts, turn, solution, told });
            } else if self.open_protection(&mut state, std::slice::from_ref(&solution), &mut events)
            {
                (seen, moving) = (Vec::new(), Moving::Together);
            } else {
                let stop = StopReason::Steady;
                return Ok(Settled { state, solution, cycle: Vec::new(), events, stop });
            }
        }
        let solution = self.balance_in(&mut state, workspace)?;
        let stop = StopReason::StepLimit(STEP_LIMIT);
        Ok(Settled { state, solution, cycle: Vec::new(), events, stop })
    }

    /// Opens the overloaded breaker or fuse with the shortest time. Where the circuit
    /// chatters, what counts is the heat over all solutions of the cycle.
    fn open_protection(
        &self,
        state: &mut State,
        solutions: &[Solution],
        events: &mut Vec<Event>,
    ) -> bool {
        let amps = |line, load, ohms| {
            let squares = solutions.iter().map(|s| {
                let amps = s.rms_between(line, load) * siemens(ohms);
                amps * amps
            });
            (squares.sum::<f64>() / solutions.len() as f64).sqrt()
        };
        let mut first: Option<(f64, PartId, f64, f64)> = None;
        for &part in &self.movers().protectors {
            if !state.protector_closed(part) {
                continue;
            }
            let kind = self.kind(part);
            let (rating, amps, seconds) = if let Kind::Breaker(b) = kind {
                let amps = amps(b.line, b.load, b.ohms);
                let seconds =
                    if b.latches { BREAKER.seconds_to_open(amps / b.amps) } else { Some(0.0) };
                (b.amps, amps, seconds)
            } else if let Kind::Fuse(f) = kind {
                let amps = amps(f.line, f.load, f.ohms);
                (f.amps, amps, FUSE.seconds_to_open(amps / f.amps))
            } else {
                continue;
            };
            if let Some(seconds) = seconds
                && first.is_none_or(|(least, ..)| seconds < least)
            {
                first = Some((seconds, part, amps, rating));
            }
        }
        let Some((seconds, part, amps, rating)) = first else {
            return false;
        };
        let opened = match state.of(part) {
            PartState::Fuse { seated, .. } => PartState::Fuse { seated, blown: true },
            _ => PartState::Breaker { closed: false, tripped: true },
        };
        state.set(part, opened);
        events.push(Event::Opens { part, amps, rating, seconds });
        true
    }

    /// Notes machines of which one sets up a good part of the other's voltage at the
    /// other's terminals.
    fn note_paralleled(&self, state: &State, solution: &Solution, events: &mut Vec<Event>) {
        for group in &solution.ac {
            for other in self.machines() {
                if other.part == group.source || other.speed(state) == 0.0 || !other.gives() {
                    continue;
                }
                let ([a, b], rated) = other.output();
                let across = group.volts[a.index()] - group.volts[b.index()];
                let event = Event::Paralleled {
                    first: group.source.min(other.part),
                    second: group.source.max(other.part),
                };
                if crate::units::magnitude(across) > TIED * rated && !events.contains(&event) {
                    events.push(event);
                }
            }
        }
    }
}

/// Parts that differ between the states of a cycle.
fn changing(cycle: &[Seen]) -> Vec<PartId> {
    let (first, rest) = cycle.split_first().expect("a cycle has at least one state");
    (0..first.parts.len())
        .filter(|&index| rest.iter().any(|seen| seen.parts[index] != first.parts[index]))
        .map(|index| PartId(index as u32))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::network::tests::network;

    fn settled(nets: &str, parts: &[&str]) -> (Network, Settled) {
        let network = network(nets, parts);
        let settled = network.settle(State::at_rest(network.circuit())).expect("it has a solution");
        (network, settled)
    }

    fn told(network: &Network, settled: &Settled) -> Vec<String> {
        settled.events.iter().map(|event| event.told(network.circuit())).collect()
    }

    #[test]
    fn relays_move_before_machines_and_machines_before_protection() {
        let (network, settled) = settled(
            "D E F A C",
            &[
                "Supply(id: \"S\", plus: \"D\", volts: 28)",
                "Breaker(id: \"CB\", line: \"D\", load: \"F\", amps: 5)",
                "Resistor(id: \"R\", a: \"F\", b: \"GND\", ohms: 0.5)",
                "Converter(id: \"CV\", dc: \"E\", a: \"A\", b: \"GND\", c: \"C\", volt_amps: 250)",
                "Relay(id: \"K\", x1: \"D\", contacts: [(com: \"D\", no: \"E\")])",
            ],
        );
        assert_eq!(settled.stop, StopReason::Steady);
        let told = told(&network, &settled);
        assert_eq!(told.len(), 3, "{told:?}");
        assert!(told[0].starts_with("K operates at 27."), "{told:?}");
        assert_eq!(told[1], "CV starts");
        assert!(told[2].starts_with("CB carries 5"), "{told:?}");
    }

    #[test]
    fn of_two_that_lock_each_other_out_the_first_in_the_file_goes_in() {
        let coil = |id: &str, own: &str, other: &str| {
            format!("Relay(id: {id:?}, x1: {own:?}, contacts: [(com: \"D\", nc: {other:?})])")
        };
        let (one, two) = (coil("K1", "X1", "X2"), coil("K2", "X2", "X1"));
        let supply = "Supply(id: \"S\", plus: \"D\", volts: 28)";
        for (parts, winner) in [([supply, &one, &two], "K1"), ([supply, &two, &one], "K2")] {
            let (network, settled) = settled("D X1 X2", &parts);
            assert_eq!(settled.stop, StopReason::Steady);
            let told = told(&network, &settled);
            assert_eq!(told.len(), 1, "{told:?}");
            assert!(told[0].starts_with(&format!("{winner} operates")), "{told:?}");
        }
    }

    #[test]
    fn a_buzzer_beside_another_relay_is_the_only_one_named() {
        let (network, settled) = settled(
            "D X",
            &[
                "Supply(id: \"S\", plus: \"D\", volts: 28)",
                "Relay(id: \"K1\", x1: \"X\", contacts: [(com: \"D\", nc: \"X\")])",
                "Relay(id: \"K2\", x1: \"D\", contacts: [(com: \"D\", no: \"X\")], pickup_volts: 30)",
            ],
        );
        let parts = vec![network.circuit().find_part("K1").expect("a relay")];
        assert_eq!(settled.stop, StopReason::Chattering { parts, period: 2 });
        assert_eq!(settled.cycle.len(), 1);
    }

    #[test]
    fn a_breaker_overloaded_half_the_time_opens() {
        // Twenty times the rating in one half of the cycle and nothing in the other.
        let (network, settled) = settled(
            "D B X",
            &[
                "Supply(id: \"S\", plus: \"D\", volts: 28)",
                "Breaker(id: \"CB\", line: \"D\", load: \"B\", amps: 1)",
                "Relay(id: \"K\", x1: \"X\", contacts: [(com: \"B\", nc: \"X\")])",
                "Resistor(id: \"R\", a: \"X\", b: \"GND\", ohms: 1.3)",
            ],
        );
        assert_eq!(settled.stop, StopReason::Steady);
        let breaker = network.circuit().find_part("CB").expect("a breaker");
        assert!(!settled.state.protector_closed(breaker));
        assert!(matches!(
            settled.events.last(),
            Some(Event::Releases { .. } | Event::Opens { .. })
        ));
    }
}
