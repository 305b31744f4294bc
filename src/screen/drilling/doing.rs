//! What is done to the drill itself, and what is then said of it.

use super::{Drilling, Overlay, Question, Turn};
use crate::circuit::PartId;
use crate::drill::{Action, Help, Mark, Outcome, PROVEN, View};
use crate::faults::Cause;
use crate::observation::{Act, Step};
use crate::score::{Rubric, help_told};
use crate::screen::command::Command;
use crate::screen::notebook::notes;
use crate::screen::picker::{Choice, Picker};
use crate::screen::sheet::{Sheet, capital};
use crate::screen::station::Item;
use crate::units::{counted, minutes, significant};

/// Figures of the longest reading that can be typed.
const LONGEST_READING: usize = 8;

impl Drilling {
    /// Does steps one after another. Where one of them leads to a station for the first
    /// time, the rest waits until its cautions have been read.
    pub(super) fn steps(&mut self, steps: Vec<Step>) {
        self.news.clear();
        let mut steps = steps.into_iter();
        while let Some(step) = steps.next() {
            match self.session.apply(Action::Step(step)) {
                Outcome::Done(_) => {
                    self.tell_news();
                    if let Some(lesson) = &mut self.lesson {
                        lesson.follow(&mut self.session);
                    }
                }
                Outcome::Refused(why) => {
                    self.say(&format!("Not done: {why}."));
                    return;
                }
                Outcome::Noted | Outcome::Advised(_) | Outcome::Helped(_) | Outcome::Called => {}
            }
            if let Step::Act(act) = step {
                // The eye follows the hand.
                let station = self.session.place().station;
                self.focus.insert(station, Item::Part(act.part()));
            }
            let Step::Go(there) = step else { continue };
            let cautions = &self.session.circuit().station(there).cautions;
            if self.cautioned.insert(there) && !cautions.is_empty() {
                let sheet = Sheet::Cautions(there, steps.collect());
                self.overlay = Some(Overlay::Sheet(sheet, 0));
                return;
            }
        }
    }

    pub(super) fn step(&mut self, step: Step) {
        self.steps(vec![step]);
    }

    /// Puts what the last step showed into the message line.
    fn tell_news(&mut self) {
        let Some(note) = notes(&self.session).pop() else { return };
        self.news.push(format!(
            "{}, {}: {}",
            capital(&note.step),
            minutes(note.minutes),
            note.showed.join("; ")
        ));
        self.news.extend(note.breaches.iter().map(|b| format!("Caution: {b}.")));
    }

    /// Asks for advice and opens it.
    pub(in super::super) fn advise(&mut self) {
        self.remark = None;
        match self.session.apply(Action::Advise) {
            Outcome::Advised(advice) => {
                self.overlay = Some(Overlay::Sheet(Sheet::Advice(advice), 0));
            }
            Outcome::Refused(why) => {
                self.say(&format!("No advice: {why}."));
            }
            Outcome::Done(_) | Outcome::Noted | Outcome::Helped(_) | Outcome::Called => {}
        }
    }

    /// Names the price of help before it is given; in words where there is none to be had.
    pub(super) fn offer_help(&mut self, help: Help) -> Turn {
        if let Some(why) = self.session.refuses_help(help) {
            return self.say(&format!("No help: {why}."));
        }
        self.question = Some(Question::Help(help));
        Turn::Stay
    }

    /// Before a call is asked for once more, whether anything is proved has to be known
    /// where that may be told.
    pub(super) fn call(&mut self, cause: Cause) -> Turn {
        if self.session.rules().help < Help::Reminder {
            self.question = Some(Question::Call(cause, None));
            return Turn::Stay;
        }
        self.calling = Some(cause);
        self.say("Looking at what has been proved…");
        Turn::Weigh
    }

    /// Asks for the call once more, with a warning where nothing is proved.
    ///
    /// The warning is about what was seen and never about the part that is called: it is
    /// the same for every part, so going through the parts tells nothing.
    pub(in super::super) fn weigh(&mut self) {
        self.remark = None;
        let Some(cause) = self.calling.take() else { return };
        let proven = self
            .session
            .belief()
            .is_ok_and(|belief| belief.group_posterior().iter().any(|p| *p >= PROVEN));
        let warning = (!proven).then(|| {
            format!(
                "What was seen proves no part yet; even if right, it gets {} points at most.",
                significant(Rubric::shipped().unproven, 3)
            )
        });
        self.question = Some(Question::Call(cause, warning));
    }

