//! What each kind of part does, in circuits of a few parts written as an author would.
//!
//! Values that follow from Ohm's law and the formula in the catalogue are worked out
//! beside each check; settings of relays are the file's own.

use std::sync::Arc;

use halfsplit::circuit::{Kind, NetId, PartId, read_system};
use halfsplit::faults;
use halfsplit::network::{Flow, Network, PartState, Settled, State, StopReason, Turning};
use halfsplit::observation::{Look, Showing, face, meter_value};

/// A circuit at rest in some setup.
struct Bench {
    network: Network,
    settled: Settled,
}

/// A circuit of these parts, switched on; `at` is left out of each, and every word that
/// stands for a net is declared.
fn bench(nets: &str, parts: &[&str]) -> Bench {
    let nets: Vec<String> = nets.split(' ').map(|net| format!("{net:?}")).collect();
    let parts: Vec<String> =
        parts.iter().map(|part| part.replacen('(', "(at: \"s\", ", 1)).collect();
    let text = format!(
        "System(id: \"t\", title: \"t\", stations: [Station(id: \"s\", title: \"s\")], \
         nets: [{}], parts: [{}])",
        nets.join(", "),
        parts.join(", ")
    );
    let (circuit, findings) = read_system("test", &text);
    let circuit = Arc::new(circuit.unwrap_or_else(|| panic!("{findings:?}")));
    let network = Network::new(circuit);
    let settled = network.settle(State::at_rest(network.circuit())).expect("it settles");
    Bench { network, settled }
}

impl Bench {
    fn part(&self, id: &str) -> PartId {
        self.network.circuit().find_part(id).unwrap_or_else(|| panic!("no part {id}"))
    }

    fn net(&self, name: &str) -> NetId {
        self.network.circuit().find_net(name).unwrap_or_else(|| panic!("no net {name}"))
    }

    /// The same with a control moved.
    fn set(self, id: &str, position: &str) -> Self {
        let part = self.part(id);
        let control = self.network.circuit().part(part).kind.control().expect("a control");
        let at = control.positions.iter().position(|p| *p == position).expect("a position");
        let mut state = self.settled.state.clone();
        state.set(part, PartState::Position(at as u8));
        let settled = self.network.settle(state).expect("it settles");
        Self { network: self.network, settled }
    }

    /// The same with a fault that has just struck.
    fn fault(self, code: &str) -> Self {
        let circuit = self.network.circuit();
        let (fault, mode) = faults::parse(circuit, code).unwrap_or_else(|e| panic!("{e}"));
        let faulted = Arc::new(faults::apply(circuit, &fault, &mode));
        let network = Network::like(Arc::clone(&faulted), &self.network);
        let mut state = self.settled.state;
        state.adopt(&faulted, fault.part);
        let settled = network.settle(state).expect("it settles");
        Self { network, settled }
    }

    fn dc(&self, a: &str, b: &str) -> f64 {
        self.settled.solution.dc_between(self.net(a), self.net(b))
    }

    fn ac(&self, a: &str, b: &str) -> f64 {
        self.settled.solution.ac_between(self.net(a), self.net(b))
    }

    fn reads(&self, id: &str) -> f64 {
        let part = self.network.circuit().part(self.part(id));
        meter_value(part.kind.meter().expect("a meter"), &self.settled.solution)
    }

    fn state(&self, id: &str) -> PartState {
        self.settled.state.of(self.part(id))
    }

    fn operated(&self, id: &str) -> bool {
        self.settled.state.operated(self.part(id))
    }

    fn told(&self) -> Vec<String> {
        self.settled.events.iter().map(|e| e.told(self.network.circuit())).collect()
    }
}

fn near(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got}, expected {expected}");
}

const ENGINE: &str = "Mechanism(id: \"ENG\", positions: [\"STOP\", \"IDLE\", \"CRUISE\"], start: \"CRUISE\", rpm: [0, 1500, 6000])";

