//! An aircraft one can act on: a circuit with its present state.
//!
//! The trainee's aircraft and every candidate of the reasoner are the same kind of
//! thing, so what a candidate predicts comes from the very code that shows the
//! trainee the needle.

use std::cmp::Ordering;
use std::sync::Arc;

use super::look::{Look, Showing, face, has_face};
use super::probe::{Probe, hand_meter};
use crate::circuit::{Circuit, Kind, Part, PartId, StationId};
use crate::faults::{Exposure, Left};
use crate::network::{Event, Network, PartState, Settled, SolveError, State};

/// Something hands do to the aircraft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Act {
    /// Move a control and leave it there.
    Set {
        /// The switch.
        control: PartId,
        /// Index of the position.
        position: u8,
    },
    /// Hold a control that springs back, look, and let go.
    Hold {
        /// The switch.
        control: PartId,
        /// Index of the position.
        position: u8,
    },
    /// Pull a breaker out, or a fuse out of its holder and look at it.
    Pull(PartId),
    /// Push a breaker in.
    PushIn(PartId),
    /// Put the fuse that was pulled back into its holder.
    Refit(PartId),
    /// Fit a spare fuse of the right rating.
    FitSpare(PartId),
    /// Exchange a part for a good one.
    Replace(PartId),
}

impl Act {
    /// The part it is done to.
    pub fn part(self) -> PartId {
        match self {
            Self::Set { control, .. } | Self::Hold { control, .. } => control,
            Self::Pull(part)
            | Self::PushIn(part)
            | Self::Refit(part)
            | Self::FitSpare(part)
            | Self::Replace(part) => part,
        }
    }
}

/// One thing a person can do that may tell something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Step {
    /// Look around where one stands.
    LookAround,
    /// Walk to a station and look around.
    Go(StationId),
    /// Do something with one's hands and look around.
    Act(Act),
    /// Measure with the hand meter.
    Probe(Probe),
}

/// What a sighting is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum What {
    /// The face of a part while a control was held.
    WhileHeld(PartId),
    /// A fuse in the hand.
    InHand(PartId),
    /// The face of a part.
    Face(PartId),
    /// How a control stands.
    Standing(PartId),
    /// The display of the hand meter.
    Display(Probe),
}

/// What would be seen, of one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// Of what.
    pub what: What,
    /// What it shows.
    pub showing: Showing,
}

/// A circuit in its present state, healthy or not.
#[derive(Clone, Debug)]
pub struct Rig {
    network: Arc<Network>,
    /// Shared: whoever thinks ahead copies aircraft far more often than they change.
    settled: Arc<Settled>,
    /// The parts that differ from the healthy circuit, and what they should be.
    failed: Vec<(PartId, Kind)>,
    /// Parts that differ only while the aircraft is exposed to something.
    latent: Vec<Latent>,
}

/// A part that has failed and works again at rest.
#[derive(Clone, Debug)]
struct Latent {
    part: PartId,
    /// What it is like while the failure shows.
    faulted: Kind,
    /// The position of the control for conditions in which it does.
    shows_at: u8,
}

impl Rig {
    /// A circuit switched on in its normal setup and left to settle.
    ///
    /// # Errors
    /// [`SolveError`] when it has no solution.
    pub fn normal(circuit: Arc<Circuit>) -> Result<Self, SolveError> {
        let state = State::at_rest(&circuit);
        let network = Arc::new(Network::new(circuit));
        let settled = Arc::new(network.settle(state)?);
        Ok(Self { network, settled, failed: Vec::new(), latent: Vec::new() })
    }

    /// This rig after one part has turned into something else while everything runs.
    ///
    /// # Errors
    /// [`SolveError`] when that has no solution.
    pub fn with_failed(&self, part: PartId, faulted: Kind) -> Result<Self, SolveError> {
        self.with_cause(&[(part, faulted)], &[])
    }

    /// This rig after parts have turned into something else, all at once, while everything
    /// runs, and after controls have then been left somewhere.
    ///
    /// # Errors
    /// [`SolveError`] when that has no solution.
    pub fn with_cause(
        &self,
        failures: &[(PartId, Kind)],
        left: &[(PartId, Left)],
    ) -> Result<Self, SolveError> {
        let mut rig = self.clone();
        if !failures.is_empty() {
            let parts: Vec<PartId> = failures.iter().map(|(part, _)| *part).collect();
            let sound = |part: &PartId| (*part, self.network.kind(*part).clone());
            rig.failed.extend(parts.iter().map(sound));
            rig.network = Arc::new(self.network.with_parts(failures));
            let struck = rig.network.struck(&self.network, &self.settled, &parts)?;
            let as_before = || Settled { events: Vec::new(), ..Settled::clone(&self.settled) };
            rig.settled = Arc::new(struck.unwrap_or_else(as_before));
        }
        if !left.is_empty() {
            let mut state = rig.settled.state.clone();
            for (part, stands) in left {
                let stands = match *stands {
                    Left::At(position) => PartState::Position(position),
                    Left::Out => PartState::Breaker { closed: false, tripped: false },
                };
                state.set(*part, stands);
            }
            rig.settled = Arc::new(rig.network.settle(state)?);
        }
        Ok(rig)
    }