    /// Asks for other help and opens it.
    pub(in super::super) fn help(&mut self, help: Help) {
        self.remark = None;
        match self.session.apply(Action::Ask(help)) {
            Outcome::Helped(help) => match help_told(&mut self.session, help) {
                Ok(said) => {
                    self.overlay = Some(Overlay::Sheet(Sheet::Helped(help, said), 0));
                }
                Err(why) => {
                    self.say(&format!("No help: {why}."));
                }
            },
            Outcome::Refused(why) => {
                self.say(&format!("No help: {why}."));
            }
            Outcome::Done(_) | Outcome::Noted | Outcome::Advised(_) | Outcome::Called => {}
        }
    }

    /// A key while a needle waits to be read: figures are its reading.
    pub(super) fn on_needle(&mut self, command: Command) -> Turn {
        match command {
            Command::Type(figure)
                if self.typed.len() < LONGEST_READING
                    && (figure.is_ascii_digit() || matches!(figure, '.' | '-')) =>
            {
                self.typed.push(figure);
            }
            Command::Type('q') => self.question = Some(Question::Leave),
            // Esc takes back what was typed; it must not be a way out of the drill by mistake.
            Command::Back => self.typed.clear(),
            Command::Erase => {
                self.typed.pop();
            }
            Command::Take => match self.typed.parse::<f64>() {
                Ok(value) => {
                    self.typed.clear();
                    self.session.apply(Action::Read(value));
                    self.news.clear();
                    if self.session.to_read().is_none() {
                        self.tell_news();
                    }
                }
                Err(_) => return self.say("Type what the needle shows as a number."),
            },
            _ => {}
        }
        Turn::Stay
    }

    pub(super) fn turn(&mut self, view: &View, part: PartId, on: bool) {
        let Some(control) = view.controls.iter().find(|c| c.part == part) else { return };
        let to = if on { control.at.checked_add(1) } else { control.at.checked_sub(1) };
        if let Some(to) = to.filter(|to| *to < control.positions.len() && !control.springs_back) {
            self.step(Step::Act(Act::Set { control: part, position: to as u8 }));
        }
    }

    /// The next mark of a part, round and round: suspect, cleared, unsure.
    pub(super) fn mark(&mut self, part: PartId) {
        let mark = next_mark(self.session.marks().get(&part).copied());
        self.mark_all(&[part], mark);
    }

    /// Gives parts a mark, or wipes it.
    pub(super) fn mark_all(&mut self, parts: &[PartId], mark: Option<Mark>) {
        for part in parts {
            if self.session.marks().get(part).copied() != mark {
                self.session.apply(Action::Mark { part: *part, mark });
            }
        }
        let what = match parts {
            [part] => self.session.circuit().part(*part).id.clone(),
            parts => counted(parts.len(), "part"),
        };
        let word = match mark {
            Some(Mark::Suspect) => "marked suspect",
            Some(Mark::Cleared) => "marked cleared",
            None => "unsure, mark wiped",
        };
        self.remark = Some(format!("{what}: {word}."));
    }

    /// A key on the suspects board that gives the row in focus a mark: to the right suspect,
    /// to the left cleared, back to unsure; `None` where it is no such key.
    pub(super) fn mark_row(&mut self, picker: &Picker, command: Command) -> Option<()> {
        let wanted = match command {
            Command::Right => Some(Some(Mark::Suspect)),
            Command::Left => Some(Some(Mark::Cleared)),
            Command::Erase if picker.filter.is_empty() => Some(None),
            Command::Take => None,
            _ => return None,
        };
        let parts = match picker.chosen(&self.session)?.choice {
            Choice::Part(part) => vec![part],
            Choice::Branch(parts) => parts,
            _ => return None,
        };
        let first = parts.first().and_then(|part| self.session.marks().get(part).copied());
        let alike = first
            .filter(|_| parts.iter().all(|part| self.session.marks().get(part).copied() == first));
        self.mark_all(&parts, wanted.unwrap_or_else(|| next_mark(alike)));
        Some(())
    }
}

fn next_mark(mark: Option<Mark>) -> Option<Mark> {
    match mark {
        None => Some(Mark::Suspect),
        Some(Mark::Suspect) => Some(Mark::Cleared),
        Some(Mark::Cleared) => None,
    }
}
