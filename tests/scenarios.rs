//! Drills that somebody has written: what is said of bad ones, and what good ones do.
//!
//! `UPDATE=1 cargo test` writes the kept texts anew; read the difference before keeping it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Advice, Outcome, Session, Telling, Terms};
use halfsplit::faults::{Condition, Exposure, Planted, Scope, all, build, mode_of, parse_cause};
use halfsplit::library;
use halfsplit::observation::{
    Act, ErrorSpan, Function, Handwork, Look, Percept, Probe, Rig, Showing, Sight, Step, Touch,
    What,
};
use halfsplit::scenario::{read_drills, sealed_text, unsealed_text};

use crate::bad_files::{folder, said};

const BAD: &str = "tests/bad_drills";

/// Every bad file with its text, and the system they are for.
fn bad_drills() -> (String, Vec<(PathBuf, String)>) {
    let mut files = Vec::new();
    let mut system = String::new();
    for entry in fs::read_dir(folder(BAD)).expect("the folder is there") {
        let path = entry.expect("an entry can be read").path();
        if path.extension().is_some_and(|end| end == "ron") {
            let text = fs::read_to_string(&path).expect("a file of text");
            if path.ends_with("system.ron") {
                system = text;
            } else {
                files.push((path, text));
            }
        }
    }
    files.sort();
    (system, files)
}

/// What `check` finds in the drills of a system, with the codes.
fn found(system: &str, drills: &str) -> (String, Vec<&'static str>) {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("system.ron"), system).expect("it can be written");
    let path = folder.path().join("drills.ron");
    fs::write(&path, drills).expect("it can be written");
    let name = folder.path().to_string_lossy().into_owned();
    let (_, findings) = library::check_drills(&name).expect("both can be read");
    let text = said(&findings).replace(&*path.to_string_lossy(), "drills.ron");
    (text, findings.iter().map(|finding| finding.code).collect())
}

#[test]
fn each_bad_drill_is_answered_word_for_word() {
    let (system, files) = bad_drills();
    let mut differences = String::new();
    for (path, text) in &files {
        let (said, codes) = found(&system, text);
        assert!(!codes.is_empty(), "{} is clean", path.display());
        let kept = path.with_extension("txt");
        if std::env::var_os("UPDATE").is_some() {
            fs::write(&kept, &said).expect("it can be written");
        }
        let expected = fs::read_to_string(&kept).unwrap_or_default();
        if said != expected {
            let name = path.to_string_lossy().into_owned();
            differences.extend(["--- ", &name, "\n", &expected, "+++ said\n", &said]);
        }
    }
    assert!(differences.is_empty(), "{differences}");
}

#[test]
fn the_guide_lists_every_code_of_drills_and_no_other() {
    let (system, files) = bad_drills();
    let met: BTreeSet<&str> = files.iter().flat_map(|(_, text)| found(&system, text).1).collect();
    let guide = fs::read_to_string(folder("scenarios/README.md")).expect("the guide is there");
    let (_, rest) = guide.split_once("### What is found in drills").expect("it has them");
    let table = rest.split("\n## ").next().expect("the section");
    let listed: BTreeSet<&str> =
        table.lines().filter_map(|line| line.strip_prefix("| `")?.split('`').next()).collect();
    assert_eq!(met, listed);
}

#[test]
fn the_guides_drills_fit_the_guides_system() {
    let guide = fs::read_to_string(folder("scenarios/README.md")).expect("the guide is there");
    let block = |start: &str, holds: &str| {
        let blocks = guide.split(start).skip(1).filter_map(|rest| rest.split("```").next());
        blocks.filter(|block| block.contains(holds)).map(str::to_owned).next().expect(holds)
    };
    let drills = block("```ron,drills\n", "night-freight");
    let system = block("```ron\n", "mods: [");
    assert_eq!(found(&system, &drills).0, "");
}

