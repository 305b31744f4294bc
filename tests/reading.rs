//! Needles read by the trainee, and help short of advice: what is asked, what is told, what
//! it costs.

use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::drill::command::{Request, parse};
use halfsplit::drill::{Action, Help, Outcome, Rules, Session, view};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::observation::{POINTER_SWEEP_DEGREES, Percept, What, readable_step, scale_fraction};
use halfsplit::score::{debrief, help_told};

use crate::program::run_with;

fn system(name: &str) -> Arc<Circuit> {
    Arc::new(library::load(name).expect("it comes with the program"))
}

fn drill(fault: &str, rules: Rules) -> Session {
    let circuit = system("t4-ac");
    let (fault, _) = faults::parse(&circuit, fault).expect("a fault");
    Session::planted(circuit, fault, 7).expect("it settles").under(rules)
}

fn reading() -> Rules {
    Rules { read_needles: true, ..Rules::default() }
}

fn line(session: &mut Session, typed: &str) -> Outcome {
    let Request::Do(action) = parse(session.circuit(), typed).expect("a command") else {
        panic!("{typed} does something")
    };
    session.apply(action)
}

#[test]
fn a_needle_that_moved_is_read_before_the_drill_goes_on() {
    let mut session = drill("F-FLT-C:open", reading());
    assert!(session.to_read().is_none(), "the crew has told how it stands");
    assert!(matches!(line(&mut session, "set VSEL C1 A"), Outcome::Done(_)));
    let (_, part) = session.to_read().expect("the voltmeter has moved");
    let label = session.circuit().part(part).label.clone();
    assert_eq!(label, "AC VOLTS");
    // Until it is read nothing tells what it shows but the needle itself.
    assert_eq!(view(&session).needles[0].words, "to be read");
    let refused = line(&mut session, "set VSEL C1 C");
    assert_eq!(refused, Outcome::Refused("say first what AC VOLTS shows".to_owned()));
    assert_eq!(line(&mut session, "read 115"), Outcome::Noted);
    assert!(session.to_read().is_none());
    assert_eq!(view(&session).needles[0].words, "read as 115 V");
    assert!(matches!(line(&mut session, "read 115"), Outcome::Refused(_)), "once is enough");
    assert!(matches!(line(&mut session, "set VSEL C1 C"), Outcome::Done(_)));
    // The same reading again is not asked for again.
    if session.to_read().is_none() {
        let shown = session.log().iter().map(|entry| {
            let percepts = entry.observation.percepts.iter();
            percepts.filter(|(what, _)| *what == What::Face(part)).map(|(_, p)| *p).next()
        });
        let shown: Vec<_> = shown.collect();
        assert_eq!(shown[0], shown[1]);
    }
}

#[test]
fn readings_are_judged_by_the_scale_and_not_by_volts() {
    // Half a division is right wherever on the scale it lies; a division is not.
    let mut session = drill("F-FLT-C:open", reading());
    line(&mut session, "set VSEL C1 A");
    let (what, part) = session.to_read().expect("it has moved");
    let circuit = Arc::clone(session.circuit());
    let meter = circuit.part(part).kind.meter().expect("a meter");
    let entry = &session.log()[0];
    let seen = entry.observation.percepts.iter().find(|(seen, _)| *seen == what);
    let Some((_, Percept::Reading(shown))) = seen else { panic!("it shows something") };
    let stood = halfsplit::observation::pointer_fraction(meter, *shown);
    let step = readable_step(meter);
    for (off, right) in [(0.0, true), (1.9, true), (-1.9, true), (4.0, false), (-4.0, false)] {
        let fraction = stood + off * step;
        let value = halfsplit::observation::scale_value(&meter.scale, fraction);
        let mut session = session.clone();
        assert_eq!(session.apply(Action::Read(value)), Outcome::Noted);
        let said = &session.said()[0];
        assert_eq!(said.is_right(&circuit), right, "{off} steps off: {value}");
        let degrees = (scale_fraction(&meter.scale, value) - stood).abs() * POINTER_SWEEP_DEGREES;
        assert!((said.off_degrees(&circuit) - degrees).abs() < 1e-9);
    }
    assert!(matches!(session.apply(Action::Read(f64::NAN)), Outcome::Refused(_)));
    session.apply(Action::Read(30.0));
    session.apply(Action::Call(session.truth().clone()));
    let told = debrief(&session).expect("it settles");
    assert_eq!(told.readings[0], "0 of 1 needles read to half a division");
    assert!(told.readings[1].contains("read as 30 V; it stood"), "{:?}", told.readings);
    // Misreading takes no points by itself.
    let mut plain = drill("F-FLT-C:open", Rules::default());
    line(&mut plain, "set VSEL C1 A");
    plain.apply(Action::Call(plain.truth().clone()));
    assert_eq!(told.score, debrief(&plain).expect("it settles").score);
}

