//! An oral on the full screen: its questions, and the logbook its grades go to.

use std::fmt::Write as _;
use std::sync::Arc;

use anyhow::Result;

use super::oral::{FORECAST_DAYS, deck, due_told, examiner, session, today};
use super::recorder::{self, Shared};
use crate::library;
use crate::logbook::Grade;
use crate::oral::{Deck, Question, Rating, Terms};
use crate::screen::{Ledger, Oral};
use crate::units::counted;

/// Questions of a sitting that is begun from the menu.
pub(super) const QUESTIONS: usize = 20;

/// What is asked, and how.
#[derive(Clone, Copy)]
pub(super) struct Sitting<'a> {
    /// The system.
    pub(super) system: &'a str,
    /// The mods that are fitted.
    pub(super) mods: &'a [String],
    /// How many questions.
    pub(super) questions: usize,
    /// Whether it is against the clock.
    pub(super) timed: bool,
    /// Whether it is the board: against the clock, and asking further where an answer is weak.
    pub(super) board: bool,
    /// The number it is drawn from.
    pub(super) seed: u64,
    /// Who keeps its grades, if that is wanted.
    pub(super) recorder: &'a Shared,
}

/// Grades on their way to the logbook.
struct Grades {
    /// Whether anything is kept.
    is_kept: bool,
    recorder: Shared,
    /// The system whose cards are told of.
    system: String,
    day: i64,
    /// Why the last grade was not kept.
    trouble: Option<String>,
}

impl Grades {
    fn deck(&self) -> Deck {
        // Opened anew: at the beginning there may have been no logbook.
        let store = recorder::open_on_screen().ok();
        let mut deck = store.and_then(|store| deck(&store).ok()).unwrap_or_default();
        deck.cards.retain(|card, _| card.split(' ').next() == Some(self.system.as_str()));
        deck
    }
}

impl Ledger for Grades {
    fn grade(&mut self, question: &Question, rating: Rating) -> Result<(), String> {
        if !self.is_kept {
            return Ok(());
        }
        let kept = self.recorder.borrow_mut().grade(Grade {
            card: question.card.clone(),
            at: recorder::now(),
            day: self.day,
            rating: rating.number(),
        });
        // It waits and is tried again; the same is not said at every question.
        let before = std::mem::replace(&mut self.trouble, kept.as_ref().err().cloned());
        if before == self.trouble { Ok(()) } else { kept }
    }

    fn take_back(&mut self) -> Result<(), String> {
        if !self.is_kept {
            return Ok(());
        }
        self.recorder.borrow_mut().take_back()
    }

    fn plan(&self) -> (String, Vec<u32>) {
        if !self.is_kept {
            return ("Nothing of this is kept.".to_owned(), Vec::new());
        }
        let deck = self.deck();
        let waiting = self.recorder.borrow().grades_waiting();
        let mut told = due_told(&deck, self.day);
        if waiting > 0 {
            let _ = write!(told, " {} not kept yet.", counted(waiting, "grade"));
        }
        (told, deck.forecast(self.day, FORECAST_DAYS))
    }
}

/// Makes an oral for the screen.
///
/// # Errors
/// When the system cannot be read or has no solution, or the logbook cannot be opened.
pub(super) fn sitting(of: Sitting<'_>) -> Result<Oral> {
    let circuit = library::load_build(of.system, of.mods)?;
    let id = circuit.id.clone();
    let examiner = examiner(of.system, circuit)?;
    let is_kept = of.recorder.borrow().is_wanted();
    let store = is_kept.then(recorder::open_on_screen).transpose()?;
    let day = today();
    let deck = store.as_ref().map(deck).transpose()?.unwrap_or_default();
    let questions = session(&examiner, &deck, (of.questions, of.seed, day));
    let terms = Terms::default();
    let seconds = 60 * u64::from(terms.minutes(questions.len()));
    Ok(Oral {
        examiner: Arc::new(examiner),
        questions,
        seconds: (of.timed || of.board).then_some(seconds),
        digs: of.board,
        seed: of.seed,
        pass_percent: terms.pass_percent,
        ledger: Box::new(Grades {
            is_kept,
            recorder: Shared::clone(of.recorder),
            system: id,
            day,
            trouble: None,
        }),
    })
}
