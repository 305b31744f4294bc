//! What happens while a circuit settles, and how it is told.

use super::state::Flow;
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
    /// A relay, contactor or solenoid lets go because its coil is open.
    Slackens {
        /// The part.
        part: PartId,
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
    /// A gyro started backwards, with two of its lines exchanged.
    StartsBackwards {
        /// The gyro.
        part: PartId,
    },
    /// A reverse-current relay closed with the generator so far above the bus.
    PutsOn {
        /// The relay.
        part: PartId,
        /// Volts of the generator above the bus.
        volts: f64,
    },
    /// A reverse-current relay opened.
    TakesOff {
        /// The relay.
        part: PartId,
        /// Amperes from the bus into the generator.
        amps: f64,
    },
    /// A diode, rectifier or battery turned over.
    Turns {
        /// The part.
        part: PartId,
        /// Which way current goes now.
        flow: Flow,
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

/// Volts in words. What insulation and rounding leave of nothing is nothing.
fn volts_told(volts: f64) -> String {
    quantity(if volts.abs() < LEAST_TOLD_VOLTS { 0.0 } else { volts }, "V")
}

/// Amperes below which nothing worth a word flows.
const LEAST_TOLD_AMPS: f64 = 1e-3;

/// Volts below which no instrument on an aircraft shows anything.
const LEAST_TOLD_VOLTS: f64 = 1e-3;

impl Event {
    /// The event in words.
    pub fn told(&self, circuit: &Circuit) -> String {
        let name = |part: PartId| &circuit.part(part).id;
        match self {
            Self::Operates { part, volts } => {
                let verb = match circuit.part(*part).kind {
                    Kind::Solenoid(_) => "pulls in",
                    Kind::Flasher(_) => return format!("{} opens", name(*part)),
                    _ => "operates",
                };
                format!("{} {verb} at {}", name(*part), volts_told(*volts))
            }
            Self::Releases { part, volts } => {
                let verb = match circuit.part(*part).kind {
                    Kind::Solenoid(_) => "lets go",
                    Kind::Flasher(_) => return format!("{} closes", name(*part)),
                    _ => "releases",
                };
                format!("{} {verb} at {}", name(*part), volts_told(*volts))
            }
            Self::Slackens { part } => {
                let verb = match circuit.part(*part).kind {
                    Kind::Solenoid(_) => "lets go",
                    _ => "releases",
                };
                format!("{} {verb}: its coil is open", name(*part))
            }
            Self::StartsBackwards { part } => {
                format!("{} starts the wrong way round", name(*part))
            }
            Self::PutsOn { part, volts } => format!(
                "{} closes: the generator stands {} above the bus",
                name(*part),
                volts_told(*volts)
            ),
            Self::TakesOff { part, amps } if *amps > 0.0 => format!(
                "{} opens: {} flow back into the generator",
                name(*part),
                quantity(*amps, "A")
            ),
            Self::TakesOff { part, .. } => {
                format!("{} opens: it is no longer enabled", name(*part))
            }
            Self::Turns { part, flow } => {
                let battery = matches!(circuit.part(*part).kind, Kind::Battery(_));
                let does = match (flow, battery) {
                    (Flow::Out, true) => "gives current",
                    (Flow::In, _) => "takes charge",
                    (Flow::Neither, true) => "neither gives nor takes current",
                    (Flow::Out, false) => "conducts",
                    (Flow::Neither, false) => "blocks",
                };
                format!("{} {does}", name(*part))
            }
            Self::Starts { part } => format!("{} starts", name(*part)),
            Self::Stops { part } => format!("{} runs down", name(*part)),
            // A fault of its own: nothing that it carries would open it.
            Self::Opens { part, amps, rating, .. } if amps < rating => format!(
                "{} opens by itself, with {} of its {}",
                name(*part),
                quantity(if *amps < LEAST_TOLD_AMPS { 0.0 } else { *amps }, "A"),
                quantity(*rating, "A")
            ),
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
