//! What to work on: drills worked by a known bad habit have it named first, drills worked as
//! advised have none.

use std::sync::Arc;

use halfsplit::circuit::{Circuit, PartId, read_system};
use halfsplit::diagnosis::{NO_BITS, prospects};
use halfsplit::drill::{Action, Advice, Help, Mark, Outcome, PROVEN, Rules, Session, Thoughts};
use halfsplit::faults::{self, Cause};
use halfsplit::library;
use halfsplit::observation::{Act, Function, Probe, Step, Touch};
use halfsplit::score::{Debrief, HabitKind, debrief};

fn system(name: &str) -> Arc<Circuit> {
    Arc::new(library::load(name).expect("it comes with the program"))
}

fn drill(circuit: &Arc<Circuit>, fault: &str) -> Session {
    let cause = faults::parse_cause(circuit, fault).expect("a fault");
    Session::planted(Arc::clone(circuit), cause, 7).expect("it settles")
}

/// What would be advised, without asking for it: steps, or the call.
fn best(session: &mut Session) -> Result<Vec<Step>, Cause> {
    let advisor = session.advisor().expect("it can be worked out");
    let (circuit, place) = (Arc::clone(session.circuit()), session.place().clone());
    let belief = session.belief().expect("it can be worked out");
    match advisor.advise(&Thoughts::default(), belief, &circuit, &place) {
        Advice::Do { prospect, .. } => Ok(prospect.path()),
        Advice::Call { cause, .. } => Err(cause),
        Advice::Nothing => panic!("the hidden fault is left"),
    }
}

/// Works a drill as advised, with something done before every piece of advice and after every
/// step of it, and calls.
fn work(
    mut session: Session,
    mut before: impl FnMut(&mut Session),
    mut after: impl FnMut(&mut Session, Step),
) -> Debrief {
    for _ in 0..40 {
        match best(&mut session) {
            Err(cause) => return call(session, cause),
            Ok(_) => before(&mut session),
        }
        let Ok(path) = best(&mut session) else { continue };
        for step in path {
            if matches!(session.apply(Action::Step(step)), Outcome::Done(_)) {
                after(&mut session, step);
            }
        }
    }
    panic!("no call after 40 pieces of advice");
}

fn call(mut session: Session, cause: Cause) -> Debrief {
    session.apply(Action::Call(cause));
    debrief(&session).expect("it can be worked out")
}

fn kinds(debrief: &Debrief) -> Vec<HabitKind> {
    debrief.habits.iter().map(|habit| habit.kind).collect()
}

/// The first habit is this one, and every claim about any of them is about steps that are
/// there.
#[track_caller]
fn first(debrief: &Debrief, kind: HabitKind) {
    assert_eq!(kinds(debrief).first(), Some(&kind), "{:#?}", debrief.habits);
    assert!(debrief.habits.len() <= 3);
    for habit in &debrief.habits {
        assert!(habit.steps.iter().all(|at| *at < debrief.rows.len()), "{habit:?}");
        assert!(habit.steps.is_sorted() && !habit.instead.is_empty(), "{habit:?}");
        let spent: f64 = habit.steps.iter().map(|at| debrief.rows[*at].minutes).sum();
        assert!(habit.minutes <= 2.0 * spent + 30.0, "{habit:?}");
    }
    assert!(debrief.habits.is_sorted_by(|a, b| a.points >= b.points));
}

const FAULTS: [(&str, &str); 6] = [
    ("t4-ac", "F-FLT-C:open"),
    ("t4-ac", "T-FLT-A:primary-open"),
    ("t4-ac", "K-SG:stuck-released"),
    ("t4-ac", "CB2A:trips-early"),
    ("t4-dc", "W-ST1:open"),
    ("bench", "DS1:open"),
];

/// Those of the faults above that the systems have.
fn drills() -> Vec<(String, Session)> {
    FAULTS
        .into_iter()
        .filter_map(|(name, fault)| {
            let circuit = system(name);
            faults::parse_cause(&circuit, fault).ok()?;
            Some((format!("{name} {fault}"), drill(&circuit, fault)))
        })
        .collect()
}