#[test]
fn a_battery_gives_takes_or_rests_by_the_volts_at_its_terminals() {
    let battery = "Battery(id: \"B\", plus: \"P\", cells: 12, cell_volts: 2, ohms: 0.1, charge_volts: 26, charge_ohms: 0.2)";
    // 24 V behind 0.1 ohm into 2.3 ohms: 10 A.
    let alone = bench("P", &[battery, "Resistor(id: \"R\", a: \"P\", b: \"GND\", ohms: 2.3)"]);
    near(alone.dc("P", "GND"), 23.0, 1e-4);
    assert_eq!(alone.state("B"), PartState::Flow(Flow::Out));
    // A supply of 28 V behind 0.2 ohm: (28 - 26) / 0.4 = 5 A into it, 27 V at its terminals.
    let charged = bench("P", &[battery, "Supply(id: \"E\", plus: \"P\", volts: 28, ohms: 0.2)"]);
    near(charged.dc("P", "GND"), 27.0, 1e-4);
    assert_eq!(charged.state("B"), PartState::Flow(Flow::In));
    let between = bench("P", &[battery, "Supply(id: \"E\", plus: \"P\", volts: 25, ohms: 0.2)"]);
    near(between.dc("P", "GND"), 25.0, 1e-4);
    assert_eq!(between.state("B"), PartState::Flow(Flow::Neither));
    let cell = alone.fault("B:cell-shorted");
    near(cell.dc("P", "GND"), 22.0 * 2.3 / 2.4, 1e-4);
}

#[test]
fn a_generator_goes_on_and_off_its_bus_by_itself() {
    let parts = [
        ENGINE,
        "Generator(id: \"G\", plus: \"G\", driven_by: \"ENG\", volts: 28, amps: 100, droop_percent: 2, least_rpm: 3000)",
        "ReverseCurrentRelay(id: \"K\", generator: \"G\", bus: \"BUS\", enable: \"G\", close_volts: 0.5, reverse_amps: 20)",
        "Battery(id: \"B\", plus: \"BUS\", cell_volts: 2, charge_volts: 27.5)",
        "Resistor(id: \"R\", a: \"BUS\", b: \"GND\", ohms: 1)",
    ];
    let running = bench("G BUS", &parts);
    assert!(running.operated("K"));
    // 0.0056 ohm of droop and 0.0005 of contact before one ohm; the battery takes
    // what 27.5 V and 0.08 ohm let it.
    assert!(running.dc("BUS", "GND") > 27.7 && running.dc("BUS", "GND") < 28.0);
    assert!(running.told().iter().any(|t| t.starts_with("K closes: the generator stands")));
    // At idle it gives 28 x 1500 / 3000 = 14 V: the battery drives it until the relay opens.
    let idle = running.set("ENG", "IDLE");
    assert!(!idle.operated("K"));
    near(idle.dc("G", "GND"), 14.0, 1e-2);
    assert!(
        idle.told().iter().any(|t| t.contains("flow back into the generator")),
        "{:?}",
        idle.told()
    );
    let again = idle.set("ENG", "CRUISE");
    assert!(again.operated("K"));
    let welded = again.fault("K:welded").set("ENG", "STOP");
    assert!(welded.operated("K"));
    // The battery now feeds the standing generator.
    assert!(welded.dc("BUS", "GND") < 12.0, "{}", welded.dc("BUS", "GND"));
}

#[test]
fn a_diode_lets_the_higher_of_two_supplies_feed() {
    let parts = [
        "Supply(id: \"E1\", plus: \"A\", volts: 24, ohms: 0.001)",
        "Supply(id: \"E2\", plus: \"B\", volts: 28, ohms: 0.001)",
        "Diode(id: \"D1\", anode: \"A\", cathode: \"K\", drop_volts: 0.7, ohms: 0.01)",
        "Diode(id: \"D2\", anode: \"B\", cathode: \"K\", drop_volts: 0.7, ohms: 0.01)",
        "Resistor(id: \"R\", a: \"K\", b: \"GND\", ohms: 10)",
    ];
    let both = bench("A B K", &parts);
    near(both.dc("K", "GND"), 27.3 * 10.0 / 10.011, 1e-4);
    assert_eq!(both.state("D1"), PartState::Flow(Flow::Neither));
    assert_eq!(both.state("D2"), PartState::Flow(Flow::Out));
    let one = both.fault("D2:open");
    near(one.dc("K", "GND"), 23.3 * 10.0 / 10.011, 1e-4);
    // Shorted, the higher supply drives the lower: 4 V across 0.022 ohm.
    let shorted = bench("A B K", &parts).fault("D1:shorted");
    assert!(shorted.dc("A", "GND") > 24.1);
}

