//! An oral on the full screen: what it shows, and that keys and mouse lead through it.

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use halfsplit::library;
use halfsplit::oral::{Answer, Examiner, Question, Rating};
use halfsplit::screen::{App, Command, Ledger, Oral, Start, Theme, command_for, draw};
use ratatui::Terminal;
use ratatui::backend::TestBackend;

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 36), (200, 60)];

/// Keeps grades where the test sees them.
#[derive(Clone, Default)]
struct Grades(Rc<RefCell<Vec<(String, Rating)>>>);

impl Ledger for Grades {
    fn grade(&mut self, question: &Question, rating: Rating) -> Result<(), String> {
        self.0.borrow_mut().push((question.card.clone(), rating));
        Ok(())
    }

    fn take_back(&mut self) -> Result<(), String> {
        self.0.borrow_mut().pop();
        Ok(())
    }

    fn plan(&self) -> (String, Vec<u32>) {
        ("3 cards due today, 9 known, 2 days in a row.".to_owned(), vec![3, 0, 1, 5])
    }
}

fn examiner(system: &str) -> Arc<Examiner> {
    let circuit = Arc::new(library::load(system).expect("it comes with the program"));
    Arc::new(Examiner::new(circuit, Vec::new()).expect("it settles"))
}

fn oral(
    system: &str,
    questions: impl Fn(&Examiner) -> Vec<Question>,
    board: Option<u64>,
) -> (App, Grades) {
    let examiner = examiner(system);
    let grades = Grades::default();
    let oral = Oral {
        questions: questions(&examiner),
        examiner,
        seconds: board,
        digs: board.is_some(),
        seed: 5,
        pass_percent: 75,
        ledger: Box::new(grades.clone()),
    };
    (App::new(Start::Oral(Box::new(oral)), SIZES[0], Theme::new(true)), grades)
}

fn key(app: &mut App, code: KeyCode) {
    let key = KeyEvent::new(code, KeyModifiers::NONE);
    if let Some(command) = command_for(key, app.is_typing(), app.keys()) {
        app.update(command);
    }
}

fn text(app: &App, (columns, rows): (u16, u16)) -> String {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).expect("a test terminal");
    terminal.draw(|frame| draw(app, frame)).expect("a test terminal takes all");
    terminal.backend().to_string()
}

/// Answers the question on the page by keys, as it should be or not.
fn answer(app: &mut App, question: &Question, rightly: bool) {
    match &question.answer {
        Answer::One { choices, right, .. } => {
            let at = if rightly { *right } else { (right + 1) % choices.len() };
            key(app, KeyCode::Char((b'a' + at as u8) as char));
        }
        Answer::All { right, .. } => {
            for (at, is_right) in right.iter().enumerate() {
                if *is_right == rightly {
                    key(app, KeyCode::Char((b'a' + at as u8) as char));
                }
            }
        }
        Answer::Number { value, tolerance, .. } => {
            let figure = if rightly { *value } else { value + 10.0 * tolerance + 1.0 };
            for letter in format!("{figure:.3}").chars() {
                key(app, KeyCode::Char(letter));
            }
        }
        Answer::Words { .. } => {
            key(app, KeyCode::Enter);
            key(app, KeyCode::Char(if rightly { '4' } else { '1' }));
        }
    }
    key(app, KeyCode::Enter);
}

fn questions_of(examiner: &Examiner) -> Vec<Question> {
    examiner.questions(12, 5)
}

#[test]
fn a_whole_oral_is_answered_by_keys_and_every_grade_is_kept() {
    let (mut app, grades) = oral("t4-ac", questions_of, None);
    let questions = questions_of(&examiner("t4-ac"));
    for size in SIZES {
        insta::assert_snapshot!(format!("oral_before_{}x{}", size.0, size.1), text(&app, size));
    }
    key(&mut app, KeyCode::Enter);
    for (number, question) in questions.iter().enumerate() {
        let shown = text(&app, SIZES[0]);
        assert!(shown.contains(&format!("{} of 12", number + 1)), "{shown}");
        if number == 0 {
            for size in SIZES {
                app.update(Command::Resize(size.0, size.1));
                let name = format!("oral_question_{}x{}", size.0, size.1);
                insta::assert_snapshot!(name, text(&app, size));
            }
        }
        let rightly = number % 3 > 0;
        answer(&mut app, question, rightly);
        let shown = text(&app, SIZES[2]);
        assert_eq!(shown.contains("Right."), rightly, "{shown}");
        if number == 0 {
            for size in SIZES {
                app.update(Command::Resize(size.0, size.1));
                insta::assert_snapshot!(
                    format!("oral_told_{}x{}", size.0, size.1),
                    text(&app, size)
                );
            }
        }
        key(&mut app, KeyCode::Enter);
    }
    for size in SIZES {
        insta::assert_snapshot!(format!("oral_over_{}x{}", size.0, size.1), text(&app, size));
    }
    let shown = text(&app, SIZES[0]);
    assert!(shown.contains("8 of 12 right: not enough for 75 %."), "{shown}");
    let kept = grades.0.borrow();
    let cards: Vec<&str> = kept.iter().map(|(card, _)| card.as_str()).collect();
    assert_eq!(cards, questions.iter().map(|q| q.card.as_str()).collect::<Vec<_>>());
    let good = kept.iter().filter(|(_, rating)| *rating > Rating::Again).count();
    assert_eq!(good, 8);
    key(&mut app, KeyCode::Enter);
    assert!(app.is_over());
}

