//! Three-phase gyro motors: what a lost phase does to them and they to it.

use halfsplit::circuit::Senses;
use halfsplit::network::{PartState, Turning};
use halfsplit::units::{magnitude, phasor};
use num_complex::Complex64;

use crate::harness::{Bench, Solved, near};

const VOLTS: f64 = 115.0;
const AMPS: f64 = 0.35;
const PULLED: PartState = PartState::Fuse { seated: false, blown: false };
const SEATED: PartState = PartState::Fuse { seated: true, blown: false };

/// A gyro on a stiff 115 V source, B on the airframe, A through a fuse.
fn gyro_bench() -> Bench {
    Bench::new()
        .three_phase("G", ["A", "B", "C"], [VOLTS, 400.0, 1e-3])
        .resistor("NB", "B", "GND", 1e-3)
        .fuse("F-A", "A", "MA", 2.0)
        .gyro("M", ["MA", "B", "C"], VOLTS, AMPS)
}

/// Phase A of a motor with lines B and C alone: the star currents of windings without
/// neutral are `I = Y V` with the circulant admittance of symmetrical components
/// (Fortescue 1918), and no current enters at A: `V_a = -(Y_ab V_b + Y_ac V_c) / Y_aa`.
fn back_fed(y1: Complex64, y2: Complex64, vb: Complex64, vc: Complex64) -> Complex64 {
    let (a, a2) = (phasor(1.0, 120.0), phasor(1.0, -120.0));
    let (yaa, yab, yac) = (y1 + y2, a * y1 + a2 * y2, a2 * y1 + a * y2);
    -(yab * vb + yac * vc) / yaa
}

/// Admittance of one star leg from amperes a line and a lagging power factor.
fn leg(amps: f64, power_factor: f64) -> Complex64 {
    let z = VOLTS / 3.0_f64.sqrt() / amps;
    let angle = libm::acos(power_factor);
    Complex64::new(z * libm::cos(angle), z * libm::sin(angle)).inv()
}

/// The open phase of a motor: engine against the closed form.
fn matches_closed_form(motor: &Solved, y1: Complex64, y2: Complex64) -> f64 {
    let expected = back_fed(y1, y2, motor.phasor("B", "GND"), motor.phasor("C", "GND"));
    let got = motor.phasor("MA", "GND");
    assert!(magnitude(got - expected) < 1e-6 * magnitude(expected), "{got} for {expected}");
    magnitude(got)
}

#[test]
fn balanced_it_draws_its_rated_current_on_every_line() {
    let motor = Bench::new()
        .three_phase("G", ["A", "B", "C"], [VOLTS, 400.0, 1e-3])
        .resistor("NB", "B", "GND", 1e-3)
        .resistor("RA", "A", "MA", 1e-3)
        .resistor("RB", "B", "MB", 1e-3)
        .resistor("RC", "C", "MC", 1e-3)
        .gyro("M", ["MA", "MB", "MC"], VOLTS, AMPS)
        .settle();
    assert!(motor.running("M") && motor.steady());
    for line in ["RA", "RB", "RC"] {
        near(magnitude(motor.amps(line)), AMPS, 1e-4);
    }
    // Watts of a three-phase load: sqrt 3 times line volts, amperes and power factor.
    let watts: f64 = [("MA", "RA"), ("MB", "RB"), ("MC", "RC")]
        .iter()
        .map(|(net, line)| (motor.phasor(net, "MB") * motor.amps(line).conj()).re)
        .sum();
    near(watts, 3.0_f64.sqrt() * VOLTS * AMPS * 0.6, 1e-4);
}

#[test]
fn a_running_rotor_holds_up_the_phase_that_is_lost() {
    let motor = gyro_bench().settle().pull("F-A");
    assert!(motor.running("M"), "a running rotor keeps running on two lines");
    let open = matches_closed_form(&motor, leg(AMPS, 0.6), leg(4.0 * AMPS, 0.5));
    // The back-fed phase stands at more than two thirds of the normal voltage, though
    // its fuse is out.
    assert!((VOLTS * 2.0 / 3.0..VOLTS).contains(&open), "{open}");
}

#[test]
fn a_standing_rotor_puts_half_the_voltage_on_the_lost_phase_and_does_not_start() {
    let motor = gyro_bench().settle_with("F-A", PULLED);
    assert!(!motor.running("M"), "two lines give no starting torque");
    let standing = leg(4.0 * AMPS, 0.5);
    let open = matches_closed_form(&motor, standing, standing);
    near(open, VOLTS / 2.0, 1e-4);
    // With the fuse in, it starts.
    assert!(motor.then("F-A", SEATED).running("M"));
}

