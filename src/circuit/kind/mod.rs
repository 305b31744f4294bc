//! What a part is, as meant: one struct per kind, every value filled in.
//!
//! A sound part and a failed one differ only in these values: an open wire has
//! infinite ohms, a burnt-out bulb is one bulb fewer. Fields that only a fault
//! changes say so; a file cannot set them. What each field means to an author,
//! its unit and its default stand in [`super::CATALOGUE`].

mod consumers;
mod controls;
mod sources;
mod wiring;

pub use consumers::{Gyro, Horn, Lamp, Load, Load3, Meter, Motor, Solenoid};
pub use controls::{
    Closure, ContactSet, Flasher, Mechanism, Microswitch, PhaseRelay, Relay, ReverseCurrentRelay,
    Senses, Switch,
};
pub(crate) use sources::PLUG_POSITIONS;
pub use sources::{
    Alternator, Battery, Converter, Generator, Receptacle, Supply, TransformerRectifier, Vibrator,
};
pub use wiring::{
    Breaker, Connector, Diode, Feeder, Fuse, Ground, GroundStud, Pin, Resistor, Shunt, Splice,
    Transformer, Wire,
};

use super::{KindId, NetId, PartId};

/// What a part is.
///
/// Every use of a part is a `match` on this without a catch-all arm, so that a new
/// kind does not compile until each use knows it. Kinds that differ only in how they
/// are written down and in how often they fail share a struct.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs, reason = "each variant is documented on the struct it holds")]
pub enum Kind {
    Supply(Supply),
    Battery(Battery),
    Generator(Generator),
    Receptacle(Receptacle),
    Converter(Converter),
    Vibrator(Vibrator),
    Alternator(Alternator),
    TransformerRectifier(TransformerRectifier),
    Wire(Wire),
    Feeder(Feeder),
    Resistor(Resistor),
    Diode(Diode),
    Shunt(Shunt),
    Splice(Splice),
    Connector(Connector),
    Ground(Ground),
    GroundStud(GroundStud),
    Breaker(Breaker),
    Fuse(Fuse),
    Transformer(Transformer),
    Switch(Switch),
    PushSwitch(Switch),
    ChangeoverSwitch(Switch),
    Mechanism(Mechanism),
    Microswitch(Microswitch),
    Relay(Relay),
    Contactor(Relay),
    ReverseCurrentRelay(ReverseCurrentRelay),
    PhaseRelay(PhaseRelay),
    Flasher(Flasher),
    Lamp(Lamp),
    Horn(Horn),
    Motor(Motor),
    Solenoid(Solenoid),
    Load(Load),
    Load3(Load3),
    Gyro(Gyro),
    Meter(Meter),
    Ammeter(Meter),
    Loadmeter(Meter),
    FrequencyMeter(Meter),
}

/// A control as a hand finds it: something with engraved positions.
#[derive(Clone, Debug, PartialEq)]
pub struct Control<'a> {
    /// The positions in order.
    pub positions: Vec<&'a str>,
    /// The position in the normal setup.
    pub start: u8,
    /// Whether it springs back to `start` when let go.
    pub springs_back: bool,
    /// Whether a guard covers it, to be lifted before it is moved.
    pub guard: bool,
}

impl Kind {
    /// Which kind it is.
    pub fn id(&self) -> KindId {
        match self {
            Self::Supply(_) => KindId::Supply,
            Self::Battery(_) => KindId::Battery,
            Self::Generator(_) => KindId::Generator,
            Self::Receptacle(_) => KindId::Receptacle,
            Self::Converter(_) => KindId::Converter,
            Self::Vibrator(_) => KindId::Vibrator,
            Self::Alternator(_) => KindId::Alternator,
            Self::TransformerRectifier(_) => KindId::TransformerRectifier,
            Self::Wire(_) => KindId::Wire,
            Self::Feeder(_) => KindId::Feeder,
            Self::Resistor(_) => KindId::Resistor,
            Self::Diode(_) => KindId::Diode,
            Self::Shunt(_) => KindId::Shunt,
            Self::Splice(_) => KindId::Splice,
            Self::Connector(_) => KindId::Connector,
            Self::Ground(_) => KindId::Ground,
            Self::GroundStud(_) => KindId::GroundStud,
            Self::Breaker(_) => KindId::Breaker,
            Self::Fuse(_) => KindId::Fuse,
            Self::Transformer(_) => KindId::Transformer,
            Self::Switch(_) => KindId::Switch,
            Self::PushSwitch(_) => KindId::PushSwitch,
            Self::ChangeoverSwitch(_) => KindId::ChangeoverSwitch,
            Self::Mechanism(_) => KindId::Mechanism,
            Self::Microswitch(_) => KindId::Microswitch,
            Self::Relay(_) => KindId::Relay,
            Self::Contactor(_) => KindId::Contactor,
            Self::ReverseCurrentRelay(_) => KindId::ReverseCurrentRelay,
            Self::PhaseRelay(_) => KindId::PhaseRelay,
            Self::Flasher(_) => KindId::Flasher,
            Self::Lamp(_) => KindId::Lamp,
            Self::Horn(_) => KindId::Horn,
            Self::Motor(_) => KindId::Motor,
            Self::Solenoid(_) => KindId::Solenoid,
            Self::Load(_) => KindId::Load,
            Self::Load3(_) => KindId::Load3,
            Self::Gyro(_) => KindId::Gyro,
            Self::Meter(_) => KindId::Meter,
            Self::Ammeter(_) => KindId::Ammeter,
            Self::Loadmeter(_) => KindId::Loadmeter,
            Self::FrequencyMeter(_) => KindId::FrequencyMeter,
        }
    }

