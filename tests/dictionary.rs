//! The fault dictionary, and the short way by which the engine settles a faulted
//! circuit: it must lead to where the long way leads.

use std::process::{Command, Stdio};
use std::sync::Arc;

use halfsplit::circuit::{AIRFRAME, Circuit, PartId};
use halfsplit::dictionary::{Case, Dictionary, Setup, read_setups};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::network::{BaseCase, Network, PartState, Settled, State};
use halfsplit::observation::{Function, Percept, Showing, What, face};
use num_complex::Complex64;

use crate::program;

/// The normal state and that of every control moved, each of them settled.
fn setups(circuit: &Circuit, network: &Network) -> Vec<Settled> {
    let normal = network.settle(State::at_rest(circuit)).expect("the sound circuit settles");
    let mut setups = vec![normal.clone()];
    for (control, part) in circuit.parts_with_ids() {
        let Some(found) = part.kind.control() else { continue };
        let mut state = normal.state.clone();
        state.set(control, PartState::Position((found.start + 1) % found.positions.len() as u8));
        setups.push(network.settle(state).expect("the sound circuit settles"));
    }
    setups
}

/// Settles a fault that strikes in a state.
fn struck(network: &Network, state: &State, part: PartId) -> Settled {
    let mut state = state.clone();
    state.adopt_kind(part, network.kind(part));
    network.settle(state).expect("a fault leaves a solution")
}

/// Whether all voltages agree to a thousand-millionth, or a microvolt.
fn near(a: &Settled, b: &Settled) -> bool {
    let close = |a: f64, b: f64| (a - b).abs() <= (1e-9 * a.abs()).max(1e-6);
    let (a, b) = (&a.solution, &b.solution);
    a.dc.iter().zip(&b.dc).all(|(a, b)| close(*a, *b))
        && a.ac.len() == b.ac.len()
        && a.ac.iter().zip(&b.ac).all(|(a, b)| {
            let close = |(a, b): (&Complex64, &Complex64)| close(a.re, b.re) && close(a.im, b.im);
            a.source == b.source && a.volts.iter().zip(&b.volts).all(close)
        })
}

#[test]
fn the_short_way_to_a_fault_leads_where_the_long_one_does() {
    // To the last bit, which is far inside a thousand-millionth: every entry of every
    // matrix is summed in the same order either way.
    for id in library::NAMES {
        let circuit = Arc::new(library::load(id).expect("it comes with the program"));
        let sound = Network::new(Arc::clone(&circuit));
        let (mut akin, mut untouched) = (0, 0);
        for setup in setups(&circuit, &sound) {
            for (fault, mode) in faults::all(&circuit) {
                let code = fault.code(&circuit);
                let short = sound.with_parts(&[(fault.part, mode.faulted.clone())]);
                akin += usize::from(short.is_akin(&sound));
                let long = Network::new(Arc::new(faults::apply(&circuit, &fault, &mode)));
                let long = struck(&long, &setup.state, fault.part);
                let unmoved = Settled { events: Vec::new(), ..setup.clone() };
                if let Ok(None) = short.struck(&sound, &setup, &[fault.part]) {
                    // It was not even looked at: the rest of it is where it was.
                    assert!(near(&unmoved, &long), "{id} {code}");
                    assert!(long.events.is_empty(), "{id} {code}");
                    assert_eq!(unmoved.state.parts, long.state.parts, "{id} {code}");
                    untouched += 1;
                }
                let short = struck(&short, &setup.state, fault.part);
                assert_eq!(short.solution, long.solution, "{id} {code}");
                assert_eq!(short.cycle, long.cycle, "{id} {code}");
                assert_eq!(short.state.parts, long.state.parts, "{id} {code}");
                assert_eq!(short.events, long.events, "{id} {code}");
                assert_eq!(short.stop, long.stop, "{id} {code}");
            }
        }
        assert!(akin > 20, "{id}: {akin} faults keep the structure");
        assert!(untouched > 0 || id == "bench", "some faults change nothing electrical");
    }
}

