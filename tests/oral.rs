//! Questions for an oral, checked by solving the aircraft without the generator's means; and
//! the memory of cards against published vectors.

use std::collections::BTreeSet;
use std::sync::Arc;

use halfsplit::faults;
use halfsplit::library;
use halfsplit::observation::{Rig, Showing, What, face};
use halfsplit::oral::{ALTERNATIVES, Answer, Claim, Deck, Examiner, Memory, Rating};

use crate::program::{data_home, run};

fn examiner(name: &str) -> Examiner {
    Examiner::new(Arc::new(library::load(name).expect("it reads")), Vec::new()).expect("it settles")
}

/// What a face shows with a fault, solved afresh; `None` for a needle, which has an error here.
fn look(rig: &Rig, what: What) -> Option<Showing> {
    let What::Face(part) = what else { return None };
    face(rig.network(), rig.settled(), part).filter(|showing| !matches!(showing, Showing::Dial(_)))
}

/// Exactly one choice of each question is true, and it is the one that counts as right.
#[test]
fn one_choice_is_true_and_no_question_comes_twice() {
    for name in library::NAMES {
        let examiner = examiner(name);
        let circuit = Arc::clone(examiner.circuit());
        let sound = Rig::normal(Arc::clone(&circuit)).expect("it settles");
        let struck = |code: &str| {
            let (fault, mode) = faults::parse(&circuit, code).expect("a fault");
            sound.with_failed(fault.part, mode.faulted).expect("it settles")
        };
        let questions = examiner.questions(200, 11);
        let mut texts = BTreeSet::new();
        let mut checked = 0;
        for question in &questions {
            let Answer::One { choices, right, claims } = &question.answer else {
                panic!("a paper takes one form: {question:?}");
            };
            assert_eq!(choices.len(), ALTERNATIVES);
            assert!(texts.insert((&question.text, &choices[*right])), "{}", question.text);
            for (at, claim) in claims.iter().enumerate() {
                let holds = match claim {
                    Claim::Unusual(code, what) => look(&struck(code), *what)
                        .zip(look(&sound, *what))
                        .map(|(now, usual)| now != usual),
                    Claim::Stands(part, station) => Some(circuit.part(*part).station == *station),
                    Claim::Warns(station, caution) => {
                        Some(circuit.station(*station).cautions.contains(caution))
                    }
                    _ => None,
                };
                if let Some(holds) = holds {
                    assert_eq!(holds, at == *right, "{name}: {} {claim:?}", question.text);
                    checked += 1;
                }
            }
        }
        assert!(name == "bench" || checked > 60, "{name}: {checked} of {}", questions.len());
    }
}

/// FSRS-6 with its default parameters: ratings 1,3,3,3,3,3 after 0,0,1,3,8,21 days leave
/// S = 53.62691 and D = 6.3574867 (open-spaced-repetition/py-fsrs 6.3.1, `tests/test_basic.py`,
/// and fsrs-rs 6.6.1, `src/inference.rs`).
#[test]
fn memory_follows_the_published_vector() {
    let ratings = [1, 3, 3, 3, 3, 3];
    let mut memory: Option<Memory> = None;
    let mut day = 0;
    for (rating, gap) in ratings.into_iter().zip([0, 0, 1, 3, 8, 21]) {
        day += gap;
        let rating = Rating::of(rating).expect("a rating");
        memory = Some(Memory::after(memory.as_ref(), rating, day));
    }
    let memory = memory.expect("graded");
    assert!((memory.stability_days - 53.62691).abs() < 1e-3, "{}", memory.stability_days);
    assert!((memory.difficulty - 6.357_486_7).abs() < 1e-3, "{}", memory.difficulty);
}

/// Intervals when each card is asked on the day it is due: py-fsrs 6.3.1, `tests/test_basic.py`,
/// default parameters, learning steps as usual, no fuzz.
#[test]
fn intervals_follow_the_published_sequence() {
    let ratings = [3, 3, 3, 3, 3, 3, 1, 1, 3, 3, 3, 3, 3];
    let expected = [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21];
    let mut deck = Deck::default();
    let mut day = 0;
    let mut intervals = Vec::new();
    for rating in ratings {
        deck.grade("card", day, Rating::of(rating).expect("a rating"));
        let due = deck.cards["card"].due_day;
        intervals.push(due - day);
        day = due;
    }
    assert_eq!(intervals, expected);
}

#[test]
fn papers_are_whole_in_every_form() {
    let (code, text, _) = run(&["oral", "t4-dc", "--paper", "20", "--seed", "4"]);
    assert_eq!(code, Some(0));
    assert!(text.contains("20 questions, 25 min, 15 right to pass (75 %)"), "{text}");
    assert_eq!(text.matches("\n- a) ").count(), 20);
    let folder = data_home();
    std::fs::create_dir_all(&folder).expect("a folder");
    let out = folder.join("package");
    let path = out.to_str().expect("text");
    let (code, _, said) =
        run(&["oral", "t4-dc", "--paper", "5", "--seed", "4", "--form", "qti", "--out", path]);
    assert_eq!(code, Some(0), "{said}");
    let mut files = 0;
    for file in std::fs::read_dir(&out).expect("it is there") {
        let text = std::fs::read_to_string(file.expect("a file").path()).expect("text");
        roxmltree::Document::parse(&text).expect("it is XML");
        files += 1;
    }
    assert_eq!(files, 7);
}
