//! Where one stands, what is open, what is left in the spares box, and what a step
//! costs in minutes.

use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::network::{PartState, State};

use super::barred::Barred;
use super::probe::Touch;
use super::rig::{Act, Step};

/// Minutes to move a control that says nothing else, pull or push something, read a probe:
/// common practice, no published source.
const CONTROL_MINUTES: f64 = 0.1;
const BREAKER_MINUTES: f64 = 0.2;
const FUSE_MINUTES: f64 = 0.5;
const PROBE_MINUTES: f64 = 0.8;
const OHMS_MINUTES: f64 = 1.0;

/// Where a person is and what they have prepared. All of it is known to them, so it
/// is never part of what is reasoned about; a control at a station where they have not
/// been is taken to stand as it should.
#[derive(Clone, Debug, PartialEq)]
pub struct Whereabouts {
    /// Where they stand.
    pub station: StationId,
    /// Which stations have been opened.
    pub opened: Vec<bool>,
    /// Spare fuses left: rating in amperes and how many.
    pub spares: Vec<(f64, u32)>,
    /// Positions of controls, breakers out and fuses out, as hands left them.
    pub hands: State,
    /// What the drill rules out.
    pub barred: Barred,
}

/// Why a step cannot be done.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// One stands elsewhere.
    #[error("{thing} is at {station}: go there first")]
    Elsewhere {
        /// What is wanted.
        thing: String,
        /// Where it is.
        station: String,
    },
    /// It is already so.
    #[error("{thing} is already {state}")]
    AlreadySo {
        /// The thing.
        thing: String,
        /// How it already is.
        state: String,
    },
    /// That cannot be done with this thing.
    #[error("{thing} cannot be {done}; {instead}")]
    NotSuch {
        /// The thing.
        thing: String,
        /// The act, as a participle.
        done: &'static str,
        /// What can be done instead.
        instead: String,
    },
    /// No spare of the rating is left.
    #[error("no spare fuse of {amps} A is left")]
    NoSpare {
        /// The rating wanted.
        amps: String,
    },
    /// The drill rules it out.
    #[error("{reason}")]
    Barred {
        /// Why.
        reason: String,
    },
    /// Both probes touch the same.
    #[error("both probes touch {point}: put one of them elsewhere")]
    SamePoint {
        /// The point.
        point: String,
    },
}

/// Minutes to walk between two stations: each knows how far it is from the first, and
/// between two others one passes the farther way.
pub fn walking_minutes(circuit: &Circuit, from: StationId, to: StationId) -> f64 {
    if from == to {
        return 0.0;
    }
    circuit.station(from).reach_minutes.max(circuit.station(to).reach_minutes)
}

impl Whereabouts {
    /// Whether everything but where one stands and what is open is the same.
    pub fn has_prepared_the_same(&self, other: &Self) -> bool {
        // Of what hands left only the parts are known; starting points of a solution are not.
        self.hands.parts == other.hands.parts
            && self.spares == other.spares
            && self.barred == other.barred
    }

    /// Whether one stands there and has prepared the same.
    pub fn is(&self, other: &Self) -> bool {
        self.station == other.station
            && self.opened == other.opened
            && self.has_prepared_the_same(other)
    }

    /// At the first station, in the normal setup, with all spares.
    pub fn start(circuit: &Circuit) -> Self {
        let mut opened = vec![false; circuit.stations.len()];
        if let Some(first) = opened.first_mut() {
            *first = true;
        }
        Self {
            station: StationId(0),
            opened,
            spares: circuit.spare_fuses.clone(),
            hands: State::at_rest(circuit),
            barred: Barred::default(),
        }
    }

    /// Minutes to be at a station from here, its opening included.
    pub fn minutes_to(&self, circuit: &Circuit, there: StationId) -> f64 {
        if there == self.station {
            return 0.0;
        }
        let opening =
            if self.opened[there.index()] { 0.0 } else { circuit.station(there).open_minutes };
        walking_minutes(circuit, self.station, there) + opening
    }

