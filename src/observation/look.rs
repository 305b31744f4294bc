//! What a person sees, hears or reads of a part: never a raw number.

use super::dial::Dial;
use crate::circuit::{Circuit, Kind, Lamp, Meter, Part, PartId, Senses};
use crate::faults::{OVER_RATED, UNDER_RATED, mode_of};
use crate::network::{Network, PartState, Settled, Solution, StopReason, Turning};

/// Something perceived that is one of a few words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Look {
    /// A lamp that gives no light.
    Dark,
    /// A lamp that just glows in the dark.
    Glimmer,
    /// A lamp clearly below its full light.
    Dim,
    /// A lamp at its full light.
    Bright,
    /// A lamp that comes and goes.
    Flickering,
    /// An instrument or consumer that works.
    Works,
    /// One that moves, but not as it should.
    Sluggish,
    /// One whose warning flag shows.
    Flagged,
    /// One that shows no life.
    Dead,
    /// A breaker that is in.
    In,
    /// A breaker whose collar shows, whether it has tripped or was pulled.
    Out,
    /// A machine that makes no sound.
    Silent,
    /// A machine that hums but does not turn.
    Humming,
    /// A machine that runs slow.
    Slow,
    /// A machine that runs.
    Running,
    /// A fuse, pulled, whose element is whole.
    Whole,
    /// A fuse, pulled, whose element has melted.
    Blown,
    /// A hand meter refused: the circuit is live.
    Live,
    /// A lamp that goes on and off in the rhythm of its flasher.
    Flashing,
    /// A gyro that turns the wrong way round: its instrument wanders off.
    Wandering,
    /// A solenoid that has pulled in.
    Pulled,
    /// A solenoid that has not.
    Released,
    /// A horn that sounds.
    Sounding,
    /// A horn that sounds on and off.
    Beeping,
    /// A fuse, pulled, whose element is whole, marked below its placard.
    WholeLow,
    /// A fuse, pulled, whose element has melted, marked below its placard.
    BlownLow,
    /// A fuse, pulled, whose element is whole, marked above its placard.
    WholeHigh,
    /// A fuse, pulled, whose element has melted, marked above its placard.
    BlownHigh,
}

impl Look {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Dark => "dark",
            Self::Glimmer => "glimmering",
            Self::Dim => "dim",
            Self::Bright => "bright",
            Self::Flickering => "flickering",
            Self::Works => "normal",
            Self::Sluggish => "sluggish",
            Self::Flagged => "flag showing",
            Self::Dead => "dead",
            Self::In => "in",
            Self::Out => "out",
            Self::Silent => "silent",
            Self::Humming => "humming, not turning",
            Self::Slow => "running slow",
            Self::Running => "running",
            Self::Whole => "whole",
            Self::Blown => "blown",
            Self::WholeLow => "whole, marked below its placard",
            Self::BlownLow => "blown, marked below its placard",
            Self::WholeHigh => "whole, marked above its placard",
            Self::BlownHigh => "blown, marked above its placard",
            Self::Live => "live: ohms refused",
            Self::Flashing => "flashing",
            Self::Wandering => "wandering off",
            Self::Pulled => "pulled in",
            Self::Released => "not pulled in",
            Self::Sounding => "sounding",
            Self::Beeping => "sounding on and off",
        }
    }

    /// Whether it is a fuse whose element has melted.
    pub fn has_melted(self) -> bool {
        matches!(self, Self::Blown | Self::BlownLow | Self::BlownHigh)
    }

    /// The amperes marked on a fuse in the hand; `None` where they are those of its placard.
    pub fn marked_amps(self, fuse: &Part) -> Option<f64> {
        let wrong = match self {
            Self::WholeLow | Self::BlownLow => UNDER_RATED,
            Self::WholeHigh | Self::BlownHigh => OVER_RATED,
            _ => return None,
        };
        match mode_of(fuse, wrong)?.faulted {
            Kind::Fuse(fitted) => Some(fitted.amps),
            _ => None,
        }
    }
}

/// What a part would show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Showing {
    /// One of a few words.
    Look(Look),
    /// A pointer or display, read through the instrument's own error.
    Dial(Dial),
    /// Where a control stands, as the index of the position.
    Position(u8),
}

/// Relative light below which a lamp is dark, glimmers, is dim. Where one word ends
/// and the next begins is an assumption.
const LIGHT_STEPS: [(f64, Look); 3] =
    [(0.005, Look::Dark), (0.08, Look::Glimmer), (0.6, Look::Dim)];

