//! What a part is, as meant: one struct per kind, every value filled in.
//!
//! A sound part and a failed one differ only in these values: an open wire has
//! infinite ohms, a burnt-out bulb is one bulb fewer. Fields that only a fault
//! changes say so; a file cannot set them. What each field means to an author,
//! its unit and its default stand in [`super::CATALOGUE`].

use super::{KindId, NetId};

/// Direct-current supply behind an internal resistance.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Positive terminal.
    pub plus: NetId,
    /// Negative terminal.
    pub minus: NetId,
    /// Open-circuit volts; zero when it is dead (a fault).
    pub volts: f64,
    /// Internal ohms.
    pub ohms: f64,
}

/// A length of wire with its terminations.
#[derive(Clone, Debug, PartialEq)]
pub struct Wire {
    /// One end.
    pub a: NetId,
    /// The other end.
    pub b: NetId,
    /// Ohms end to end; infinite when broken (a fault).
    pub ohms: f64,
    /// Ohms from its middle to the airframe where the insulation has chafed
    /// through (a fault); `None` when sound.
    pub chafed_ohms: Option<f64>,
}

/// A resistor.
#[derive(Clone, Debug, PartialEq)]
pub struct Resistor {
    /// One end.
    pub a: NetId,
    /// The other end.
    pub b: NetId,
    /// Ohms; infinite when open (a fault).
    pub ohms: f64,
}

/// A stud that bonds a net to the airframe.
#[derive(Clone, Debug, PartialEq)]
pub struct Ground {
    /// The net bonded.
    pub net: NetId,
    /// Ohms of the bond; infinite when the stud is off (a fault).
    pub ohms: f64,
}

/// A single-pole thermal circuit breaker.
#[derive(Clone, Debug, PartialEq)]
pub struct Breaker {
    /// Supply side.
    pub line: NetId,
    /// Load side.
    pub load: NetId,
    /// Rated amperes.
    pub amps: f64,
    /// Ohms from side to side when closed.
    pub ohms: f64,
    /// Whether it latches when pushed in; a worn latch (a fault) does not hold.
    pub latches: bool,
}

/// A cartridge fuse in its holder.
#[derive(Clone, Debug, PartialEq)]
pub struct Fuse {
    /// Supply side.
    pub line: NetId,
    /// Load side.
    pub load: NetId,
    /// Rated amperes.
    pub amps: f64,
    /// Ohms of the element.
    pub ohms: f64,
    /// Whether the element is whole as fitted; false is a fault.
    pub intact: bool,
}

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

/// What a relay coil responds to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Senses {
    /// The direct voltage across the coil.
    Dc,
    /// The alternating voltage across the coil, root mean square.
    Ac,
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

/// A lamp of one or more bulbs in parallel behind one legend.
#[derive(Clone, Debug, PartialEq)]
pub struct Lamp {
    /// Supply side.
    pub a: NetId,
    /// Return side.
    pub b: NetId,
    /// Rated volts.
    pub volts: f64,
    /// Rated amperes of one bulb.
    pub bulb_amps: f64,
    /// Bulbs fitted.
    pub bulbs: u8,
    /// Bulbs that burn; fewer than fitted is a fault.
    pub bulbs_good: u8,
    /// Colour of the legend: `amber`, `red`, `green`, `blue` or `white`.
    pub colour: String,
}

/// A rotary converter: a direct-current motor driving a three-phase alternator
/// whose regulator holds phase A to the airframe.
#[derive(Clone, Debug, PartialEq)]
pub struct Converter {
    /// Motor supply.
    pub dc: NetId,
    /// Motor return.
    pub ret: NetId,
    /// Alternator terminals A, B and C.
    pub phases: [NetId; 3],
    /// Volts line to line the regulator holds.
    pub volts: f64,
    /// Rated hertz.
    pub hertz: f64,
    /// Rated volt-amperes.
    pub volt_amps: f64,
    /// Fraction of the shaft power that becomes electrical output.
    pub efficiency: f64,
    /// Watts drawn at no load.
    pub idle_watts: f64,
    /// Motor volts needed to start.
    pub start_volts: f64,
    /// Motor volts below which it stops.
    pub run_volts: f64,
    /// Motor volts below which speed and hertz fall in proportion.
    pub governed_volts: f64,
    /// Ohms of one alternator phase.
    pub phase_ohms: f64,
    /// Reactance of one alternator phase at rated hertz, in ohms.
    pub phase_reactance_ohms: f64,
    /// Highest no-load line voltage the field can reach at rated speed.
    pub ceiling_volts: f64,
    /// False when the motor winding or a brush is open (a fault).
    pub motor_sound: bool,
    /// False when the field is lost: it turns but gives nothing (a fault).
    pub field_sound: bool,
    /// Speed with worn brushes as a fraction of normal (a fault); 1 when sound.
    pub speed_factor: f64,
    /// Which output phases are whole; false is a fault.
    pub phase_sound: [bool; 3],
}

