//! Everything in a circuit that has memory.
//!
//! What a relay, a gyro or a breaker does next depends on what it was doing, so a
//! state goes into every solution and a new state comes out.

use crate::circuit::{Circuit, Kind, PartId};

/// The memory of one part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum PartState {
    /// It has none.
    Plain,
    /// A switch: the index of its position.
    Position(u8),
    /// A breaker.
    Breaker {
        /// Whether its contact is closed.
        closed: bool,
        /// Whether it opened by itself; a breaker pulled by hand has not tripped.
        tripped: bool,
    },
    /// A fuse.
    Fuse {
        /// Whether it is in its holder.
        seated: bool,
        /// Whether its element has melted.
        blown: bool,
    },
    /// A relay, contactor or solenoid; a flasher, which is operated while it is open.
    Relay {
        /// Whether the moving contacts are on the operated side.
        operated: bool,
    },
    /// A machine (converter, vibrator, motor): whether it turns.
    Machine {
        /// Whether it runs.
        running: bool,
    },
    /// A gyro's rotor, which can turn either way.
    Rotor(Turning),
    /// What conducts one way only: a diode, a rectifier, a battery.
    Flow(Flow),
}

/// How a rotor turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Turning {
    /// Not at all.
    Stands,
    /// As it should.
    Forward,
    /// The other way round, with two of its lines exchanged.
    Backward,
}

/// Which way current goes through something that tells the two ways apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Flow {
    /// Neither way.
    Neither,
    /// Forward: through a diode or rectifier, out of a battery.
    Out,
    /// Into a battery.
    In,
}

/// The memory of a whole circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// By part.
    pub parts: Vec<PartState>,
    /// By part: conductance in siemens that depends on its own voltage (a lamp's
    /// filament, a machine's motor). Only a starting point for the next solution.
    pub(super) conductance: Vec<f64>,
    /// By part: shaft speed as a fraction of rated; of a transformer-rectifier its mean
    /// line volts as a fraction of rated. A starting point as well.
    pub(super) speed: Vec<f64>,
}

impl State {
    /// At rest: controls where a normal setup has them, everything shut down,
    /// breakers in, whole fuses fitted.
    pub fn at_rest(circuit: &Circuit) -> Self {
        let parts = circuit
            .parts
            .iter()
            .map(|part| match &part.kind {
                Kind::Switch(switch)
                | Kind::PushSwitch(switch)
                | Kind::ChangeoverSwitch(switch) => PartState::Position(switch.start),
                Kind::Mechanism(mechanism) => PartState::Position(mechanism.start),
                Kind::Receptacle(receptacle) => PartState::Position(receptacle.start),
                Kind::Breaker(_) => PartState::Breaker { closed: true, tripped: false },
                Kind::Fuse(fuse) => PartState::Fuse { seated: true, blown: !fuse.intact },
                Kind::Relay(_)
                | Kind::Contactor(_)
                | Kind::ReverseCurrentRelay(_)
                | Kind::PhaseRelay(_)
                | Kind::Solenoid(_)
                | Kind::Flasher(_) => {
                    PartState::Relay { operated: stuck(&part.kind).unwrap_or_default() }
                }
                Kind::Converter(_) | Kind::Vibrator(_) | Kind::Motor(_) => {
                    PartState::Machine { running: false }
                }
                Kind::Gyro(_) => PartState::Rotor(Turning::Stands),
                Kind::Battery(_) => PartState::Flow(Flow::Out),
                Kind::Diode(_) | Kind::TransformerRectifier(_) => PartState::Flow(Flow::Neither),
                Kind::Supply(_)
                | Kind::Generator(_)
                | Kind::Alternator(_)
                | Kind::Wire(_)
                | Kind::Feeder(_)
                | Kind::Resistor(_)
                | Kind::Shunt(_)
                | Kind::Splice(_)
                | Kind::Connector(_)
                | Kind::Ground(_)
                | Kind::GroundStud(_)
                | Kind::Transformer(_)
                | Kind::Microswitch(_)
                | Kind::Lamp(_)
                | Kind::Horn(_)
                | Kind::Load(_)
                | Kind::Load3(_)
                | Kind::Meter(_)
                | Kind::Ammeter(_)
                | Kind::Loadmeter(_)
                | Kind::FrequencyMeter(_) => PartState::Plain,
            })
            .collect();
        Self {
            parts,
            conductance: vec![f64::NAN; circuit.parts.len()],
            speed: vec![1.0; circuit.parts.len()],
        }
    }

