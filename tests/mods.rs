//! Mods: what fitting them changes, and what it leaves alone.

use std::process::{Command, Output};
use std::sync::Arc;

use halfsplit::circuit::{Circuit, Kind, read_build, read_system};
use halfsplit::drill::{Action, Outcome, Session};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{Event, Network, State, StopReason};
use halfsplit::observation::{Look, Rig, Showing};
use halfsplit::score::debrief;

/// A lamp on two runs of wire, with three mods of it.
const LAMP: &str = r#"System(
    id: "lamp", title: "LAMP",
    stations: [Station(id: "desk", title: "DESK", crew: true)],
    nets: ["BAT", "RUN", "OUT"],
    parts: [
        Supply(id: "BT1", at: "desk", plus: "BAT"),
        Wire(id: "W{1,2}", at: "desk", label: "RUN {1,2}", a: "{BAT,RUN}", b: "{RUN,OUT}", gauge: 20, feet: 10),
        Lamp(id: "DS1", at: "desk", a: "OUT"),
    ],
    test_points: [TestPoint(id: "TB1", net: "RUN", at: "desk")],
    mods: [
        Mod(id: "7", title: "Thicker", change: [Wire(id: "W{1,2}", gauge: 18)]),
        Mod(id: "8", title: "Thicker still", change: [Wire(id: "W2", gauge: 16, feet: 12)]),
        Mod(
            id: "X9", title: "One run", remove: ["W{1,2}"], remove_nets: ["RUN"],
            remove_test_points: ["TB1"],
            add: [Repeat(over: {"n": ["3"]}, parts: [Wire(id: "W<n>", at: "desk", a: "BAT", b: "OUT", ohms: 0.5)])],
            test_points: [TestPoint(id: "TB2", net: "OUT", at: "desk")],
        ),
    ],
)"#;

fn lamp(mods: &[&str]) -> Circuit {
    let (circuit, findings) = read_build("lamp.ron", LAMP, mods);
    assert!(findings.is_empty(), "{findings:#?}");
    circuit.expect("nothing was found")
}

fn ohms(circuit: &Circuit, part: &str) -> f64 {
    let Kind::Wire(wire) = &circuit.part(circuit.find_part(part).expect("such a part")).kind else {
        panic!("{part} is no wire")
    };
    wire.ohms
}

fn flagship(mods: &[&str]) -> Arc<Circuit> {
    let mods: Vec<String> = mods.iter().map(|id| (*id).to_owned()).collect();
    Arc::new(library::load_build("t4-ac", &mods).expect("it reads clean"))
}

#[test]
fn the_plain_build_has_no_mods_and_offers_all() {
    let plain = lamp(&[]);
    assert_eq!(read_system("lamp.ron", LAMP).0.as_ref(), Some(&plain));
    let offered: Vec<_> = plain.mods.iter().map(|m| (m.id.as_str(), m.title.as_str())).collect();
    assert_eq!(offered, [("7", "Thicker"), ("8", "Thicker still"), ("X9", "One run")]);
    assert!(plain.fitted.is_empty());
    assert_eq!(plain.title_with_mods(), "LAMP");
}

#[test]
fn a_change_gives_what_it_names_and_keeps_the_rest() {
    // Ohms per 1000 ft of gauge 20, 18 and 16: FAA AC 43.13-1B Table 11-9.
    let (awg20, awg18, awg16) = (9.88, 6.23, 4.81);
    let close = |value: f64, expected: f64| {
        assert!((value - expected).abs() < 1e-9, "{value} against {expected}");
    };
    let plain = lamp(&[]);
    close(ohms(&plain, "W2"), awg20 * 0.010);
    let one = lamp(&["7"]);
    close(ohms(&one, "W2"), awg18 * 0.010);
    let part = one.find_part("W2").expect("it is still there");
    assert_eq!(one.part(part).label, "RUN 2");
    assert_eq!(plain.find_part("W2"), Some(part), "it keeps its place in the list");
    // The later one in the file has the last word, whatever the order asked for.
    let both = lamp(&["8", "7"]);
    assert_eq!(both, lamp(&["7", "8"]));
    close(ohms(&both, "W1"), awg18 * 0.010);
    close(ohms(&both, "W2"), awg16 * 0.012);
    assert_eq!(both.fitted, ["7", "8"]);
    assert_eq!(both.title_with_mods(), "LAMP, mods 7, 8");
}

