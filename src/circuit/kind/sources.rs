//! Parts that feed a system.

use crate::circuit::{NetId, PartId};

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

/// A storage battery: one electromotive force when it gives, a higher one when it is
/// charged.
#[derive(Clone, Debug, PartialEq)]
pub struct Battery {
    /// Positive terminal.
    pub plus: NetId,
    /// Negative terminal.
    pub minus: NetId,
    /// Cells in series.
    pub cells: u8,
    /// Open-circuit volts of the whole battery while it gives.
    pub volts: f64,
    /// Ohms while it gives; infinite when a link is open (a fault).
    pub ohms: f64,
    /// Volts at its terminals above which it takes charge.
    pub charge_volts: f64,
    /// Ohms it shows to a charging current; infinite when a link is open (a fault).
    pub charge_ohms: f64,
}

/// A direct-current generator with its regulator, turned by an engine.
#[derive(Clone, Debug, PartialEq)]
pub struct Generator {
    /// Positive terminal.
    pub plus: NetId,
    /// Negative terminal.
    pub minus: NetId,
    /// What turns it.
    pub driven_by: PartId,
    /// Revolutions per minute in each position of what turns it.
    pub rpm: Vec<f64>,
    /// Volts its regulator holds at no load; zero when the field is lost (a fault).
    pub volts: f64,
    /// Ohms by which the volts droop with load.
    pub ohms: f64,
    /// Rated amperes.
    pub amps: f64,
    /// Revolutions per minute below which the volts fall in proportion.
    pub least_rpm: f64,
}

impl Generator {
    /// Its open-circuit volts in a position of what turns it: held by the regulator
    /// from `least_rpm` up, in proportion to speed below.
    pub fn emf_volts(&self, position: u8) -> f64 {
        let rpm = self.rpm.get(usize::from(position)).copied().unwrap_or_default();
        self.volts * (rpm / self.least_rpm).min(1.0)
    }
}

/// A receptacle for a ground power unit, with the unit that is plugged into it.
///
/// The small pin is live only while the plug is home, so that a contactor fed from it
/// cannot close on a plug that is half in or on the wrong polarity.
#[derive(Clone, Debug, PartialEq)]
pub struct Receptacle {
    /// Main positive pin.
    pub plus: NetId,
    /// Main negative pin.
    pub minus: NetId,
    /// The small positive pin that enables the contactor.
    pub interlock: NetId,
    /// Whether the plug is in at the start.
    pub start: u8,
    /// Open-circuit volts of the unit; zero when it is dead, negative when its plug is
    /// wired the wrong way round (faults).
    pub volts: f64,
    /// Internal ohms of the unit and its cable.
    pub ohms: f64,
    /// Ohms of the main pin; infinite when it does not touch (a fault).
    pub pin_ohms: f64,
    /// Ohms of the small pin; infinite when it does not touch (a fault).
    pub interlock_ohms: f64,
}

/// The positions of a receptacle's plug.
pub(crate) static PLUG_POSITIONS: [&str; 2] = ["OUT", "IN"];

/// An engine-driven alternator without a regulator: volts and hertz go with speed.
#[derive(Clone, Debug, PartialEq)]
pub struct Alternator {
    /// Terminals A, B and C.
    pub phases: [NetId; 3],
    /// What turns it.
    pub driven_by: PartId,
    /// Revolutions per minute in each position of what turns it.
    pub rpm: Vec<f64>,
    /// Revolutions per minute it is rated for.
    pub rated_rpm: f64,
    /// Volts line to line at rated speed, no load; less with a weak magnet (a fault).
    pub volts: f64,
    /// Hertz at rated speed.
    pub hertz: f64,
    /// Rated volt-amperes.
    pub volt_amps: f64,
    /// Ohms of one phase.
    pub phase_ohms: f64,
    /// Reactance of one phase at rated hertz, in ohms.
    pub phase_reactance_ohms: f64,
    /// Which phases are whole; false is a fault.
    pub phase_sound: [bool; 3],
    /// False when the drive has sheared (a fault).
    pub drive_sound: bool,
}

impl Alternator {
    /// Its speed as a fraction of rated in a position of what turns it.
    pub fn speed(&self, position: u8) -> f64 {
        let rpm = self.rpm.get(usize::from(position)).copied().unwrap_or_default();
        if self.drive_sound { rpm / self.rated_rpm } else { 0.0 }
    }
}

/// A transformer-rectifier: three alternating lines in, direct current out.
///
/// Its open-circuit volts go with the mean of its three line voltages. That is exact
/// for both ends of what it meets: a three-phase bridge gives 1.35 times the line
/// voltage, and with one line open the two that are left make a single-phase bridge
/// of 0.90 times, two thirds of it, while the mean of the line voltages (one whole,
/// two halves) is two thirds as well.
#[derive(Clone, Debug, PartialEq)]
pub struct TransformerRectifier {
    /// Lines A, B and C.
    pub phases: [NetId; 3],
    /// Positive output.
    pub plus: NetId,
    /// Negative output.
    pub minus: NetId,
    /// Rated line-to-line volts of its input.
    pub line_volts: f64,
    /// Output volts at rated input, no load.
    pub volts: f64,
    /// Ohms by which its output droops; infinite when it gives nothing (a fault).
    pub ohms: f64,
    /// Rated output amperes.
    pub amps: f64,
    /// Output over input power.
    pub efficiency: f64,
    /// Watts drawn at rated input, no load.
    pub idle_watts: f64,
    /// Which input lines are whole; false is a fault.
    pub phase_sound: [bool; 3],
}
