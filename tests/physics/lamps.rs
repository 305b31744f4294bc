//! Filaments: current against volts, cold against hot.

use crate::harness::{Bench, near};
use halfsplit::circuit::Kind;

/// Amperes of a 28 V, 0.04 A bulb on a stiff supply.
fn amps(volts: f64) -> f64 {
    Bench::new()
        .supply("E", "in", volts, 1e-2)
        .resistor("R", "in", "lamp", 1e-2)
        .lamp("L", "lamp", "GND", 28.0, 0.04)
        .settle()
        .dc_amps("R")
}

#[test]
fn current_follows_volts_to_the_power_of_0_54() {
    // Common lamp exponent, from memory.
    for fraction in [0.25, 0.5, 0.85, 1.0, 1.1] {
        near(amps(28.0 * fraction), 0.04 * libm::pow(fraction, 0.54), 1e-4);
    }
}

#[test]
fn a_cold_filament_has_a_tenth_of_its_hot_ohms() {
    // Hot over cold is 10 to 15 by the tungsten resistivity table of Jones and
    // Langmuir, 1927, from memory; the model takes 10.
    near(0.01 / amps(0.01), 28.0 / 0.04 / 10.0, 1e-3);
}

#[test]
fn two_lamps_in_series_share_the_volts_and_settle() {
    // Computed: equal bulbs share equally; a bulb of twice the current takes less,
    // in the ratio that carries the same current: (v1 / v2)^0.54 = 1/2.
    let pair = |second: f64| {
        Bench::new()
            .supply("E", "in", 28.0, 1e-2)
            .lamp("L1", "in", "mid", 28.0, 0.04)
            .lamp("L2", "mid", "GND", 28.0, second)
            .settle()
    };
    near(pair(0.04).dc("mid", "GND"), 14.0, 2e-5);
    let uneven = pair(0.08);
    let ratio = uneven.dc("mid", "GND") / uneven.dc("in", "mid");
    near(ratio, libm::pow(0.5, 1.0 / 0.54), 1e-6);
}

#[test]
fn one_bulb_of_two_draws_half_the_current() {
    let lamp = |good| {
        Bench::new()
            .supply("E", "in", 28.0, 1e-2)
            .resistor("R", "in", "lamp", 1e-2)
            .lamp("L", "lamp", "GND", 28.0, 0.04)
            .but(|kind| {
                let Kind::Lamp(lamp) = kind else { unreachable!("a lamp was added") };
                lamp.bulbs = 2;
                lamp.bulbs_good = good;
            })
            .settle()
            .dc_amps("R")
    };
    near(lamp(1) / lamp(2), 0.5, 5e-5);
    assert_eq!(lamp(0), 0.0);
}