#[test]
fn a_seal_changes_nothing_but_what_it_hides() {
    let open = r#"// hidden: (in a comment)
Drills([
    Drill(id: "a", title: "hidden: no", hidden: (cause: "F1:open"), rung: 2), // after
    Drill(hidden: (pool: {"W1:open": 2.0, "F1:open": 1.0}, learn: ["(\"one\") // not a comment"]), id: "b", title: "B"),
])
"#;
    let sealed = sealed_text("drills.ron", open).expect("it reads");
    assert!(!sealed.contains("F1:open") && !sealed.contains("W1:open"), "{sealed}");
    assert!(sealed.contains("// hidden: (in a comment)") && sealed.contains("rung: 2), // after"));
    let (before, _) = read_drills("a", open);
    let (after, findings) = read_drills("a", &sealed);
    assert_eq!(said(&findings), "");
    for (before, after) in before.iter().zip(&after) {
        assert_eq!(before.hidden, after.hidden);
    }
    let again = unsealed_text("drills.ron", &sealed).expect("it reads");
    let (opened, _) = read_drills("a", &again);
    for (before, after) in before.iter().zip(&opened) {
        assert_eq!((&before.hidden, &before.title), (&after.hidden, &after.title));
    }
    assert_eq!(sealed_text("drills.ron", &again).expect("it reads"), sealed);
    // A seal belongs to its drill.
    let renamed = sealed.replace("id: \"a\"", "id: \"c\"");
    assert_eq!(read_drills("a", &renamed).1[0].code, "broken-seal");
}

fn circuit(name: &str) -> Circuit {
    library::load(name).expect("it comes with the program")
}

fn drill(name: &str, cause: &str, terms: Terms) -> Session {
    let circuit = Arc::new(circuit(name));
    let cause = parse_cause(&circuit, cause).expect("it has that");
    Session::planted_on(circuit, cause, Scope::SINGLE, terms, 5).expect("it settles")
}

