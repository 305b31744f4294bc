//! What happens after something has changed, until nothing happens any more.
//!
//! Relays move in milliseconds, machines start and stop in seconds, protection
//! opens in seconds to minutes; so relays settle first, then machines, and only
//! then the overloaded breaker or fuse with the shortest time opens.
//!
//! Relays that want to move at the same time move together. No two real relays are
//! equally fast, so where that leads round in a circle it is tried again with one
//! moving at a time; what still goes round does chatter.

use super::element::siemens;
use super::follow::{BALANCED, ROUGHLY_BALANCED};
use super::protect::{BREAKER, FUSE};
use super::solution::Solution;
use super::solve::{Network, SolveError, Workspace};
use super::state::{PartState, State};
use crate::circuit::{Circuit, Kind, PartId};
use crate::units::quantity;

/// Something that happened while a circuit settled.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A relay operated at these coil volts.
    Operates {
        /// The relay.
        part: PartId,
        /// Coil volts.
        volts: f64,
    },
    /// A relay released at these coil volts.
    Releases {
        /// The relay.
        part: PartId,
        /// Coil volts.
        volts: f64,
    },
    /// A machine or gyro started.
    Starts {
        /// The machine.
        part: PartId,
    },
    /// A machine or gyro ran down.
    Stops {
        /// The machine.
        part: PartId,
    },
    /// A breaker or fuse opened.
    Opens {
        /// The breaker or fuse.
        part: PartId,
        /// Amperes it carried.
        amps: f64,
        /// Its rating in amperes.
        rating: f64,
        /// Seconds it took.
        seconds: f64,
    },
    /// Two machines that run free were tied together.
    Paralleled {
        /// One machine.
        first: PartId,
        /// The other.
        second: PartId,
    },
}

impl Event {
    /// The event in words.
    pub fn told(&self, circuit: &Circuit) -> String {
        let name = |part: PartId| &circuit.part(part).id;
        match self {
            Self::Operates { part, volts } => {
                format!("{} operates at {}", name(*part), quantity(*volts, "V"))
            }
            Self::Releases { part, volts } => {
                format!("{} releases at {}", name(*part), quantity(*volts, "V"))
            }
            Self::Starts { part } => format!("{} starts", name(*part)),
            Self::Stops { part } => format!("{} runs down", name(*part)),
            Self::Opens { part, amps, rating, seconds } => format!(
                "{} carries {}, {} times its rating: opens after {}",
                name(*part),
                quantity(*amps, "A"),
                crate::units::significant(amps / rating, 2),
                quantity(*seconds, "s")
            ),
            Self::Paralleled { first, second } => {
                format!("{} and {} are paralleled though not in step", name(*first), name(*second))
            }
        }
    }
}

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

/// How parts that want to move do so.
#[derive(Clone, Copy, PartialEq)]
enum Moving {
    /// All at once.
    Together,
    /// One at a time, in part order around from this one.
    InTurn(PartId),
}

impl Moving {
    fn turn(self) -> PartId {
        match self {
            Self::Together => PartId(0),
            Self::InTurn(part) => part,
        }
    }

    /// The parts of a list in part order, from the one whose turn it is.
    fn order<T: Copy>(self, list: &[T], part: impl Fn(&T) -> PartId) -> impl Iterator<Item = T> {
        let first = list.partition_point(|item| part(item) < self.turn());
        list[first..].iter().chain(&list[..first]).copied()
    }

    /// Whether no more is to move in this step after `part` has; passes on the turn.
    fn ends_with(&mut self, part: PartId) -> bool {
        match self {
            Self::Together => false,
            Self::InTurn(turn) => {
                *turn = PartId(part.0 + 1);
                true
            }
        }
    }
}