    /// Minutes a step takes once one is where it is done; walking for [`Step::Go`].
    pub fn minutes(&self, circuit: &Circuit, step: Step) -> f64 {
        match step {
            Step::LookAround => 0.0,
            Step::Go(there) => self.minutes_to(circuit, there),
            Step::Probe(probe) => {
                if probe.function == super::Function::Ohms {
                    OHMS_MINUTES
                } else {
                    PROBE_MINUTES
                }
            }
            Step::Act(act) => match act {
                Act::Set { control, position } => self.moving_minutes(circuit, control, position),
                Act::Hold { .. } => CONTROL_MINUTES,
                Act::PushIn(_) => BREAKER_MINUTES,
                Act::Pull(part) => match circuit.part(part).kind {
                    Kind::Fuse(_) => FUSE_MINUTES,
                    _ => BREAKER_MINUTES,
                },
                Act::Refit(_) | Act::FitSpare(_) => FUSE_MINUTES,
                Act::Replace(part) => circuit.part(part).replace_minutes,
            },
        }
    }

    /// Minutes to bring a control to a position from how hands left it.
    fn moving_minutes(&self, circuit: &Circuit, control: PartId, to: u8) -> f64 {
        let Kind::Mechanism(mechanism) = &circuit.part(control).kind else {
            return CONTROL_MINUTES;
        };
        let of = |position: u8| mechanism.move_minutes.get(usize::from(position)).copied();
        let from = self.hands.position(control).and_then(of);
        from.zip(of(to)).map_or(CONTROL_MINUTES, |(from, to)| from.max(to))
    }

    /// The station at which a step is done.
    pub fn done_at(&self, circuit: &Circuit, step: Step) -> StationId {
        match step {
            Step::LookAround => self.station,
            Step::Go(there) => there,
            Step::Act(act) => circuit.part(act.part()).station,
            Step::Probe(probe) => [probe.red, probe.black]
                .iter()
                .find_map(|touch| match touch {
                    Touch::Point(point) => Some(circuit.test_point(*point).station),
                    Touch::Airframe => None,
                })
                .unwrap_or(self.station),
        }
    }

    /// Whether a step can be done here and now.
    ///
    /// # Errors
    /// The [`Refusal`] that says why not. `popped` tells whether a breaker's collar
    /// shows, which only someone in front of it knows.
    pub fn allows(
        &self,
        circuit: &Circuit,
        step: Step,
        popped: impl Fn(PartId) -> bool,
    ) -> Result<(), Refusal> {
        if let Some(reason) = self.bars(circuit, step) {
            return Err(Refusal::Barred { reason });
        }
        match step {
            Step::Go(there) if there == self.station => Err(Refusal::AlreadySo {
                thing: "the place where you stand".to_owned(),
                state: circuit.station(there).title.clone(),
            }),
            Step::LookAround | Step::Go(_) => Ok(()),
            Step::Probe(probe) => {
                if probe.red == probe.black {
                    return Err(Refusal::SamePoint { point: probe.red.name(circuit).to_owned() });
                }
                for touch in [probe.red, probe.black] {
                    if let Touch::Point(point) = touch {
                        let point = circuit.test_point(point);
                        self.here(circuit, &point.id, point.station)?;
                    }
                }
                Ok(())
            }
            Step::Act(act) => self.allows_act(circuit, act, popped),
        }
    }

    /// Why the drill rules a step out, wherever one stands; `None` when it does not.
    pub fn bars(&self, circuit: &Circuit, step: Step) -> Option<String> {
        self.barred.reason(circuit, step, self.done_at(circuit, step))
    }

    fn here(&self, circuit: &Circuit, thing: &str, station: StationId) -> Result<(), Refusal> {
        if station == self.station {
            return Ok(());
        }
        Err(Refusal::Elsewhere {
            thing: thing.to_owned(),
            station: circuit.station(station).title.clone(),
        })
    }