#[test]
fn a_mod_takes_out_and_puts_in() {
    let circuit = lamp(&["x9"]);
    assert_eq!(circuit.title_with_mods(), "LAMP, mod X9");
    let ids: Vec<_> = circuit.parts.iter().map(|part| part.id.as_str()).collect();
    assert_eq!(ids, ["BT1", "DS1", "W3"]);
    assert_eq!(circuit.nets, ["GND", "BAT", "OUT"]);
    let points: Vec<_> = circuit.test_points.iter().map(|point| point.id.as_str()).collect();
    assert_eq!(points, ["TB2"]);
}

#[test]
fn every_build_of_the_flagship_comes_to_rest_with_nothing_open() {
    for mods in [&["31"][..], &["44"], &["44", "31"]] {
        let circuit = flagship(mods);
        let state = State::at_rest(&circuit);
        let settled = Network::new(circuit).settle(state).expect("it has a solution");
        assert_eq!(settled.stop, StopReason::Steady, "{mods:?}");
        let told: Vec<_> = settled.events.iter().map(|event| event.told(&flagship(mods))).collect();
        assert!(told.iter().all(|line| !line.contains("opens")), "{told:#?}");
    }
    assert_eq!(flagship(&["44", "31"]), flagship(&["31", "44"]));
}

#[test]
fn every_single_fault_of_the_modified_build_comes_to_rest() {
    let circuit = flagship(&["31", "44"]);
    let network = Network::new(Arc::clone(&circuit));
    let normal = network.settle(State::at_rest(&circuit)).expect("it has a solution");
    let mut shorts = Vec::new();
    for (fault, mode) in faults::all(&circuit) {
        let code = fault.code(&circuit);
        let faulted = Arc::new(faults::apply(&circuit, &fault, &mode));
        let mut state = normal.state.clone();
        state.adopt(&faulted, fault.part);
        let settled = Network::like(Arc::clone(&faulted), &network).settle(state);
        let settled = settled.expect("it has a solution");
        assert_eq!(settled.stop, StopReason::Steady, "{code}");
        let opened: Vec<_> = settled
            .events
            .iter()
            .filter_map(|event| match event {
                Event::Opens { part, .. } => Some(circuit.part(*part).id.as_str()),
                _ => None,
            })
            .collect();
        assert!(opened.len() <= 1, "{code}: {opened:?}");
        if ["W-WRN2:chafed", "W-DCV:chafed"].contains(&code.as_str()) {
            shorts.push((code, opened.concat()));
        }
    }
    let expected = [("W-WRN2:chafed", "CB-WRN2"), ("W-DCV:chafed", "F-DCV")];
    assert_eq!(shorts, expected.map(|(code, by)| (code.to_owned(), by.to_owned())));
}

#[test]
fn a_part_that_another_names_cannot_be_removed_from_under_it() {
    let text = r#"System(
        id: "door", title: "DOOR",
        stations: [Station(id: "desk", title: "DESK")],
        nets: ["BAT", "OUT"],
        parts: [
            Supply(id: "BT1", at: "desk", plus: "BAT"),
            Mechanism(id: "DOOR", at: "desk", positions: ["SHUT", "OPEN"]),
            Microswitch(id: "S1", at: "desk", follows: "DOOR", closes: {"OPEN": [("BAT", "OUT")]}),
            Lamp(id: "DS1", at: "desk", a: "OUT"),
        ],
        mods: [Mod(id: "5", title: "No door", remove: ["DOOR"])],
    )"#;
    let (circuit, findings) = read_system("door.ron", text);
    assert!(circuit.is_some(), "{findings:#?}");
    let (circuit, findings) = read_build("door.ron", text, &["5"]);
    assert!(circuit.is_none());
    let said: Vec<_> = findings.iter().map(|finding| (finding.place.line, finding.code)).collect();
    assert_eq!(said, [(8, "unknown-part")], "{findings:#?}");
}