    /// The memory of one part.
    pub fn of(&self, part: PartId) -> PartState {
        self.parts[part.index()]
    }

    /// Sets the memory of one part.
    pub fn set(&mut self, part: PartId, state: PartState) {
        self.parts[part.index()] = state;
    }

    /// Takes over a part whose kind has just changed (failed or been replaced):
    /// what a new part brings with it overrides what the old one remembered.
    /// Its controls and its being pulled out are kept, since hands did that.
    pub fn adopt(&mut self, circuit: &Circuit, part: PartId) {
        self.adopt_kind(part, &circuit.part(part).kind);
    }

    /// The same for a part that is of this kind now.
    pub fn adopt_kind(&mut self, part: PartId, kind: &Kind) {
        let index = part.index();
        self.conductance[index] = f64::NAN;
        self.speed[index] = 1.0;
        match (kind, &mut self.parts[index]) {
            (Kind::Fuse(fuse), PartState::Fuse { blown, .. }) => *blown = !fuse.intact,
            (kind, PartState::Relay { operated }) => *operated = stuck(kind).unwrap_or(*operated),
            _ => {}
        }
    }

    /// Whether a contact path through a protector, if the part is one, is closed.
    pub fn protector_closed(&self, part: PartId) -> bool {
        match self.of(part) {
            PartState::Breaker { closed, .. } => closed,
            PartState::Fuse { seated, blown } => seated && !blown,
            _ => true,
        }
    }

    /// Whether a machine or rotor turns, either way.
    pub fn running(&self, part: PartId) -> bool {
        match self.of(part) {
            PartState::Machine { running } => running,
            PartState::Rotor(turning) => turning != Turning::Stands,
            _ => false,
        }
    }

    /// How a rotor turns; a part without one stands.
    pub fn turning(&self, part: PartId) -> Turning {
        match self.of(part) {
            PartState::Rotor(turning) => turning,
            _ => Turning::Stands,
        }
    }

    /// Which way current goes through a part that tells the two ways apart.
    pub fn flow(&self, part: PartId) -> Flow {
        match self.of(part) {
            PartState::Flow(flow) => flow,
            _ => Flow::Neither,
        }
    }

    /// The position that something else finds a part in: of a control, of a solenoid
    /// (pulled in is 1), of a motor (running is 1).
    pub fn found_at(&self, part: PartId) -> u8 {
        match self.of(part) {
            PartState::Position(position) => position,
            PartState::Relay { operated: true } | PartState::Machine { running: true } => 1,
            _ => 0,
        }
    }

    /// Whether a relay is operated.
    pub fn operated(&self, part: PartId) -> bool {
        self.of(part) == PartState::Relay { operated: true }
    }

    /// The position of a control.
    pub fn position(&self, part: PartId) -> Option<u8> {
        match self.of(part) {
            PartState::Position(position) => Some(position),
            _ => None,
        }
    }

    /// Shaft speed of a machine as a fraction of rated; zero when it stands.
    pub fn speed(&self, part: PartId) -> f64 {
        if self.running(part) { self.speed[part.index()] } else { 0.0 }
    }
}

/// The state that a failed relay, contactor or solenoid is held in.
fn stuck(kind: &Kind) -> Option<bool> {
    match kind {
        Kind::Relay(relay) | Kind::Contactor(relay) => relay.stuck,
        Kind::ReverseCurrentRelay(relay) => relay.stuck,
        Kind::PhaseRelay(relay) => relay.stuck,
        Kind::Solenoid(solenoid) => solenoid.stuck,
        _ => None,
    }
}