#[test]
fn nothing_is_made_up_about_a_drill_worked_as_advised() {
    for (name, session) in drills() {
        let quiet = work(session.clone(), |_| {}, |_, _| {});
        assert_eq!(kinds(&quiet), [], "{name}: {:#?}", quiet.habits);
        let asked = work(session, |session| drop(session.apply(Action::Advise)), |_, _| {});
        if asked.record.steps.iter().any(|step| step.advised) {
            assert_eq!(kinds(&asked), [HabitKind::AskedForAdvice], "{name}");
        }
        assert!(asked.habits.iter().all(|habit| !habit.kind.is_reasoning()), "{name}");
    }
}

#[test]
fn testing_again_what_is_known_is_named() {
    let circuit = system("t4-ac");
    let mut named = 0;
    for fault in ["W2-A:chafed", "CV2:motor-open", "CB2A:trips-early", "K-SG:stuck-released"] {
        let again = work(
            drill(&circuit, fault),
            |session| {
                // The first test point of the place, three times over.
                let here = session.place().station;
                let points = session.circuit().test_points_with_ids();
                let Some((point, _)) = points.into_iter().find(|(_, p)| p.station == here) else {
                    return;
                };
                let (red, black) = (Touch::Point(point), Touch::Airframe);
                for _ in 0..3 {
                    let probe = Probe { function: Function::DcVolts, red, black };
                    session.apply(Action::Step(Step::Probe(probe)));
                }
            },
            |_, _| {},
        );
        if again.record.steps.iter().any(|step| step.implied) {
            first(&again, HabitKind::RetestedTheKnown);
            named += 1;
        }
    }
    assert!(named >= 2, "{named}");
}

#[test]
fn walking_back_and_forth_is_named_with_the_minutes_it_cost() {
    let session = drill(&system("t4-ac"), "T-FLT-A:primary-open");
    let mut strolls = 0.0;
    let strolling = work(
        session,
        |session| {
            // To the other place where the crew sit: they have written up all it shows.
            let circuit = Arc::clone(session.circuit());
            let here = session.place().station;
            let other = circuit.stations_with_ids().find(|(id, s)| s.crew && *id != here);
            let (other, _) = other.expect("two places with a crew");
            let then = session.minutes();
            session.apply(Action::Step(Step::Go(other)));
            session.apply(Action::Step(Step::Go(here)));
            strolls += session.minutes() - then;
        },
        |_, _| {},
    );
    first(&strolling, HabitKind::WalkedForNothing);
    assert!((strolling.habits[0].minutes - strolls).abs() < 0.5 + 0.2 * strolls, "{strolls}");
}

#[test]
fn changing_parts_until_it_works_is_named() {
    // Of the systems the one with direct current alone: no hands near 115 V.
    let circuit = system("t4-dc");
    let mut named = 0;
    for seed in 0..3 {
        let mut session = Session::drawn(Arc::clone(&circuit), seed).expect("it settles");
        for _ in 0..12 {
            let belief = session.belief().expect("it can be worked out");
            if belief.group_posterior().iter().any(|p| *p >= PROVEN) {
                break;
            }
            let candidates = belief.candidates().iter().zip(belief.posterior());
            let mut likely: Vec<(PartId, f64)> = candidates
                .filter_map(|(c, p)| c.cause.failed_parts(&circuit).next().map(|part| (part, p)))
                .filter(|(_, p)| *p > 0.0)
                .collect();
            likely.sort_by(|a, b| b.1.total_cmp(&a.1));
            let changed = likely.into_iter().any(|(part, _)| {
                let done = session
                    .log()
                    .iter()
                    .any(|entry| entry.observation.step == Step::Act(Act::Replace(part)));
                if done {
                    return false;
                }
                session.apply(Action::Step(Step::Go(circuit.part(part).station)));
                let act = Action::Step(Step::Act(Act::Replace(part)));
                matches!(session.apply(act), Outcome::Done(_))
            });
            if !changed {
                break;
            }
            let deck = circuit.stations_with_ids().find(|(_, s)| s.crew).expect("a deck").0;
            session.apply(Action::Step(Step::Go(deck)));
        }
        let (likeliest, _) = session.belief().expect("it is known").likeliest().expect("one");
        let cause = likeliest.cause.clone();
        let swapped = call(session, cause);
        if swapped.record.steps.iter().any(|s| s.exchanged.is_some() && s.untested) {
            first(&swapped, HabitKind::ChangedBeforeTesting);
            named += 1;
        }
    }
    assert!(named >= 2, "{named}");
}

