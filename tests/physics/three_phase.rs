//! Three phases: sequence lamps, a star with neutral, wattmeters, open delta.

use halfsplit::circuit::Kind;
use halfsplit::units::{angle_degrees, magnitude, phasor};
use num_complex::Complex64;

use crate::harness::{Bench, Solved, TINY, near};

/// Two lamps on phases B and C and a capacitor on phase A, in star without neutral.
fn sequence_lamps(phases: [&str; 3], line_volts: f64, hertz: f64, ohms: f64, xc: f64) -> Solved {
    Bench::new()
        .three_phase("G", phases, [line_volts, hertz, TINY])
        .resistor("N", "B", "GND", TINY)
        .load("C", ["A", "star"], Complex64::new(0.0, -xc), hertz)
        .resistor("R1", "B", "star", ohms)
        .resistor("R2", "C", "star", ohms)
        .settle()
}

#[test]
fn sequence_lamps_light_as_the_book_prints() {
    // LIEC volume II chapter 10: 120 V a phase, 60 Hz, R1 = R2 = 2650 ohms, C = 1 uF:
    // 48.10 V and 179.5 V across the resistors, 161.0 V across the capacitor. The
    // phase after the capacitor's is bright; the other order exchanges the lamps.
    let xc = 1.0 / (std::f64::consts::TAU * 60.0 * 1e-6);
    let line_volts = 120.0 * 3.0_f64.sqrt();
    let forward = sequence_lamps(["A", "B", "C"], line_volts, 60.0, 2650.0, xc);
    near(forward.ac("C", "star"), 48.10, 1e-4);
    near(forward.ac("B", "star"), 179.5, 1e-3);
    near(forward.ac("A", "star"), 161.0, 1e-3);
    let reverse = sequence_lamps(["A", "C", "B"], line_volts, 60.0, 2650.0, xc);
    near(reverse.ac("B", "star"), 48.10, 1e-4);
    near(reverse.ac("C", "star"), 179.5, 1e-3);
}

#[test]
fn sequence_lamps_of_the_capacitors_ohms_follow_the_closed_form() {
    // Computed: with R = Xc the star point stands at -0.2 + 0.6j of the phase voltage,
    // so the lamps have 1.496406 and 0.400961 of it and the capacitor 3 / sqrt 5.
    let volts = 115.0 / 3.0_f64.sqrt();
    let lamps = sequence_lamps(["A", "B", "C"], 115.0, 400.0, 50.0, 50.0);
    near(lamps.ac("B", "star") / volts, 1.496_406, 5e-6);
    near(lamps.ac("C", "star") / volts, 0.400_961, 1e-5);
    near(lamps.ac("A", "star") / volts, 3.0 / 5.0_f64.sqrt(), 5e-6);
    // The same at 115 V line to line: 99.354 V and 26.622 V.
    near(lamps.ac("B", "star"), 99.354, 1e-5);
    near(lamps.ac("C", "star"), 26.622, 3e-5);
}

/// A four-wire star source of these phase volts at `LA`, `LB`, `LC`, its neutral on the
/// airframe: a delta-star bank behind a stiff three-phase source.
fn four_wire(phase_volts: f64) -> Bench {
    Bench::new()
        .three_phase("G", ["A", "B", "C"], [phase_volts, 400.0, TINY])
        .resistor("NB", "B", "GND", TINY)
        .transformer("T1", ["A", "B"], ["LA", "GND"], [1.0, 1.0])
        .transformer("T2", ["B", "C"], ["LB", "GND"], [1.0, 1.0])
        .transformer("T3", ["C", "A"], ["LC", "GND"], [1.0, 1.0])
}

#[test]
fn a_star_of_resistor_inductor_and_capacitor_can_leave_the_neutral_empty() {
    // K. Vaske, *Berechnung von Drehstromschaltungen*, 1973, exercise 18 page 42, read
    // in the Modelica Standard Library's documentation: R = 10, XL = XC = 10 sqrt 3
    // ohms on 100 V: no neutral current.
    let x = 10.0 * 3.0_f64.sqrt();
    let star = |second: f64, third: f64| {
        four_wire(100.0)
            .resistor("R", "LA", "star", 10.0)
            .load("Z2", ["LB", "star"], Complex64::new(0.0, second), 400.0)
            .load("Z3", ["LC", "star"], Complex64::new(0.0, third), 400.0)
            .resistor("N", "star", "GND", 1e-3)
            .settle()
    };
    let balanced = magnitude(star(x, -x).amps("N"));
    assert!(balanced < 2e-3, "{balanced}");
    // Computed: in the other order all three currents are in phase, 20 A.
    near(magnitude(star(-x, x).amps("N")), 20.0, 1e-3);
}