#[test]
fn what_follows_from_a_base_case_is_what_a_fresh_solution_gives() {
    for id in library::NAMES {
        let circuit = Arc::new(library::load(id).expect("it comes with the program"));
        let sound = Network::new(Arc::clone(&circuit));
        for setup in setups(&circuit, &sound) {
            let base = BaseCase::new(&sound, setup.clone()).expect("it has been settled");
            for (fault, mode) in faults::all(&circuit) {
                let code = fault.code(&circuit);
                let failed = sound.with_parts(&[(fault.part, mode.faulted.clone())]);
                let near_by = failed.struck_from(&base, &[fault.part]).expect("it settles");
                let fresh = failed.struck(&sound, &setup, &[fault.part]).expect("it settles");
                assert_eq!(near_by.is_some(), fresh.is_some(), "{id} {code}");
                let (Some(near_by), Some(fresh)) = (near_by, fresh) else { continue };
                assert!(near(&near_by, &fresh), "{id} {code}");
                assert_eq!(near_by.state.parts, fresh.state.parts, "{id} {code}");
                assert_eq!(near_by.stop, fresh.stop, "{id} {code}");
                let told = |settled: &Settled| -> Vec<String> {
                    settled.events.iter().map(|event| event.told(&circuit)).collect()
                };
                assert_eq!(told(&near_by), told(&fresh), "{id} {code}");
            }
        }
    }
}

#[test]
fn a_state_without_a_solution_is_left_out_and_said() {
    // Without insulation the lamp's net hangs in the air once the only wire to it and the
    // lamp itself are open.
    let text = r#"System(id: "air", title: "Air", insulation_megohms: inf,
        stations: [Station(id: "s", title: "S")], nets: ["BAT", "LAMP"],
        parts: [
            Supply(id: "B1", at: "s", plus: "BAT"),
            Wire(id: "W1", at: "s", a: "BAT", b: "LAMP"),
            Lamp(id: "L1", at: "s", a: "LAMP"),
        ])"#;
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("system.ron");
    std::fs::write(&path, text).expect("it can be written");
    let path = path.to_string_lossy();
    for form in [&["--csv"][..], &["--json"], &[]] {
        let (code, out, error) = run(&[&[&*path, "--pairs"], form].concat());
        assert_eq!(code, Some(1), "{error}");
        assert!(error.starts_with("left out, having no solution:\n  W1:open + L1:"), "{error}");
        assert!(error.contains("net `LAMP` hangs in the air"), "{error}");
        assert!(out.contains("W1:open") || form.is_empty(), "{out}");
    }
}

#[test]
fn a_fault_taken_out_again_leaves_the_sound_circuit() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let sound = Network::new(Arc::clone(&circuit));
    let normal = sound.settle(State::at_rest(&circuit)).expect("it settles");
    for (fault, mode) in faults::all(&circuit) {
        let failed = sound.with_parts(&[(fault.part, mode.faulted.clone())]);
        let mended = failed.with_parts(&[(fault.part, circuit.part(fault.part).kind.clone())]);
        assert_eq!(mended.circuit().part(fault.part), circuit.part(fault.part));
        let again = mended.settle(State::at_rest(&circuit)).expect("it settles");
        assert_eq!(again.solution, normal.solution, "{}", fault.code(&circuit));
        assert_eq!(again.state.parts, normal.state.parts, "{}", fault.code(&circuit));
    }
}

/// Runs `halfsplit dictionary` with these arguments.
fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    program::run(&[&["dictionary"], arguments].concat())
}

#[test]
fn the_bytes_are_the_same_for_any_number_of_jobs() {
    for arguments in [
        &["t4-ac", "--csv"][..],
        &["t4-ac", "--json"],
        &["bench", "--setups", "single", "--pairs", "--csv"],
        &["bench", "--setups", "single", "--pairs"],
        &["t4-ac", "--setups", "single", "--mod", "31"],
    ] {
        let one = run(&[arguments, &["--jobs", "1"]].concat());
        assert_eq!(one.0, Some(0), "{}", one.2);
        assert_eq!(one, run(&[arguments, &["--jobs", "2"]].concat()));
        assert!(one.2.is_empty(), "no progress where nobody sees it: {}", one.2);
    }
}