/// A vibrator converter: single-phase output in proportion to its supply.
#[derive(Clone, Debug, PartialEq)]
pub struct Vibrator {
    /// Supply.
    pub dc: NetId,
    /// Supply return.
    pub ret: NetId,
    /// Live output.
    pub out: NetId,
    /// Neutral output.
    pub neutral: NetId,
    /// Output volts at `rated_dc_volts`, no load.
    pub volts: f64,
    /// Output hertz.
    pub hertz: f64,
    /// Rated volt-amperes.
    pub volt_amps: f64,
    /// Supply volts that give the rated output.
    pub rated_dc_volts: f64,
    /// Output over input power.
    pub efficiency: f64,
    /// Watts drawn at no load.
    pub idle_watts: f64,
    /// Supply volts needed to start.
    pub start_volts: f64,
    /// Output ohms.
    pub ohms: f64,
    /// False when the reed does not vibrate (a fault).
    pub reed_sound: bool,
}

/// A single-phase transformer.
#[derive(Clone, Debug, PartialEq)]
pub struct Transformer {
    /// Primary terminals.
    pub primary: [NetId; 2],
    /// Secondary terminals.
    pub secondary: [NetId; 2],
    /// Rated primary volts.
    pub primary_volts: f64,
    /// Secondary volts at no load for the rated primary volts.
    pub secondary_volts: f64,
    /// Series resistance of both windings, referred to the primary, in ohms.
    pub series_ohms: f64,
    /// Leakage reactance referred to the primary at `hertz`, in ohms.
    pub leakage_reactance_ohms: f64,
    /// Magnetising reactance across the primary at `hertz`, in ohms.
    pub magnetising_reactance_ohms: f64,
    /// Iron-loss resistance across the primary, in ohms.
    pub core_ohms: f64,
    /// Hertz at which the reactances hold.
    pub hertz: f64,
    /// False when the primary winding is open (a fault).
    pub primary_sound: bool,
    /// False when the secondary winding is open (a fault).
    pub secondary_sound: bool,
    /// Ohms that shorted turns put across the primary (a fault); infinite when sound.
    pub shorted_turns_ohms: f64,
}

/// A single-phase or direct-current load, perhaps with a visible sign of life.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    /// Supply side.
    pub a: NetId,
    /// Return side.
    pub b: NetId,
    /// Rated volts.
    pub volts: f64,
    /// Resistance; infinite when open (a fault).
    pub ohms: f64,
    /// Series reactance at `hertz`, in ohms.
    pub reactance_ohms: f64,
    /// Hertz at which the reactance holds.
    pub hertz: f64,
    /// What shows that it works; empty when nothing does.
    pub shows: String,
    /// Whether it has a warning flag that drops when it is not powered.
    pub flag: bool,
    /// Further pairs of nets that must stand at these volts for it to work.
    pub needs: Vec<(NetId, NetId, f64)>,
    /// Fraction of rated volts above which it works.
    pub works_above: f64,
    /// Fraction of rated volts above which it still moves, sluggishly.
    pub moves_above: f64,
    /// False when its movement has failed though it draws current (a fault).
    pub movement_sound: bool,
}

/// A three-phase load of three equal legs, star-connected without neutral.
#[derive(Clone, Debug, PartialEq)]
pub struct Load3 {
    /// Terminals A, B and C.
    pub phases: [NetId; 3],
    /// Rated volts line to line.
    pub volts: f64,
    /// Resistance of each star leg; infinite when that leg is open (a fault).
    pub leg_ohms: [f64; 3],
    /// Reactance of one star leg at `hertz`, in ohms.
    pub leg_reactance_ohms: f64,
    /// Hertz at which the reactance holds.
    pub hertz: f64,
    /// What shows that it works; empty when nothing does.
    pub shows: String,
    /// Fraction of rated volts, on the weakest pair of lines, above which it works.
    pub works_above: f64,
    /// Fraction of rated volts above which it still works, sluggishly.
    pub moves_above: f64,
}

