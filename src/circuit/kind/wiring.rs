//! Wires and what joins, protects and transforms along the way.

use crate::circuit::NetId;

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

/// A stud that several returns share on their way to the airframe.
#[derive(Clone, Debug, PartialEq)]
pub struct GroundStud {
    /// The nets whose leads are on the stud.
    pub nets: Vec<NetId>,
    /// Ohms of each lead's joint; infinite where a lead is off (a fault).
    pub lead_ohms: Vec<f64>,
    /// Ohms of the stud's bond to the airframe; infinite when it is loose (a fault):
    /// the returns then still meet at the stud.
    pub ohms: f64,
}

/// A splice: several wires joined in one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Splice {
    /// The nets joined.
    pub nets: Vec<NetId>,
    /// Ohms of each joint; infinite where a wire has pulled out (a fault).
    pub joint_ohms: Vec<f64>,
}

/// One pin of a connector with its socket.
#[derive(Clone, Debug, PartialEq)]
pub struct Pin {
    /// Its letter or number.
    pub name: String,
    /// The net on the plug's side.
    pub a: NetId,
    /// The net on the receptacle's side.
    pub b: NetId,
    /// Ohms of the contact; infinite when it does not touch (a fault).
    pub ohms: f64,
}

/// A connector of several pins.
#[derive(Clone, Debug, PartialEq)]
pub struct Connector {
    /// Its pins.
    pub pins: Vec<Pin>,
    /// Two neighbouring pins that touch (a fault), and the ohms between them.
    pub touching: Option<(usize, usize, f64)>,
}

/// A diode: conducts one way.
#[derive(Clone, Debug, PartialEq)]
pub struct Diode {
    /// The end that current enters.
    pub anode: NetId,
    /// The end that current leaves.
    pub cathode: NetId,
    /// Volts across it from which it conducts; zero when shorted (a fault).
    pub drop_volts: f64,
    /// Ohms while it conducts; infinite when open (a fault).
    pub ohms: f64,
    /// Whether it blocks the other way; false when shorted (a fault).
    pub blocks: bool,
}

/// A shunt: a small resistance whose millivolts an ammeter reads.
#[derive(Clone, Debug, PartialEq)]
pub struct Shunt {
    /// One end.
    pub a: NetId,
    /// The other end.
    pub b: NetId,
    /// Ohms; infinite when open (a fault).
    pub ohms: f64,
}

/// A three-phase feeder whose conductors couple.
///
/// Volts along it are `(R + jX) I`, with `R` and `X` symmetric three-by-three matrices
/// (Carson 1926; the series impedance matrix of any text on distribution feeders).
#[derive(Clone, Debug, PartialEq)]
pub struct Feeder {
    /// The sending end: A, B and C.
    pub from: [NetId; 3],
    /// The receiving end.
    pub to: [NetId; 3],
    /// Ohms: AA, BB, CC, AB, BC, CA.
    pub ohms: [f64; 6],
    /// Reactance at `hertz` in ohms, in the same order.
    pub reactance_ohms: [f64; 6],
    /// Hertz at which the reactances hold.
    pub hertz: f64,
    /// Which conductors are whole; false is a fault.
    pub sound: [bool; 3],
}