#[test]
fn an_unbalanced_four_wire_load_sends_the_difference_down_the_neutral() {
    // Bird, *Electrical Circuit Theory and Technology*, chapter 20 problem 4: 415 V
    // four-wire, 24, 18 and 12 kW (read at FOSSEE, 1529 EX20.4). Computed from these:
    // 100.167, 75.125, 50.083 A and 43.373 A in the neutral.
    let volts = 415.0 / 3.0_f64.sqrt();
    let ohms = |watts: f64| volts * volts / watts;
    let star = four_wire(volts)
        .resistor("R1", "LA", "star", ohms(24e3))
        .resistor("R2", "LB", "star", ohms(18e3))
        .resistor("R3", "LC", "star", ohms(12e3))
        .resistor("N", "star", "GND", 1e-5)
        .settle();
    for (part, amps) in [("R1", 100.167), ("R2", 75.125), ("R3", 50.083), ("N", 43.373)] {
        near(magnitude(star.amps(part)), amps, 3e-4);
    }
}

#[test]
fn two_wattmeters_read_the_power_of_three_wires() {
    // Bird, read at FOSSEE, 1529 EX20.18: R = XL = 8 ohms a phase in star on 415 V:
    // 8.489 and 2.275 kW; the sum is the power.
    let leg = Complex64::new(8.0, 8.0);
    let star = Bench::new()
        .three_phase("G", ["A", "B", "C"], [415.0, 400.0, TINY])
        .resistor("NB", "B", "GND", TINY)
        .resistor("RA", "A", "LA", 1e-3)
        .resistor("RC", "C", "LC", 1e-3)
        .load3("Z", ["LA", "B", "LC"], leg, 400.0)
        .settle();
    let watts = |line: &str, part: &str| (star.phasor(line, "B") * star.amps(part).conj()).re;
    let (first, second) = (watts("A", "RA"), watts("C", "RC"));
    near(first.max(second), 8489.0, 1e-3);
    near(first.min(second), 2275.0, 1e-3);
    near(first + second, 415.0 * 415.0 / leg.norm_sqr() * leg.re, 1e-3);
}

/// Three transformers between A, B, C and LA, LB, LC in delta, feeding a star load; each
/// secondary through a small resistor so that its current can be read.
fn delta_bank(line_volts: f64, leg_ohms: f64) -> Solved {
    Bench::new()
        .three_phase("G", ["A", "B", "C"], [line_volts, 400.0, TINY])
        .resistor("NB", "B", "GND", TINY)
        .transformer("T1", ["A", "B"], ["s1", "LB"], [1.0, 1.0])
        .transformer("T2", ["B", "C"], ["s2", "LC"], [1.0, 1.0])
        .transformer("T3", ["C", "A"], ["s3", "LA"], [1.0, 1.0])
        .resistor("R1", "s1", "LA", 1e-4)
        .resistor("R2", "s2", "LB", 1e-4)
        .resistor("R3", "s3", "LC", 1e-4)
        .resistor("Nb", "LB", "GND", TINY)
        .resistor("Ra", "LA", "ZA", 1e-4)
        .load3("Z", ["ZA", "LB", "LC"], Complex64::new(leg_ohms, 0.0), 400.0)
        .settle()
}

fn without_third(bank: Solved) -> Solved {
    bank.with("T3", |kind| {
        let Kind::Transformer(t) = kind else { unreachable!("T3 is a transformer") };
        t.secondary_sound = false;
        t.primary_sound = false;
    })
}

#[test]
fn an_open_delta_carries_0_577_of_the_closed_bank() {
    // Navy, NAVEDTRA 14344 page 3-32: 150 kW of unity power factor at 250 V is 346 A a
    // line; with one of three transformers taken out the line must fall to 200 A, the
    // current of one transformer; two of 86.6 kW each would carry the whole. Computed:
    // 346.41 A, 200.00 A, 57.735 % of the closed bank, 86.603 % of the two ratings.
    let leg_ohms = 250.0 * 250.0 / 150e3;
    let closed = delta_bank(250.0, leg_ohms);
    let line = magnitude(closed.amps("Ra"));
    let winding = magnitude(closed.amps("R1"));
    near(line, 346.41, 2e-3);
    near(winding, 200.0, 2e-3);
    let open = without_third(closed);
    // Still full line voltage (LIEC volume II: a delta source with one winding open).
    near(open.ac("LA", "LC"), 250.0, 2e-3);
    near(magnitude(open.amps("R1")), 346.41, 2e-3);
    near(magnitude(open.amps("R2")), 346.41, 2e-3);
    // The load that brings each winding back to its 200 A.
    let share = winding / magnitude(open.amps("R1"));
    near(share, 0.577_35, 2e-3);
    let reduced = without_third(delta_bank(250.0, leg_ohms / share));
    near(magnitude(reduced.amps("R1")), 200.0, 2e-3);
    let watts = 3.0 * magnitude(reduced.amps("Ra")).powi(2) * (leg_ohms / share);
    near(watts / (2.0 * 250.0 * 200.0), 0.866_03, 2e-3);
}