/// A three-phase induction motor that spins a gyro.
///
/// Known by two admittances (symmetrical components, Fortescue 1918): what the
/// positive-sequence voltage sees and what the negative-sequence voltage sees.
#[derive(Clone, Debug, PartialEq)]
pub struct Gyro {
    /// Terminals A, B and C.
    pub phases: [NetId; 3],
    /// Rated volts line to line.
    pub volts: f64,
    /// Amperes a line when running.
    pub amps: f64,
    /// Power factor when running, lagging.
    pub power_factor: f64,
    /// Locked-rotor amperes over running amperes.
    pub locked_ratio: f64,
    /// Power factor with the rotor locked.
    pub locked_power_factor: f64,
    /// Hertz at which these hold.
    pub hertz: f64,
    /// Net torque at standstill, as a fraction of that at rated balanced volts,
    /// from which it starts.
    pub start_torque: f64,
    /// Torque fraction below which a running rotor runs down.
    pub stall_torque: f64,
    /// What shows that it runs; empty when nothing does.
    pub shows: String,
    /// Whether it has a warning flag.
    pub flag: bool,
    /// Which windings are whole; false is a fault.
    pub winding_sound: [bool; 3],
    /// True when the bearing has seized (a fault).
    pub seized: bool,
}

/// A moving-coil or moving-iron instrument with a pointer and a scale.
#[derive(Clone, Debug, PartialEq)]
pub struct Meter {
    /// One terminal.
    pub plus: NetId,
    /// The other terminal.
    pub minus: NetId,
    /// What it responds to.
    pub senses: Senses,
    /// Its own resistance; infinite when the movement is open (a fault).
    pub burden_ohms: f64,
    /// The unit on its face.
    pub unit: String,
    /// Scale: value and fraction of the full arc, both rising, from the left stop.
    pub scale: Vec<(f64, f64)>,
    /// Values with a division mark.
    pub divisions: Vec<f64>,
    /// Values with a figure beside the mark.
    pub figures: Vec<f64>,
    /// Accuracy class: largest error in percent of the full arc.
    pub class_percent: f64,
    /// Reading over true value; below one when its magnet is weak (a fault).
    pub gain: f64,
}

/// What a part is.
///
/// Every use of a part is a `match` on this without a catch-all arm, so that a new
/// kind does not compile until each use knows it.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs, reason = "each variant is documented on the struct it holds")]
pub enum Kind {
    Supply(Supply),
    Wire(Wire),
    Resistor(Resistor),
    Ground(Ground),
    Breaker(Breaker),
    Fuse(Fuse),
    Switch(Switch),
    Relay(Relay),
    Lamp(Lamp),
    Converter(Converter),
    Vibrator(Vibrator),
    Transformer(Transformer),
    Load(Load),
    Load3(Load3),
    Gyro(Gyro),
    Meter(Meter),
}

impl Kind {
    /// Which kind it is.
    pub fn id(&self) -> KindId {
        match self {
            Self::Supply(_) => KindId::Supply,
            Self::Wire(_) => KindId::Wire,
            Self::Resistor(_) => KindId::Resistor,
            Self::Ground(_) => KindId::Ground,
            Self::Breaker(_) => KindId::Breaker,
            Self::Fuse(_) => KindId::Fuse,
            Self::Switch(_) => KindId::Switch,
            Self::Relay(_) => KindId::Relay,
            Self::Lamp(_) => KindId::Lamp,
            Self::Converter(_) => KindId::Converter,
            Self::Vibrator(_) => KindId::Vibrator,
            Self::Transformer(_) => KindId::Transformer,
            Self::Load(_) => KindId::Load,
            Self::Load3(_) => KindId::Load3,
            Self::Gyro(_) => KindId::Gyro,
            Self::Meter(_) => KindId::Meter,
        }
    }

    /// Every net the part is connected to; a net may come up more than once.
    pub fn nets(&self) -> Vec<NetId> {
        match self {
            Self::Supply(s) => vec![s.plus, s.minus],
            Self::Wire(w) => vec![w.a, w.b],
            Self::Resistor(r) => vec![r.a, r.b],
            Self::Ground(g) => vec![g.net],
            Self::Breaker(b) => vec![b.line, b.load],
            Self::Fuse(f) => vec![f.line, f.load],
            Self::Switch(s) => s.closures.iter().flat_map(|c| [c.a, c.b]).collect(),
            Self::Relay(r) => {
                let contacts = r.contacts.iter().flat_map(|set| {
                    [Some(set.common), set.released, set.operated].into_iter().flatten()
                });
                [r.x1, r.x2].into_iter().chain(contacts).collect()
            }
            Self::Lamp(l) => vec![l.a, l.b],
            Self::Converter(c) => [c.dc, c.ret].into_iter().chain(c.phases).collect(),
            Self::Vibrator(v) => vec![v.dc, v.ret, v.out, v.neutral],
            Self::Transformer(t) => t.primary.into_iter().chain(t.secondary).collect(),
            Self::Load(l) => {
                let needs = l.needs.iter().flat_map(|(a, b, _)| [*a, *b]);
                [l.a, l.b].into_iter().chain(needs).collect()
            }
            Self::Load3(l) => l.phases.to_vec(),
            Self::Gyro(g) => g.phases.to_vec(),
            Self::Meter(m) => vec![m.plus, m.minus],
        }
    }
}
