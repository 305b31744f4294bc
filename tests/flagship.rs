//! The Tarnwick T4's AC power system behaves as its README says.
//!
//! Nothing of it is scripted: transfer, back-feed and lamps come out of relays,
//! windings and nets. These tests hold the numbers in the file to that.

use std::sync::{Arc, OnceLock};

use halfsplit::circuit::{AIRFRAME, Circuit, Kind, NetId, PartId, read_system};
use halfsplit::faults::{self, Exposure};
use halfsplit::library;
use halfsplit::network::{Event, Network, PartState, Settled, Solution, State, StopReason};
use halfsplit::observation::{
    Act, ErrorSpan, Look, Rig, Showing, Step, light_word, meter_dial, readable_step,
    relative_light, scale_fraction,
};

/// The aircraft after something was done to it.
struct Aircraft {
    network: Network,
    settled: Settled,
}

/// The healthy aircraft in its normal setup, settled once for all tests.
fn normal() -> &'static Aircraft {
    static NORMAL: OnceLock<Aircraft> = OnceLock::new();
    NORMAL.get_or_init(|| {
        let circuit = Arc::new(library::load("t4-ac").expect("the flagship is there"));
        let state = State::at_rest(&circuit);
        let network = Network::new(circuit);
        let settled = network.settle(state).expect("it has a solution");
        Aircraft { network, settled }
    })
}

impl Aircraft {
    fn circuit(&self) -> &Circuit {
        self.network.circuit()
    }

    fn solution(&self) -> &Solution {
        &self.settled.solution
    }

    fn net(&self, name: &str) -> NetId {
        self.circuit().find_net(name).unwrap_or_else(|| panic!("net {name}"))
    }

    fn part(&self, name: &str) -> PartId {
        self.circuit().find_part(name).unwrap_or_else(|| panic!("part {name}"))
    }

    /// Alternating volts to the airframe.
    fn ac(&self, net: &str) -> f64 {
        self.solution().ac_between(self.net(net), AIRFRAME)
    }

    fn across(&self, a: &str, b: &str) -> f64 {
        self.solution().ac_between(self.net(a), self.net(b))
    }

    fn dc(&self, net: &str) -> f64 {
        self.solution().dc_between(self.net(net), AIRFRAME)
    }

    fn operated(&self, relay: &str) -> bool {
        self.settled.state.operated(self.part(relay))
    }

    fn running(&self, machine: &str) -> bool {
        self.settled.state.running(self.part(machine))
    }

    fn closed(&self, protector: &str) -> bool {
        self.settled.state.protector_closed(self.part(protector))
    }

    fn lamp(&self, name: &str) -> Look {
        let Kind::Lamp(lamp) = &self.circuit().part(self.part(name)).kind else {
            panic!("{name} is no lamp")
        };
        light_word(relative_light(lamp, self.solution().rms_between(lamp.a, lamp.b)))
    }

    /// FLT GYRO and SVY GYRO.
    fn lamps(&self) -> [Look; 2] {
        ["L-FLT", "L-SVY"].map(|lamp| self.lamp(lamp))
    }

    /// The machine that feeds a net, or `-`.
    fn fed_by(&self, net: &str) -> &str {
        match self.solution().strongest_source(self.net(net), AIRFRAME) {
            Some((source, volts)) if volts > 5.0 => &self.circuit().part(source).id,
            _ => "-",
        }
    }

    /// Breakers and fuses that opened while it settled, in order.
    fn opened(&self) -> Vec<&str> {
        self.settled
            .events
            .iter()
            .filter_map(|event| match event {
                Event::Opens { part, .. } => Some(self.circuit().part(*part).id.as_str()),
                _ => None,
            })
            .collect()
    }

    /// With controls moved, from the state it is in.
    fn set(&self, controls: &[(&str, &str)]) -> Aircraft {
        let mut state = self.settled.state.clone();
        for (control, position) in controls {
            let part = self.part(control);
            let Kind::Switch(switch) = &self.circuit().part(part).kind else {
                panic!("{control} is no switch")
            };
            let at = switch.positions.iter().position(|p| p == position).expect("such a position");
            state.set(part, PartState::Position(at as u8));
        }
        let network = self.network.clone();
        let settled = network.settle(state).expect("it has a solution");
        Aircraft { network, settled }
    }