#[test]
fn an_ohmmeter_sees_a_diode_one_way_only() {
    let dead = bench(
        "A K",
        &[
            "Diode(id: \"D\", anode: \"A\", cathode: \"K\")",
            "Resistor(id: \"R\", a: \"K\", b: \"GND\", ohms: 10)",
        ],
    );
    let ohms = |a: &str, b: &str| {
        dead.network
            .ohms_between(&dead.settled.state, dead.net(a), dead.net(b))
            .expect("it is tied down")
    };
    near(ohms("A", "GND"), 10.02, 1e-4);
    assert!(ohms("GND", "A") > 1e6);
}

fn rectifier(load: &str) -> Bench {
    bench(
        "A B C P",
        &[
            ENGINE,
            "Alternator(id: \"ALT\", a: \"A\", b: \"B\", c: \"C\", driven_by: \"ENG\", rpm: 6000, volts: 115, hertz: 400, volt_amps: 100000)",
            "Ground(id: \"GB\", net: \"B\")",
            "TransformerRectifier(id: \"TR\", a: \"A\", b: \"B\", c: \"C\", plus: \"P\", line_volts: 115, volts: 29, amps: 50, droop_percent: 5)",
            load,
        ],
    )
}

#[test]
fn a_rectifier_follows_its_lines_and_loses_a_third_with_one() {
    let load = "Resistor(id: \"R\", a: \"P\", b: \"GND\", ohms: 2)";
    let all = rectifier(load);
    // A stiff alternator: 29 V behind 0.05 x 29 / 50 = 0.029 ohm into 2 ohms.
    near(all.dc("P", "GND"), 29.0 * 2.0 / 2.029, 0.05);
    // A three-phase bridge gives 3 sqrt 2 / pi = 1.350 of the line voltage, a single-phase
    // one 2 sqrt 2 / pi = 0.900 (any text on rectifiers): two thirds of it.
    let two = rectifier(load).fault("TR:phase-open-C");
    near(two.dc("P", "GND") / all.dc("P", "GND"), 2.0 / 3.0, 0.002);
    // It never takes current back.
    let held = rectifier("Supply(id: \"E\", plus: \"P\", volts: 32, ohms: 0.1)");
    near(held.dc("P", "GND"), 32.0, 1e-3);
    assert_eq!(held.state("TR"), PartState::Flow(Flow::Neither));
}

#[test]
fn a_rectifier_draws_what_it_gives_over_its_efficiency() {
    let loaded = rectifier("Resistor(id: \"R\", a: \"P\", b: \"GND\", ohms: 2)");
    let idle = rectifier("Resistor(id: \"R\", a: \"P\", b: \"GND\", ohms: 2000000)");
    // What the alternator's 0.0040 ohm and 0.0132 ohm a phase lose tells its current;
    // watts from volts and amperes of its three legs.
    let watts = |b: &Bench| {
        let group = &b.settled.solution.ac[0];
        let conductance: f64 = {
            let volts = b.dc("P", "GND");
            let out = volts * volts / if volts > 28.95 { 2_000_000.0 } else { 2.0 };
            (20.0 * (b.ac("A", "C") / 115.0).powi(2) + out / 0.8) * 3.0
                / [("A", "B"), ("B", "C"), ("C", "A")]
                    .iter()
                    .map(|(x, y)| b.ac(x, y).powi(2))
                    .sum::<f64>()
        };
        let star: num_complex::Complex64 = ["A", "B", "C"]
            .iter()
            .map(|n| group.volts[b.net(n).index()])
            .sum::<num_complex::Complex64>()
            / 3.0;
        // By Kirchhoff each phase of the alternator carries what its leg draws.
        let leg = (group.volts[b.net("A").index()] - star) * conductance;
        let inside = num_complex::Complex64::new(
            115.0 * 115.0 / 100_000.0 * 0.03,
            115.0 * 115.0 / 100_000.0 * 0.10,
        );
        let force = group.volts[b.net("A").index()] - star + leg * inside;
        (force.norm_sqr().sqrt() * 3.0_f64.sqrt(), conductance)
    };
    // The electromotive force recovered so is the one it was given.
    near(watts(&loaded).0, 115.0, 1e-3);
    near(watts(&idle).0, 115.0, 1e-3);
    assert!(watts(&loaded).1 > 10.0 * watts(&idle).1);
}