    /// This rig with parts that fail while the aircraft is exposed to something, which it is
    /// not yet.
    #[must_use]
    pub fn with_latent(mut self, latent: Vec<(PartId, Kind, Exposure)>) -> Self {
        self.latent = latent
            .into_iter()
            .map(|(part, faulted, under)| Latent { part, faulted, shows_at: under.position() })
            .collect();
        self
    }

    /// The circuit, as it is.
    pub fn circuit(&self) -> &Arc<Circuit> {
        self.network.circuit()
    }

    /// The network.
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// Where it has settled.
    pub fn settled(&self) -> &Settled {
        &self.settled
    }

    /// Whether two are one and the same aircraft at one and the same moment: copies of which
    /// neither has been touched since.
    pub fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.settled, &other.settled) && Arc::ptr_eq(&self.network, &other.network)
    }

    /// The parts that are still not as they should be.
    pub fn failed_parts(&self) -> impl Iterator<Item = PartId> + '_ {
        let failed = self.failed.iter().map(|(part, _)| *part);
        let hidden = self.latent.iter().map(|latent| latent.part);
        failed.chain(hidden.filter(|part| self.failed.iter().all(|(failed, _)| failed != part)))
    }

    /// How the controls at a station stand, in part order; those that spring back are left
    /// out.
    pub fn standing(&self, station: StationId) -> impl Iterator<Item = (PartId, Showing)> + '_ {
        self.circuit().parts_with_ids().filter_map(move |(id, part)| {
            let stays = |part: &Part| part.kind.control().is_some_and(|c| !c.springs_back);
            match self.settled.state.of(id) {
                PartState::Position(at) if part.station == station && stays(part) => {
                    Some((id, Showing::Position(at)))
                }
                _ => None,
            }
        })
    }

    /// What a fuse is like in the hand: whether its element has melted, and whether it is
    /// marked with the amperes of its placard.
    pub fn fuse_look(&self, part: PartId) -> Look {
        let blown = matches!(self.settled.state.of(part), PartState::Fuse { blown: true, .. });
        let sound = self.failed.iter().find(|(failed, _)| *failed == part).map(|(_, kind)| kind);
        let marked = match (self.network.kind(part), sound) {
            (Kind::Fuse(fitted), Some(Kind::Fuse(sound))) => fitted.amps.total_cmp(&sound.amps),
            _ => Ordering::Equal,
        };
        match (marked, blown) {
            (Ordering::Equal, false) => Look::Whole,
            (Ordering::Equal, true) => Look::Blown,
            (Ordering::Less, false) => Look::WholeLow,
            (Ordering::Less, true) => Look::BlownLow,
            (Ordering::Greater, false) => Look::WholeHigh,
            (Ordering::Greater, true) => Look::BlownHigh,
        }
    }

    /// Does something and returns what can then be seen from a station, in a fixed
    /// order; `events` receives what happened inside.
    ///
    /// # Errors
    /// [`SolveError`] when the new state has no solution; the rig is then unchanged.
    pub fn perform(
        &mut self,
        step: Step,
        station: StationId,
        events: &mut Vec<Event>,
    ) -> Result<Vec<Sight>, SolveError> {
        let mut sights = Vec::new();
        let seen_from = match step {
            Step::Go(there) => there,
            Step::LookAround | Step::Act(_) | Step::Probe(_) => station,
        };
        match step {
            Step::LookAround | Step::Go(_) => {}
            Step::Probe(probe) => {
                // Measuring changes nothing, so the faces need no second look.
                let showing = hand_meter(&self.network, &self.settled, probe)?;
                return Ok(vec![Sight { what: What::Display(probe), showing }]);
            }
            Step::Act(act) => self.act(act, station, events, &mut sights)?,
        }
        sights.extend(
            self.faces(seen_from).map(|(part, showing)| Sight { what: What::Face(part), showing }),
        );
        if let Step::LookAround | Step::Go(_) = step {
            let standing = self.standing(seen_from);
            sights.extend(
                standing.map(|(part, showing)| Sight { what: What::Standing(part), showing }),
            );
        }
        Ok(sights)
    }

    /// What a probe would show.
    ///
    /// # Errors
    /// [`SolveError`] when the dead circuit has no solution.
    pub fn probe(&self, probe: Probe) -> Result<Showing, SolveError> {
        hand_meter(&self.network, &self.settled, probe)
    }

    /// The faces seen from a station, in part order.
    pub fn faces(&self, station: StationId) -> impl Iterator<Item = (PartId, Showing)> + '_ {
        self.circuit()
            .parts_with_ids()
            .filter(move |(id, part)| part.seen_at == station && has_face(self.circuit(), *id))
            .filter_map(|(id, _)| {
                face(&self.network, &self.settled, id).map(|showing| (id, showing))
            })
    }

    fn act(
        &mut self,
        act: Act,
        station: StationId,
        events: &mut Vec<Event>,
        sights: &mut Vec<Sight>,
    ) -> Result<(), SolveError> {
        let mut state = self.settled.state.clone();
        let mut mended = false;
        match act {
            Act::Set { control, position } => {
                state.set(control, PartState::Position(position));
                if Some(control) == self.circuit().conditions {
                    mended = self.expose(position, &mut state);
                }
            }
            Act::Hold { control, position } => {
                let rest = state.of(control);
                state.set(control, PartState::Position(position));
                let mut held = self.clone();
                held.settle(state, false, events)?;
                sights.extend(
                    held.faces(station)
                        .map(|(part, showing)| Sight { what: What::WhileHeld(part), showing }),
                );
                self.settled = held.settled;
                state = self.settled.state.clone();
                state.set(control, rest);
            }
            Act::Pull(part) => match state.of(part) {
                PartState::Fuse { blown, .. } => {
                    let showing = Showing::Look(self.fuse_look(part));
                    sights.push(Sight { what: What::InHand(part), showing });
                    state.set(part, PartState::Fuse { seated: false, blown });
                }
                _ => state.set(part, PartState::Breaker { closed: false, tripped: false }),
            },
            Act::PushIn(part) => {
                state.set(part, PartState::Breaker { closed: true, tripped: false });
            }
            Act::Refit(part) => {
                if let PartState::Fuse { blown, .. } = state.of(part) {
                    state.set(part, PartState::Fuse { seated: true, blown });
                }
            }
            Act::FitSpare(part) => {
                // The spare is whole whatever was wrong with the old one.
                mended = self.mend(part, &mut state);
                state.set(part, PartState::Fuse { seated: true, blown: false });
            }
            Act::Replace(part) => {
                mended = self.mend(part, &mut state);
                match state.of(part) {
                    PartState::Breaker { .. } => {
                        state.set(part, PartState::Breaker { closed: true, tripped: false });
                    }
                    PartState::Fuse { .. } => {
                        state.set(part, PartState::Fuse { seated: true, blown: false });
                    }
                    _ => {}
                }
            }
        }
        self.settle(state, mended, events)
    }

    /// Lets failures show that do so in these conditions, and parts work again whose failures
    /// do not; tells whether anything has changed.
    fn expose(&mut self, position: u8, state: &mut State) -> bool {
        let mut changed = false;
        let latent = self.latent.clone();
        for one in &latent {
            let shows = self.failed.iter().any(|(failed, _)| *failed == one.part);
            if shows && one.shows_at != position {
                changed |= self.restore(one.part, state);
            } else if !shows && one.shows_at == position {
                self.failed.push((one.part, self.network.kind(one.part).clone()));
                let now = [(one.part, one.faulted.clone())];
                self.network = Arc::new(self.network.with_parts(&now));
                state.adopt_kind(one.part, &one.faulted);
                changed = true;
            }
        }
        changed
    }

    /// Puts a good part in place of a failed one, if this is one, and tells whether it was.
    fn mend(&mut self, part: PartId, state: &mut State) -> bool {
        let hidden = self.latent.len();
        self.latent.retain(|latent| latent.part != part);
        self.restore(part, state) || self.latent.len() < hidden
    }

    /// Lets a part that differs from the sound circuit be as there again.
    fn restore(&mut self, part: PartId, state: &mut State) -> bool {
        let Some(at) = self.failed.iter().position(|(failed, _)| *failed == part) else {
            return false;
        };
        let (_, sound) = self.failed.remove(at);
        self.network = Arc::new(self.network.with_parts(&[(part, sound)]));
        state.adopt_kind(part, self.network.kind(part));
        true
    }

    fn settle(
        &mut self,
        state: State,
        mended: bool,
        events: &mut Vec<Event>,
    ) -> Result<(), SolveError> {
        // Nothing moved and nothing was exchanged: it stays as it is.
        if !mended && state.parts == self.settled.state.parts {
            return Ok(());
        }
        self.settled = Arc::new(self.network.settle(state)?);
        events.extend(self.settled.events.iter().cloned());
        Ok(())
    }
}
