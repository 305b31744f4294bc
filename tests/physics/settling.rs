//! Relays, protection and machines coming to rest, and circuits that never do.

use halfsplit::circuit::{Kind, Senses};
use halfsplit::network::{SolveError, StopReason};

use crate::harness::{Bench, Solved, near};

/// A relay on a supply whose volts the test changes.
fn relay_bench(volts: f64) -> Solved {
    Bench::new()
        .supply("E", "dc", volts, 1e-3)
        .relay("K", ["dc", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["dc", "nc", "no"]])
        .resistor("R1", "nc", "GND", 1000.0)
        .resistor("R2", "no", "GND", 1000.0)
        .settle()
}

fn at(solved: Solved, volts: f64) -> Solved {
    solved.with("E", |kind| {
        let Kind::Supply(supply) = kind else { unreachable!("E is a supply") };
        supply.volts = volts;
    })
}

#[test]
fn between_dropout_and_pickup_a_relay_stays_as_it_was() {
    let relay = relay_bench(12.0);
    assert!(!relay.operated("K"));
    let relay = at(relay, 17.9);
    assert!(!relay.operated("K"));
    let relay = at(relay, 18.1);
    assert!(relay.operated("K"));
    near(relay.dc("no", "GND"), 18.1, 1e-3);
    assert_eq!(relay.dc("nc", "GND"), 0.0);
    let relay = at(relay, 7.1);
    assert!(relay.operated("K"), "above its dropout volts it holds");
    let relay = at(relay, 6.9);
    assert!(!relay.operated("K"));
    near(relay.dc("nc", "GND"), 6.9, 1e-3);
}

#[test]
fn a_relay_that_breaks_its_own_coil_chatters() {
    let buzzer = Bench::new()
        .supply("E", "dc", 27.5, 1e-3)
        .relay("K", ["coil", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["dc", "coil", ""]])
        .resistor("R", "coil", "GND", 1e5)
        .settle();
    let parts = vec![buzzer.id("K")];
    assert_eq!(buzzer.settled.stop, StopReason::Chattering { parts, period: 2 });
    // What flickers: the coil is live in one half of the cycle and dead in the other.
    let coil = buzzer.net("coil");
    let other = &buzzer.settled.cycle;
    assert_eq!(other.len(), 1);
    let mut volts = [buzzer.settled.solution.dc[coil.index()], other[0].dc[coil.index()]];
    volts.sort_by(f64::total_cmp);
    assert!(volts[0] < 1e-6 && volts[1] > 27.0, "{volts:?}");
}

#[test]
fn a_holding_relay_keeps_itself_in_until_its_stop_switch_opens() {
    // Start and stop with a holding contact; common practice, no published source.
    let bench = Bench::new()
        .supply("E", "dc", 27.5, 1e-3)
        .switch("STOP", "dc", "run")
        .switch("START", "run", "coil")
        .relay("K", ["coil", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["run", "", "coil"]])
        .resistor("R", "run", "GND", 1e5);
    let k = bench.settle().turn("STOP", true);
    assert!(!k.operated("K"));
    let k = k.turn("START", true);
    assert!(k.operated("K"));
    let k = k.turn("START", false);
    assert!(k.operated("K"));
    assert!(!k.turn("STOP", false).operated("K"));
}

#[test]
fn the_overloaded_device_with_the_shortest_time_opens_first() {
    // A 10 A breaker feeds a 2 A fuse and a short of 0.5 ohm: the fuse carries many
    // more times its rating and opens; then nothing is overloaded any more.
    let fed = Bench::new()
        .supply("E", "dc", 27.5, 1e-3)
        .breaker("CB", "dc", "bus", 10.0)
        .fuse("F", "bus", "load", 2.0)
        .resistor("R", "load", "GND", 0.5)
        .settle();
    assert!(fed.steady());
    assert_eq!(fed.opened(), ["F"]);
    assert!(fed.dc("load", "GND").abs() < 1e-6);
    near(fed.dc("bus", "GND"), 27.5, 1e-6);
}