#[test]
fn a_phase_relay_operates_on_three_phases_in_the_right_order() {
    let parts = [
        ENGINE,
        "Alternator(id: \"ALT\", a: \"A\", b: \"B\", c: \"C\", driven_by: \"ENG\", rpm: 6000)",
        "Ground(id: \"GB\", net: \"B\")",
        "Fuse(id: \"F\", line: \"A\", load: \"AF\", amps: 1)",
        "PhaseRelay(id: \"K\", a: \"AF\", b: \"B\", c: \"C\", contacts: [(com: \"B\", no: \"X\")])",
        "Resistor(id: \"R\", a: \"X\", b: \"B\", ohms: 100)",
    ];
    let right = bench("A B C AF X", &parts);
    assert!(right.operated("K"));
    assert!(!bench("A B C AF X", &parts).fault("F:open").operated("K"));
    assert!(!bench("A B C AF X", &parts).fault("K:phases-crossed").operated("K"));
    assert!(!bench("A B C AF X", &parts).fault("ALT:phases-crossed").operated("K"));
    // A quarter of the speed is a quarter of the volts.
    assert!(!right.set("ENG", "IDLE").operated("K"));
}

#[test]
fn volts_and_hertz_of_an_alternator_go_with_speed() {
    let parts = [
        ENGINE,
        "Alternator(id: \"ALT\", a: \"A\", b: \"B\", c: \"C\", driven_by: \"ENG\", rpm: 6000)",
        "Ground(id: \"GB\", net: \"B\")",
        "FrequencyMeter(id: \"HZ\", plus: \"A\", minus: \"C\", least_volts: 20, scale: [(50, 0), (450, 1)], divisions: [50, 450])",
    ];
    let cruise = bench("A B C", &parts);
    near(cruise.ac("A", "C"), 115.0, 0.1);
    near(cruise.reads("HZ"), 400.0, 1e-9);
    let idle = cruise.set("ENG", "IDLE");
    near(idle.ac("A", "C"), 115.0 / 4.0, 0.05);
    near(idle.reads("HZ"), 100.0, 1e-9);
    let stopped = idle.set("ENG", "STOP");
    assert!(stopped.settled.solution.ac.is_empty());
    assert_eq!(stopped.reads("HZ"), 0.0);
}

#[test]
fn a_flasher_works_only_with_enough_current() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 28)",
        "Flasher(id: \"FL\", line: \"D\", load: \"L\", least_amps: 0.06)",
        "Lamp(id: \"L\", a: \"L\", bulbs: 2, bulb_amps: 0.04)",
        "Horn(id: \"H\", a: \"L\", amps: 0.01)",
    ];
    let look = |b: &Bench, id: &str| {
        let showing = face(&b.network, &b.settled, b.part(id));
        let Some(Showing::Look(look)) = showing else { panic!("{id} has a look") };
        look
    };
    let whole = bench("D L", &parts);
    let flasher = whole.part("FL");
    assert_eq!(whole.settled.stop, StopReason::Chattering { parts: vec![flasher], period: 2 });
    assert_eq!(look(&whole, "L"), Look::Flashing);
    assert_eq!(look(&whole, "H"), Look::Beeping);
    let one_out = whole.fault("L:one-bulb-out");
    assert_eq!(one_out.settled.stop, StopReason::Steady);
    assert_eq!(look(&one_out, "H"), Look::Sounding);
    let stays = bench("D L", &parts).fault("FL:stays-closed");
    assert_eq!(look(&stays, "L"), Look::Bright);
}