#[test]
fn an_open_delta_of_two_20_kva_units_is_overloaded_by_40_kva() {
    // Kosow, *Electric Machinery and Transformers*, second edition, examples 14-35 and
    // 14-37 (read at FOSSEE, 1092 EX14.35 and EX14.37): three 20 kVA units of 230 V; on
    // two of them 40 kVA load each to 23.1 kVA, 115.5 %; the closed bank would have
    // carried 13.33 kVA in each, so each carries 173.2 % of that.
    let leg_ohms = 230.0 * 230.0 / 40e3;
    let closed = delta_bank(230.0, leg_ohms);
    let each_closed = magnitude(closed.amps("R1")) * 230.0;
    near(each_closed, 13_333.0, 2e-3);
    let open = without_third(closed);
    let each = magnitude(open.amps("R1")) * 230.0;
    near(each, 23_100.0, 3e-3);
    near(each / 20e3, 1.155, 3e-3);
    near(each / each_closed, 1.732, 2e-3);
}

#[test]
fn a_corner_grounded_open_delta_gives_a_balanced_26_volts() {
    // Computed with ngspice 39: 115 V line to line with B on the airframe, two 115/26 V
    // transformers A to B and C to B, three 52 ohm loads in delta: A and C at 115 V to
    // the airframe 60 degrees apart, 26 V between any two secondaries, 0.866025 A a
    // line, 22.517 VA a transformer at 19.5 W, one lagging and one leading by
    // 11.258 var: 39 W, 86.6 % of the two ratings at that current.
    let bank = Bench::new()
        .three_phase("G", ["A", "B", "C"], [115.0, 400.0, TINY])
        .resistor("NB", "B", "GND", TINY)
        .transformer("TA", ["A", "GND"], ["sa", "GND"], [115.0, 26.0])
        .transformer("TC", ["C", "GND"], ["sc", "GND"], [115.0, 26.0])
        .resistor("RA", "sa", "LA", TINY)
        .resistor("RC", "sc", "LC", TINY)
        .resistor("Lab", "LA", "GND", 52.0)
        .resistor("Lbc", "LC", "GND", 52.0)
        .resistor("Lca", "LA", "LC", 52.0)
        .settle();
    for (a, b, volts) in [
        ("A", "GND", 115.0),
        ("C", "GND", 115.0),
        ("A", "C", 115.0),
        ("LA", "GND", 26.0),
        ("LC", "GND", 26.0),
        ("LA", "LC", 26.0),
    ] {
        near(bank.ac(a, b), volts, 1e-4);
    }
    let between = angle_degrees(bank.phasor("A", "GND") / bank.phasor("C", "GND"));
    near(between.abs(), 60.0, 1e-4);
    let power = |line: &str, part: &str| bank.phasor(line, "GND") * bank.amps(part).conj();
    let (a, c) = (power("LA", "RA"), power("LC", "RC"));
    let mut total = 0.0;
    for (s, part) in [(a, "RA"), (c, "RC")] {
        near(magnitude(bank.amps(part)), 0.866_025, 1e-4);
        near(magnitude(s), 22.517, 1e-4);
        near(s.re, 19.5, 1e-4);
        near(s.im.abs(), 11.258, 1e-4);
        total += s.re;
    }
    assert!(a.im * c.im < 0.0, "one lags and the other leads");
    near(total, 39.0, 1e-4);
    near(total / (magnitude(a) + magnitude(c)), 0.866, 1e-4);
}

#[test]
fn currents_of_an_unbalanced_delta_are_those_of_the_book() {
    // Kosow, example 14-36 (inputs read at FOSSEE, 1092 EX14.36; line currents computed
    // from its code): delta currents 10 at 0, 15 at -165.57 and 12 at -214.16 degrees
    // give lines 21.038 at -18.68, 24.810 at -171.34 and 11.439 at 66.30. Here the
    // impedances that carry just these at 230 V are put in delta.
    let currents = [phasor(10.0, 0.0), phasor(15.0, -165.57), phasor(12.0, -214.16)];
    let volts = [phasor(230.0, 0.0), phasor(230.0, -120.0), phasor(230.0, 120.0)];
    let z: Vec<Complex64> = volts.iter().zip(currents).map(|(v, i)| v / i).collect();
    let delta = Bench::new()
        .three_phase("G", ["A", "B", "C"], [230.0, 400.0, TINY])
        .resistor("NB", "B", "GND", TINY)
        .resistor("RA", "A", "LA", 1e-3)
        .resistor("RB", "B", "LB", 1e-3)
        .resistor("RC", "C", "LC", 1e-3)
        .load("Z1", ["LA", "LB"], z[0], 400.0)
        .load("Z2", ["LB", "LC"], z[1], 400.0)
        .load("Z3", ["LC", "LA"], z[2], 400.0)
        .settle();
    // The book's phase of reference is that of the first line voltage.
    let reference = phasor(1.0, -angle_degrees(delta.phasor("A", "B")));
    let lines = ["RA", "RB", "RC"].map(|part| delta.amps(part) * reference);
    for (line, (amps, degrees)) in
        lines.iter().zip([(21.038, -18.68), (24.810, -171.34), (11.439, 66.30)])
    {
        near(magnitude(*line), amps, 2e-3);
        assert!((angle_degrees(*line) - degrees).abs() < 0.1, "{}", angle_degrees(*line));
    }
    assert!(magnitude(lines.iter().sum()) < 1e-4 * magnitude(lines[0]));
}