    /// Has a control stand in another position to begin with; nothing for other kinds.
    pub(super) fn begin_at(&mut self, position: u8) {
        match self {
            Self::Switch(s) | Self::PushSwitch(s) | Self::ChangeoverSwitch(s) => s.start = position,
            Self::Mechanism(m) => m.start = position,
            Self::Receptacle(r) => r.start = position,
            _ => {}
        }
    }

    /// The control that it is, if a hand can set it.
    pub fn control(&self) -> Option<Control<'_>> {
        fn names(positions: &[String]) -> Vec<&str> {
            positions.iter().map(String::as_str).collect()
        }
        match self {
            Self::Switch(s) | Self::PushSwitch(s) | Self::ChangeoverSwitch(s) => Some(Control {
                positions: names(&s.positions),
                start: s.start,
                springs_back: s.springs_back,
                guard: s.guard,
            }),
            Self::Mechanism(m) => Some(Control {
                positions: names(&m.positions),
                start: m.start,
                springs_back: false,
                guard: false,
            }),
            Self::Receptacle(r) => Some(Control {
                positions: PLUG_POSITIONS.to_vec(),
                start: r.start,
                springs_back: false,
                guard: false,
            }),
            Self::Supply(_)
            | Self::Battery(_)
            | Self::Generator(_)
            | Self::Converter(_)
            | Self::Vibrator(_)
            | Self::Alternator(_)
            | Self::TransformerRectifier(_)
            | Self::Wire(_)
            | Self::Feeder(_)
            | Self::Resistor(_)
            | Self::Diode(_)
            | Self::Shunt(_)
            | Self::Splice(_)
            | Self::Connector(_)
            | Self::Ground(_)
            | Self::GroundStud(_)
            | Self::Breaker(_)
            | Self::Fuse(_)
            | Self::Transformer(_)
            | Self::Microswitch(_)
            | Self::Relay(_)
            | Self::Contactor(_)
            | Self::ReverseCurrentRelay(_)
            | Self::PhaseRelay(_)
            | Self::Flasher(_)
            | Self::Lamp(_)
            | Self::Horn(_)
            | Self::Motor(_)
            | Self::Solenoid(_)
            | Self::Load(_)
            | Self::Load3(_)
            | Self::Gyro(_)
            | Self::Meter(_)
            | Self::Ammeter(_)
            | Self::Loadmeter(_)
            | Self::FrequencyMeter(_) => None,
        }
    }

    /// The pointer instrument that it is, if it is one.
    pub fn meter(&self) -> Option<&Meter> {
        match self {
            Self::Meter(m) | Self::Ammeter(m) | Self::Loadmeter(m) | Self::FrequencyMeter(m) => {
                Some(m)
            }
            Self::Supply(_)
            | Self::Battery(_)
            | Self::Generator(_)
            | Self::Receptacle(_)
            | Self::Converter(_)
            | Self::Vibrator(_)
            | Self::Alternator(_)
            | Self::TransformerRectifier(_)
            | Self::Wire(_)
            | Self::Feeder(_)
            | Self::Resistor(_)
            | Self::Diode(_)
            | Self::Shunt(_)
            | Self::Splice(_)
            | Self::Connector(_)
            | Self::Ground(_)
            | Self::GroundStud(_)
            | Self::Breaker(_)
            | Self::Fuse(_)
            | Self::Transformer(_)
            | Self::Switch(_)
            | Self::PushSwitch(_)
            | Self::ChangeoverSwitch(_)
            | Self::Mechanism(_)
            | Self::Microswitch(_)
            | Self::Relay(_)
            | Self::Contactor(_)
            | Self::ReverseCurrentRelay(_)
            | Self::PhaseRelay(_)
            | Self::Flasher(_)
            | Self::Lamp(_)
            | Self::Horn(_)
            | Self::Motor(_)
            | Self::Solenoid(_)
            | Self::Load(_)
            | Self::Load3(_)
            | Self::Gyro(_) => None,
        }
    }

    /// The part whose movement it follows, if it follows one.
    pub fn follows(&self) -> Option<PartId> {
        match self {
            Self::Generator(g) => Some(g.driven_by),
            Self::Alternator(a) => Some(a.driven_by),
            Self::Microswitch(m) => Some(m.follows),
            Self::Supply(_)
            | Self::Battery(_)
            | Self::Receptacle(_)
            | Self::Converter(_)
            | Self::Vibrator(_)
            | Self::TransformerRectifier(_)
            | Self::Wire(_)
            | Self::Feeder(_)
            | Self::Resistor(_)
            | Self::Diode(_)
            | Self::Shunt(_)
            | Self::Splice(_)
            | Self::Connector(_)
            | Self::Ground(_)
            | Self::GroundStud(_)
            | Self::Breaker(_)
            | Self::Fuse(_)
            | Self::Transformer(_)
            | Self::Switch(_)
            | Self::PushSwitch(_)
            | Self::ChangeoverSwitch(_)
            | Self::Mechanism(_)
            | Self::Relay(_)
            | Self::Contactor(_)
            | Self::ReverseCurrentRelay(_)
            | Self::PhaseRelay(_)
            | Self::Flasher(_)
            | Self::Lamp(_)
            | Self::Horn(_)
            | Self::Motor(_)
            | Self::Solenoid(_)
            | Self::Load(_)
            | Self::Load3(_)
            | Self::Gyro(_)
            | Self::Meter(_)
            | Self::Ammeter(_)
            | Self::Loadmeter(_)
            | Self::FrequencyMeter(_) => None,
        }
    }

    /// Whether its coil, if it has one, can carry current.
    pub fn coil_is_whole(&self) -> bool {
        if let Self::Relay(r) | Self::Contactor(r) = self {
            r.coil_ohms.is_finite()
        } else if let Self::Solenoid(s) = self {
            s.coil_ohms.is_finite()
        } else {
            true
        }
    }

    /// Every net the part is connected to; a net may come up more than once.
    pub fn nets(&self) -> Vec<NetId> {
        match self {
            Self::Supply(s) => vec![s.plus, s.minus],
            Self::Battery(b) => vec![b.plus, b.minus],
            Self::Generator(g) => vec![g.plus, g.minus],
            Self::Receptacle(r) => vec![r.plus, r.minus, r.interlock],
            Self::Converter(c) => [c.dc, c.ret].into_iter().chain(c.phases).collect(),
            Self::Vibrator(v) => vec![v.dc, v.ret, v.out, v.neutral],
            Self::Alternator(a) => a.phases.to_vec(),
            Self::TransformerRectifier(t) => {
                t.phases.into_iter().chain([t.plus, t.minus]).collect()
            }
            Self::Wire(w) => vec![w.a, w.b],
            Self::Feeder(f) => f.from.into_iter().chain(f.to).collect(),
            Self::Resistor(r) => vec![r.a, r.b],
            Self::Diode(d) => vec![d.anode, d.cathode],
            Self::Shunt(s) => vec![s.a, s.b],
            Self::Splice(s) => s.nets.clone(),
            Self::Connector(c) => c.pins.iter().flat_map(|pin| [pin.a, pin.b]).collect(),
            Self::Ground(g) => vec![g.net],
            Self::GroundStud(g) => g.nets.clone(),
            Self::Breaker(b) => vec![b.line, b.load],
            Self::Fuse(f) => vec![f.line, f.load],
            Self::Transformer(t) => t.primary.into_iter().chain(t.secondary).collect(),
            Self::Switch(s) | Self::PushSwitch(s) | Self::ChangeoverSwitch(s) => {
                s.closures.iter().flat_map(|c| [c.a, c.b]).collect()
            }
            Self::Mechanism(_) => Vec::new(),
            Self::Microswitch(m) => m.closures.iter().flat_map(|c| [c.a, c.b]).collect(),
            Self::Relay(r) | Self::Contactor(r) => {
                [r.x1, r.x2].into_iter().chain(contact_nets(&r.contacts)).collect()
            }
            Self::ReverseCurrentRelay(r) => vec![r.generator, r.bus, r.enable],
            Self::PhaseRelay(r) => r.phases.into_iter().chain(contact_nets(&r.contacts)).collect(),
            Self::Flasher(f) => vec![f.line, f.load],
            Self::Lamp(l) => vec![l.a, l.b],
            Self::Horn(h) => vec![h.a, h.b],
            Self::Motor(m) => vec![m.a, m.b],
            Self::Solenoid(s) => vec![s.x1, s.x2],
            Self::Load(l) => {
                let needs = l.needs.iter().flat_map(|(a, b, _)| [*a, *b]);
                [l.a, l.b].into_iter().chain(needs).collect()
            }
            Self::Load3(l) => l.phases.to_vec(),
            Self::Gyro(g) => g.phases.to_vec(),
            Self::Meter(m) | Self::Ammeter(m) | Self::Loadmeter(m) | Self::FrequencyMeter(m) => {
                vec![m.plus, m.minus]
            }
        }
    }
}

fn contact_nets(sets: &[ContactSet]) -> impl Iterator<Item = NetId> + '_ {
    sets.iter().flat_map(|set| [Some(set.common), set.released, set.operated].into_iter().flatten())
}