#[test]
fn what_follows_a_mechanism_a_solenoid_or_a_motor_moves_with_it() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 28)",
        "Mechanism(id: \"DOOR\", positions: [\"SHUT\", \"OPEN\"])",
        "Microswitch(id: \"M1\", follows: \"DOOR\", closes: {\"OPEN\": [(\"D\", \"S\")]})",
        "Solenoid(id: \"SOL\", x1: \"S\")",
        "Microswitch(id: \"M2\", follows: \"SOL\", closes: {\"PULLED\": [(\"D\", \"P\")]})",
        "Motor(id: \"PUMP\", a: \"P\", amps: 5)",
        "Microswitch(id: \"M3\", follows: \"PUMP\", closes: {\"RUNNING\": [(\"D\", \"L\")], \"STANDING\": [(\"D\", \"Q\")]})",
        "Resistor(id: \"R1\", a: \"L\", b: \"GND\", ohms: 100)",
        "Resistor(id: \"R2\", a: \"Q\", b: \"GND\", ohms: 100)",
    ];
    let shut = bench("D S P L Q", &parts);
    near(shut.dc("Q", "GND"), 28.0, 0.1);
    near(shut.dc("L", "GND"), 0.0, 0.01);
    let open = shut.set("DOOR", "OPEN");
    near(open.dc("L", "GND"), 28.0, 0.3);
    near(open.dc("Q", "GND"), 0.0, 0.01);
    let stuck = bench("D S P L Q", &parts).fault("M1:out-of-adjustment").set("DOOR", "OPEN");
    near(stuck.dc("S", "GND"), 0.0, 0.01);
    let jammed = bench("D S P L Q", &parts).fault("SOL:jammed-released").set("DOOR", "OPEN");
    near(jammed.dc("S", "GND"), 28.0, 0.3);
    near(jammed.dc("P", "GND"), 0.0, 0.01);
}

#[test]
fn a_seized_motor_opens_its_breaker() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 27.5)",
        "Breaker(id: \"CB\", line: \"D\", load: \"P\", amps: 10)",
        "Motor(id: \"PUMP\", a: \"P\", amps: 8)",
    ];
    let runs = bench("D P", &parts);
    assert!(runs.settled.state.running(runs.part("PUMP")));
    near(runs.dc("P", "GND") / (27.5 / 8.0), 8.0, 0.1);
    let seized = runs.fault("PUMP:seized");
    assert!(!seized.settled.state.protector_closed(seized.part("CB")));
    // Five times its rated current, a little less for the ohms on the way: four times
    // the rating of the breaker.
    assert!(seized.told().iter().any(|t| t.starts_with("CB carries 3")), "{:?}", seized.told());
}

#[test]
fn returns_on_a_loose_stud_find_their_way_through_one_another() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 28)",
        "Resistor(id: \"R1\", a: \"D\", b: \"N1\", ohms: 10)",
        "Resistor(id: \"R2\", a: \"S2\", b: \"N2\", ohms: 30)",
        "Switch(id: \"SW\", positions: [\"OFF\", \"ON\"], closes: {\"ON\": [(\"D\", \"S2\")]})",
        "Resistor(id: \"R3\", a: \"S2\", b: \"GND\", ohms: 20)",
        "GroundStud(id: \"ST\", nets: [\"N1\", \"N2\"])",
    ];
    let sound = bench("D N1 N2 S2", &parts);
    near(sound.dc("N1", "GND"), 0.0, 0.01);
    near(sound.dc("S2", "GND"), 0.0, 0.01);
    // With the stud off, what is switched off is fed backwards: 28 V over 10 + 30 + 20.
    let loose = bench("D N1 N2 S2", &parts).fault("ST:loose");
    near(loose.dc("S2", "GND"), 28.0 * 20.0 / 60.0, 0.01);
    let lead = bench("D N1 N2 S2", &parts).fault("ST:lead-off-1");
    near(lead.dc("N1", "GND"), 28.0, 0.01);
    near(lead.dc("N2", "GND"), 0.0, 0.01);
}