/// Light of a lamp relative to all its bulbs at rated volts: each bulb's light goes
/// with volts to the power 3.4 (common lamp exponent, from memory).
pub fn relative_light(lamp: &Lamp, volts: f64) -> f64 {
    let good = f64::from(lamp.bulbs_good) / f64::from(lamp.bulbs);
    if volts <= 0.0 { 0.0 } else { good * libm::pow(volts / lamp.volts, 3.4) }
}

/// The word for a relative light.
pub fn light_word(relative_light: f64) -> Look {
    LIGHT_STEPS
        .iter()
        .find(|(below, _)| relative_light < *below)
        .map_or(Look::Bright, |(_, look)| *look)
}

fn lamp_look(circuit: &Circuit, lamp: &Lamp, settled: &Settled) -> Look {
    let seen = |s: &Solution| light_word(relative_light(lamp, s.rms_between(lamp.a, lamp.b)));
    let now = seen(&settled.solution);
    if settled.cycle.iter().all(|s| seen(s) == now) {
        now
    } else if in_rhythm(circuit, settled) {
        Look::Flashing
    } else {
        Look::Flickering
    }
}

/// Whether what comes and goes does so in the rhythm of a flasher, and not because a
/// relay chatters.
fn in_rhythm(circuit: &Circuit, settled: &Settled) -> bool {
    match &settled.stop {
        StopReason::Chattering { parts, .. } => {
            parts.iter().any(|part| matches!(circuit.part(*part).kind, Kind::Flasher(_)))
        }
        StopReason::Steady | StopReason::StepLimit(_) => false,
    }
}

/// The fraction of the arc at which a value stands on a scale; values off either end
/// stand at that end.
pub fn scale_fraction(scale: &[(f64, f64)], value: f64) -> f64 {
    let (Some(first), Some(last)) = (scale.first(), scale.last()) else { return 0.0 };
    if value <= first.0 {
        return first.1;
    }
    for pair in scale.windows(2) {
        let ((v0, f0), (v1, f1)) = (pair[0], pair[1]);
        if value <= v1 {
            return f0 + (f1 - f0) * (value - v0) / (v1 - v0);
        }
    }
    last.1
}

/// The value at a fraction of the arc: the other way round.
pub fn scale_value(scale: &[(f64, f64)], fraction: f64) -> f64 {
    let turned: Vec<(f64, f64)> = scale.iter().map(|(v, f)| (*f, *v)).collect();
    scale_fraction(&turned, fraction)
}

/// The fraction of arc that a person can tell apart: a quarter of the smallest
/// division (common practice, no published source).
pub fn readable_step(meter: &Meter) -> f64 {
    let smallest = meter
        .divisions
        .windows(2)
        .map(|d| scale_fraction(&meter.scale, d[1]) - scale_fraction(&meter.scale, d[0]))
        .filter(|width| *width > 1e-6)
        .fold(f64::INFINITY, f64::min);
    if smallest.is_finite() { smallest / 4.0 } else { 0.025 }
}

/// What a meter responds to, after its own fault.
pub fn meter_value(meter: &Meter, solution: &Solution) -> f64 {
    if !meter.burden_ohms.is_finite() {
        return 0.0;
    }
    let value = match meter.senses {
        Senses::Ac => solution.ac_between(meter.plus, meter.minus),
        // A moving coil driven backwards rests on its stop, unless its scale has room
        // below zero.
        Senses::Dc => {
            let least = meter.scale.first().map_or(0.0, |(value, _)| value.min(0.0));
            (solution.dc_between(meter.plus, meter.minus) * meter.per_volt).max(least)
        }
        Senses::Hertz if solution.ac_between(meter.plus, meter.minus) < meter.least_volts => 0.0,
        Senses::Hertz => solution.hertz_between(meter.plus, meter.minus),
    };
    value * meter.gain
}

/// How a meter's pointer stands.
///
/// The accuracy class is a percentage of the full arc; at the zero end the pointer
/// rests on its adjusted stop, so the error grows from nothing there.
pub fn meter_dial(meter: &Meter, solution: &Solution) -> Dial {
    let exact = scale_fraction(&meter.scale, meter_value(meter, solution));
    let step = readable_step(meter);
    let end = meter.scale.last().map_or(1.0, |(_, fraction)| *fraction);
    Dial {
        exact,
        error: (meter.class_percent / 100.0).min(exact / 2.0),
        step,
        last: libm::round(end / step) as i64,
        range: 0,
    }
}

