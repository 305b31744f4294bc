//! What moves by itself: diodes turn over, relays operate and release, machines start and
//! stop, each with hysteresis from what it was doing.

use super::element::siemens;
use super::event::Event;
use super::prepare::Network;
use super::solution::Solution;
use super::state::{Flow, PartState, State, Turning};
use crate::circuit::{AIRFRAME, Gyro, Kind, PartId};

/// Volts by which something that conducts one way only has to stand on the wrong side
/// before it turns over: above what a rough balance leaves, below anything one can read.
const SLACK_VOLTS: f64 = 1e-4;

/// Fraction of its enabling volts below which a reverse-current relay lets go, an
/// assumption in line with the dropout of other relays.
const ENABLE_HOLDS: f64 = 0.4;

/// How parts that want to move do so.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Moving {
    /// All at once.
    Together,
    /// One at a time, in part order around from this one.
    InTurn(PartId),
}

impl Moving {
    pub(super) fn turn(self) -> PartId {
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
    /// Turns over what conducts one way only.
    pub(super) fn turn_over(
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

    pub(super) fn move_relays(
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

    pub(super) fn turn_machines(
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

#[cfg(test)]
mod tests {
    use super::*;

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
