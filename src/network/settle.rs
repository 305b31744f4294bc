//! What happens after something has changed, until nothing happens any more.
//!
//! Relays move in milliseconds, machines start and stop in seconds, protection
//! opens in seconds to minutes; so relays settle first, then machines, and only
//! then the overloaded breaker or fuse with the shortest time opens.

use super::protect::{BREAKER, FUSE};
use super::solution::Solution;
use super::solve::{Network, SolveError};
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

impl Network {
    /// Lets the circuit settle from a state.
    ///
    /// # Errors
    /// [`SolveError`] when some state on the way has no solution.
    pub fn settle(&self, mut state: State) -> Result<Settled, SolveError> {
        let mut events = Vec::new();
        // States since the last change that cannot be undone by itself, to see a cycle.
        let mut seen: Vec<(Vec<PartState>, Solution)> = Vec::new();
        for _ in 0..STEP_LIMIT {
            let solution = self.balance(&mut state)?;
            self.note_paralleled(&state, &solution, &mut events);
            if let Some(first) = seen.iter().position(|(parts, _)| *parts == state.parts) {
                let cycle = seen.split_off(first);
                let parts = changing(&cycle);
                let stop = StopReason::Chattering { parts, period: cycle.len() };
                let cycle = cycle.into_iter().skip(1).map(|(_, solution)| solution).collect();
                return Ok(Settled { state, solution, cycle, events, stop });
            }
            let before = state.parts.clone();
            let moved = self.move_relays(&mut state, &solution, &mut events)
                || self.turn_machines(&mut state, &solution, &mut events);
            if moved {
                seen.push((before, solution));
                continue;
            }
            if !self.open_protection(&mut state, &solution, &mut events) {
                let stop = StopReason::Steady;
                return Ok(Settled { state, solution, cycle: Vec::new(), events, stop });
            }
            seen.clear();
        }
        let solution = self.balance(&mut state)?;
        let stop = StopReason::StepLimit(STEP_LIMIT);
        Ok(Settled { state, solution, cycle: Vec::new(), events, stop })
    }

    fn move_relays(&self, state: &mut State, solution: &Solution, events: &mut Vec<Event>) -> bool {
        let before = events.len();
        for (part, p) in self.circuit().parts_with_ids() {
            let Kind::Relay(relay) = &p.kind else {
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
            }
        }
        events.len() > before
    }

    fn turn_machines(
        &self,
        state: &mut State,
        solution: &Solution,
        events: &mut Vec<Event>,
    ) -> bool {
        let before = events.len();
        for (part, p) in self.circuit().parts_with_ids() {
            let running = state.running(part);
            let next = match &p.kind {
                Kind::Converter(c) => {
                    let volts = solution.dc_between(c.dc, c.ret).abs();
                    c.motor_sound && volts >= if running { c.run_volts } else { c.start_volts }
                }
                Kind::Vibrator(v) => {
                    let volts = solution.dc_between(v.dc, v.ret).abs();
                    let least = if running { 0.6 * v.start_volts } else { v.start_volts };
                    v.reed_sound && volts >= least
                }
                Kind::Gyro(gyro) => {
                    // The nets inside stand off from the terminals where a winding
                    // is open; the sequence voltages are those of the windings.
                    let (first, second) = solution.sequence_squares(self.rotor_nets(part));
                    let rated = gyro.volts * gyro.volts / 3.0;
                    let torque = (first - second) / rated;
                    !gyro.seized
                        && torque >= if running { gyro.stall_torque } else { gyro.start_torque }
                }
                _ => continue,
            };
            if next != running {
                state.set(part, PartState::Machine { running: next });
                events.push(if next { Event::Starts { part } } else { Event::Stops { part } });
            }
        }
        events.len() > before
    }

    /// Opens the overloaded breaker or fuse with the shortest time.
    fn open_protection(
        &self,
        state: &mut State,
        solution: &Solution,
        events: &mut Vec<Event>,
    ) -> bool {
        let mut first: Option<(f64, PartId, f64, f64)> = None;
        for (part, p) in self.circuit().parts_with_ids() {
            if !state.protector_closed(part) {
                continue;
            }
            let (rating, amps, seconds) = match &p.kind {
                Kind::Breaker(b) => {
                    let amps = solution.rms_between(b.line, b.load) / b.ohms;
                    let seconds =
                        if b.latches { BREAKER.seconds_to_open(amps / b.amps) } else { Some(0.0) };
                    (b.amps, amps, seconds)
                }
                Kind::Fuse(f) => {
                    let amps = solution.rms_between(f.line, f.load) / f.ohms;
                    (f.amps, amps, FUSE.seconds_to_open(amps / f.amps))
                }
                _ => continue,
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

    fn note_paralleled(&self, state: &State, solution: &Solution, events: &mut Vec<Event>) {
        for group in &solution.ac {
            for &other in self.machines() {
                let Kind::Converter(c) = &self.circuit().part(other).kind else {
                    continue;
                };
                if other <= group.source || !state.running(other) || !c.field_sound {
                    continue;
                }
                let across = group.volts[c.phases[0].index()] - group.volts[c.phases[2].index()];
                let event = Event::Paralleled { first: group.source, second: other };
                if crate::units::magnitude(across) > TIED * c.volts && !events.contains(&event) {
                    events.push(event);
                }
            }
        }
    }
}

/// Parts that differ between the states of a cycle.
fn changing(cycle: &[(Vec<PartState>, Solution)]) -> Vec<PartId> {
    let (first, rest) = cycle.split_first().expect("a cycle has at least one state");
    (0..first.0.len())
        .filter(|&index| rest.iter().any(|(parts, _)| parts[index] != first.0[index]))
        .map(|index| PartId(index as u32))
        .collect()
}
