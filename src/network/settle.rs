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
use super::prepare::{Network, SolveError};
use super::protect::{BREAKER, FUSE};
use super::solution::Solution;
use super::solve::Workspace;
use super::state::{Flow, PartState, State, Turning};
use crate::circuit::{AIRFRAME, Gyro, Kind, PartId};

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

/// Volts by which something that conducts one way only has to stand on the wrong side
/// before it turns over: above what a rough balance leaves, below anything one can read.
const SLACK_VOLTS: f64 = 1e-4;

/// Fraction of its enabling volts below which a reverse-current relay lets go, an
/// assumption in line with the dropout of other relays.
const ENABLE_HOLDS: f64 = 0.4;

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

    /// Turns over what conducts one way only.
    fn turn_over(
        &self,
        state: &mut State,
        solution: &Solution,
        moving: &mut Moving,
        events: &mut Vec<Event>,
    ) -> bool {
        let before = events.len();
        for part in moving.order(&self.movers().one_way, |part| *part) {
            let flow = state.flow(part);
            let kind = self.kind(part);
            let next = if let Kind::Diode(d) = kind {
                let forward = solution.dc_between(d.anode, d.cathode) - d.drop_volts;
                conducts(flow, forward)
            } else if let Kind::TransformerRectifier(t) = kind {
                let open = t.volts * state.speed[part.index()];
                conducts(flow, open - solution.dc_between(t.plus, t.minus).max(0.0))
            } else if let Kind::Battery(b) = kind {
                let volts = solution.dc_between(b.plus, b.minus);
                match flow {
                    Flow::Out if volts > b.volts + SLACK_VOLTS => Flow::Neither,
                    Flow::In if volts < b.charge_volts - SLACK_VOLTS => Flow::Neither,
                    Flow::Neither if volts < b.volts - SLACK_VOLTS => Flow::Out,
                    Flow::Neither if volts > b.charge_volts + SLACK_VOLTS => Flow::In,
                    same => same,
                }
            } else {
                continue;
            };
            if next != flow {
                state.set(part, PartState::Flow(next));
                events.push(Event::Turns { part, flow: next });
                if moving.ends_with(part) {
                    break;
                }
            }
        }
        events.len() > before
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
            let operated = state.operated(part);
            let Some((next, event)) = self.relay_moves(part, operated, solution) else { continue };
            if next != operated {
                state.set(part, PartState::Relay { operated: next });
                events.push(event);
                if moving.ends_with(part) {
                    break;
                }
            }
        }
        events.len() > before
    }

    /// What a relay that is operated or not wants to be, and the event if it moves.
    fn relay_moves(
        &self,
        part: PartId,
        operated: bool,
        solution: &Solution,
    ) -> Option<(bool, Event)> {
        let kind = self.kind(part);
        let moved = |next: bool, volts: f64| {
            let event = if !next && !kind.coil_is_whole() {
                Event::Slackens { part }
            } else if next {
                Event::Operates { part, volts }
            } else {
                Event::Releases { part, volts }
            };
            (next, event)
        };
        let hysteresis = |volts: f64, pickup: f64, dropout: f64| {
            if operated { volts >= dropout } else { volts >= pickup }
        };
        if let Kind::Relay(r) | Kind::Contactor(r) = kind {
            let whole = r.coil_ohms.is_finite();
            let volts = if whole { solution.sensed(r.senses, r.x1, r.x2) } else { 0.0 };
            let wants = hysteresis(volts, r.pickup_volts, r.dropout_volts);
            Some(moved(r.stuck.unwrap_or(wants), volts))
        } else if let Kind::Solenoid(s) = kind {
            let whole = s.coil_ohms.is_finite();
            let volts = if whole { solution.dc_between(s.x1, s.x2).abs() } else { 0.0 };
            let wants = hysteresis(volts, s.pull_volts, s.drop_volts);
            Some(moved(s.stuck.unwrap_or(wants), volts))
        } else if let Kind::PhaseRelay(r) = kind {
            let (first, second) = solution.sequence_squares(self.rotor_nets(part));
            let rated = r.volts / 3.0_f64.sqrt();
            let wants = hysteresis(first.sqrt() / rated, r.pickup, r.dropout)
                && second.sqrt() / rated <= r.unbalance;
            Some(moved(r.stuck.unwrap_or(wants), (3.0 * first).sqrt()))
        } else if let Kind::ReverseCurrentRelay(r) = kind {
            let above = solution.dc_between(r.generator, r.bus);
            let enabled = r.coil_ohms.is_finite() && {
                let volts = solution.dc_between(r.enable, AIRFRAME).abs();
                hysteresis(volts, r.enable_volts, ENABLE_HOLDS * r.enable_volts)
            };
            let back = if operated { -above * siemens(r.ohms) } else { 0.0 };
            let wants =
                enabled && if operated { back < r.reverse_amps } else { above >= r.close_volts };
            let next = r.stuck.unwrap_or(wants);
            let event = if next {
                Event::PutsOn { part, volts: above }
            } else {
                Event::TakesOff { part, amps: if enabled { back } else { 0.0 } }
            };
            Some((next, event))
        } else if let Kind::Flasher(f) = kind {
            // It opens when it has carried its current and closes when it has cooled.
            let amps = solution.dc_between(f.line, f.load).abs() * siemens(f.ohms);
            Some(moved(f.works && !operated && f.ohms.is_finite() && amps >= f.least_amps, 0.0))
        } else {
            None
        }
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
            let kind = self.kind(part);
            let (next, event) = if let (Kind::Gyro(gyro), Some(nets)) = (kind, rotor) {
                let turning = state.turning(part);
                let next = gyro_turns(gyro, turning, solution.sequence_squares(nets));
                if next == turning {
                    continue;
                }
                let event = match next {
                    Turning::Stands => Event::Stops { part },
                    Turning::Forward => Event::Starts { part },
                    Turning::Backward => Event::StartsBackwards { part },
                };
                (PartState::Rotor(next), event)
            } else {
                let next = if let Kind::Converter(c) = kind {
                    let volts = solution.dc_between(c.dc, c.ret).abs();
                    c.motor_sound && volts >= if running { c.run_volts } else { c.start_volts }
                } else if let Kind::Vibrator(v) = kind {
                    let volts = solution.dc_between(v.dc, v.ret).abs();
                    let least = if running { 0.6 * v.start_volts } else { v.start_volts };
                    v.reed_sound && volts >= least
                } else if let Kind::Motor(m) = kind {
                    let volts = solution.dc_between(m.a, m.b).abs();
                    let whole = !m.seized && m.running_ohms.is_finite();
                    whole && volts >= if running { m.run_volts } else { m.start_volts }
                } else {
                    continue;
                };
                if next == running {
                    continue;
                }
                let event = if next { Event::Starts { part } } else { Event::Stops { part } };
                (PartState::Machine { running: next }, event)
            };
            state.set(part, next);
            events.push(event);
            if moving.ends_with(part) {
                break;
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

/// Which way a diode or rectifier conducts when it stands this far above its drop.
fn conducts(flow: Flow, forward_volts: f64) -> Flow {
    match flow {
        Flow::Out if forward_volts < -SLACK_VOLTS => Flow::Neither,
        Flow::Neither if forward_volts > SLACK_VOLTS => Flow::Out,
        same => same,
    }
}

/// How a rotor turns under these squares of positive and negative sequence volts.
///
/// Its torque goes with their difference. With two lines exchanged the negative
/// sequence is the larger and it turns the other way.
fn gyro_turns(gyro: &Gyro, turning: Turning, (first, second): (f64, f64)) -> Turning {
    let torque = 3.0 * (first - second) / (gyro.volts * gyro.volts);
    if gyro.seized {
        return Turning::Stands;
    }
    match turning {
        Turning::Forward if torque >= gyro.stall_torque => Turning::Forward,
        Turning::Backward if -torque >= gyro.stall_torque => Turning::Backward,
        Turning::Stands if torque >= gyro.start_torque => Turning::Forward,
        Turning::Stands if -torque >= gyro.start_torque => Turning::Backward,
        _ => Turning::Stands,
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