    /// With a fault that comes while everything runs.
    fn fails(&self, fault: &str) -> Aircraft {
        self.failed(fault, false)
    }

    /// With a fault, switched on from rest.
    fn starts_with(&self, fault: &str) -> Aircraft {
        self.failed(fault, true)
    }

    fn failed(&self, fault: &str, from_rest: bool) -> Aircraft {
        let (fault, mode) = faults::parse(self.circuit(), fault).expect("such a fault");
        let circuit = Arc::new(faults::apply(self.circuit(), &fault, &mode));
        let state = if from_rest {
            State::at_rest(&circuit)
        } else {
            let mut state = self.settled.state.clone();
            state.adopt(&circuit, fault.part);
            state
        };
        let network = Network::like(circuit, &self.network);
        let settled = network.settle(state).expect("it has a solution");
        Aircraft { network, settled }
    }
}

fn within(value: f64, middle: f64, either_way: f64, what: &str) {
    assert!(
        (value - middle).abs() <= either_way,
        "{what}: {value} is not {middle} +- {either_way}"
    );
}

#[test]
fn reads_clean_and_is_large_enough_to_get_lost_in() {
    let file = library::embedded("t4-ac").expect("it comes with the program");
    let (circuit, findings) = read_system(file.file_name, file.text);
    assert_eq!(findings, []);
    let circuit = circuit.expect("no finding, so a circuit");
    assert!(circuit.parts.len() >= 150, "{} parts", circuit.parts.len());
    assert!(faults::all(&circuit).len() >= 400);
    assert_eq!(circuit.stations.len(), 6);
    assert!(circuit.stations.iter().all(|station| !station.cautions.is_empty()));
    for station in ["relay", "fuses", "tray", "bay"] {
        let id = circuit.find_station(station).expect("such a station");
        let points = circuit.test_points.iter().filter(|point| point.station == id).count();
        assert!(points >= 12, "{station} has {points} test points");
    }
    // A spare of every rating fitted, or a blown fuse could not be put right.
    for part in &circuit.parts {
        if let Kind::Fuse(fuse) = &part.kind {
            assert!(circuit.spare_fuses.iter().any(|(amps, _)| *amps == fuse.amps), "{}", part.id);
        }
    }
}

#[test]
fn stands_steady_in_its_normal_setup() {
    let t4 = normal();
    assert_eq!(t4.settled.stop, StopReason::Steady);
    assert_eq!(t4.opened(), [""; 0]);
    within(t4.dc("DC.MAIN"), 27.5, 0.2, "main bus");
    for net in ["S1.A", "S1.C", "S2.A", "S2.C", "FLT.A", "FLT.C", "SVY.A", "SVY.C"] {
        within(t4.ac(net), 115.0, 3.0, net);
    }
    for net in ["F26.A", "F26.C", "S26.A", "S26.C", "IND.BUS", "IND.PPD", "IND.FQD"] {
        within(t4.ac(net), 26.0, 1.0, net);
    }
    assert_eq!((t4.fed_by("FLT.A"), t4.fed_by("SVY.A")), ("CV1", "CV2"));
    for relay in ["K-S1", "K-S2", "K-FLT", "K-ALT", "K-SVY", "K-FG", "K-SG"] {
        assert!(t4.operated(relay), "{relay}");
    }
    assert!(!t4.operated("K-CVS") && !t4.running("CVS"));
    assert_eq!(t4.lamps(), [Look::Dark, Look::Dark]);
    for (id, part) in t4.circuit().parts_with_ids() {
        let (amps, rating) = match &part.kind {
            Kind::Breaker(b) => (t4.solution().rms_between(b.line, b.load) / b.ohms, b.amps),
            Kind::Fuse(f) => (t4.solution().rms_between(f.line, f.load) / f.ohms, f.amps),
            Kind::Gyro(_) => {
                assert!(t4.settled.state.running(id), "{}", part.id);
                continue;
            }
            _ => continue,
        };
        assert!(amps <= 0.6 * rating, "{} carries {amps} of {rating} A", part.id);
    }
}

