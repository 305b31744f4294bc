//! What a person can do at an aircraft and what they then perceive.
//!
//! Nothing here is a raw number: lamps have four degrees of light, a pointer is read
//! to a quarter of its smallest division through an error that stays, a fuse is
//! known blown only once it is in the hand.
//!
//! [`Rig`] is an aircraft one can act on; [`Step`] is what one does; [`Sight`] is
//! what can then be seen, as a [`Showing`], from which [`Percept`] is read.

mod access;
mod barred;
mod dial;
mod look;
mod probe;
mod rig;

pub use access::{Refusal, Whereabouts, walking_minutes};
pub use barred::{Barred, Handwork};
pub use dial::{Dial, ErrorSpan, Reading};
pub use look::{
    Look, Showing, face, has_face, light_word, meter_dial, meter_value, readable_step,
    relative_light, scale_fraction, scale_value,
};
pub use probe::{Function, OPEN_ABOVE_OHMS, Probe, Touch, display, hand_meter};
pub use rig::{Act, Rig, Sight, Step, What};

use crate::circuit::{Circuit, Kind, Meter, Part, PartId};
use crate::units::quantity;

/// What was perceived of one thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Percept {
    /// One of a few words.
    Look(Look),
    /// A mark read from a pointer or display.
    Reading(Reading),
    /// Where a control stands, as the index of the position.
    Position(u8),
}

/// Which instrument an error belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Instrument {
    /// An installed meter.
    Meter(PartId),
    /// The hand meter on one function between two places. Its accuracy is promised for each
    /// reading by itself, so what it shows at one pair of places tells nothing of its error at
    /// another; at the same pair it stays.
    Hand(Probe),
}

impl What {
    /// The instrument whose error it is read through.
    pub fn instrument(self) -> Option<Instrument> {
        match self {
            Self::Face(part) | Self::WhileHeld(part) => Some(Instrument::Meter(part)),
            Self::Display(probe) => Some(Instrument::Hand(probe)),
            Self::InHand(_) | Self::Standing(_) => None,
        }
    }

    /// The thing in words: `lamp FLT GYRO`, `AC volts TB1-2 to GND`.
    pub fn told(self, circuit: &Circuit) -> String {
        match self {
            Self::WhileHeld(part) => format!("{} while held", circuit.part(part).label),
            Self::InHand(part) => format!("fuse {}", circuit.part(part).id),
            Self::Face(part) => circuit.part(part).label.clone(),
            Self::Standing(part) => circuit.part(part).id.clone(),
            Self::Display(probe) => format!(
                "{} {} to {}",
                probe.function.name(),
                probe.red.name(circuit),
                probe.black.name(circuit)
            ),
        }
    }
}

impl Percept {
    /// What was perceived, in words.
    pub fn told(self, what: What, circuit: &Circuit) -> String {
        match (self, what) {
            (Self::Look(look), What::InHand(part)) => in_hand(look, circuit.part(part)),
            (Self::Look(look), _) => look.word().to_owned(),
            (Self::Position(at), what) => {
                let part = match what {
                    What::Standing(part)
                    | What::Face(part)
                    | What::WhileHeld(part)
                    | What::InHand(part) => part,
                    What::Display(_) => return at.to_string(),
                };
                let control = circuit.part(part).kind.control();
                let name = control.and_then(|c| c.positions.get(usize::from(at)).copied());
                name.map_or_else(|| at.to_string(), |name| format!("at {name}"))
            }
            (Self::Reading(reading), What::Display(probe)) => display(probe.function, reading),
            (Self::Reading(reading), What::Face(part) | What::WhileHeld(part)) => {
                match circuit.part(part).kind.meter() {
                    Some(meter) => pointer_words(meter, reading),
                    None => reading.mark.to_string(),
                }
            }
            (Self::Reading(reading), What::InHand(_) | What::Standing(_)) => {
                reading.mark.to_string()
            }
        }
    }
}

/// A fuse in the hand, in words; where it is not what the placard asks for, with both ratings.
fn in_hand(look: Look, part: &Part) -> String {
    let blown = if look.has_melted() { "blown" } else { "whole" };
    match (look.marked_amps(part), &part.kind) {
        (Some(marked), Kind::Fuse(fuse)) => format!(
            "{blown}, marked {}; placard {}",
            quantity(marked, "A"),
            quantity(fuse.amps, "A")
        ),
        _ => look.word().to_owned(),
    }
}

impl Step {
    /// The step in words, as an instruction: `pull F-FLT-A`.
    pub fn told(self, circuit: &Circuit) -> String {
        let id = |part: PartId| circuit.part(part).id.as_str();
        let position = |part: PartId, position: u8| {
            let control = circuit.part(part).kind.control();
            control.map_or("?", |control| control.positions[usize::from(position)])
        };
        match self {
            Self::LookAround => "look around".to_owned(),
            Self::Go(there) => format!("go to {}", circuit.station(there).title),
            Self::Act(Act::Set { control, position: at }) => {
                format!("set {} to {}", id(control), position(control, at))
            }
            Self::Act(Act::Hold { control, position: at }) => {
                format!("hold {} at {}", id(control), position(control, at))
            }
            Self::Act(Act::Pull(part)) => format!("pull {}", id(part)),
            Self::Act(Act::PushIn(part)) => format!("push in {}", id(part)),
            Self::Act(Act::Refit(part)) => format!("put {} back", id(part)),
            Self::Act(Act::FitSpare(part)) => format!("fit a spare in {}", id(part)),
            Self::Act(Act::Replace(part)) => format!("replace {}", id(part)),
            Self::Probe(probe) => {
                format!("measure {}", What::Display(probe).told(circuit))
            }
        }
    }
}

/// Degrees that a pointer sweeps from one end of its scale to the other, as drawn.
pub const POINTER_SWEEP_DEGREES: f64 = 156.0;

/// The fraction of the arc at which a pointer was read.
pub fn pointer_fraction(meter: &Meter, reading: Reading) -> f64 {
    reading.mark as f64 * readable_step(meter)
}

/// A pointer as a person reports it, against the division marks: `on 115 V`,
/// `a little above 110 V`, `midway between 50 and 80 V`, `on the stop at 0 V`.
pub fn pointer_words(meter: &Meter, reading: Reading) -> String {
    let fraction = pointer_fraction(meter, reading);
    let step = readable_step(meter);
    let unit = &meter.unit;
    let text = |value: f64| crate::units::significant(value, 4);
    let marks: Vec<(f64, f64)> =
        meter.divisions.iter().map(|v| (*v, scale_fraction(&meter.scale, *v))).collect();
    let Some(first) = marks.first() else { return format!("mark {}", reading.mark) };
    if reading.mark == 0 {
        return format!("on the stop at {} {unit}", text(scale_value(&meter.scale, 0.0)));
    }
    if let Some((value, _)) = marks.iter().find(|(_, f)| (f - fraction).abs() < step / 2.0) {
        return format!("on {} {unit}", text(*value));
    }
    let above = marks.iter().find(|(_, f)| *f > fraction);
    let below = marks.iter().rev().find(|(_, f)| *f < fraction);
    match (below, above) {
        (Some((low, f0)), Some((high, f1))) => {
            let way = (fraction - f0) / (f1 - f0);
            if way < 0.375 {
                format!("a little above {} {unit}", text(*low))
            } else if way > 0.625 {
                format!("a little below {} {unit}", text(*high))
            } else {
                format!("midway between {} and {} {unit}", text(*low), text(*high))
            }
        }
        (Some((low, _)), None) => format!("above {} {unit}", text(*low)),
        (None, _) => format!("below {} {unit}", text(first.0)),
    }
}