#[test]
fn a_guess_is_named_and_so_is_a_call_against_the_evidence() {
    let circuit = system("t4-ac");
    let mut session = drill(&circuit, "T-FLT-A:primary-open");
    let belief = session.belief().expect("it can be worked out");
    let hidden = faults::parse_cause(&circuit, "T-FLT-A:primary-open").expect("a fault");
    let other = belief
        .alive()
        .map(|c| c.cause.clone())
        .find(|cause| cause.repair_group(&circuit) != hidden.repair_group(&circuit))
        .expect("more than one repair is left");
    first(&call(session.clone(), other), HabitKind::CalledUnproven);
    let out = faults::parse_cause(&circuit, "CV1:motor-open").expect("a fault");
    first(&call(session, out), HabitKind::MisreadTheEvidence);
}

#[test]
fn marks_against_the_evidence_are_named() {
    let circuit = system("t4-ac");
    let mut session = drill(&circuit, "T-FLT-A:primary-open");
    let mark = |session: &mut Session, id: &str, mark| {
        let part = circuit.find_part(id).expect("a part");
        session.apply(Action::Mark { part, mark: Some(mark) });
    };
    mark(&mut session, "T-FLT-A", Mark::Cleared);
    mark(&mut session, "CV1", Mark::Suspect);
    let marked = work(session, |_| {}, |_, _| {});
    first(&marked, HabitKind::MisreadTheEvidence);
    assert!(marked.habits[0].evidence.contains("T-FLT-A cleared though still possible"));
}

#[test]
fn a_caution_gone_against_is_named() {
    let circuit = system("t4-ac");
    let session = drill(&circuit, "F-FLT-C:open");
    let fuse = circuit.find_part("F-FLT-C").expect("a part");
    let mut done = session;
    while let Ok(path) = best(&mut done) {
        for step in path {
            done.apply(Action::Step(step));
        }
    }
    // The spare goes in with the feeder live.
    done.apply(Action::Step(Step::Go(circuit.part(fuse).station)));
    done.apply(Action::Step(Step::Act(Act::Pull(fuse))));
    done.apply(Action::Step(Step::Act(Act::FitSpare(fuse))));
    let cause = faults::parse_cause(&circuit, "F-FLT-C:open").expect("a fault");
    let careless = call(done, cause);
    assert_eq!(careless.cautions.len(), 1, "{:?}", careless.cautions);
    first(&careless, HabitKind::AgainstCautions);
}

#[test]
fn weak_splits_are_named_with_a_better_step() {
    let circuit = system("t4-ac");
    let mut session = drill(&circuit, "T-FLT-A:primary-open");
    for _ in 0..60 {
        let place = session.place().clone();
        let belief = session.belief().expect("it can be worked out").clone();
        if belief.group_posterior().iter().any(|p| *p >= PROVEN) {
            break;
        }
        // What tells anything, the worst first; nothing is changed and no control moved.
        let weak = prospects(&belief, &circuit, &place).into_iter().rfind(|p| {
            p.bits > NO_BITS
                && p.then.is_empty()
                && matches!(p.step, Step::Probe(_) | Step::Go(_) | Step::Act(Act::Pull(_)))
        });
        let Some(weak) = weak else { break };
        for step in weak.path() {
            session.apply(Action::Step(step));
        }
    }
    let cause = session.belief().expect("it is known").likeliest().expect("one").0.cause.clone();
    let weak = call(session, cause);
    first(&weak, HabitKind::WeakSplits);
    assert!(weak.habits[0].instead.contains("At step "), "{:#?}", weak.habits);
}