#[test]
fn everything_that_can_be_seen_is_normal() {
    let rig = Rig::normal(normal().network.circuit().clone()).expect("it has a solution");
    for (station, _) in rig.circuit().stations_with_ids() {
        for (part, showing) in rig.faces(station) {
            let id = &rig.circuit().part(part).id;
            match showing {
                Showing::Dial(_) | Showing::Position(_) => {}
                Showing::Look(look) => {
                    let good = if id == "CVS" {
                        look == Look::Silent
                    } else {
                        matches!(look, Look::Works | Look::In | Look::Running | Look::Dark)
                    };
                    assert!(good, "{id}: {look:?}");
                }
            }
        }
    }
}

/// BUS SELECT, SOURCE 1, SOURCE 2: what feeds the flight bus, what feeds the survey
/// bus, whether the standby converter runs. The table of the README.
const TRANSFER: [(&str, &str, &str, &str, &str, bool); 12] = [
    ("AUTO", "ON", "ON", "CV1", "CV2", false),
    ("AUTO", "ON", "OFF", "CV1", "-", false),
    ("AUTO", "OFF", "ON", "CV2", "-", false),
    ("AUTO", "OFF", "OFF", "CVS", "-", true),
    ("FLT 2", "ON", "ON", "CV2", "-", false),
    ("FLT 2", "OFF", "ON", "CV2", "-", false),
    ("FLT 2", "ON", "OFF", "CVS", "-", true),
    ("FLT 2", "OFF", "OFF", "CVS", "-", true),
    ("STBY", "ON", "ON", "CVS", "CV2", true),
    ("STBY", "OFF", "ON", "CVS", "CV2", true),
    ("STBY", "ON", "OFF", "CVS", "-", true),
    ("STBY", "OFF", "OFF", "CVS", "-", true),
];

#[test]
fn transfers_as_its_table_says_and_comes_back() {
    for (select, one, two, flight, survey, standby) in TRANSFER {
        let case = format!("{select}, {one}, {two}");
        let t4 = normal().set(&[("BUSSEL", select), ("SOURCE1", one), ("SOURCE2", two)]);
        assert_eq!(t4.settled.stop, StopReason::Steady, "{case}");
        assert_eq!(t4.opened(), [""; 0], "{case}");
        assert_eq!((t4.fed_by("FLT.A"), t4.fed_by("FLT.C")), (flight, flight), "{case}");
        assert_eq!((t4.fed_by("SVY.A"), t4.fed_by("SVY.C")), (survey, survey), "{case}");
        assert_eq!(t4.running("CVS"), standby, "{case}");
        within(t4.ac("FLT.C"), 115.0, 3.0, &case);
        within(t4.across("F26.A", "F26.C"), 26.0, 1.0, &case);
        // The flight gyros never notice; the survey lamp burns while its bus is shed.
        let shed = if survey == "-" { Look::Bright } else { Look::Dark };
        assert_eq!(t4.lamps(), [Look::Dark, shed], "{case}");
        let tied = t4.settled.events.iter().any(|e| matches!(e, Event::Paralleled { .. }));
        assert!(!tied, "{case}");
        let back = t4.set(&[("BUSSEL", "AUTO"), ("SOURCE1", "ON"), ("SOURCE2", "ON")]);
        assert_eq!(back.settled.state.parts, normal().settled.state.parts, "{case}");
    }
}

#[test]
fn is_dead_with_the_master_switch_off() {
    let t4 = normal().set(&[("MASTER", "OFF")]);
    for net in ["S1.A", "S2.C", "SS.A", "FLT.A", "SVY.C", "IND.BUS"] {
        within(t4.ac(net), 0.0, 1e-6, net);
    }
    within(t4.dc("DC.MAIN"), 0.0, 0.01, "main bus");
}

#[test]
fn the_standby_converter_starts_when_the_transfer_logic_has_no_power() {
    let t4 = normal().fails("CB-XFR:trips-early");
    assert_eq!((t4.fed_by("FLT.A"), t4.fed_by("SVY.A")), ("CVS", "-"));
    assert_eq!(t4.lamps(), [Look::Dark, Look::Bright]);
}

#[test]
fn press_to_test_lights_both_lamps() {
    let t4 = normal().set(&[("TEST", "PRESSED")]);
    assert_eq!(t4.lamps(), [Look::Bright, Look::Bright]);
    let Kind::Switch(test) = &t4.circuit().part(t4.part("TEST")).kind else { panic!("a switch") };
    assert!(test.springs_back);
}

