//! Asking in plain lines, with the program as a trainee runs it.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;

use halfsplit::library;
use halfsplit::logbook::Store;
use halfsplit::oral::{Answer, Asked, Deck, Examiner, Question, Rating};

use crate::program::{data_home, run_with};

/// The questions that a first session of this seed asks.
fn questions(count: usize, seed: u64) -> Vec<Question> {
    let circuit = library::load("t4-dc").expect("it reads");
    let examiner = Examiner::new(Arc::new(circuit), Vec::new()).expect("it settles");
    let mut questions = examiner.session_questions(count * 4, seed);
    questions.truncate(count);
    questions
}

/// What a trainee types who knows the answer, or who does not.
fn typed(question: &Question, knows: bool) -> String {
    match &question.answer {
        Answer::One { right, choices, .. } => {
            let at = if knows { *right } else { (right + 1) % choices.len() };
            ('a'..).nth(at).map(|letter| format!("{letter}\n")).expect("a letter")
        }
        Answer::All { right, .. } => {
            let marked = ('a'..).zip(right).filter(|(_, right)| **right == knows);
            marked.map(|(letter, _)| letter).chain(['\n']).collect()
        }
        Answer::Number { value, tolerance, unit, .. } => {
            let off = if knows { 0.4 } else { 5.0 };
            format!("{:.4} {unit}\n", value + off * tolerance)
        }
        Answer::Words { .. } => format!("\n{}\n", if knows { 3 } else { 1 }),
    }
}

fn begin(home: &Path, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .env("XDG_DATA_HOME", home)
        .env("XDG_CACHE_HOME", home)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts")
}

fn kept(home: &Path) -> Deck {
    let store = Store::open(&home.join("halfsplit/logbook.sqlite3")).expect("a logbook");
    let grades = store.grades().expect("it has grades");
    let of = |grade: &halfsplit::logbook::Grade| Rating::of(grade.rating).expect("a rating");
    Deck::of(grades.iter().map(|grade| (grade.card.as_str(), grade.day, of(grade))))
}

/// Thirty questions of every form, two of three known; nothing is wider than the screen, and
/// the cards stand in the logbook with the due dates of their grades.
#[test]
fn thirty_questions_are_asked_in_plain_lines() {
    let questions = questions(30, 2);
    assert_eq!(questions.len(), 30);
    let forms = |of: fn(&Question) -> bool| questions.iter().filter(|q| of(q)).count();
    assert!(forms(|q| matches!(q.answer, Answer::All { .. })) > 0);
    assert!(forms(|q| matches!(q.answer, Answer::Number { .. })) > 0);
    assert!(forms(|q| matches!(q.answer, Answer::Words { .. })) > 0);
    let lines: String = questions.iter().enumerate().map(|(at, q)| typed(q, at % 3 != 0)).collect();
    let home = data_home();
    let mut child = begin(&home, &["oral", "t4-dc", "--questions", "30", "--seed", "2"]);
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let text = String::from_utf8(output.stdout).expect("text");
    assert!(text.contains("20 of 30 right: not enough for 75 %."), "{text}");
    assert!(text.contains("A model answer:"), "{text}");
    for line in text.lines() {
        assert!(line.chars().count() <= 78, "{line}");
    }
    let deck = kept(&home);
    let day = *deck.days.keys().next().expect("a day");
    assert_eq!(deck.days[&day], 30);
    for (at, question) in questions.iter().enumerate() {
        let memory = deck.cards[&question.card];
        let asked = questions.iter().filter(|other| other.card == question.card).count();
        // First steps are taken on the first day; only what was known twice waits two days.
        if asked == 1 {
            assert_eq!(memory.due_day, day, "{at}");
        }
    }
}

/// What was acknowledged is kept though the program is killed the moment it has said so.
#[test]
fn a_kill_loses_no_acknowledged_grade() {
    let home = data_home();
    let questions = questions(10, 2);
    let mut child = begin(&home, &["oral", "t4-dc", "--questions", "10", "--seed", "2"]);
    let mut input = child.stdin.take().expect("piped");
    let mut output = BufReader::new(child.stdout.take().expect("piped"));
    for question in &questions[..4] {
        input.write_all(typed(question, true).as_bytes()).expect("it reads");
        input.flush().expect("it reads");
        let mut line = String::new();
        while !(line.starts_with("Right.") || line.starts_with("Known.")) {
            line.clear();
            assert!(output.read_line(&mut line).expect("it speaks") > 0, "it ended");
        }
    }
    // SIGKILL on this system.
    child.kill().expect("it runs");
    child.wait().expect("it ends");
    let deck = kept(&home);
    assert_eq!(deck.days.values().sum::<u32>(), 4);
    for question in &questions[..4] {
        assert!(deck.cards.contains_key(&question.card), "{}", question.card);
    }
}

/// A board follows up what was not known, once; an answer stands there, and what was not
/// answered counts.
#[test]
fn a_board_digs_where_an_answer_was_weak() {
    let questions = questions(3, 2);
    let wrong = typed(&questions[0], false);
    let lines = format!("{wrong}undo\nquit\n");
    let arguments = ["oral", "t4-dc", "--questions", "3", "--seed", "2", "--board", "--no-log"];
    let (code, text, said) = run_with(&arguments, &lines);
    assert_eq!(code, Some(0), "{said}");
    assert!(text.contains("3 questions from seed 2, 4 min."), "{text}");
    assert_eq!(text.matches("Then let us look closer.").count(), 1, "{text}");
    assert!(text.contains("an answer stands") && !text.contains("Taken back."), "{text}");
    assert!(text.contains("0 of 4 right"), "{text}");
    assert!(text.contains("\n2. "), "the follow-up is asked: {text}");
}

/// An answer of the wrong form is asked for again and costs nothing.
#[test]
fn what_is_no_answer_is_told_so() {
    let questions = questions(1, 2);
    assert_ne!(questions[0].asked, Asked::Why);
    let lines = format!("hm\nzz\n{}", typed(&questions[0], true));
    let arguments = ["oral", "t4-dc", "--questions", "1", "--seed", "2", "--no-log"];
    let (_, text, _) = run_with(&arguments, &lines);
    assert_eq!(text.matches("Or `undo`, or `quit`.").count(), 2, "{text}");
    assert!(text.contains("1 of 1 right: enough"), "{text}");
}
