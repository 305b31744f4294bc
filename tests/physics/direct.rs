//! Direct current: bridges, sources in parallel, and what a meter does to a circuit.

use halfsplit::circuit::Senses;

use crate::harness::{Bench, near};

#[test]
fn an_unbalanced_bridge_stands_as_the_book_prints_it() {
    // LIEC volume I chapter 10: 10 V, R1..R5 = 12, 18, 6, 18, 12 ohms give 4.706,
    // 5.294, 0.5882, 5.294 and 4.706 V.
    let bridge = Bench::new()
        .supply("E", "top", 10.0, 1e-4)
        .resistor("R1", "top", "left", 12.0)
        .resistor("R2", "top", "right", 18.0)
        .resistor("R3", "left", "right", 6.0)
        .resistor("R4", "left", "GND", 18.0)
        .resistor("R5", "right", "GND", 12.0)
        .settle();
    for (a, b, volts) in [
        ("top", "left", 4.706),
        ("top", "right", 5.294),
        ("left", "right", 0.5882),
        ("left", "GND", 5.294),
        ("right", "GND", 4.706),
    ] {
        near(bridge.dc(a, b), volts, 1e-4);
    }
}

#[test]
fn a_balanced_bridge_shows_nothing_across_its_detector() {
    // 590 / 972 = 78.6 / Rx gives Rx = 129.490 ohms (Giancoli, chapter 19, a problem;
    // its answer computed).
    let bridge = Bench::new()
        .supply("E", "top", 10.0, 1e-4)
        .resistor("R1", "top", "left", 590.0)
        .resistor("R2", "left", "GND", 972.0)
        .resistor("R3", "top", "right", 78.6)
        .resistor("Rx", "right", "GND", 78.6 * 972.0 / 590.0)
        .resistor("G", "left", "right", 50.0)
        .settle();
    near(78.6 * 972.0 / 590.0, 129.490, 1e-5);
    assert!(bridge.dc("left", "right").abs() < 1e-9);
}

#[test]
fn sources_in_parallel_meet_where_millman_says() {
    // LIEC volume I chapter 10: 28 V behind 4 ohms, 2 ohms, 7 V behind 1 ohm: 8 V.
    let node = Bench::new()
        .supply("E1", "node", 28.0, 4.0)
        .resistor("R2", "node", "GND", 2.0)
        .supply("E3", "node", 7.0, 1.0)
        .settle();
    near(node.dc("node", "GND"), 8.0, 1e-12);
}

#[test]
fn power_is_greatest_in_a_load_equal_to_the_source() {
    // LIEC volume I: 11.2 V behind 0.8 ohm gives 39.2 W to 0.8 ohm. 37.11 W at
    // 0.5 ohm and 38.22 W at 1.1 ohm from memory.
    for (ohms, watts) in [(0.8, 39.2), (0.5, 37.11), (1.1, 38.22)] {
        let volts = Bench::new()
            .supply("E", "out", 11.2, 0.8)
            .resistor("R", "out", "GND", ohms)
            .settle()
            .dc("out", "GND");
        near(volts * volts / ohms, watts, 2e-4);
    }
}

#[test]
fn a_meter_loads_what_it_measures() {
    // (supply, upper, lower and meter ohms, volts it shows.)
    // US Army SS0602 page 18: 120 V, 70k and 50k, 1000 ohms per volt; the 100 V range
    // shows 38.7097 V (printed 38.8) and the 500 V range 47.244 V (printed 47.2).
    // FOSSEE textbook companion 2360, example 3.14: 250 V, 20k and 25k, 150 V range of
    // 500 ohms per volt and of 10 000 ohms per volt; inputs read, results computed.
    for (supply, upper, lower, burden, shown) in [
        (120.0, 70e3, 50e3, 100e3, 38.7097),
        (120.0, 70e3, 50e3, 500e3, 47.244),
        (250.0, 20e3, 25e3, 75e3, 120.968),
        (250.0, 20e3, 25e3, 1.5e6, 137.868),
    ] {
        let metered = Bench::new()
            .supply("E", "top", supply, 0.1)
            .resistor("R1", "top", "tap", upper)
            .resistor("R2", "tap", "GND", lower)
            .meter("M", "tap", "GND", Senses::Dc, burden)
            .settle();
        near(metered.dc("tap", "GND"), shown, 1e-5);
    }
}

#[test]
fn a_meter_on_a_divider_of_its_own_order_of_ohms_shows_almost_nothing() {
    // LIEC volume I chapter 8: 24 V, two times 250 megohms, a 10 megohm meter: the
    // meter shows 0.8889 V, the other resistor has 23.1111 V.
    let divider = Bench::new()
        .supply("E", "top", 24.0, 1.0)
        .resistor("R1", "top", "tap", 250e6)
        .resistor("R2", "tap", "GND", 250e6)
        .meter("M", "tap", "GND", Senses::Dc, 10e6)
        .settle();
    near(divider.dc("tap", "GND"), 0.8889, 2e-5);
    near(divider.dc("top", "tap"), 23.1111, 2e-6);
}

#[test]
fn insulation_is_ten_megohms_to_the_airframe_and_no_more() {
    // Computed: a meter of 10 megohms on a divider of two times 10 megohms whose tap
    // leaks through another 10: 24 V across 10 in series with 10 / 3.
    let leaky = Bench::new()
        .insulation(10e6)
        .supply("E", "top", 24.0, 1.0)
        .resistor("R1", "top", "tap", 10e6)
        .resistor("R2", "tap", "GND", 10e6)
        .meter("M", "tap", "GND", Senses::Dc, 10e6)
        .settle();
    near(leaky.dc("tap", "GND"), 24.0 / 4.0, 1e-6);
}
