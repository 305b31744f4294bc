//! Supplies and converters: regulation, sag, stopping, sources out of step.

use halfsplit::circuit::{Kind, Senses};
use halfsplit::network::Event;
use halfsplit::units::magnitude;
use num_complex::Complex64;

use crate::harness::{Bench, Solved, TINY, near};

/// A converter of 1000 VA on a supply of these volts, B on the airframe, loaded from A
/// to B by `load` ohms.
fn converter(dc_volts: f64, dc_ohms: f64, load: f64) -> Solved {
    Bench::new()
        .supply("E", "hot", dc_volts, 1e-3)
        .resistor("RD", "hot", "dc", dc_ohms)
        .converter("CV", "dc", ["A", "B", "C"], |_| {})
        .resistor("NB", "B", "GND", TINY)
        .resistor("RL", "A", "B", load)
        .resistor("RC", "C", "GND", 1e8)
        .settle()
}

#[test]
fn a_regulated_converter_gives_115_volts_at_400_hertz_from_27_5() {
    // Common practice, no published source: 115 V, 400 Hz from a 27.5 V bus.
    for load in [1e6, 100.0, 30.0] {
        let cv = converter(27.5, 1e-3, load);
        assert!(cv.running("CV"));
        near(cv.ac("A", "GND"), 115.0, 1e-9);
        near(cv.settled.solution.ac[0].hertz, 400.0, 1e-12);
    }
}

#[test]
fn its_direct_current_is_its_output_and_losses_over_its_volts() {
    let cv = converter(27.5, 1e-3, 50.0);
    // What the electromotive forces deliver: the load and the loss in one winding (the
    // load's current goes in at A and out at B, through two phases).
    let amps = magnitude(cv.amps("RL"));
    let delivered = amps * amps * (50.0 + 2.0 * 0.03 * 13.225);
    let dc_volts = cv.dc("dc", "GND");
    near(cv.dc_amps("RD"), (200.0 + delivered / 0.6) / dc_volts, 1e-5);
}

#[test]
fn the_unregulated_phase_follows_the_load() {
    let cv = converter(27.5, 1e-3, 30.0);
    let light = converter(27.5, 1e-3, 1e6);
    near(light.ac("C", "GND"), 115.0, 1e-3);
    assert!((cv.ac("C", "GND") - 115.0).abs() > 1.0, "{}", cv.ac("C", "GND"));
}

#[test]
fn below_its_governed_volts_it_slows_in_proportion() {
    let cv = converter(20.0, 1e-3, 1e6);
    let volts = cv.dc("dc", "GND");
    assert!(cv.running("CV") && volts < 24.0);
    near(cv.settled.solution.ac[0].hertz, 400.0 * volts / 24.0, 1e-9);
    // The field makes up for the speed as far as its ceiling reaches: 1.35 x 115 V.
    near(cv.ac("A", "GND"), 115.0, 1e-9);
    let slow = converter(19.0, 1e-3, 12.0);
    let volts = slow.dc("dc", "GND");
    near(slow.settled.solution.ac[0].emf_volts, 1.35 * 115.0 * volts / 24.0, 1e-9);
    assert!(slow.ac("A", "GND") < 113.0, "{}", slow.ac("A", "GND"));
}

#[test]
fn it_starts_at_its_start_volts_and_stops_below_its_run_volts() {
    let bench = |volts| {
        Bench::new()
            .supply("E", "dc", volts, 1e-4)
            .converter("CV", "dc", ["A", "B", "C"], |_| {})
            .resistor("NB", "B", "GND", TINY)
            .settle()
    };
    assert!(bench(18.1).running("CV"));
    assert!(!bench(17.9).running("CV"));
    let lower = |running: Solved, volts: f64| {
        running.with("E", |kind| {
            let Kind::Supply(supply) = kind else { unreachable!("E is a supply") };
            supply.volts = volts;
        })
    };
    let sagged = lower(bench(27.5), 13.0);
    assert!(sagged.running("CV"), "between run and start volts it keeps turning");
    near(sagged.settled.solution.ac[0].hertz, 400.0 * sagged.dc("dc", "GND") / 24.0, 1e-9);
    let stopped = lower(sagged, 11.9);
    assert!(!stopped.running("CV"));
    assert!(stopped.settled.solution.ac.is_empty());
    assert!(!lower(stopped, 13.0).running("CV"));
}

#[test]
fn a_starved_converter_comes_to_rest_whatever_the_joint() {
    // Whatever the ohms of a poor joint, the circuit settles: it runs, or it stands.
    for tenths in 0..80 {
        let ohms = 1e-3 * libm::pow(10.0, f64::from(tenths) / 10.0);
        let cv = converter(27.5, 1e-3, 40.0);
        assert!(cv.running("CV"));
        let starved = cv.with("RD", |kind| {
            let Kind::Resistor(joint) = kind else { unreachable!("RD is a resistor") };
            joint.ohms = ohms;
        });
        assert!(starved.steady(), "{ohms} ohms: {:?}", starved.settled.stop);
        let volts = starved.dc("dc", "GND");
        assert_eq!(starved.running("CV"), volts >= 12.0, "{ohms} ohms, {volts} V");
    }
}