/// What must light a gyro lamp, for a bus and its converter.
fn lamp_faults(bus: &str, short: &str, converter: u8) -> Vec<String> {
    let mut faults = Vec::new();
    for phase in ["A", "C"] {
        // A breaker that opens early does so once all is running; the feeder behind it
        // is open from the start.
        faults.push(format!("CB{converter}{phase}:trips-early"));
        faults.push(format!("W-{bus}-{phase}:open"));
        faults.push(format!("F-{bus}-{phase}:open"));
        faults.push(format!("F-{short}26-{phase}:open"));
        faults.push(format!("T-{bus}-{phase}:primary-open"));
        faults.push(format!("T-{bus}-{phase}:secondary-open"));
    }
    faults
}

#[test]
fn an_open_phase_lights_its_lamp_whether_the_gyros_turn_or_not() {
    for (bus, short, converter, lit) in [("FLT", "F", 1, 0), ("SVY", "S", 2, 1)] {
        for fault in lamp_faults(bus, short, converter) {
            for (when, t4) in
                [("running", normal().fails(&fault)), ("from rest", normal().starts_with(&fault))]
            {
                assert_eq!(t4.settled.stop, StopReason::Steady, "{fault} {when}");
                let lamps = t4.lamps();
                assert_eq!(lamps[lit], Look::Bright, "{fault} {when}");
                assert_eq!(lamps[1 - lit], Look::Dark, "{fault} {when}");
            }
        }
    }
}

#[test]
fn the_flight_lamp_watches_on_every_source() {
    for select in ["FLT 2", "STBY"] {
        let selected = normal().set(&[("BUSSEL", select)]);
        for fault in lamp_faults("FLT", "F", 1).into_iter().filter(|f| !f.starts_with("CB")) {
            assert_eq!(selected.fails(&fault).lamp("L-FLT"), Look::Bright, "{fault}, {select}");
        }
    }
    let on_two = normal().set(&[("BUSSEL", "FLT 2")]);
    for fault in ["CB2A:trips-early", "CB2C:trips-early"] {
        assert_eq!(on_two.fails(fault).lamp("L-FLT"), Look::Bright, "{fault}");
    }
}

#[test]
fn turning_gyros_hold_up_an_open_phase() {
    for (fault, net) in
        [("F-FLT-A:open", "FG.A"), ("F-FLT-C:open", "FG.C"), ("W-FLT-A:open", "FLT.A")]
    {
        let running = normal().fails(fault);
        for gyro in ["G-ATT", "G-HDG", "G-TRN", "G-YAW"] {
            assert!(running.running(gyro), "{fault}: {gyro} runs on");
        }
        let held_up = running.ac(net) / 115.0;
        assert!((0.5..0.9).contains(&held_up), "{fault}: {held_up} of normal");
        // From rest none of them starts, and the phase is less than they would hold.
        let from_rest = normal().starts_with(fault);
        assert!(!from_rest.running("G-ATT"), "{fault}");
        assert!(from_rest.ac(net) < running.ac(net), "{fault}");
    }
    // A relay set near half voltage would miss what the one near full voltage catches.
    let secondary = normal().fails("F-F26-A:open");
    assert!(secondary.across("F26.A", "F26.C") > 0.6 * 26.0);
    assert_eq!(secondary.lamp("L-FLT"), Look::Bright);
}

#[test]
fn a_phase_shorted_to_the_airframe_is_not_seen_by_the_lamp() {
    // A to C is then B to C: the normal voltage. The flags tell, the lamp does not.
    let t4 = normal().fails("W-FT-A:chafed");
    assert_eq!(t4.opened(), ["F-FLT-A"]);
    assert!(t4.ac("FG.A") < 2.0);
    assert!(!t4.running("G-ATT") && !t4.running("G-TRN"));
    assert_eq!(t4.lamp("L-FLT"), Look::Dark);
}