#[test]
fn a_motor_that_lost_two_lines_runs_down_and_stays_down_on_two() {
    let bench = Bench::new()
        .three_phase("G", ["A", "B", "C"], [VOLTS, 400.0, 1e-3])
        .resistor("NB", "B", "GND", 1e-3)
        .fuse("F-A", "A", "MA", 2.0)
        .fuse("F-C", "C", "MC", 2.0)
        .gyro("M", ["MA", "B", "MC"], VOLTS, AMPS);
    let motor = bench.settle().pull("F-A");
    assert!(motor.running("M"));
    let motor = motor.pull("F-C");
    assert!(!motor.running("M"));
    let motor = motor.then("F-C", SEATED);
    assert!(!motor.running("M"), "it had stopped, and two lines do not start it");
}

#[test]
fn on_two_lines_sequence_voltages_divide_as_their_impedances() {
    // Computed: with one line open I1 = -I2, so |V2| / |V1| = |Z2| / |Z1|, a quarter at
    // a locked-rotor ratio of 4.
    let motor = gyro_bench().settle().pull("F-A");
    let nets = ["MA", "B", "C"].map(|net| motor.net(net));
    let (first, second) = motor.settled.solution.sequence_squares(nets);
    near((second / first).sqrt(), 0.25, 1e-6);
}

/// A warning relay across A and C of a gyro feed, its lamp lit while released.
fn warning_bench(pickup: f64, dropout: f64) -> Bench {
    gyro_bench()
        .relay("K", ["MA", "C"], Senses::Ac, [pickup, dropout], 6000.0, &[["dc", "lamp", ""]])
        .supply("E", "dc", 27.5, 0.01)
        .lamp("L", "lamp", "GND", 28.0, 0.04)
}

#[test]
fn a_warning_relay_set_near_half_voltage_misses_a_phase_held_up_by_back_feed() {
    // Common practice, no published source.
    let low = warning_bench(60.0, 57.0).settle();
    assert!(low.operated("K") && low.dc("lamp", "GND") < 0.1);
    let low = low.pull("F-A");
    assert!(low.running("M") && low.steady());
    assert!(low.operated("K"), "back-feed holds the relay at {} V", low.ac("MA", "C"));
    assert!(low.dc("lamp", "GND") < 0.1, "and the lamp stays dark");
}

#[test]
fn a_warning_relay_set_near_normal_voltage_shows_it() {
    // Common practice, no published source.
    let high = warning_bench(108.0, 100.0).settle();
    assert!(high.operated("K") && high.dc("lamp", "GND") < 0.1);
    let high = high.pull("F-A");
    assert!(high.running("M") && high.steady());
    assert!(!high.operated("K"), "{} V", high.ac("MA", "C"));
    near(high.dc("lamp", "GND"), 27.5, 1e-3);
}

#[test]
fn an_open_winding_leaves_its_line_without_current() {
    let motor = gyro_bench().settle().with("M", |kind| {
        let halfsplit::circuit::Kind::Gyro(gyro) = kind else { unreachable!("M is a gyro") };
        gyro.winding_sound[0] = false;
    });
    // The line stands at its full voltage, the winding's inner end at the back-fed one.
    near(motor.ac("MA", "GND"), VOLTS, 1e-5);
    let inside = motor.phasor("M inside, phase A", "GND");
    let (y1, y2) = (leg(AMPS, 0.6), leg(4.0 * AMPS, 0.5));
    let expected = back_fed(y1, y2, motor.phasor("B", "GND"), motor.phasor("C", "GND"));
    assert!(magnitude(inside - expected) < 1e-6 * magnitude(expected));
}

#[test]
fn with_two_phases_crossed_it_runs_the_other_way() {
    // A reversed sequence turns the field, and with it the rotor, backwards (any text on
    // induction motors).
    let motor = Bench::new()
        .three_phase("G", ["A", "B", "C"], [VOLTS, 400.0, 1e-3])
        .resistor("NB", "B", "GND", 1e-3)
        .gyro("M", ["C", "B", "A"], VOLTS, AMPS)
        .settle();
    let part = motor.network.circuit().find_part("M").expect("the gyro");
    assert_eq!(motor.settled.state.turning(part), Turning::Backward);
}