#[test]
fn worn_brushes_slow_it_and_a_lost_field_silences_it() {
    let with = |change: fn(&mut halfsplit::circuit::Converter)| {
        converter(27.5, 1e-3, 100.0).with("CV", |kind| {
            let Kind::Converter(c) = kind else { unreachable!("CV is a converter") };
            change(c);
        })
    };
    let worn = with(|c| c.speed_factor = 0.6);
    near(worn.settled.solution.ac[0].hertz, 240.0, 1e-9);
    near(worn.settled.solution.ac[0].emf_volts, 0.6 * 1.35 * 115.0, 1e-9);
    let lost = with(|c| c.field_sound = false);
    assert!(lost.running("CV") && lost.settled.solution.ac.is_empty());
    let open = with(|c| c.motor_sound = false);
    assert!(!open.running("CV"));
    let phase = with(|c| c.phase_sound[2] = false);
    assert!(phase.running("CV"));
    near(phase.ac("A", "GND"), 115.0, 1e-6);
}

#[test]
fn two_sources_out_of_step_add_at_a_meter_as_the_root_of_squares() {
    // Constructed: two regulated converters, a meter of 100 megohms from A of one to A
    // of the other: sqrt(115^2 + 115^2) = 162.635 V, though their difference in phase
    // would be nothing if they were in step.
    let pair = Bench::new()
        .supply("E", "dc", 27.5, 1e-4)
        .converter("CV1", "dc", ["A1", "B1", "C1"], |_| {})
        .converter("CV2", "dc", ["A2", "B2", "C2"], |_| {})
        .resistor("N1", "B1", "GND", TINY)
        .resistor("N2", "B2", "GND", TINY)
        .meter("M", "A1", "A2", Senses::Ac, 1e8)
        .settle();
    near(pair.ac("A1", "A2"), 115.0 * 2.0_f64.sqrt(), 1e-6);
    near(pair.ac("A1", "GND"), 115.0, 1e-6);
    assert!(!pair.settled.events.iter().any(|e| matches!(e, Event::Paralleled { .. })));
}

#[test]
fn direct_and_alternating_voltage_stand_apart_and_heat_together() {
    let both = Bench::new()
        .three_phase("G", ["A", "B", "C"], [40.0, 400.0, 1e-3])
        .supply("E", "B", 30.0, 1e-4)
        .resistor("R", "A", "GND", 1000.0)
        .settle();
    let (a, ground) = (both.net("A"), both.net("GND"));
    near(both.dc("A", "GND"), 30.0, 1e-5);
    near(both.ac("A", "GND"), 40.0, 1e-5);
    near(both.settled.solution.rms_between(a, ground), 50.0, 1e-5);
    near(both.settled.solution.sensed(Senses::Dc, a, ground), 30.0, 1e-5);
    near(both.settled.solution.sensed(Senses::Ac, a, ground), 40.0, 1e-5);
}

#[test]
fn two_converters_tied_together_are_reported_and_their_breaker_opens() {
    let tied = Bench::new()
        .supply("E", "dc", 27.5, 1e-4)
        .converter("CV1", "dc", ["A1", "B1", "C1"], |_| {})
        .converter("CV2", "dc", ["A2", "B2", "C2"], |_| {})
        .resistor("N1", "B1", "GND", TINY)
        .resistor("N2", "B2", "GND", TINY)
        .switch("TIE-A", "A1", "tie A")
        .switch("TIE-C", "C1", "tie C")
        .breaker("CB-A", "tie A", "A2", 7.5)
        .breaker("CB-C", "tie C", "C2", 7.5)
        .settle();
    assert!(tied.settled.events.iter().all(|e| !matches!(e, Event::Paralleled { .. })));
    let tied = tied.turn("TIE-A", true).turn("TIE-C", true);
    let (first, second) = (tied.id("CV1"), tied.id("CV2"));
    assert!(tied.settled.events.contains(&Event::Paralleled { first, second }));
    assert!(tied.opened().contains(&"CB-C"), "{:?}", tied.story());
}

#[test]
fn a_vibrator_gives_volts_in_proportion_to_its_supply() {
    let vibrator = |volts: f64, load: f64| {
        Bench::new()
            .supply("E", "dc", volts, 1e-4)
            .vibrator("V", "dc", ["out", "GND"], |_| {})
            .load("L", ["out", "GND"], Complex64::new(load, 0.0), 60.0)
            .settle()
    };
    near(vibrator(27.5, 1e9).ac("out", "GND"), 110.0, 1e-5);
    near(vibrator(22.0, 1e9).ac("out", "GND"), 88.0, 1e-5);
    near(vibrator(27.5, 200.0).ac("out", "GND"), 110.0 * 200.0 / 207.5, 1e-4);
    assert!(!vibrator(17.0, 200.0).running("V"));
}