/// A lamp that is lit all the time and one that a press lights, both behind one breaker; the
/// wire to the first is as far away in another place.
const LAMPS: &str = r#"System(
    id: "lamps", title: "Lamps",
    stations: [
        Station(id: "deck", title: "DECK", crew: true),
        Station(id: "box", title: "BOX", minutes: 15),
        Station(id: "tray", title: "TRAY", minutes: 15),
    ],
    nets: ["BAT", "BUS", "ON", "WARN"],
    parts: [
        Supply(id: "S", at: "box", plus: "BAT", volts: 28),
        Breaker(id: "CB", at: "box", line: "BAT", load: "BUS", amps: 5),
        Wire(id: "W1", at: "tray", a: "BUS", b: "ON"),
        Lamp(id: "L1", label: "POWER", at: "deck", a: "ON", minutes: 30),
        Switch(id: "TEST", label: "PRESS TO TEST", at: "deck", positions: ["OUT", "PRESSED"],
            springs_back: true, closes: {"PRESSED": [("BUS", "WARN")]}),
        Lamp(id: "L2", label: "WARNING", at: "deck", a: "WARN"),
    ],
    test_points: [TestPoint(id: "P1", net: "BUS", at: "box"), TestPoint(id: "P2", net: "ON", at: "tray")],
)"#;

#[test]
fn a_lamp_believed_without_its_test_is_named() {
    let (circuit, findings) = read_system("lamps.ron", LAMPS);
    let circuit = Arc::new(circuit.unwrap_or_else(|| panic!("{findings:?}")));
    let session = drill(&circuit, "W1:open");
    let press = work(session.clone(), |_| {}, |_, _| {});
    assert!(press.rows[0].step.starts_with("hold TEST"), "{:#?}", press.rows);
    assert_eq!(kinds(&press), []);
    let mut passed = session;
    let there = circuit.stations_with_ids().find(|(_, s)| s.id == "box").expect("a box").0;
    passed.apply(Action::Step(Step::Go(there)));
    let point = circuit.find_test_point("P1").expect("a point");
    let (function, black) = (Function::DcVolts, Touch::Airframe);
    let probe = Probe { function, red: Touch::Point(point), black };
    passed.apply(Action::Step(Step::Probe(probe)));
    let passed = work(passed, |_| {}, |_, _| {});
    first(&passed, HabitKind::TrustedTheLamp);
    assert!(passed.habits[0].instead.contains("hold TEST"), "{:#?}", passed.habits);
}

#[test]
fn needles_read_wrong_and_help_asked_for_are_named() {
    let circuit = system("t4-ac");
    let rules = Rules { read_needles: true, ..Rules::default() };
    let session = drill(&circuit, "F-FLT-C:open").under(rules);
    let mut misread = session;
    let mut reads = 0;
    for _ in 0..60 {
        if misread.to_read().is_some() {
            misread.apply(Action::Read(247.0));
            reads += 1;
            continue;
        }
        match best(&mut misread) {
            Ok(path) => drop(misread.apply(Action::Step(path[0]))),
            Err(cause) => {
                let needles = call(misread, cause);
                if reads > 0 {
                    assert!(kinds(&needles).contains(&HabitKind::MisreadTheNeedle));
                }
                break;
            }
        }
    }
    let mut session = drill(&circuit, "F-FLT-C:open");
    session.apply(Action::Ask(Help::Reminder));
    session.apply(Action::Ask(Help::Reminder));
    let reminded = work(session, |_| {}, |_, _| {});
    first(&reminded, HabitKind::AskedForAdvice);
    assert!(reminded.habits[0].evidence.contains("2 times"), "{:?}", reminded.habits);
}