impl Network {
    /// Lets the circuit settle from a state.
    ///
    /// # Errors
    /// [`SolveError`] when some state on the way has no solution.
    pub fn settle(&self, mut state: State) -> Result<Settled, SolveError> {
        let mut workspace = Workspace::default();
        let mut events = Vec::new();
        // States since the last change that cannot be undone by itself, to see a cycle.
        let mut seen: Vec<Seen> = Vec::new();
        let mut moving = Moving::Together;
        // At rest as far as one can tell from this; made exact before it is believed.
        let mut rough: Option<Solution> = None;
        for _ in 0..STEP_LIMIT {
            let exact = rough.is_some();
            let enough = if exact { BALANCED } else { ROUGHLY_BALANCED };
            let solution = self.balance_in(&mut state, rough.take(), enough, &mut workspace)?;
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
            if self.move_relays(&mut state, &solution, &mut moving, &mut events)
                || self.turn_machines(&mut state, &solution, &mut moving, &mut events)
            {
                seen.push(Seen { parts, turn, solution, told });
            } else if self.open_protection(&mut state, std::slice::from_ref(&solution), &mut events)
            {
                (seen, moving) = (Vec::new(), Moving::Together);
            } else if exact {
                let stop = StopReason::Steady;
                return Ok(Settled { state, solution, cycle: Vec::new(), events, stop });
            } else {
                rough = Some(solution);
            }
        }
        let solution = self.balance_in(&mut state, None, BALANCED, &mut workspace)?;
        let stop = StopReason::StepLimit(STEP_LIMIT);
        Ok(Settled { state, solution, cycle: Vec::new(), events, stop })
    }

    fn move_relays(
        &self,
        state: &mut State,
        solution: &Solution,
        moving: &mut Moving,
        events: &mut Vec<Event>,
    ) -> bool {
        let before = events.len();
        for part in moving.order(&self.movers().relays, |part| *part) {
            let Kind::Relay(relay) = &self.circuit().part(part).kind else {
                continue;
            };
            let volts = if relay.coil_ohms.is_finite() {
                solution.sensed(relay.senses, relay.x1, relay.x2)
            } else {
                0.0
            };
            let operated = state.operated(part);
            let next = relay.stuck.unwrap_or(if operated {
                volts >= relay.dropout_volts
            } else {
                volts >= relay.pickup_volts
            });
            if next != operated {
                state.set(part, PartState::Relay { operated: next });
                events.push(if next {
                    Event::Operates { part, volts }
                } else {
                    Event::Releases { part, volts }
                });
                if moving.ends_with(part) {
                    break;
                }
            }
        }
        events.len() > before
    }

    fn turn_machines(
        &self,
        state: &mut State,
        solution: &Solution,
        moving: &mut Moving,
        events: &mut Vec<Event>,
    ) -> bool {
        let before = events.len();
        for (part, rotor) in moving.order(&self.movers().machines, |(part, _)| *part) {
            let running = state.running(part);
            let kind = &self.circuit().part(part).kind;
            let next = if let Kind::Converter(c) = kind {
                let volts = solution.dc_between(c.dc, c.ret).abs();
                c.motor_sound && volts >= if running { c.run_volts } else { c.start_volts }
            } else if let Kind::Vibrator(v) = kind {
                let volts = solution.dc_between(v.dc, v.ret).abs();
                let least = if running { 0.6 * v.start_volts } else { v.start_volts };
                v.reed_sound && volts >= least
            } else if let (Kind::Gyro(gyro), Some(nets)) = (kind, rotor) {
                let (first, second) = solution.sequence_squares(nets);
                let rated = gyro.volts * gyro.volts / 3.0;
                let torque = (first - second) / rated;
                !gyro.seized
                    && torque >= if running { gyro.stall_torque } else { gyro.start_torque }
            } else {
                continue;
            };
            if next != running {
                state.set(part, PartState::Machine { running: next });
                events.push(if next { Event::Starts { part } } else { Event::Stops { part } });
                if moving.ends_with(part) {
                    break;
                }
            }
        }
        events.len() > before
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
            let kind = &self.circuit().part(part).kind;
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
                if other.part == group.source || !state.running(other.part) || !other.gives() {
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

    #[test]
    fn turns_go_round() {
        let list = [PartId(2), PartId(5), PartId(9)];
        let order = |moving: Moving| moving.order(&list, |part| *part).collect::<Vec<_>>();
        assert_eq!(order(Moving::Together), list);
        assert_eq!(order(Moving::InTurn(PartId(5))), [PartId(5), PartId(9), PartId(2)]);
        assert_eq!(order(Moving::InTurn(PartId(10))), list);
        let mut moving = Moving::InTurn(PartId(0));
        assert!(moving.ends_with(PartId(5)));
        assert!(moving == Moving::InTurn(PartId(6)));
    }
}
