//! The hand meter: two probes, a function, and a reading with an error of its own.

use super::dial::Dial;
use super::look::{Look, Showing};
use crate::circuit::{AIRFRAME, AIRFRAME_NAME, Circuit, NetId, TestPointId};
use crate::network::{Network, Settled, SolveError};

/// What the hand meter is set to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Function {
    /// Alternating volts, root mean square.
    AcVolts,
    /// Direct volts.
    DcVolts,
    /// Ohms, on a dead circuit only.
    Ohms,
}

impl Function {
    /// All functions, in the order of the switch.
    pub const ALL: [Self; 3] = [Self::AcVolts, Self::DcVolts, Self::Ohms];

    /// The name on the switch.
    pub fn name(self) -> &'static str {
        match self {
            Self::AcVolts => "AC volts",
            Self::DcVolts => "DC volts",
            Self::Ohms => "ohms",
        }
    }
}

/// Where a probe touches.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Touch {
    /// A test point.
    Point(TestPointId),
    /// Bare airframe, within reach everywhere.
    Airframe,
}

impl Touch {
    /// The net it touches.
    pub fn net(self, circuit: &Circuit) -> NetId {
        match self {
            Self::Point(point) => circuit.test_point(point).net,
            Self::Airframe => AIRFRAME,
        }
    }

    /// Its name.
    pub fn name(self, circuit: &Circuit) -> &str {
        match self {
            Self::Point(point) => &circuit.test_point(point).id,
            Self::Airframe => AIRFRAME_NAME,
        }
    }
}

/// One measurement with the hand meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Probe {
    /// What the meter is set to.
    pub function: Function,
    /// The red lead.
    pub red: Touch,
    /// The black lead.
    pub black: Touch,
}

/// Error of the hand meter as a fraction of the reading, an assumption.
const HAND_METER_ERROR: f64 = 0.01;
/// Volts above which it steps one range up and shows whole volts.
const HIGH_RANGE_ABOVE: f64 = 60.0;
/// Volts above which a circuit counts as live for the ohms function, an assumption.
const LIVE_ABOVE_VOLTS: f64 = 0.5;
/// Ohms above which the display shows an open circuit: below the insulation of the
/// wiring, which is no path.
pub const OPEN_ABOVE_OHMS: f64 = 1.0e6;
/// Ohms of the resolution steps of the ohms function, by range: up to 60, 600, 6 k,
/// 60 k, 1 M.
const OHMS_RANGES: [(f64, f64); 5] =
    [(60.0, 0.1), (600.0, 1.0), (6.0e3, 10.0), (60.0e3, 100.0), (OPEN_ABOVE_OHMS, 10.0e3)];

/// What the hand meter shows.
///
/// The ohms function refuses a live circuit: [`Look::Live`].
///
/// # Errors
/// [`SolveError`] when the dead circuit has no solution.
pub fn hand_meter(
    network: &Network,
    settled: &Settled,
    probe: Probe,
) -> Result<Showing, SolveError> {
    let circuit = network.drawing();
    let (red, black) = (probe.red.net(circuit), probe.black.net(circuit));
    let solution = &settled.solution;
    Ok(match probe.function {
        Function::AcVolts => volts_dial(solution.ac_between(red, black)),
        Function::DcVolts => volts_dial(solution.dc_between(red, black).abs()),
        Function::Ohms => {
            let live = [(red, AIRFRAME), (black, AIRFRAME), (red, black)]
                .iter()
                .any(|(a, b)| solution.rms_between(*a, *b) > LIVE_ABOVE_VOLTS);
            if live {
                return Ok(Showing::Look(Look::Live));
            }
            ohms_dial(network.ohms_between(&settled.state, red, black)?)
        }
    })
}

fn volts_dial(exact: f64) -> Showing {
    let (range, step) = if exact > HIGH_RANGE_ABOVE { (1, 1.0) } else { (0, 0.1) };
    Showing::Dial(Dial { exact, error: exact * HAND_METER_ERROR, step, last: 100_000, range })
}

fn ohms_dial(exact: f64) -> Showing {
    let range = OHMS_RANGES.iter().position(|(up_to, _)| exact <= *up_to);
    Showing::Dial(match range {
        Some(range) => Dial {
            exact,
            error: exact * HAND_METER_ERROR,
            step: OHMS_RANGES[range].1,
            last: 100_000,
            range: range as u8,
        },
        None => Dial { exact: 0.0, error: 0.0, step: 1.0, last: 0, range: OHMS_RANGES.len() as u8 },
    })
}

/// The display in words: `114 V`, `26.1 V`, `0.4 ohm`, `open`.
pub fn display(function: Function, reading: super::Reading) -> String {
    match function {
        Function::AcVolts | Function::DcVolts => {
            let unit = if function == Function::AcVolts { "V AC" } else { "V DC" };
            if reading.range == 0 {
                format!("{:.1} {unit}", reading.mark as f64 / 10.0)
            } else {
                format!("{} {unit}", reading.mark)
            }
        }
        Function::Ohms => match OHMS_RANGES.get(usize::from(reading.range)) {
            None => "open".to_owned(),
            Some((_, step)) => {
                let ohms = reading.mark as f64 * step;
                if ohms >= 1000.0 {
                    format!("{} kilohm", crate::units::significant(ohms / 1000.0, 3))
                } else {
                    format!("{} ohm", crate::units::significant(ohms, 3))
                }
            }
        },
    }
}
