//! Machines of the sizes the trade knows. Every rating here is common practice, no
//! published source; what is checked against it is the model's own closed form.

use halfsplit::circuit::{Alternator, Kind, Mechanism, PartId};
use halfsplit::units::magnitude;
use num_complex::Complex64;

use crate::harness::{Bench, Solved, TINY, near};

/// An unregulated alternator of 100 VA, 115 V and 400 Hz at 2400 revolutions per minute,
/// turned at this speed, with a star of these ohms a leg.
fn alternator(rpm: f64, leg_ohms: f64) -> Solved {
    Bench::new()
        .part("ENG", |_| {
            Kind::Mechanism(Mechanism {
                positions: vec!["RUN".to_owned()],
                start: 0,
                rpm: vec![rpm],
                move_minutes: Vec::new(),
            })
        })
        .part("ALT", |b| {
            Kind::Alternator(Alternator {
                phases: ["A", "B", "C"].map(|net| b.net(net)),
                driven_by: PartId(0),
                rpm: vec![rpm],
                rated_rpm: 2400.0,
                volts: 115.0,
                hertz: 400.0,
                volt_amps: 100.0,
                phase_ohms: 6.6,
                phase_reactance_ohms: 13.2,
                phase_sound: [true; 3],
                drive_sound: true,
            })
        })
        .resistor("NB", "B", "GND", TINY)
        .load3("Z", ["A", "B", "C"], Complex64::new(leg_ohms, 0.0), 400.0)
        .settle()
}

#[test]
fn a_small_alternator_gives_volts_and_hertz_in_proportion_to_speed() {
    // Common practice, no published source: about 100 VA at 2400 rpm, give or take 100,
    // and nothing that holds its volts.
    for rpm in [2300.0, 2400.0, 2500.0] {
        let speed = rpm / 2400.0;
        let light = alternator(rpm, 1e9);
        near(light.ac("A", "C"), 115.0 * speed, 1e-6);
        near(light.settled.solution.ac[0].hertz, 400.0 * speed, 1e-12);
        // Computed: at 100 VA the leg is 115 V squared over 100 VA, behind 6.6 ohms and
        // a reactance that goes with speed too.
        let leg: f64 = 115.0 * 115.0 / 100.0;
        let whole = Complex64::new(leg + 6.6, 13.2 * speed);
        near(alternator(rpm, leg).ac("A", "C"), 115.0 * speed * leg / magnitude(whole), 1e-6);
    }
}

#[test]
fn a_converter_of_2500_va_has_margin_over_what_an_airframe_asks() {
    // Common practice, no published source: rated 2.5 kVA at 27.5 V, an airframe asks
    // 0.9 to 1.3 kVA. The power factor of 0.8 is from memory.
    let base_ohms = 115.0 * 115.0 / 2500.0;
    for demand in [900.0, 1300.0] {
        let leg = Complex64::new(0.8, 0.6) * (115.0 * 115.0 / demand);
        let cv = Bench::new()
            .supply("E", "hot", 27.5, 1e-3)
            .resistor("RD", "hot", "dc", 0.01)
            .converter("CV", "dc", ["A", "B", "C"], |c| {
                c.volt_amps = 2500.0;
                c.phase_ohms = 0.03 * base_ohms;
                c.phase_reactance_ohms = 0.1 * base_ohms;
                c.idle_watts = 500.0;
            })
            .resistor("NB", "B", "GND", TINY)
            .resistor("RA", "A", "LA", 1e-3)
            .load3("Z", ["LA", "B", "C"], leg, 400.0)
            .settle();
        assert!(cv.running("CV") && cv.steady());
        assert!(cv.dc("dc", "GND") > 24.0, "above its governed volts");
        let group = &cv.settled.solution.ac[0];
        near(group.hertz, 400.0, 1e-12);
        near(cv.ac("A", "GND"), 115.0, 1e-6);
        assert!(group.emf_volts < 1.35 * 115.0, "its field has room");
        let volt_amps = 3.0_f64.sqrt() * 115.0 * magnitude(cv.amps("RA"));
        near(volt_amps, demand, 1e-2);
        assert!(volt_amps < 0.6 * 2500.0);
    }
}

#[test]
fn a_vibrator_of_80_watts_carries_its_load_at_60_hertz() {
    // Common practice, no published source: about 80 W at 110 V, 60 Hz.
    let loaded = Bench::new()
        .supply("E", "dc", 27.5, 1e-4)
        .vibrator("V", "dc", ["out", "GND"], |_| {})
        .load("L", ["out", "GND"], Complex64::new(110.0 * 110.0 / 80.0, 0.0), 60.0)
        .settle();
    assert!(loaded.running("V"));
    near(loaded.settled.solution.ac[0].hertz, 60.0, 1e-12);
    // Computed: 151.25 ohms behind 7.5.
    near(loaded.ac("out", "GND"), 110.0 * 151.25 / 158.75, 1e-4);
}
