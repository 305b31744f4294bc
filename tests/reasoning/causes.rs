//! What may be wrong besides a single fault: two faults, a control left in the wrong place,
//! nothing at all.

use std::sync::Arc;

use halfsplit::chance::Chance;
use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Advice, Outcome, PROVEN, Session};
use halfsplit::faults::{self, Cause, Scope, parse_cause};
use halfsplit::library;
use halfsplit::observation::{Act, Step};
use halfsplit::score::debrief;

use super::brute::Suspects;
use super::play::any_step;

const ANYTHING: Scope = Scope { pairs: true, controls: true, nothing: true, intermittent: false };

fn system(name: &str) -> Arc<Circuit> {
    Arc::new(library::load(name).expect("it comes with the program"))
}

/// Everything but single faults, worked out the long way: every two modes of two parts by
/// the product of their rates, every resting place of every control, and nothing; each sort
/// as likely as all single faults together.
fn others(circuit: &Circuit) -> Vec<(String, String, f64, Circuit, Vec<Step>)> {
    let modes = faults::all(circuit);
    let mut pairs = Vec::new();
    for (first, one) in &modes {
        for (second, other) in &modes {
            if first.part >= second.part {
                continue;
            }
            let broken = faults::apply(&faults::apply(circuit, first, one), second, other);
            let code = format!("{} + {}", first.code(circuit), second.code(circuit));
            let mut groups = [first, second].map(|f| circuit.part(f.part).group.clone());
            groups.sort();
            let group = if groups[0] == groups[1] {
                groups[0].clone()
            } else {
                format!("{} and {}", groups[0], groups[1])
            };
            pairs.push((code, group, one.rate * other.rate, broken, Vec::new()));
        }
    }
    let all_pairs: f64 = pairs.iter().map(|pair| pair.2).sum();
    for pair in &mut pairs {
        pair.2 /= all_pairs;
    }
    let mut controls = Vec::new();
    for (id, part) in circuit.parts_with_ids() {
        let mut left = |code: String, act: Act| {
            let group = format!("{} put right", part.id);
            controls.push((code, group, 1.0, circuit.clone(), vec![Step::Act(act)]));
        };
        if let Some(control) = part.kind.control().filter(|control| !control.springs_back) {
            for (at, name) in control.positions.iter().enumerate() {
                let position = at as u8;
                if position != control.start {
                    let act = Act::Set { control: id, position };
                    left(format!("{}:left-at-{name}", part.id), act);
                }
            }
        }
        if let halfsplit::circuit::Kind::Breaker(_) = part.kind {
            left(format!("{}:left-out", part.id), Act::Pull(id));
        }
    }
    let count = controls.len() as f64;
    for control in &mut controls {
        control.2 /= count;
    }
    let nothing = ("nothing".to_owned(), "nothing".to_owned(), 1.0, circuit.clone(), Vec::new());
    pairs.into_iter().chain(controls).chain([nothing]).collect()
}

#[test]
fn what_else_may_be_wrong_is_weighed_as_by_brute_force() {
    let circuit = system("bench");
    let fresh = Suspects::with(&circuit, others(&circuit));
    for number in 0..24_u64 {
        let mut chance = Chance::stream(number, "causes");
        let hidden = &fresh.all[(chance.unit() * fresh.all.len() as f64) as usize].code;
        let cause = parse_cause(&circuit, hidden).expect("it can be typed");
        assert_eq!(cause.code(&circuit), *hidden);
        let mut session = Session::planted_within(Arc::clone(&circuit), cause, ANYTHING, number)
            .expect("it settles");
        for _ in 0..4 {
            any_step(&mut session, &mut chance);
        }
        let mut suspects = fresh.clone();
        for observation in &session.write_up().observations {
            suspects.observe(observation);
        }
        for entry in session.log() {
            suspects.observe(&entry.observation);
        }
        let belief = session.belief().expect("it settles").clone();
        assert_eq!(belief.candidates().len(), suspects.all.len());
        let total = suspects.total();
        let posterior = belief.posterior();
        for suspect in &suspects.all {
            let cause = parse_cause(&circuit, &suspect.code).expect("it can be typed");
            let at = belief.candidates().iter().position(|c| c.cause == cause);
            let at = at.unwrap_or_else(|| panic!("{} is a candidate", suspect.code));
            let expected = if suspect.out.is_some() { 0.0 } else { suspect.weight / total };
            assert!((posterior[at] - expected).abs() < 1e-9, "{hidden}: {}", suspect.code);
            assert_eq!(belief.groups()[belief.group_of()[at]], suspect.group);
        }
    }
}