#[test]
fn crossed_wires_feed_each_others_loads_and_touching_pins_both() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 28)",
        "Switch(id: \"SW\", positions: [\"OFF\", \"ON\"], start: \"ON\", closes: {\"ON\": [(\"D\", \"S\")]})",
        "Connector(id: \"P1\", pins: [(\"A\", \"S\", \"L1\"), (\"B\", \"O\", \"L2\")])",
        "Resistor(id: \"R1\", a: \"L1\", b: \"GND\", ohms: 100)",
        "Resistor(id: \"R2\", a: \"L2\", b: \"GND\", ohms: 100)",
        "Resistor(id: \"RO\", a: \"O\", b: \"GND\", ohms: 1000)",
    ];
    let sound = bench("D S O L1 L2", &parts);
    near(sound.dc("L1", "GND"), 28.0, 0.01);
    near(sound.dc("L2", "GND"), 0.0, 0.01);
    let crossed = bench("D S O L1 L2", &parts).fault("P1:wires-crossed-A-B");
    near(crossed.dc("L1", "GND"), 0.0, 0.01);
    near(crossed.dc("L2", "GND"), 28.0, 0.01);
    let touching = bench("D S O L1 L2", &parts).fault("P1:pins-touching-A-B");
    near(touching.dc("L1", "GND"), 28.0, 0.05);
    near(touching.dc("L2", "GND"), 28.0, 0.05);
    near(sound.fault("P1:pin-open-A").dc("L1", "GND"), 0.0, 0.01);
}

#[test]
fn a_splice_joins_all_but_a_wire_that_has_pulled_out() {
    let parts = [
        "Supply(id: \"E\", plus: \"D\", volts: 28)",
        "Splice(id: \"SP\", nets: [\"D\", \"A\", \"B\"])",
        "Resistor(id: \"R1\", a: \"A\", b: \"GND\", ohms: 100)",
        "Resistor(id: \"R2\", a: \"B\", b: \"GND\", ohms: 100)",
    ];
    let sound = bench("D A B", &parts);
    near(sound.dc("A", "GND"), 28.0, 0.01);
    near(sound.dc("B", "GND"), 28.0, 0.01);
    let out = sound.fault("SP:pulled-out-2");
    near(out.dc("A", "GND"), 0.0, 0.01);
    near(out.dc("B", "GND"), 28.0, 0.01);
}

#[test]
fn ground_power_comes_in_only_when_the_small_pin_is_live() {
    let parts = [
        "Receptacle(id: \"EXT\", plus: \"P\", interlock: \"I\")",
        "Contactor(id: \"K\", x1: \"I\", line: \"P\", load: \"BUS\")",
        "Resistor(id: \"R\", a: \"BUS\", b: \"GND\", ohms: 1)",
    ];
    let out = bench("P I BUS", &parts);
    near(out.dc("P", "GND"), 0.0, 1e-3);
    let plugged = out.set("EXT", "IN");
    assert!(plugged.operated("K"));
    near(plugged.dc("BUS", "GND"), 28.0 / 1.0115, 0.01);
    let pin = bench("P I BUS", &parts).fault("EXT:interlock-pin-open").set("EXT", "IN");
    near(pin.dc("P", "GND"), 28.0, 1e-3);
    near(pin.dc("BUS", "GND"), 0.0, 1e-3);
}

