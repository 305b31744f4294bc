//! Wire: ohms from gauge, and the drops the wire charts give.

use halfsplit::circuit::{
    aircraft_wire, solid_copper_diameter_inches, solid_copper_ohms_per_1000_feet,
};

use crate::harness::{Bench, near};

/// Gauge, diameter in inches, circular mils, ohms of 1000 ft of solid copper at
/// 20 degrees Celsius: the table at `HyperPhysics`, `hbase/Tables/wirega.html`, which
/// credits Floyd, *Electric Circuits Fundamentals*, second edition.
const SOLID_COPPER: [(u8, f64, f64, f64); 17] = [
    (8, 0.12849, 16509.0, 0.6282),
    (9, 0.11443, 13094.0, 0.7921),
    (10, 0.10189, 10381.0, 0.9989),
    (11, 0.09074, 8234.0, 1.26),
    (12, 0.0808, 6529.0, 1.588),
    (13, 0.07196, 5178.4, 2.003),
    (14, 0.06408, 4106.8, 2.525),
    (15, 0.05707, 3256.7, 3.184),
    (16, 0.05082, 2582.9, 4.016),
    (17, 0.04526, 2048.2, 5.064),
    (18, 0.0403, 1624.3, 6.385),
    (19, 0.03589, 1288.1, 8.051),
    (20, 0.03196, 1021.5, 10.15),
    (21, 0.02846, 810.1, 12.8),
    (22, 0.02535, 642.4, 16.14),
    (23, 0.02257, 509.45, 20.36),
    (24, 0.0201, 404.01, 25.67),
];

#[test]
fn the_gauge_formula_gives_the_handbook_table() {
    for (gauge, inches, circular_mils, ohms) in SOLID_COPPER {
        near(solid_copper_ohms_per_1000_feet(gauge), ohms, 5e-4);
        let mils = solid_copper_diameter_inches(gauge) * 1000.0;
        near(mils * mils, circular_mils, 5e-4);
        // Printed to five decimals of an inch and no better than the last of them.
        assert!((mils / 1000.0 - inches).abs() < 1.1e-5, "gauge {gauge}");
    }
}

#[test]
fn aircraft_wire_is_the_table_of_the_advisory_circular() {
    // FAA AC 43.13-1B change 1, Table 11-9, largest ohms of 1000 ft, tin-plated.
    for (gauge, ohms) in [
        (24, 28.40),
        (22, 16.20),
        (20, 9.88),
        (18, 6.23),
        (16, 4.81),
        (14, 3.06),
        (12, 2.02),
        (10, 1.26),
        (8, 0.70),
        (6, 0.44),
        (4, 0.28),
    ] {
        assert_eq!(aircraft_wire(gauge).map(|row| row.ohms_per_1000_feet), Some(ohms));
    }
    assert!(aircraft_wire(21).is_none());
    assert!(aircraft_wire(2).is_none());
}

/// Volts lost along a run of aircraft wire that carries a current, solved as a
/// circuit with a load that draws just that current.
fn drop(gauge: u8, feet: f64, amps: f64) -> f64 {
    let ohms = aircraft_wire(gauge).expect("in the table").ohms_per_1000_feet * feet / 1000.0;
    let volts = 28.0;
    Bench::new()
        .supply("E", "bus", volts, 1e-4)
        .wire("W", "bus", "load", ohms)
        .resistor("R", "load", "GND", volts / amps - ohms)
        .settle()
        .dc("bus", "load")
}

#[test]
fn runs_drop_what_the_worked_tables_print() {
    // FAA AC 43.13-1B change 1, Tables 11-7 and 11-8, page 11-22; row 3 prints 3.60
    // for 3.555 and is held to two digits.
    for (gauge, feet, amps, printed, within) in [
        (6, 107.0, 20.0, 0.942, 1e-3),
        (12, 88.0, 20.0, 3.60, 1.5e-2),
        (14, 100.0, 20.0, 6.12, 1e-3),
        (10, 39.0, 20.0, 0.98, 5e-3),
        (10, 156.0, 20.0, 3.93, 1e-3),
        (10, 273.0, 20.0, 6.88, 1e-3),
    ] {
        near(drop(gauge, feet, amps), printed, within);
    }
}

#[test]
fn the_first_example_of_the_wire_chart_asks_for_gauge_8() {
    // FAA AC 43.13-1B change 1, page 11-26, example 1: 50 ft, 28 V, 20 A continuous,
    // at most 1 V: No. 8.
    let fits = [24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4]
        .into_iter()
        .find(|gauge| drop(*gauge, 50.0, 20.0) <= 1.0);
    assert_eq!(fits, Some(8));
    near(drop(10, 50.0, 20.0), 1.26, 1e-3);
    near(drop(8, 50.0, 20.0), 0.70, 1e-3);
}