/// Does what is advised until the advice is to call, and calls it.
fn follow(session: &mut Session) {
    for _ in 0..40 {
        let Outcome::Advised(advice) = session.apply(Action::Advise) else { panic!("advice") };
        match advice {
            Advice::Do { prospect, .. } => {
                let walk = prospect.walk.then_some(Step::Go(prospect.station));
                for step in walk.into_iter().chain([prospect.step]).chain(prospect.then) {
                    let outcome = session.apply(Action::Step(step));
                    assert!(matches!(outcome, Outcome::Done(_)), "{step:?}: {outcome:?}");
                }
            }
            Advice::Call { cause, .. } => {
                session.apply(Action::Call(cause));
                return;
            }
            Advice::Nothing => panic!("something explains what was seen"),
        }
    }
    panic!("advice comes to an end");
}

#[test]
fn advice_leads_to_two_faults_to_a_control_and_to_nothing() {
    for (name, hidden, scope) in [
        ("bench", "W1:open + DS1:bulbs-out", Scope { pairs: true, ..Scope::SINGLE }),
        ("bench", "CB1:left-out", ANYTHING),
        ("t4-ac", "LIGHTS:left-at-OFF", Scope { controls: true, ..Scope::SINGLE }),
        ("t4-dc", "GENSW1:left-at-OFF", Scope { controls: true, ..Scope::SINGLE }),
    ] {
        let circuit = system(name);
        let cause = parse_cause(&circuit, hidden).unwrap_or_else(|e| panic!("{hidden}: {e}"));
        let mut session = Session::planted_within(Arc::clone(&circuit), cause.clone(), scope, 3)
            .expect("it settles");
        follow(&mut session);
        let told = debrief(&session).expect("it settles");
        let called = session.call().expect("a call").cause.clone();
        let belief = session.belief().expect("it settles");
        // Where no test tells two causes apart, the likelier is called.
        let same = belief.candidate(&cause).expect("a candidate").excluded.is_none();
        assert!(same, "{hidden}");
        if belief.group_probability(&circuit, &called) >= PROVEN {
            assert!(told.verdict.right_part, "{hidden}: {}", told.verdict.sentence);
        }
    }
}

#[test]
fn a_drill_draws_what_it_may_hide_and_nothing_else() {
    let circuit = system("bench");
    let mut sorts = [0; 3];
    for seed in 0..60 {
        let session =
            Session::drawn_within(Arc::clone(&circuit), ANYTHING, seed).expect("it settles");
        let cause = session.truth();
        assert!(session.scope().holds(&circuit, cause));
        sorts[cause.faults().len()] += 1;
        let single = Session::drawn(Arc::clone(&circuit), seed).expect("it settles");
        assert!(Scope::SINGLE.holds(&circuit, single.truth()));
    }
    assert!(sorts[1] > 5 && sorts[2] > 5, "{sorts:?}");
}

#[test]
fn what_cannot_be_called_is_answered_in_one_sentence() {
    let circuit = system("bench");
    for (typed, said) in [
        ("S1:left-at-SIDEWAYS", "no fault mode `left-at-SIDEWAYS`"),
        ("E1:open + E1:high-resistance", "cannot fail in two ways"),
        ("W1:open + S1:open-ON + E1:open", "3 faults at once are too many"),
        ("W1:open + ", "is not a fault"),
    ] {
        let error = parse_cause(&circuit, typed).expect_err(typed).to_string();
        assert!(error.contains(said), "{typed}: {error}");
    }
    assert_eq!(parse_cause(&circuit, "Nothing"), Ok(Cause::nothing()));
}

#[test]
fn a_wrong_place_that_is_typed_wrong_is_answered_with_the_places_there_are() {
    let cart = system("power-cart");
    for (typed, said) in [
        (
            "PLUG:left-at-HALF-HOME",
            "part `PLUG` has no fault mode `left-at-HALF-HOME`; it has: left-at-HALF HOME",
        ),
        (
            "ENGINE:open",
            "part `ENGINE` has no fault mode `open`; it has: left-at-STOP, left-at-IDLE",
        ),
        ("CB1:left", "part `CB1` has no fault mode `left`; it has: trips-early, left-out"),
    ] {
        let error = parse_cause(&cart, typed).expect_err(typed).to_string();
        assert_eq!(error, said);
    }
    // Faults alone, where nothing can be left anywhere; and neither.
    let error = parse_cause(&cart, "SH1:shut").expect_err("no such mode").to_string();
    assert!(error.contains("it has: ") && !error.contains("left"), "{error}");
    let error = faults::parse(&cart, "PLUG:open").expect_err("it cannot fail").to_string();
    assert_eq!(error, "part `PLUG` has no fault mode `open`; it has none");
}