#[test]
fn twenty_six_volts_look_like_next_to_nothing_on_the_voltmeter() {
    let reads = |selector: &str| {
        let t4 = normal().set(&[("VSEL", selector)]);
        let Kind::Meter(meter) = &t4.circuit().part(t4.part("VM")).kind else { panic!("a meter") };
        meter_dial(meter, t4.solution())
    };
    for (selector, fraction) in [("OFF", 0.0), ("STBY", 0.0), ("C1 A", 0.5), ("FLT A", 0.5)] {
        within(reads(selector).exact, fraction, 0.01, selector);
    }
    for selector in ["C1 C", "C2 A", "C2 C", "FLT C", "SVY A", "SVY C"] {
        within(reads(selector).exact, 0.5, 0.03, selector);
    }
    let indicators = reads("IND");
    assert!(indicators.exact < 0.04, "{}", indicators.exact);
    // 19 V, as an open phase leaves, can be read exactly as 26 V can.
    let Kind::Meter(meter) = &normal().circuit().part(normal().part("VM")).kind else {
        panic!("a meter")
    };
    let mut low = indicators;
    low.exact = scale_fraction(&meter.scale, 19.0);
    low.error = low.exact / 2.0;
    let can_read = |dial: halfsplit::observation::Dial| {
        dial.outcomes(ErrorSpan::WHOLE).into_iter().map(|(r, _)| r.mark).collect::<Vec<_>>()
    };
    assert!(can_read(low).iter().any(|mark| can_read(indicators).contains(mark)));
    // Around 115 V a person reads to a volt or two.
    let volt = scale_fraction(&meter.scale, 116.0) - scale_fraction(&meter.scale, 115.0);
    assert!(readable_step(meter) < 2.0 * volt);
}

#[test]
fn the_position_indicators_hang_on_converter_one_ahead_of_its_breakers() {
    within(normal().fails("CB1A:trips-early").ac("IND.PPD"), 26.0, 1.0, "CB1A open");
    within(normal().set(&[("BUSSEL", "FLT 2")]).ac("IND.PPD"), 26.0, 1.0, "FLT 2");
    within(normal().set(&[("SOURCE1", "OFF")]).ac("IND.PPD"), 0.0, 0.1, "SOURCE 1 off");
}

#[test]
fn the_camera_mount_needs_the_flight_gyros() {
    let rig = Rig::normal(normal().network.circuit().clone()).expect("it has a solution");
    let (fault, mode) = faults::parse(rig.circuit(), "F-FLT-C:open").expect("such a fault");
    let rig = rig.with_failed(fault.part, mode.faulted).expect("it has a solution");
    let rack = rig.circuit().find_station("rack").expect("such a station");
    let mount = rig.circuit().find_part("CAM").expect("such a part");
    let looks = rig.faces(rack).find(|(part, _)| *part == mount);
    assert_eq!(looks, Some((mount, Showing::Look(Look::Sluggish))));
}

#[test]
fn a_ground_on_the_switch_side_of_a_start_coil_keeps_its_converter_running() {
    let t4 = normal().fails("W-SW1:chafed");
    assert_eq!(t4.opened(), [""; 0]);
    assert!(t4.set(&[("SOURCE1", "OFF")]).running("CV1"));
}

/// Which protector opens for a short, and no other. Ahead of the phase breakers that
/// is the converter's supply breaker: nothing nearer is there.
const SHORTS: [(&str, &str); 36] = [
    ("W-MST:chafed", "CB-MST"),
    ("W-CV1:chafed", "CB-CV1"),
    ("W-ST2:chafed", "CB-ST2"),
    ("W1-A:chafed", "CB-CV1"),
    ("W1-C:chafed", "CB-CV1"),
    ("W2-A:chafed", "CB-CV2"),
    ("W2-C:chafed", "CB-CV2"),
    ("W-CVS:chafed", "CB-CVS"),
    ("W-LOG:chafed", "CB-XFR"),
    ("W-SEL-F:chafed", "CB-XFR"),
    ("W-DECK:chafed", "CB-DECK"),
    ("W-WARN:chafed", "CB-WARN"),
    ("W-FLT-A:chafed", "CB1A"),
    ("W-FLT-C:chafed", "CB1C"),
    ("W-SVY-A:chafed", "CB2A"),
    ("W-SVY-C:chafed", "CB2C"),
    ("W-FT-A:chafed", "F-FLT-A"),
    ("W-FGD-C:chafed", "F-FLT-C"),
    ("W-ST-C:chafed", "F-SVY-C"),
    ("W-SGD-A:chafed", "F-SVY-A"),
    ("T-FLT-A:shorted-turns", "F-FLT-A"),
    ("T-FLT-C:shorted-turns", "F-FLT-C"),
    ("T-SVY-A:shorted-turns", "F-SVY-A"),
    ("T-SVY-C:shorted-turns", "F-SVY-C"),
    ("W-F26-A:chafed", "F-F26-A"),
    ("W-S26-C:chafed", "F-S26-C"),
    ("W-IND-P:chafed", "F-IND"),
    ("W-IND-S:chafed", "F-IND"),
    ("T-IND:shorted-turns", "F-IND"),
    ("W-TQ:chafed", "F-TQ"),
    ("I-PP3:shorted", "F-PP"),
    ("W-WSH-A:chafed", "F-WSH-A"),
    ("RADAR:shorted", "F-RAD"),
    ("CAM:shorted", "F-CAM"),
    ("LTS:shorted", "F-LTS"),
    ("OUT-2:shorted", "CB-VIB"),
];