fn told_parts(session: &Session) -> Vec<String> {
    session
        .write_up()
        .observations
        .iter()
        .flat_map(|o| &o.percepts)
        .filter_map(|(what, _)| match what {
            What::Face(part) => Some(session.circuit().part(*part).id.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn the_reasoner_knows_what_the_crew_have_told_and_no_more() {
    let named = circuit("t4-ac");
    let fuses = named.find_station("fuses").expect("the fuse cabinet");
    let all = drill("t4-ac", "F-FLT-C:open", Terms::default());
    let lamp = all.write_up().lines.len();
    assert!(lamp > 0, "the crew see something of it");
    let part = named.find_part("VM").expect("the voltmeter");
    let terms = Terms {
        telling: Telling::Partial(vec![part]),
        begins_at: Some(fuses),
        words: "Gyro again.".to_owned(),
        ..Terms::default()
    };
    let mut partial = drill("t4-ac", "F-FLT-C:open", terms);
    assert_eq!(partial.write_up().lines, ["Gyro again."]);
    assert_eq!(partial.place().station, fuses);
    let told = told_parts(&partial);
    let fuses_seen: Vec<String> =
        partial.faces().iter().map(|(id, _)| named.part(*id).id.clone()).collect();
    let expected: Vec<String> = ["VM".to_owned()].into_iter().chain(fuses_seen).collect();
    assert_eq!(told, expected, "the voltmeter, and what is seen where one stands");
    let mut all = all;
    let left = |session: &mut Session| session.belief().expect("it settles").alive().count();
    assert!(left(&mut partial) > left(&mut all), "less told leaves more");
}

#[test]
fn a_misleading_report_is_true_and_tells_the_thing_that_speaks_least_for_the_fault() {
    let cause = "F-FLT-C:open";
    let terms = Terms { telling: Telling::Misleading, ..Terms::default() };
    let complete = drill("t4-ac", cause, Terms::default());
    let misleading = drill("t4-ac", cause, terms);
    let [line] = &misleading.write_up().lines[..] else { panic!("one thing is told") };
    assert!(complete.write_up().lines.contains(line), "it is true");
    // Every other thing told alone leaves the fault at least as likely.
    let circuit = complete.circuit();
    let planted = parse_cause(circuit, cause).expect("it has that");
    let likely = |part: &str| {
        let part = circuit.find_part(part).expect("it has that");
        let begins_at = circuit.find_station("fuses");
        let terms = Terms { telling: Telling::Partial(vec![part]), begins_at, ..Terms::default() };
        let mut session = drill("t4-ac", cause, terms);
        session.belief().expect("it settles").group_probability(circuit, &planted)
    };
    let odd: Vec<String> = told_parts(&complete)
        .into_iter()
        .filter(|id| {
            let part = circuit.part(circuit.find_part(id).expect("it has that"));
            complete.write_up().lines.iter().any(|line| line.contains(&part.label))
        })
        .collect();
    let chosen = odd
        .iter()
        .filter(|id| {
            let part = circuit.part(circuit.find_part(id).expect("it has that"));
            line.contains(&part.label)
        })
        .map(|id| likely(id))
        .fold(f64::INFINITY, f64::min);
    for id in &odd {
        assert!(chosen <= likely(id) + 1e-12, "{id} speaks less for it");
    }
}

#[test]
fn what_is_ruled_out_is_refused_and_never_advised() {
    let named = circuit("t4-ac");
    let cabinet = named.find_station("fuses").expect("it has that");
    let mut terms = Terms::default();
    terms.barred.functions = vec![Function::AcVolts];
    terms.barred.handwork = vec![Handwork::Replace, Handwork::Pull];
    let mut session = drill("t4-ac", "F-FLT-C:open", terms.clone());
    assert_eq!(session.apply(Action::Step(Step::Go(cabinet))), Outcome::Done(0));
    let fuse = named.find_part("F-FLT-C").expect("it has that");
    let Outcome::Refused(why) = session.apply(Action::Step(Step::Act(Act::Pull(fuse)))) else {
        panic!("it is ruled out")
    };
    assert_eq!(why, "this drill rules out pulling");
    for _ in 0..40 {
        let Outcome::Advised(Advice::Do { prospect, .. }) = session.apply(Action::Advise) else {
            break;
        };
        for step in prospect.path() {
            let station = session.place().done_at(&named, step);
            assert_eq!(terms.barred.reason(&named, step, station), None, "{step:?}");
            assert!(matches!(session.apply(Action::Step(step)), Outcome::Done(_)), "{step:?}");
        }
    }
    // A station that is out of reach is neither walked to nor advised.
    let mut terms = Terms::default();
    terms.barred.stations = vec![cabinet];
    let mut session = drill("t4-ac", "F-FLT-C:open", terms);
    let Outcome::Refused(why) = session.apply(Action::Step(Step::Go(cabinet))) else {
        panic!("it is ruled out")
    };
    assert!(why.ends_with("cannot be reached in this drill"), "{why}");
    for _ in 0..40 {
        let Outcome::Advised(Advice::Do { prospect, .. }) = session.apply(Action::Advise) else {
            break;
        };
        for step in prospect.path() {
            assert_ne!(session.place().done_at(&named, step), cabinet, "{step:?}");
            assert!(matches!(session.apply(Action::Step(step)), Outcome::Done(_)), "{step:?}");
        }
    }
}

#[test]
fn time_and_spares_run_out() {
    let named = circuit("t4-ac");
    let cabinet = named.find_station("fuses").expect("it has that");
    let walk = drill("t4-ac", "F-FLT-C:open", Terms::default()).place().minutes_to(&named, cabinet);
    let terms =
        Terms { most_minutes: Some(walk + 0.6), spares: Some(Vec::new()), ..Terms::default() };
    let mut session = drill("t4-ac", "F-FLT-C:open", terms);
    assert_eq!(session.apply(Action::Step(Step::Go(cabinet))), Outcome::Done(0));
    let fuse = named.find_part("F-FLT-C").expect("it has that");
    assert_eq!(session.apply(Action::Step(Step::Act(Act::Pull(fuse)))), Outcome::Done(1));
    let spare = Action::Step(Step::Act(Act::FitSpare(fuse)));
    let Outcome::Refused(why) = session.apply(spare) else { panic!("there is no spare") };
    assert!(why.starts_with("no spare fuse"), "{why}");
    let Outcome::Refused(why) = session.apply(Action::Step(Step::Act(Act::Refit(fuse)))) else {
        panic!("the time is up")
    };
    assert!(why.contains("make the call"), "{why}");
    let cause = parse_cause(&named, "F-FLT-C:open").expect("it has that");
    assert_eq!(session.apply(Action::Call(cause)), Outcome::Called, "a call takes no time");
}

/// The bench with its lamp on, and what shakes it.
fn shaken_bench() -> Circuit {
    let bench = circuit("bench");
    let switch = bench.find_part("S1").expect("it has that");
    bench.standing(&[(switch, 1)]).with_conditions()
}

/// What one candidate shows, worked out without anything that knows of conditions: each state
/// is a circuit of its own, built anew and settled. That is the same as living through it
/// because nothing on the bench but its breaker remembers, and a breaker that has opened is
/// kept open here.
struct Told {
    code: String,
    weight: f64,
    planted: Vec<Planted>,
    alive: bool,
}

#[test]
fn faults_that_come_and_go_are_weighed_as_bayes_says() {
    let bench = Arc::new(shaken_bench());
    let control = bench.conditions.expect("it has one");
    let singles = all(&bench);
    let total: f64 = singles.iter().map(|(_, mode)| mode.rate).sum();
    // Everything that is a matter of contact, once for each exposure.
    let loose: Vec<_> = singles
        .iter()
        .filter(|(_, mode)| {
            ["open", "high-resistance", "chafed", "pulled-out"].iter().any(|word| {
                mode.name.split('-').any(|w| w == *word)
                    || mode.name == *word
                    || mode.name.contains("high-resistance")
            })
        })
        .collect();
    let loose_total: f64 = 2.0 * loose.iter().map(|(_, mode)| mode.rate).sum::<f64>();
    let mut told: Vec<Told> = singles
        .iter()
        .map(|(fault, mode)| Told {
            code: fault.code(&bench),
            weight: mode.rate,
            planted: vec![Planted::always(fault.clone(), mode.clone())],
            alive: true,
        })
        .collect();
    for (fault, mode) in &loose {
        for under in Exposure::ALL {
            let mut planted = Planted::always(fault.clone(), mode.clone());
            planted.conditions = vec![Condition::Under(under)];
            told.push(Told {
                code: format!("{}~{}", fault.code(&bench), under.name()),
                weight: mode.rate * total / loose_total,
                planted: vec![planted],
                alive: true,
            });
        }
    }
    let scope = Scope { intermittent: true, ..Scope::SINGLE };
    let cause = parse_cause(&bench, "W1:open~vibration").expect("it has that");
    let mut session = Session::planted_on(Arc::clone(&bench), cause, scope, Terms::default(), 2)
        .expect("settles");
    assert_eq!(session.write_up().lines, ["with vibration, POWER: dark"]);
    let point = |name: &str| Touch::Point(bench.find_test_point(name).expect("it has that"));
    let probe = |name: &str| {
        let function = Function::DcVolts;
        Step::Probe(Probe { function, red: point(name), black: Touch::Airframe })
    };
    let set = |position| Step::Act(Act::Set { control, position });
    // The crew have flown with vibration; the rest is the trainee's.
    let steps = [
        set(1),
        probe("TB1-2"),
        set(2),
        probe("TB1-3"),
        set(0),
        probe("TB1-3"),
        set(1),
        probe("TB1-3"),
    ];
    let mut under: Vec<Exposure> = Vec::new();
    let lamp = bench.find_part("DS1").expect("it has that");
    let shows = |planted: &[Planted], under: &[Exposure], step: Option<Step>| -> Vec<Sight> {
        let circuit = build(&bench, planted, &[], under).expect("one fault");
        let mut rig = Rig::normal(Arc::new(circuit)).expect("it settles");
        let station = bench.part(lamp).station;
        match step {
            Some(Step::Probe(probe)) => {
                rig.perform(Step::Probe(probe), station, &mut Vec::new()).expect("it settles")
            }
            _ => rig.perform(Step::LookAround, station, &mut Vec::new()).expect("it settles"),
        }
    };
    // The candidates that the crew's report leaves: dark with vibration, bright at rest, and
    // nothing has opened the breaker.
    let agrees = |sights: &[Sight], percepts: &[(What, Percept)]| {
        percepts.iter().filter(|(what, _)| !matches!(what, What::Standing(_))).all(
            |(what, seen)| {
                let sight = sights.iter().find(|sight| sight.what == *what).expect("it is shown");
                // A display is wide of another by volts here, never by a hair.
                match (sight.showing, seen) {
                    (Showing::Look(look), Percept::Look(seen)) => look == *seen,
                    (Showing::Dial(dial), Percept::Reading(seen)) => {
                        let whole = ErrorSpan::WHOLE;
                        dial.probability(*seen, whole).is_some()
                    }
                    _ => false,
                }
            },
        )
    };
    let observed = session.write_up().observations.clone();
    for told in &mut told {
        let mut now: Vec<Exposure> = Vec::new();
        for observation in &observed {
            if let Step::Act(Act::Set { position, .. }) = observation.step {
                now = Exposure::ALL.into_iter().filter(|e| e.position() == position).collect();
                continue;
            }
            told.alive &= agrees(&shows(&told.planted, &now, None), &observation.percepts);
        }
    }
    let compare = |session: &mut Session, told: &[Told]| {
        let belief = session.belief().expect("it settles");
        let sum: f64 = told.iter().filter(|t| t.alive).map(|t| t.weight).sum();
        let ours: BTreeMap<String, f64> = belief
            .candidates()
            .iter()
            .zip(belief.posterior())
            .map(|(candidate, p)| (candidate.cause.code(&bench), p))
            .collect();
        assert_eq!(ours.len(), told.len());
        for one in told {
            let expected = if one.alive { one.weight / sum } else { 0.0 };
            let found = ours[&one.code];
            // Readings near a division split a candidate's weight; at the bench's volts
            // they do so for poor joints alone.
            assert!((found - expected).abs() < 1e-9, "{}: {found} for {expected}", one.code);
        }
    };
    compare(&mut session, &told);
    assert!(told.iter().filter(|t| t.alive).count() >= 3, "the report leaves a question");
    for step in steps {
        let Outcome::Done(at) = session.apply(Action::Step(step)) else { panic!("{step:?}") };
        if let Step::Act(Act::Set { position, .. }) = step {
            under = Exposure::ALL.into_iter().filter(|e| e.position() == position).collect();
        }
        let percepts = session.log()[at].observation.percepts.clone();
        for told in &mut told {
            told.alive &= agrees(&shows(&told.planted, &under, Some(step)), &percepts);
        }
        compare(&mut session, &told);
    }
    let codes: Vec<&str> = told.iter().filter(|t| t.alive).map(|t| t.code.as_str()).collect();
    assert_eq!(codes, ["W1:open~vibration"]);
    // Exchanged, it stays sound whatever shakes.
    let wire = bench.find_part("W1").expect("it has that");
    for step in [set(0), Step::Act(Act::Replace(wire)), set(1)] {
        assert!(matches!(session.apply(Action::Step(step)), Outcome::Done(_)));
    }
    let seen = session.faces().into_iter().find(|(part, _)| *part == lamp).map(|(_, seen)| seen);
    assert_eq!(seen, Some(Percept::Look(Look::Bright)));
    let mode = mode_of(bench.part(wire), "open~heat").expect("it has that");
    assert_eq!(mode.under, Some(Exposure::Heat));
}