/// The survey gyro lamp after faults, one after another.
fn survey_lamp(mods: &[&str], faults: &[&str]) -> Look {
    let mut rig = Rig::normal(flagship(mods)).expect("it has a solution");
    for typed in faults {
        let (fault, mode) = faults::parse(rig.circuit(), typed).expect("such a fault");
        rig = rig.with_failed(fault.part, mode.faulted).expect("it has a solution");
    }
    let deck = rig.circuit().find_station("deck").expect("such a station");
    let lamp = rig.circuit().find_part("L-SVY").expect("such a part");
    match rig.faces(deck).find(|(part, _)| *part == lamp) {
        Some((_, Showing::Look(look))) => look,
        other => panic!("{other:?}"),
    }
}

#[test]
fn with_mod_31_the_survey_lamp_no_longer_hangs_on_the_deck_breaker() {
    let lost_phase = "F-S26-A:open";
    assert_eq!(survey_lamp(&[], &[lost_phase]), Look::Bright);
    assert_eq!(survey_lamp(&[], &["W-WARN:open", lost_phase]), Look::Dark);
    assert_eq!(survey_lamp(&["31"], &["W-WARN:open", lost_phase]), Look::Bright);
    assert_eq!(survey_lamp(&["31"], &["W-WRN2:open", lost_phase]), Look::Dark);
}

#[test]
fn a_drill_works_on_the_build_it_is_given() {
    let circuit = flagship(&["31", "44"]);
    let (fault, _) = faults::parse(&circuit, "W-WRN2:open").expect("the mod's own wire");
    let mut session = Session::planted(Arc::clone(&circuit), fault.clone(), 7).expect("it begins");
    let belief = session.belief().expect("it has a solution");
    let named = |id: &str| {
        belief
            .candidates()
            .iter()
            .any(|c| c.cause.faults().iter().any(|f| circuit.part(f.part).id == id))
    };
    assert!(named("W-WRN2") && named("DCV"));
    assert!(matches!(session.apply(Action::Advise), Outcome::Advised(_)));
    assert_eq!(session.apply(Action::Call(fault.into())), Outcome::Called);
    assert!(debrief(&session).expect("it has a debrief").verdict.right_part);
}

fn halfsplit(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_halfsplit")).args(arguments).output().expect("it runs")
}

fn lines(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn the_command_line_fits_mods() {
    let both = halfsplit(&["solve", "t4-ac", "--mod", "44", "--mod", "31"]);
    assert!(lines(&both.stdout).starts_with("Tarnwick T4 - AC power, mods 31, 44: steady\n"));
    let drill = halfsplit(&["drill", "t4-ac", "--mod", "31", "--seed", "1", "--plain"]);
    assert!(lines(&drill.stdout).starts_with("Tarnwick T4 - AC power, mod 31\n"));
    let json = halfsplit(&["solve", "t4-ac", "--mod", "44", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).expect("it is JSON");
    assert_eq!(json["mods"], serde_json::json!(["44"]));
    assert!((json["meters"]["DCV"]["value"].as_f64().expect("it reads") - 27.5).abs() < 0.1);
    let unknown = halfsplit(&["solve", "t4-ac", "--mod", "32"]);
    assert_eq!(unknown.status.code(), Some(2));
    let said = lines(&unknown.stderr);
    assert!(
        said.contains("error[unknown-mod]: this system has no mod `32`; it has `31`, `44`"),
        "{said}"
    );
}