/// Positive-sequence voltage, as a fraction of rated, above which a running gyro turns
/// near synchronous speed and shows nothing amiss, and above which it still turns, too
/// slow to hold; assumptions. An induction motor loses little speed while its torque
/// lasts, so a gyro on two lines looks well: that is what its warning lamp is for.
const GYRO_ERECT: f64 = 0.6;
const GYRO_TURNS: f64 = 0.3;

/// Speed below which a machine is heard to run slow, as a fraction of normal; an
/// assumption.
const HEARD_SLOW: f64 = 0.93;
/// Volts at a standing motor above which it hums, an assumption.
const HUMS_ABOVE_VOLTS: f64 = 2.0;

/// What a part shows to someone in front of it; `None` for a part with no face.
pub fn face(network: &Network, settled: &Settled, part: PartId) -> Option<Showing> {
    let circuit = network.drawing();
    let solution = &settled.solution;
    let look =
        match network.kind(part) {
            Kind::Lamp(lamp) => lamp_look(circuit, lamp, settled),
            Kind::Meter(meter)
            | Kind::Ammeter(meter)
            | Kind::Loadmeter(meter)
            | Kind::FrequencyMeter(meter) => {
                return Some(Showing::Dial(meter_dial(meter, solution)));
            }
            Kind::Breaker(_) => match settled.state.of(part) {
                PartState::Breaker { closed: true, .. } => Look::In,
                _ => Look::Out,
            },
            Kind::Load(load) if !load.shows.is_empty() => {
                let fed = load
                    .needs
                    .iter()
                    .map(|(a, b, volts)| solution.rms_between(*a, *b) / volts)
                    .fold(solution.rms_between(load.a, load.b) / load.volts, f64::min);
                let whole = load.movement_sound && load.ohms.is_finite();
                life(if whole { fed } else { 0.0 }, load.works_above, load.moves_above, load.flag)
            }
            Kind::Load3(load) if !load.shows.is_empty() => {
                let [a, b, c] = load.phases;
                let fed = [(a, b), (b, c), (c, a)]
                    .map(|(x, y)| solution.ac_between(x, y) / load.volts)
                    .into_iter()
                    .fold(f64::INFINITY, f64::min);
                let whole = load.leg_ohms.iter().all(|ohms| ohms.is_finite());
                life(if whole { fed } else { 0.0 }, load.works_above, load.moves_above, false)
            }
            Kind::Gyro(gyro) if !gyro.shows.is_empty() => {
                let (first, _) = solution.sequence_squares(network.rotor_nets(part));
                let fed = (3.0 * first).sqrt() / gyro.volts;
                match settled.state.turning(part) {
                    Turning::Stands => life(0.0, GYRO_ERECT, GYRO_TURNS, gyro.flag),
                    Turning::Forward => life(fed, GYRO_ERECT, GYRO_TURNS, gyro.flag),
                    Turning::Backward => Look::Wandering,
                }
            }
            Kind::Motor(motor) if !motor.shows.is_empty() => {
                let volts = solution.dc_between(motor.a, motor.b).abs();
                if settled.state.running(part) {
                    if volts < motor.slow_volts { Look::Slow } else { Look::Running }
                } else if motor.standing_ohms.is_finite() && volts > HUMS_ABOVE_VOLTS {
                    Look::Humming
                } else {
                    Look::Silent
                }
            }
            Kind::Solenoid(solenoid) if !solenoid.shows.is_empty() => {
                if settled.state.operated(part) { Look::Pulled } else { Look::Released }
            }
            Kind::Horn(horn) => {
                let sounds = |s: &Solution| {
                    let heard = horn.sounds && horn.ohms.is_finite();
                    heard && s.rms_between(horn.a, horn.b) >= horn.sounds_volts
                };
                let now = sounds(solution);
                if settled.cycle.iter().any(|s| sounds(s) != now) {
                    Look::Beeping
                } else if now {
                    Look::Sounding
                } else {
                    Look::Silent
                }
            }
            Kind::Converter(converter) => {
                let volts = solution.dc_between(converter.dc, converter.ret).abs();
                let speed = settled.state.speed(part);
                if speed > 0.0 {
                    if speed < HEARD_SLOW { Look::Slow } else { Look::Running }
                } else if converter.motor_sound && volts > HUMS_ABOVE_VOLTS {
                    Look::Humming
                } else {
                    Look::Silent
                }
            }
            Kind::Vibrator(_) => {
                if settled.state.running(part) {
                    Look::Running
                } else {
                    Look::Silent
                }
            }
            Kind::Supply(_)
            | Kind::Battery(_)
            | Kind::Generator(_)
            | Kind::Receptacle(_)
            | Kind::Alternator(_)
            | Kind::TransformerRectifier(_)
            | Kind::Wire(_)
            | Kind::Feeder(_)
            | Kind::Resistor(_)
            | Kind::Diode(_)
            | Kind::Shunt(_)
            | Kind::Splice(_)
            | Kind::Connector(_)
            | Kind::Ground(_)
            | Kind::GroundStud(_)
            | Kind::Fuse(_)
            | Kind::Transformer(_)
            | Kind::Switch(_)
            | Kind::PushSwitch(_)
            | Kind::ChangeoverSwitch(_)
            | Kind::Mechanism(_)
            | Kind::Microswitch(_)
            | Kind::Relay(_)
            | Kind::Contactor(_)
            | Kind::ReverseCurrentRelay(_)
            | Kind::PhaseRelay(_)
            | Kind::Flasher(_)
            | Kind::Motor(_)
            | Kind::Solenoid(_)
            | Kind::Load(_)
            | Kind::Load3(_)
            | Kind::Gyro(_) => return None,
        };
    Some(Showing::Look(look))
}

