//! Parts that do something one can see or hear.

use super::controls::Senses;
use crate::circuit::NetId;

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

/// A direct-current motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Motor {
    /// Supply side.
    pub a: NetId,
    /// Return side.
    pub b: NetId,
    /// Ohms it shows while it runs under load; infinite when open (a fault).
    pub running_ohms: f64,
    /// Ohms with the rotor standing; infinite when open (a fault).
    pub standing_ohms: f64,
    /// Volts needed to start.
    pub start_volts: f64,
    /// Volts below which it stops.
    pub run_volts: f64,
    /// Volts below which it runs slow.
    pub slow_volts: f64,
    /// What shows that it runs; empty when nothing does.
    pub shows: String,
    /// True when it cannot turn (a fault).
    pub seized: bool,
}

/// A solenoid: pulls something in.
#[derive(Clone, Debug, PartialEq)]
pub struct Solenoid {
    /// One coil terminal.
    pub x1: NetId,
    /// The other coil terminal.
    pub x2: NetId,
    /// Volts at which it pulls in.
    pub pull_volts: f64,
    /// Volts below which it lets go.
    pub drop_volts: f64,
    /// Coil ohms; infinite when open (a fault).
    pub coil_ohms: f64,
    /// What one sees of it; empty when nothing.
    pub shows: String,
    /// Held in one state (a fault): `Some(true)` pulled in.
    pub stuck: Option<bool>,
}

/// A horn or bell.
#[derive(Clone, Debug, PartialEq)]
pub struct Horn {
    /// Supply side.
    pub a: NetId,
    /// Return side.
    pub b: NetId,
    /// Rated volts.
    pub volts: f64,
    /// Resistance; infinite when open (a fault).
    pub ohms: f64,
    /// Volts from which it sounds.
    pub sounds_volts: f64,
    /// False when it draws its current and gives no sound (a fault).
    pub sounds: bool,
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
    /// Scale: value and fraction of the full arc, both rising, from the left stop; the
    /// left stop may stand below or above zero.
    pub scale: Vec<(f64, f64)>,
    /// Values with a division mark.
    pub divisions: Vec<f64>,
    /// Values with a figure beside the mark.
    pub figures: Vec<f64>,
    /// Accuracy class: largest error in percent of the full arc.
    pub class_percent: f64,
    /// Units of its face for each volt across its terminals: one for a voltmeter,
    /// rated amperes over the shunt's volts for an ammeter.
    pub per_volt: f64,
    /// Alternating volts below which a frequency meter does not answer; zero for others.
    pub least_volts: f64,
    /// Reading over true value; below one when its magnet is weak (a fault).
    pub gain: f64,
}