#[test]
fn a_device_carries_its_rating_for_ever_and_opens_above_what_it_holds() {
    // Carries 100 %: UL 248-14 (fuses). A breaker holds 115 %: from memory.
    let load = |fuse: bool, multiple: f64| {
        let bench = Bench::new().supply("E", "dc", 28.0, 1e-4);
        let bench = if fuse {
            bench.fuse("P", "dc", "load", 5.0)
        } else {
            bench.breaker("P", "dc", "load", 5.0)
        };
        let ohms = 28.0 / (5.0 * multiple) - 0.02;
        bench.resistor("R", "load", "GND", ohms).settle().opened().len()
    };
    for fuse in [true, false] {
        assert_eq!(load(fuse, 1.0), 0);
        assert_eq!(load(fuse, 1.35), 1);
        assert_eq!(load(fuse, 2.0), 1);
    }
    assert_eq!(load(false, 1.14), 0);
}

#[test]
fn an_overload_in_the_second_state_of_a_sequence_still_opens() {
    // The short comes in only when the relay has operated.
    let fed = Bench::new()
        .supply("E", "dc", 27.5, 1e-3)
        .breaker("CB", "dc", "bus", 5.0)
        .relay("K", ["dc", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["bus", "", "short"]])
        .resistor("R", "short", "GND", 0.2)
        .settle();
    assert!(fed.operated("K") && fed.steady());
    assert_eq!(fed.opened(), ["CB"]);
}

#[test]
fn a_net_in_the_air_is_named() {
    let error = Bench::new()
        .supply("E", "dc", 27.5, 1e-3)
        .resistor("R1", "dc", "GND", 10.0)
        .resistor("R2", "adrift", "also adrift", 10.0)
        .try_settle()
        .err();
    let Some(SolveError::Floating { net }) = error else { panic!("{error:?}") };
    assert!(net.ends_with("adrift"), "{net}");
    // With insulation to the airframe it stands at nothing.
    let tied = Bench::new()
        .insulation(10e6)
        .supply("E", "dc", 27.5, 1e-3)
        .resistor("R1", "dc", "GND", 10.0)
        .resistor("R2", "adrift", "also adrift", 10.0)
        .settle();
    assert_eq!(tied.dc("adrift", "GND"), 0.0);
}

#[test]
fn a_dead_circuit_settles_at_nothing() {
    let dead = Bench::new()
        .insulation(10e6)
        .supply("E", "dc", 0.0, 1e-3)
        .converter("CV", "dc", ["A", "B", "C"], |_| {})
        .vibrator("V", "dc", ["out", "GND"], |_| {})
        .gyro("M", ["A", "B", "C"], 115.0, 0.35)
        .relay("K", ["dc", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["dc", "nc", ""]])
        .lamp("L", "nc", "GND", 28.0, 0.04)
        .settle();
    assert!(dead.steady() && dead.settled.events.is_empty());
    assert!(dead.settled.solution.ac.is_empty());
    assert!(dead.settled.solution.dc.iter().all(|volts| *volts == 0.0));
}

#[test]
fn switching_a_running_system_off_and_on_brings_it_back() {
    let on = Bench::new()
        .insulation(10e6)
        .supply("E", "hot", 27.5, 1e-3)
        .switch("MASTER", "hot", "dc")
        .converter("CV", "dc", ["A", "B", "C"], |_| {})
        .resistor("NB", "B", "GND", 1e-3)
        .gyro("M", ["A", "B", "C"], 115.0, 0.35)
        .settle()
        .turn("MASTER", true);
    assert!(on.running("CV") && on.running("M"));
    let volts = on.ac("C", "GND");
    let off = on.turn("MASTER", false);
    assert!(!off.running("CV") && !off.running("M") && off.steady());
    let again = off.turn("MASTER", true);
    assert!(again.running("CV") && again.running("M"));
    near(again.ac("C", "GND"), volts, 1e-9);
}

#[test]
fn relays_that_lock_each_other_out_settle_with_one_in() {
    // Each coil is fed through the other's released contact; real relays never move at
    // the same instant, so one wins. Common practice, no published source.
    let pair = Bench::new()
        .supply("E", "hot", 27.5, 1e-3)
        .switch("S", "hot", "dc")
        .relay("K1", ["x1", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["dc", "x2", ""]])
        .relay("K2", ["x2", "GND"], Senses::Dc, [18.0, 7.0], 290.0, &[["dc", "x1", ""]])
        .resistor("R", "dc", "GND", 1e5)
        .settle()
        .turn("S", true);
    assert!(pair.steady(), "{:?} {:?}", pair.settled.stop, pair.story());
    assert!(pair.operated("K1") != pair.operated("K2"));
}