#[test]
fn an_answer_is_taken_back_with_its_grade() {
    let (mut app, grades) = oral("t4-dc", questions_of, None);
    let questions = questions_of(&examiner("t4-dc"));
    key(&mut app, KeyCode::Enter);
    answer(&mut app, &questions[0], false);
    assert_eq!(grades.0.borrow().len(), 1);
    key(&mut app, KeyCode::Backspace);
    let shown = text(&app, SIZES[0]);
    assert!(shown.contains("Taken back") && shown.contains("1 of 12"), "{shown}");
    assert!(grades.0.borrow().is_empty());
    answer(&mut app, &questions[0], true);
    assert!(text(&app, SIZES[1]).contains("Right."));
}

#[test]
fn the_mouse_chooses_and_answers() {
    let (mut app, grades) = oral("t4-ac", questions_of, None);
    let questions = questions_of(&examiner("t4-ac"));
    let size = SIZES[1];
    app.update(Command::Resize(size.0, size.1));
    let click = |app: &mut App, wanted: &str| {
        let drawn = text(app, size);
        let (y, line) =
            drawn.lines().enumerate().find(|(_, line)| line.contains(wanted)).expect("it is shown");
        // Each line of the picture stands in quotation marks.
        let x = line[..line.find(wanted).expect("it is there")].chars().count() - 1;
        app.update(Command::Click(x as u16, y as u16));
    };
    click(&mut app, "Enter begin");
    let Answer::One { right, .. } = &questions[0].answer else { panic!("one of three") };
    let letter = format!(" {} ", ['a', 'b', 'c'][*right]);
    if *right > 0 {
        click(&mut app, &letter);
    }
    click(&mut app, &letter);
    assert!(text(&app, size).contains("Right."), "{}", text(&app, size));
    assert_eq!(grades.0.borrow().len(), 1);
    click(&mut app, "Enter go on");
    assert!(text(&app, size).contains("2 of 12"));
}

#[test]
fn the_board_asks_further_and_ends_with_its_time() {
    let (mut app, grades) = oral("t4-ac", questions_of, Some(900));
    let questions = questions_of(&examiner("t4-ac"));
    app.at(Duration::from_secs(10));
    key(&mut app, KeyCode::Enter);
    assert!(app.ticks());
    assert!(text(&app, SIZES[0]).contains("15:00 left"), "{}", text(&app, SIZES[0]));
    answer(&mut app, &questions[0], false);
    assert!(!app.ticks(), "what is being read is read to its end");
    key(&mut app, KeyCode::Enter);
    let shown = text(&app, SIZES[0]);
    assert!(shown.contains("asks further") && shown.contains("2 of 13"), "{shown}");
    key(&mut app, KeyCode::Backspace);
    let shown = text(&app, SIZES[0]);
    assert!(shown.contains("an answer stands") && grades.0.borrow().len() == 1, "{shown}");
    app.at(Duration::from_secs(911));
    // What was not answered was not known.
    let shown = text(&app, SIZES[0]);
    assert!(shown.contains("The time is over.") && shown.contains("0 of 13 right"), "{shown}");
}

#[test]
fn every_form_of_question_is_answered_on_its_page() {
    let all = |examiner: &Examiner| examiner.session_questions(60, 3);
    let (mut app, grades) = oral("t4-ac", all, None);
    let questions = all(&examiner("t4-ac"));
    let mut forms = [false; 4];
    key(&mut app, KeyCode::Enter);
    for question in &questions {
        let form = match &question.answer {
            Answer::One { .. } => 0,
            Answer::All { .. } => 1,
            Answer::Number { .. } => 2,
            Answer::Words { .. } => 3,
        };
        answer(&mut app, question, true);
        if !forms[form] {
            forms[form] = true;
            for size in SIZES {
                app.update(Command::Resize(size.0, size.1));
                let name = format!("oral_form_{form}_{}x{}", size.0, size.1);
                insta::assert_snapshot!(name, text(&app, size));
            }
        }
        key(&mut app, KeyCode::Enter);
    }
    assert_eq!(forms, [true; 4]);
    assert!(grades.0.borrow().iter().all(|(_, rating)| *rating > Rating::Again));
    assert!(text(&app, SIZES[0]).contains("60 of 60 right: enough for 75 %."));
}