#[test]
fn every_setup_fault_and_observation_has_its_line() {
    let circuit = Arc::new(library::load("bench").expect("it comes with the program"));
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    let (setups, cases) = (Setup::single(&circuit), dictionary.singles());
    let observations = dictionary.observations().len();
    let (_, csv, _) = run(&["bench", "--setups", "single", "--csv"]);
    let mut lines = csv.lines();
    assert_eq!(lines.next(), Some("setup,fault,observation,perceived,value"));
    assert_eq!(lines.count(), setups.len() * cases.len() * observations);
    let (_, json, _) = run(&["bench", "--setups", "single", "--json"]);
    let mut rows = json.lines();
    for setup in &setups {
        for case in &cases {
            let row: serde_json::Value =
                serde_json::from_str(rows.next().expect("a line")).expect("an object");
            assert_eq!(row["setup"], setup.name);
            let fault = dictionary.name(*case);
            assert_eq!(row["fault"].as_str().unwrap_or("-"), fault);
            assert_eq!(
                row["observations"].as_object().map(serde_json::Map::len),
                Some(observations)
            );
        }
    }
    assert_eq!(rows.next(), None);
}

#[test]
fn an_entry_is_what_settling_the_faulted_circuit_shows() {
    // By hand, past the dictionary: set up, let it fail, look at every face.
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    for setup in Setup::single(&circuit).iter().step_by(9) {
        let page = dictionary.settle(setup).expect("it settles");
        for (case, (fault, mode)) in dictionary.singles()[1..].iter().zip(dictionary.faults()) {
            let network = Network::new(Arc::new(faults::apply(&circuit, fault, mode)));
            let settled = struck(&network, &page.settled().state, fault.part);
            let entry = dictionary.entry(&page, *case).expect("it settles");
            for (what, shown) in dictionary.observations().iter().zip(entry.shown()) {
                let What::Face(part) = what else { continue };
                let percept = match face(&network, &settled, *part).expect("it has a face") {
                    Showing::Look(look) => Percept::Look(look),
                    Showing::Dial(dial) => Percept::Reading(dial.reading(0.0)),
                    Showing::Position(at) => Percept::Position(at),
                };
                assert_eq!(shown.percept, percept, "{} {}", fault.code(&circuit), setup.name);
            }
        }
    }
}

#[test]
fn two_faults_together_are_the_circuit_with_both() {
    let circuit = Arc::new(library::load("bench").expect("it comes with the program"));
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    let page = dictionary.settle(&Setup::normal()).expect("it settles");
    for case in dictionary.pairs() {
        let Case::Two(one, other) = case else { panic!("a pair") };
        let [(first, one), (second, other)] =
            [one, other].map(|at| &dictionary.faults()[at as usize]);
        let both = faults::apply(&faults::apply(&circuit, first, one), second, other);
        let network = Network::new(Arc::new(both));
        let mut state = page.settled().state.clone();
        state.adopt(network.circuit(), first.part);
        state.adopt(network.circuit(), second.part);
        let settled = network.settle(state).expect("it settles");
        let entry = dictionary.entry(&page, case).expect("it settles");
        for (what, shown) in dictionary.observations().iter().zip(entry.shown()) {
            let What::Display(probe) = what else { continue };
            let net = probe.red.net(&circuit);
            let volts = match probe.function {
                Function::DcVolts => settled.solution.dc_between(net, AIRFRAME).abs(),
                Function::AcVolts => settled.solution.ac_between(net, AIRFRAME),
                Function::Ohms => panic!("the dictionary measures volts"),
            };
            let value = shown.value.expect("volts");
            let close = (value - volts).abs() <= (1e-9 * volts).max(1e-6);
            assert!(close, "{} {value} {volts}", dictionary.name(case));
        }
    }
}