#[test]
fn plain_lines_tell_where_the_pointer_stands_and_not_what_it_shows() {
    let arguments =
        ["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "7", "--plain", "--read-needles"];
    let lines = "set VSEL C1 A\nset VSEL C1 C\nread volts\nread 115\nnotebook\nquit\n";
    let (_, told, _) = run_with(&arguments, lines);
    assert!(told.contains("the pointer stands at "), "{told}");
    assert!(told.contains("115 V at "), "{told}");
    assert!(told.contains("Not done: say first what AC VOLTS shows."), "{told}");
    assert!(told.contains("say what the needle shows as a number"), "{told}");
    assert!(!told.contains("on 115 V"), "{told}");
}

#[test]
fn a_reminder_counts_what_each_step_excluded() {
    let mut session = drill("F-FLT-C:open", Rules::default());
    let outcome = line(&mut session, "judge");
    assert_eq!(outcome, Outcome::Refused("no step has been made yet".to_owned()));
    for typed in ["set VSEL C1 A", "set VSEL FLT C", "go relay"] {
        assert!(matches!(line(&mut session, typed), Outcome::Done(_)));
    }
    assert_eq!(line(&mut session, "remind"), Outcome::Helped(Help::Reminder));
    let told = help_told(&mut session, Help::Reminder).expect("it settles");
    let belief = session.belief().expect("it settles");
    let from = session_observations(&told);
    let alive = belief.alive().count();
    assert!(told[0].starts_with(&format!("{alive} fault")), "{told:?}");
    assert_eq!(from + alive, belief.candidates().len(), "all of them are told of: {told:?}");
}

/// The faults that a reminder says were excluded.
fn session_observations(told: &[String]) -> usize {
    told[1..]
        .iter()
        .filter_map(|line| line.rsplit(' ').next()?.trim_end_matches('.').parse::<usize>().ok())
        .sum()
}

#[test]
fn help_has_its_price_and_its_limit() {
    let worked = |asked: &[&str]| {
        let mut session = drill("F-FLT-C:open", Rules::default());
        line(&mut session, "set VSEL C1 A");
        for typed in asked {
            line(&mut session, typed);
        }
        // Proven, so that the points for reasoning count in full.
        line(&mut session, "go fuses");
        line(&mut session, "pull F-FLT-C");
        session.apply(Action::Call(session.truth().clone()));
        debrief(&session).expect("it settles").score.reasoning
    };
    let without = worked(&[]);
    let rubric = halfsplit::score::Rubric::shipped();
    assert!((without - worked(&["remind"]) - rubric.reminder).abs() < 1e-9);
    assert!((without - worked(&["judge", "judge"]) - 2.0 * rubric.judgement).abs() < 1e-9);
    let mut strict = drill("F-FLT-C:open", Rules { help: Help::Reminder, ..Rules::default() });
    line(&mut strict, "set VSEL C1 A");
    assert_eq!(line(&mut strict, "remind"), Outcome::Helped(Help::Reminder));
    assert!(matches!(line(&mut strict, "judge"), Outcome::Refused(_)));
    assert!(matches!(line(&mut strict, "advise"), Outcome::Refused(_)));
    assert!(strict.advice_taken().is_empty());
}

#[test]
fn the_last_step_is_judged_as_the_debrief_judges_it() {
    let mut session = drill("F-FLT-C:open", Rules::default());
    line(&mut session, "set VSEL C1 A");
    line(&mut session, "go bay");
    let told = help_told(&mut session, Help::LastStep).expect("it settles");
    let rows = debrief(&session).expect("it settles").rows;
    let last = rows.last().expect("two steps");
    assert!(told[0].starts_with("Step 2, go to CONVERTER BAY"), "{told:?}");
    assert!(told[0].contains(&last.remark), "{told:?}");
}
