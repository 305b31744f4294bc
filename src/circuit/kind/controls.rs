//! Parts that switch: by hand, by a mechanism, by a coil.

use crate::circuit::{NetId, PartId};

/// One pair of nets that a switch joins in one of its positions.
#[derive(Clone, Debug, PartialEq)]
pub struct Closure {
    /// The position it is closed in, by index.
    pub position: u8,
    /// One side.
    pub a: NetId,
    /// The other side.
    pub b: NetId,
    /// Ohms when closed; infinite when the contact does not make (a fault).
    pub ohms: f64,
}

/// A hand-operated switch or selector of any number of poles and positions.
#[derive(Clone, Debug, PartialEq)]
pub struct Switch {
    /// The engraved positions, in order around the knob.
    pub positions: Vec<String>,
    /// The position in the normal setup.
    pub start: u8,
    /// Whether it springs back to `start` when let go.
    pub springs_back: bool,
    /// Whether a guard covers it, to be lifted before it is moved.
    pub guard: bool,
    /// Which nets are joined in which position.
    pub closures: Vec<Closure>,
}

/// One changeover set of a relay; either throw may be unused.
#[derive(Clone, Debug, PartialEq)]
pub struct ContactSet {
    /// The moving contact.
    pub common: NetId,
    /// Joined to the common while released.
    pub released: Option<NetId>,
    /// Joined to the common while operated.
    pub operated: Option<NetId>,
    /// Ohms of the released throw; infinite when it does not make (a fault).
    pub released_ohms: f64,
    /// Ohms of the operated throw; infinite when it does not make (a fault).
    pub operated_ohms: f64,
}

/// What a coil or a movement responds to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Senses {
    /// The direct voltage across the coil.
    Dc,
    /// The alternating voltage across the coil, root mean square.
    Ac,
    /// The frequency of the strongest alternating voltage: frequency meters only.
    Hertz,
}

/// A relay or contactor.
#[derive(Clone, Debug, PartialEq)]
pub struct Relay {
    /// One coil terminal.
    pub x1: NetId,
    /// The other coil terminal.
    pub x2: NetId,
    /// Whether the coil answers to direct or alternating voltage.
    pub senses: Senses,
    /// Volts at which it operates.
    pub pickup_volts: f64,
    /// Volts below which it releases.
    pub dropout_volts: f64,
    /// Coil ohms; infinite when the coil is open (a fault).
    pub coil_ohms: f64,
    /// The contact sets.
    pub contacts: Vec<ContactSet>,
    /// Held in one state whatever the coil does (a fault): `Some(true)` operated.
    pub stuck: Option<bool>,
}

/// Something mechanical that is moved or set from a station: a door, a lever, an
/// engine with its throttle. Microswitches follow it, generators turn with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Mechanism {
    /// Its positions, in order.
    pub positions: Vec<String>,
    /// The position in the normal setup.
    pub start: u8,
    /// Revolutions per minute in each position; empty when it does not turn anything.
    pub rpm: Vec<f64>,
    /// Minutes to bring it to each position or out of it again; empty when it moves like a
    /// switch. A move takes the longer of the two.
    pub move_minutes: Vec<f64>,
}

/// A switch worked by something that moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Microswitch {
    /// What works it: a mechanism, a solenoid (released 0, pulled in 1) or a motor
    /// (standing 0, running 1).
    pub follows: PartId,
    /// Which nets are joined in which position of it.
    pub closures: Vec<Closure>,
    /// The position it stays in when it is out of adjustment (a fault).
    pub stays_at: Option<u8>,
    /// The position of what works it at the start.
    pub start: u8,
}

/// A reverse-current relay: puts a generator on its bus and takes it off when the bus
/// would drive it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReverseCurrentRelay {
    /// Generator side.
    pub generator: NetId,
    /// Bus side.
    pub bus: NetId,
    /// The net that must be live for it to close.
    pub enable: NetId,
    /// Volts to the airframe at `enable` from which it may close.
    pub enable_volts: f64,
    /// Ohms of its coil at `enable`; infinite when open (a fault).
    pub coil_ohms: f64,
    /// Volts of the generator side above the bus side at which it closes.
    pub close_volts: f64,
    /// Amperes from bus to generator at which it opens.
    pub reverse_amps: f64,
    /// Ohms of the closed contact.
    pub ohms: f64,
    /// Held in one state (a fault): `Some(true)` closed.
    pub stuck: Option<bool>,
}

/// A phase-sequence relay: operates on three phases in the right order.
#[derive(Clone, Debug, PartialEq)]
pub struct PhaseRelay {
    /// Lines A, B and C.
    pub phases: [NetId; 3],
    /// Rated volts line to line.
    pub volts: f64,
    /// Positive-sequence voltage, as a fraction of rated, at which it operates.
    pub pickup: f64,
    /// The fraction below which it releases.
    pub dropout: f64,
    /// Negative-sequence voltage, as a fraction of rated, above which it is released.
    pub unbalance: f64,
    /// Ohms of each of its three star legs; infinite where one is open (a fault).
    pub leg_ohms: [f64; 3],
    /// The contact sets.
    pub contacts: Vec<ContactSet>,
    /// Held in one state (a fault): `Some(true)` operated.
    pub stuck: Option<bool>,
}

/// A flasher: interrupts the current through it while enough of it flows.
#[derive(Clone, Debug, PartialEq)]
pub struct Flasher {
    /// Supply side.
    pub line: NetId,
    /// Load side.
    pub load: NetId,
    /// Amperes from which it works; below, it stays closed.
    pub least_amps: f64,
    /// Ohms while closed; infinite when open (a fault).
    pub ohms: f64,
    /// False when it stays closed (a fault).
    pub works: bool,
}