/// The state of life of an instrument fed at a fraction of its rated volts.
fn life(fed: f64, works_above: f64, moves_above: f64, flag: bool) -> Look {
    if fed >= works_above {
        Look::Works
    } else if fed >= moves_above {
        Look::Sluggish
    } else if flag {
        Look::Flagged
    } else {
        Look::Dead
    }
}

/// Whether a part has a face that someone at a station can see or hear, and which
/// station that is: breakers and machines where they are, the rest where they are read.
pub fn has_face(circuit: &Circuit, part: PartId) -> bool {
    match &circuit.part(part).kind {
        Kind::Lamp(_)
        | Kind::Horn(_)
        | Kind::Meter(_)
        | Kind::Ammeter(_)
        | Kind::Loadmeter(_)
        | Kind::FrequencyMeter(_)
        | Kind::Breaker(_)
        | Kind::Converter(_)
        | Kind::Vibrator(_) => true,
        Kind::Motor(motor) => !motor.shows.is_empty(),
        Kind::Solenoid(solenoid) => !solenoid.shows.is_empty(),
        Kind::Load(load) => !load.shows.is_empty(),
        Kind::Load3(load) => !load.shows.is_empty(),
        Kind::Gyro(gyro) => !gyro.shows.is_empty(),
        Kind::Supply(_)
        | Kind::Battery(_)
        | Kind::Generator(_)
        | Kind::Receptacle(_)
        | Kind::Alternator(_)
        | Kind::TransformerRectifier(_)
        | Kind::Wire(_)
        | Kind::Feeder(_)
        | Kind::Resistor(_)
        | Kind::Diode(_)
        | Kind::Shunt(_)
        | Kind::Splice(_)
        | Kind::Connector(_)
        | Kind::Ground(_)
        | Kind::GroundStud(_)
        | Kind::Fuse(_)
        | Kind::Transformer(_)
        | Kind::Switch(_)
        | Kind::PushSwitch(_)
        | Kind::ChangeoverSwitch(_)
        | Kind::Mechanism(_)
        | Kind::Microswitch(_)
        | Kind::Relay(_)
        | Kind::Contactor(_)
        | Kind::ReverseCurrentRelay(_)
        | Kind::PhaseRelay(_)
        | Kind::Flasher(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_turns_values_into_angles_and_back() {
        let scale = [(0.0, 0.0), (50.0, 0.06), (115.0, 0.5), (250.0, 1.0)];
        for value in [0.0, 19.0, 50.0, 115.0, 200.0] {
            let there = scale_fraction(&scale, value);
            assert!((scale_value(&scale, there) - value).abs() < 1e-9);
        }
        assert_eq!(scale_fraction(&scale, 400.0), 1.0);
    }

    #[test]
    fn light_words_follow_the_light() {
        for (light, word) in
            [(0.0, Look::Dark), (0.02, Look::Glimmer), (0.5, Look::Dim), (1.0, Look::Bright)]
        {
            assert_eq!(light_word(light), word);
        }
    }
}