#[test]
fn each_short_opens_its_own_protection_and_no_other() {
    for (fault, protector) in SHORTS {
        let t4 = normal().fails(fault);
        assert_eq!(t4.opened(), [protector], "{fault}");
        assert!(!t4.closed(protector), "{fault}");
    }
}

#[test]
fn a_spare_or_a_reset_into_a_short_opens_again() {
    let rig = Rig::normal(normal().network.circuit().clone()).expect("it has a solution");
    for (typed, protector) in SHORTS {
        let (fault, mode) = faults::parse(rig.circuit(), typed).expect("such a fault");
        let mut rig = rig.with_failed(fault.part, mode.faulted).expect("it has a solution");
        let part = rig.circuit().find_part(protector).expect("such a part");
        let station = rig.circuit().part(part).station;
        let acts = match rig.circuit().part(part).kind {
            Kind::Fuse(_) => [Act::Pull(part), Act::FitSpare(part)],
            _ => [Act::Pull(part), Act::PushIn(part)],
        };
        let mut events = Vec::new();
        for act in acts {
            events.clear();
            rig.perform(Step::Act(act), station, &mut events).expect("it has a solution");
        }
        let opened: Vec<PartId> = events
            .iter()
            .filter_map(|event| match event {
                Event::Opens { part, .. } => Some(*part),
                _ => None,
            })
            .collect();
        assert_eq!(opened, [part], "{typed}");
        assert!(!rig.settled().state.protector_closed(part), "{typed}");
    }
}

#[test]
fn an_intermittent_wire_shows_nothing_until_its_condition_holds() {
    let healthy = normal().circuit();
    let wire = faults::parse_planted(healthy, "W-F26-C:open~vibration").expect("such a fault");
    let one = std::slice::from_ref(&wire);
    let still = faults::build(healthy, one, &[], &[Exposure::Heat]).expect("one fault");
    assert_eq!(&still, healthy);
    let shaken = faults::build(healthy, one, &[], &[Exposure::Vibration]).expect("one fault");
    let lamp_and_volts = |circuit: Circuit| {
        let circuit = Arc::new(circuit);
        let network = Network::like(Arc::clone(&circuit), &normal().network);
        let mut state = normal().settled.state.clone();
        state.adopt(&circuit, wire.fault.part);
        let settled = network.settle(state).expect("it has a solution");
        let t4 = Aircraft { network, settled };
        (t4.ac("F26D.C"), t4.ac("F26.C"))
    };
    let (before, sensed) = lamp_and_volts(still);
    assert_eq!((before, sensed), (normal().ac("F26D.C"), normal().ac("F26.C")));
    // Held up by the running gyros, not fed.
    let (after, sensed) = lamp_and_volts(shaken);
    assert!(after < before - 3.0, "{after} after {before}");
    within(sensed, 26.0, 1.0, "the tray side of the wire");
}

#[test]
fn every_single_fault_comes_to_rest_and_opens_one_protector_at_most() {
    for (fault, _) in faults::all(normal().circuit()) {
        let code = fault.code(normal().circuit());
        let t4 = normal().fails(&code);
        assert_eq!(t4.settled.stop, StopReason::Steady, "{code}");
        assert!(t4.opened().len() <= 1, "{code}: {:?}", t4.opened());
    }
}