#[test]
fn a_list_of_setups_is_read_or_answered_with_every_mistake() {
    let folder = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("it can be written");
        path.to_string_lossy().into_owned()
    };
    let good = write(
        "good.ron",
        "[Setup(name: \"one, \\\"two\\\"\", sets: {\"SOURCE1\": \"OFF\"}, pulled: [\"F-IND\"])]",
    );
    let (code, csv, error) = run(&["t4-ac", "--setups", &good, "--csv"]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    assert!(csv.lines().nth(1).is_some_and(|line| line.starts_with("\"one, \"\"two\"\"\",-,")));
    let bad = write(
        "bad.ron",
        "[\n  Setup(name: \"a\", sets: {\"SOURCE9\": \"OFF\", \"SOURCE1\": \"OF\"}),\n  \
         Setup(name: \"a\", pulled: [\"F-IND\", \"W-MST\", \"F-INX\"], sets: {\"F-IND\": \"ON\"}),\n]",
    );
    let (code, out, error) = run(&["t4-ac", "--setups", &bad]);
    assert_eq!((code, out.as_str()), (Some(2), ""));
    let error = error.replace(&bad, "bad.ron");
    assert_eq!(
        error,
        "\
bad.ron:2:27: error[unknown-part]: no part `SOURCE9` in this system (did you mean `SOURCE1`?)
bad.ron:2:56: error[unknown-position]: `SOURCE1` has no position `OF`; it has OFF, ON (did you mean `OFF`?)
bad.ron:3:15: error[name-twice]: two setups are named `a`
bad.ron:3:38: error[not-pulled]: `W-MST` is neither a breaker nor a fuse
bad.ron:3:47: error[unknown-part]: no part `F-INX` in this system (did you mean `F-IND`?)
bad.ron:3:64: error[not-a-control]: `F-IND` is not a control
"
    );
    for (text, at) in [("", "1:1"), ("[]", "1:1"), ("[Setup(nam: 1)]", "1:11"), ("[\n,]", "2:1")] {
        let path = write("odd.ron", text);
        let (code, _, error) = run(&["t4-ac", "--setups", &path]);
        assert_eq!(code, Some(2), "{text}");
        assert!(error.replace(&path, "odd.ron").starts_with(&format!("odd.ron:{at}: ")), "{error}");
    }
    let (code, _, error) = run(&["t4-ac", "--setups", "no-such-file.ron"]);
    assert_eq!(code, Some(2));
    assert!(error.contains("no-such-file.ron"), "{error}");
    assert_eq!(run(&["t4-ac", "--jobs", "0"]).0, Some(2));
    assert_eq!(run(&["t4-ac", "--csv", "--json"]).0, Some(2));
}

#[test]
fn the_guides_list_of_setups_reads() {
    let guide = include_str!("../scenarios/README.md");
    let rest = guide.split("```ron,setups\n").nth(1).expect("the guide shows one");
    let text = rest.split("```").next().expect("it ends");
    let circuit = library::load("t4-ac").expect("it comes with the program");
    let (setups, findings) = read_setups(&circuit, "guide", text);
    assert!(findings.is_empty(), "{findings:?}");
    assert_eq!(setups.len(), 3);
}

#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .args(["dictionary", "t4-ac", "--csv"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    drop(child.stdout.take());
    let ended = child.wait_with_output().expect("it ends");
    assert!(ended.status.success());
    assert!(ended.stderr.is_empty());
}

#[test]
fn a_rectifier_left_with_one_line_comes_to_rest() {
    // It then stands in series between lines, where its draw sets its own volts.
    let circuit = Arc::new(library::load("t4-dc").expect("it comes with the program"));
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    let page = dictionary.settle(&Setup::normal()).expect("it settles");
    let of = |code: &str| match dictionary.case(code) {
        Some(Case::One(at)) => at,
        other => panic!("{code}: {other:?}"),
    };
    let fuses = [of("FWA:open"), of("FWC:open")];
    for line in ["TR:phase-open-A", "TR:phase-open-B", "TR:phase-open-C"].map(of) {
        for fuse in fuses {
            let pair = Case::Two(fuse.min(line), fuse.max(line));
            let entry = dictionary.entry(&page, pair);
            assert!(entry.is_ok(), "{}: {:?}", dictionary.name(pair), entry.err());
        }
    }
}