#[test]
fn a_ground_unit_of_the_wrong_polarity_is_kept_off_the_bus() {
    // A diode in the lead of the small pin: common practice, no published source.
    let parts = [
        "Receptacle(id: \"EXT\", plus: \"P\", interlock: \"I\")",
        "Contactor(id: \"K\", x1: \"I\", line: \"P\", load: \"BUS\")",
        "Resistor(id: \"R\", a: \"BUS\", b: \"GND\", ohms: 1)",
    ];
    let wrong = bench("P I BUS", &parts).fault("EXT:unit-reversed").set("EXT", "IN");
    near(wrong.dc("P", "GND"), -28.0, 1e-3);
    near(wrong.dc("I", "GND"), 0.0, 1e-3);
    assert!(!wrong.operated("K"));
    near(wrong.dc("BUS", "GND"), 0.0, 1e-3);
    // Nor does it stay on where it was on before.
    let turned = bench("P I BUS", &parts).set("EXT", "IN").fault("EXT:unit-reversed");
    assert!(!turned.operated("K"));
}

#[test]
fn a_loadmeter_shows_current_back_into_its_generator_below_zero() {
    // Current that flows back turns the generator into a motor, which a loadmeter with a mark
    // below zero is there to show (common practice, no published source). By Ohm's law: 24 V
    // over 0.5 ohm and the shunt's quarter milliohm flow back, a quarter of the rating.
    let scale = "scale: [(-0.5, 0), (0, 0.3), (1, 1)], divisions: [-0.5, 0, 1]";
    let meter = format!("Loadmeter(id: \"L\", plus: \"G\", minus: \"BUS\", {scale})");
    let back = bench(
        "G BUS",
        &[
            "Supply(id: \"E\", plus: \"BUS\", volts: 24, ohms: 0.0001)",
            "Shunt(id: \"SH\", a: \"G\", b: \"BUS\", amps: 200)",
            "Resistor(id: \"R\", a: \"G\", b: \"GND\", ohms: 0.5)",
            &meter,
        ],
    );
    near(back.reads("L"), -24.0 / 0.500_35 / 200.0, 1e-4);
}

#[test]
fn an_ammeter_reads_both_ways_and_a_loadmeter_in_fractions() {
    let scale = "scale: [(-100, 0), (0, 0.5), (100, 1)], divisions: [-100, 0, 100]";
    let ammeter = format!("Ammeter(id: \"A\", plus: \"P\", minus: \"Q\", amps: 100, {scale})");
    let load = "Loadmeter(id: \"L\", plus: \"P\", minus: \"Q\", millivolts: 25, scale: [(-0.1, 0), (1.1, 1)], divisions: [0, 1])";
    let parts = |source: &'static str, sink: &'static str| {
        bench(
            "P Q",
            &[
                source,
                "Shunt(id: \"SH\", a: \"P\", b: \"Q\", amps: 100, millivolts: 50)",
                sink,
                &ammeter,
                load,
            ],
        )
    };
    // 28 V over 0.7 ohm and the shunt's half milliohm: just under 40 A, 20 mV.
    let forth = parts(
        "Supply(id: \"E\", plus: \"P\", volts: 28, ohms: 0.0001)",
        "Resistor(id: \"R\", a: \"Q\", b: \"GND\", ohms: 0.7)",
    );
    near(forth.reads("A"), 28.0 / 0.7006, 0.01);
    near(forth.reads("L"), 28.0 / 0.7006 / 50.0, 0.001);
    let back = parts(
        "Resistor(id: \"R\", a: \"P\", b: \"GND\", ohms: 0.7)",
        "Supply(id: \"E\", plus: \"Q\", volts: 28, ohms: 0.0001)",
    );
    near(back.reads("A"), -28.0 / 0.7006, 0.01);
}