    fn allows_act(
        &self,
        circuit: &Circuit,
        act: Act,
        popped: impl Fn(PartId) -> bool,
    ) -> Result<(), Refusal> {
        let part = circuit.part(act.part());
        let thing = part.id.clone();
        self.here(circuit, &thing, part.station)?;
        let state = self.hands.of(act.part());
        let so = |state: &str| Refusal::AlreadySo { thing: thing.clone(), state: state.to_owned() };
        let not = |done: &'static str, instead: &str| Refusal::NotSuch {
            thing: thing.clone(),
            done,
            instead: instead.to_owned(),
        };
        match (act, &part.kind) {
            (Act::Set { .. } | Act::Hold { .. }, kind) => match (act, kind.control()) {
                (_, None) => Err(not("set", "it is not a control")),
                (Act::Hold { .. }, Some(control)) => {
                    if control.springs_back {
                        Ok(())
                    } else {
                        Err(not("held", "it stays where it is put: set it"))
                    }
                }
                (Act::Set { position, .. }, Some(control)) if !control.springs_back => {
                    if state == PartState::Position(position) {
                        Err(so(&format!("at {}", control.positions[usize::from(position)])))
                    } else {
                        Ok(())
                    }
                }
                (_, Some(_)) => Err(not("left in a position", "it springs back: press it")),
            },
            (Act::Pull(id), Kind::Breaker(_)) => match state {
                PartState::Breaker { closed: true, .. } if !popped(id) => Ok(()),
                _ => Err(so("out")),
            },
            (Act::Pull(_), Kind::Fuse(_)) => match state {
                PartState::Fuse { seated: true, .. } => Ok(()),
                _ => Err(so("out of its holder")),
            },
            (Act::Pull(_), _) => Err(not("pulled", "only breakers and fuses are")),
            (Act::PushIn(id), Kind::Breaker(_)) => match state {
                PartState::Breaker { closed: true, .. } if !popped(id) => Err(so("in")),
                _ => Ok(()),
            },
            (Act::PushIn(_), _) => Err(not("pushed in", "only breakers are")),
            (Act::Refit(_), Kind::Fuse(_)) => match state {
                PartState::Fuse { seated: false, .. } => Ok(()),
                _ => Err(so("in its holder")),
            },
            (Act::FitSpare(_), Kind::Fuse(fuse)) => match state {
                PartState::Fuse { seated: true, .. } => {
                    Err(not("fitted", "its holder is not empty: pull the old one first"))
                }
                _ if self.spares_of(fuse.amps) == 0 => {
                    Err(Refusal::NoSpare { amps: crate::units::significant(fuse.amps, 3) })
                }
                _ => Ok(()),
            },
            (Act::Refit(_) | Act::FitSpare(_), _) => Err(not("fitted", "only fuses are")),
            (Act::Replace(_), Kind::Supply(_)) => {
                Err(not("replaced", "the aircraft's own supply is outside this system"))
            }
            (Act::Replace(_), Kind::Mechanism(_)) => {
                Err(not("replaced", "it is no electrical part: set it"))
            }
            (Act::Replace(_), _) => Ok(()),
        }
    }

    /// Spare fuses of a rating left.
    pub fn spares_of(&self, amps: f64) -> u32 {
        self.spares.iter().filter(|(rating, _)| *rating == amps).map(|(_, n)| n).sum()
    }

    /// Notes what a step that was done leaves behind.
    pub fn after(&mut self, circuit: &Circuit, step: Step) {
        match step {
            Step::LookAround | Step::Probe(_) => {}
            Step::Go(there) => {
                self.station = there;
                self.opened[there.index()] = true;
            }
            Step::Act(act) => {
                let part = act.part();
                match act {
                    Act::Set { position, .. } => {
                        self.hands.set(part, PartState::Position(position));
                    }
                    Act::Hold { .. } => {}
                    Act::Pull(_) => match self.hands.of(part) {
                        PartState::Fuse { blown, .. } => {
                            self.hands.set(part, PartState::Fuse { seated: false, blown });
                        }
                        _ => self
                            .hands
                            .set(part, PartState::Breaker { closed: false, tripped: false }),
                    },
                    Act::PushIn(_) => {
                        self.hands.set(part, PartState::Breaker { closed: true, tripped: false });
                    }
                    Act::Refit(_) => {
                        self.hands.set(part, PartState::Fuse { seated: true, blown: false });
                    }
                    Act::FitSpare(_) => {
                        self.hands.set(part, PartState::Fuse { seated: true, blown: false });
                        if let Kind::Fuse(fuse) = &circuit.part(part).kind
                            && let Some(box_) = self
                                .spares
                                .iter_mut()
                                .find(|(rating, n)| *rating == fuse.amps && *n > 0)
                        {
                            box_.1 -= 1;
                        }
                    }
                    Act::Replace(_) => {
                        let fresh = match self.hands.of(part) {
                            PartState::Fuse { .. } => {
                                PartState::Fuse { seated: true, blown: false }
                            }
                            PartState::Breaker { .. } => {
                                PartState::Breaker { closed: true, tripped: false }
                            }
                            same => same,
                        };
                        self.hands.set(part, fresh);
                    }
                }
            }
        }
    }
}