#[test]
fn a_gyro_with_two_lines_exchanged_runs_backwards() {
    let parts = [
        ENGINE,
        "Alternator(id: \"ALT\", a: \"A\", b: \"B\", c: \"C\", driven_by: \"ENG\", rpm: 6000, volt_amps: 1000)",
        "Ground(id: \"GB\", net: \"B\")",
        "Gyro(id: \"G\", a: \"A\", b: \"B\", c: \"C\", amps: 0.3, shows: \"attitude\")",
    ];
    let right = bench("A B C", &parts);
    assert_eq!(right.state("G"), PartState::Rotor(Turning::Forward));
    let crossed = bench("A B C", &parts).fault("G:phases-crossed").set("ENG", "STOP");
    let crossed = crossed.set("ENG", "CRUISE");
    assert_eq!(crossed.state("G"), PartState::Rotor(Turning::Backward));
    // Turning the other way it is the same machine: the same amperes, the same volts.
    near(crossed.ac("A", "C"), right.ac("A", "C"), 1e-9);
    let showing = face(&crossed.network, &crossed.settled, crossed.part("G"));
    assert_eq!(showing, Some(Showing::Look(Look::Wandering)));
}

#[test]
fn a_balanced_feeder_has_its_own_less_its_mutual_impedance() {
    // Transposed conductors: Z1 = Zs - Zm for the positive sequence (Fortescue 1918; any
    // text on power systems).
    let fed = bench(
        "A1 B1 C1 A2 B2 C2",
        &[
            ENGINE,
            "Alternator(id: \"ALT\", a: \"A1\", b: \"B1\", c: \"C1\", driven_by: \"ENG\", rpm: 6000, volts: 100, volt_amps: 1e9)",
            "Feeder(id: \"F\", a1: \"A1\", b1: \"B1\", c1: \"C1\", a2: \"A2\", b2: \"B2\", c2: \"C2\", ohms: [3, 3, 3, 1, 1, 1], reactance_ohms: [4, 4, 4, 1, 1, 1])",
            "Load3(id: \"L\", a: \"A2\", b: \"B2\", c: \"C2\", volts: 100, volt_amps: 1000)",
        ],
    );
    // 2 + j3 and 10 ohms a phase.
    let expected = 100.0 * 10.0 / (12.0_f64.powi(2) + 3.0_f64.powi(2)).sqrt();
    for (x, y) in [("A2", "B2"), ("B2", "C2"), ("C2", "A2")] {
        near(fed.ac(x, y), expected, 1e-3);
    }
    let open = fed.fault("F:open-B");
    // Two conductors in series with two legs: twice 2 + j3 and 20 ohms from 100 V.
    let expected = 100.0 * 20.0 / (24.0_f64.powi(2) + 6.0_f64.powi(2)).sqrt();
    near(open.ac("A2", "C2"), expected, 1e-3);
}

#[test]
fn wrong_fuses_blow_early_or_not_at_all() {
    let parts = |ohms: &str| {
        let resistor = format!("Resistor(id: \"R\", a: \"L\", b: \"GND\", ohms: {ohms})");
        bench(
            "D L",
            &[
                "Supply(id: \"E\", plus: \"D\", volts: 28)",
                "Fuse(id: \"F\", line: \"D\", load: \"L\", amps: 10)",
                &resistor,
            ],
        )
    };
    let whole = |b: &Bench| b.settled.state.protector_closed(b.part("F"));
    // 5 A: half the rating, twice a quarter of it.
    assert!(whole(&parts("5.6")));
    assert!(!whole(&parts("5.6").fault("F:under-rated")));
    // 28 A: the right fuse opens, one of five times the rating does not.
    assert!(!whole(&parts("1")));
    let circuit = parts("1");
    let Kind::Fuse(fuse) = &circuit.network.circuit().part(circuit.part("F")).kind else {
        panic!("a fuse")
    };
    assert_eq!(fuse.amps, 10.0);
    let (fault, mode) = faults::parse(circuit.network.circuit(), "F:over-rated").expect("a mode");
    let faulted = Arc::new(faults::apply(circuit.network.circuit(), &fault, &mode));
    let network = Network::new(Arc::clone(&faulted));
    let settled = network.settle(State::at_rest(&faulted)).expect("it settles");
    assert!(settled.state.protector_closed(fault.part));
}
