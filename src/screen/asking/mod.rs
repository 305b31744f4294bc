//! An oral on the screen: what is due, one question after the other, and how it went.

mod page;

use std::sync::Arc;
use std::time::Duration;

use ratatui::layout::{Position, Rect};

use super::command::Command;
use super::diagram::Diagram;
use super::mouse::Target;
use crate::observation::Rig;
use crate::oral::{Answer, Examiner, Given, Look, Question, Rating};

pub(super) use page::draw;

/// Where the grades of an oral go.
pub trait Ledger {
    /// Keeps a grade.
    ///
    /// # Errors
    /// In words, why it cannot be kept.
    fn grade(&mut self, question: &Question, rating: Rating) -> Result<(), String>;

    /// Takes the last grade back.
    ///
    /// # Errors
    /// In words, why it stays.
    fn take_back(&mut self) -> Result<(), String>;

    /// What is due now, in one sentence, and how many cards fall due today and on the days
    /// after.
    fn plan(&self) -> (String, Vec<u32>);
}

/// An oral: questions to be asked, and what they come from.
pub struct Oral {
    /// Who asks, and asks further where an answer was weak.
    pub examiner: Arc<Examiner>,
    /// What is asked, in order.
    pub questions: Vec<Question>,
    /// Seconds for all of it; `None` for a session without hurry.
    pub seconds: Option<u64>,
    /// Whether it asks further where an answer was weak, as a board does.
    pub digs: bool,
    /// The number it was drawn from.
    pub seed: u64,
    /// Percent that must be right.
    pub pass_percent: u32,
    /// Where grades go.
    pub ledger: Box<dyn Ledger>,
}

impl std::fmt::Debug for Oral {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Oral").field("questions", &self.questions.len()).finish_non_exhaustive()
    }
}

/// Where one is in an oral.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// What is due is being looked at.
    Before,
    /// A question waits for its answer.
    Asked,
    /// A spoken answer is held against the model answer.
    Compared,
    /// The answer has been given, and the reason is told.
    Told,
    /// It is over.
    Over,
}

/// What became of a question.
#[derive(Clone, Debug, PartialEq)]
struct Outcome {
    given: Given,
    is_right: bool,
}

/// An oral on the screen.
#[derive(Debug)]
pub(super) struct Asking {
    oral: Oral,
    stage: Stage,
    /// By question asked so far, what became of it.
    outcomes: Vec<Outcome>,
    /// Which questions dig further after a weak answer.
    further: Vec<bool>,
    /// The question on the page.
    at: usize,
    /// The choice in focus.
    focus: usize,
    /// The choices that are marked, where several may be right.
    marked: Vec<bool>,
    /// What has been typed of a figure.
    typed: String,
    /// First line shown.
    scroll: usize,
    /// When it began, and the time now.
    begun: Option<Duration>,
    now: Duration,
    /// Whether the time ran out.
    timed_out: bool,
    /// The diagram, while it is open.
    diagram: Option<Box<Diagram>>,
    /// Something said in answer to the last command.
    remark: Option<String>,
}

/// How well a spoken answer was, as the trainee finds it.
const GRADES: [(Rating, &str); 4] = [
    (Rating::Again, "not known, or wrong"),
    (Rating::Hard, "with effort, or not all of it"),
    (Rating::Good, "as it should be"),
    (Rating::Easy, "all of it, at once"),
];

/// The letter of a choice.
fn letter(at: usize) -> char {
    ('a'..='z').nth(at).unwrap_or('?')
}

impl Asking {
    /// An oral whose questions are still to be asked.
    pub(super) fn new(oral: Oral) -> Self {
        let further = vec![false; oral.questions.len()];
        Self {
            oral,
            stage: Stage::Before,
            outcomes: Vec::new(),
            further,
            at: 0,
            focus: 0,
            marked: Vec::new(),
            typed: String::new(),
            scroll: 0,
            begun: None,
            now: Duration::ZERO,
            timed_out: false,
            diagram: None,
            remark: None,
        }
    }

    fn question(&self) -> Option<&Question> {
        self.oral.questions.get(self.at)
    }

    /// How many choices stand to be chosen from now.
    fn rows(&self) -> usize {
        match (self.stage, self.question().map(|question| &question.answer)) {
            (Stage::Asked, Some(Answer::One { choices, .. } | Answer::All { choices, .. })) => {
                choices.len()
            }
            (Stage::Compared, _) => GRADES.len(),
            _ => 0,
        }
    }

    /// Whether letters are letters of an answer.
    pub(super) fn typing(&self) -> bool {
        match &self.diagram {
            Some(diagram) => diagram.is_searching(),
            None => matches!(self.stage, Stage::Asked | Stage::Compared),
        }
    }

    /// Whether a clock runs that is to be seen running.
    pub(super) fn ticks(&self) -> bool {
        self.oral.seconds.is_some() && matches!(self.stage, Stage::Asked | Stage::Compared)
    }

    /// Tells the time since some moment that stays the same.
    pub(super) fn at(&mut self, now: Duration) {
        self.now = now;
        // What is being read after an answer is read to its end.
        if self.ticks() && self.seconds_left() == Some(0) {
            self.timed_out = true;
            self.finish();
        }
    }

    /// Seconds that are left of the time, where there is a limit.
    fn seconds_left(&self) -> Option<u64> {
        let limit = self.oral.seconds?;
        let used = self.begun.map_or(0, |begun| self.now.saturating_sub(begun).as_secs());
        Some(limit.saturating_sub(used))
    }

    /// Takes a command; tells whether the oral is left.
    pub(super) fn update(&mut self, command: Command, size: (u16, u16)) -> bool {
        self.remark = None;
        if let Some(diagram) = &mut self.diagram {
            let circuit = Arc::clone(self.oral.examiner.circuit());
            let stays = command != Command::Quit && diagram.update(command, &circuit, size);
            if !stays {
                self.diagram = None;
            }
            return false;
        }
        match self.stage {
            Stage::Before => match command {
                Command::Take if self.oral.questions.is_empty() => return true,
                Command::Take => {
                    self.begun = Some(self.now);
                    self.put(0);
                }
                Command::Back | Command::Quit => return true,
                _ => {}
            },
            Stage::Asked | Stage::Compared => self.answering(command),
            Stage::Told => match command {
                Command::Take | Command::Next | Command::Right => self.go_on(),
                Command::Erase | Command::Left => self.take_back(),
                Command::Diagram => self.open_diagram(size),
                Command::Back | Command::Quit => self.finish(),
                Command::Up => self.scroll = self.scroll.saturating_sub(1),
                Command::Down => self.scroll += 1,
                _ => {}
            },
            Stage::Over => match command {
                Command::Up => self.scroll = self.scroll.saturating_sub(1),
                Command::Down => self.scroll += 1,
                Command::Take | Command::Back | Command::Quit => return true,
                _ => {}
            },
        }
        false
    }

    fn answering(&mut self, command: Command) {
        let rows = self.rows();
        match command {
            Command::Up | Command::Previous => self.focus = self.focus.saturating_sub(1),
            Command::Down | Command::Next => {
                self.focus = (self.focus + 1).min(rows.saturating_sub(1));
            }
            Command::First => self.focus = 0,
            Command::Last => self.focus = rows.saturating_sub(1),
            Command::Type(typed) => self.type_letter(typed),
            Command::Erase if self.typed.pop().is_some() => {}
            Command::Erase => self.take_back(),
            Command::Take => self.answer(),
            Command::Back => self.finish(),
            _ => {}
        }
    }

    fn type_letter(&mut self, typed: char) {
        let Some(question) = self.oral.questions.get(self.at) else { return };
        if self.stage == Stage::Compared {
            let grade = typed.to_digit(10).and_then(|number| (number as usize).checked_sub(1));
            self.focus = grade.filter(|at| *at < GRADES.len()).unwrap_or(self.focus);
            return;
        }
        match &question.answer {
            Answer::One { choices, .. } | Answer::All { choices, .. } => {
                if typed == ' ' {
                    self.mark(self.focus);
                } else if let Some(at) =
                    (0..choices.len()).find(|at| letter(*at) == typed.to_ascii_lowercase())
                {
                    self.focus = at;
                    self.mark(at);
                }
            }
            Answer::Number { .. } => {
                if typed.is_ascii_digit() || matches!(typed, '.' | ',' | '-') {
                    self.typed.push(typed);
                }
            }
            Answer::Words { .. } => {}
        }
    }

    /// Marks a choice, or takes its mark away, where several may be right.
    fn mark(&mut self, at: usize) {
        if let Some(Answer::All { .. }) = self.question().map(|question| &question.answer)
            && let Some(marked) = self.marked.get_mut(at)
        {
            *marked = !*marked;
        }
    }

    /// Gives the answer that stands on the page.
    fn answer(&mut self) {
        let Some(question) = self.oral.questions.get(self.at) else { return };
        let given = match (&question.answer, self.stage) {
            (Answer::One { .. }, _) => Given::One(self.focus),
            (Answer::All { .. }, _) => {
                if !self.marked.contains(&true) {
                    self.remark =
                        Some("Mark every one that is right: space, or its letter.".into());
                    return;
                }
                Given::All(self.marked.clone())
            }
            (Answer::Number { unit, .. }, _) => {
                let Ok(figure) = self.typed.replace(',', ".").parse() else {
                    self.remark = Some(format!("Type a figure in {unit}."));
                    return;
                };
                Given::Number(figure)
            }
            (Answer::Words { .. }, Stage::Compared) => Given::Words(GRADES[self.focus].0),
            (Answer::Words { .. }, _) => {
                self.stage = Stage::Compared;
                self.focus = 2;
                return;
            }
        };
        let judged = question.is_right(&given).zip(question.rating(&given));
        let Some((is_right, rating)) = judged else { return };
        if let Err(why) = self.oral.ledger.grade(question, rating) {
            self.remark = Some(format!("Not kept: {why}."));
        }
        self.outcomes.push(Outcome { given, is_right });
        self.stage = Stage::Told;
        self.scroll = 0;
        if !is_right && self.oral.digs && !self.further[self.at] {
            self.dig();
        }
    }

    /// Asks further where the answer was weak.
    fn dig(&mut self) {
        let seed = self.oral.seed.wrapping_add(self.at as u64 + 1);
        let question = &self.oral.questions[self.at];
        if let Some(further) = self.oral.examiner.follow_up(question, seed) {
            self.oral.questions.insert(self.at + 1, further);
            self.further.insert(self.at + 1, true);
        }
    }

    /// Takes the last answer back, save before a board.
    fn take_back(&mut self) {
        if self.outcomes.is_empty() {
            return;
        }
        if self.oral.digs {
            self.remark = Some("Before the board an answer stands.".to_owned());
            return;
        }
        if let Err(why) = self.oral.ledger.take_back() {
            self.remark = Some(format!("It stays: {why}."));
            return;
        }
        self.outcomes.pop();
        self.put(self.outcomes.len());
        self.remark = Some("Taken back: answer it anew.".to_owned());
    }

    /// Puts a question on the page.
    fn put(&mut self, at: usize) {
        self.at = at;
        self.focus = 0;
        self.typed.clear();
        self.scroll = 0;
        self.stage = if at < self.oral.questions.len() { Stage::Asked } else { Stage::Over };
        self.marked = match self.question().map(|question| &question.answer) {
            Some(Answer::All { choices, .. }) => vec![false; choices.len()],
            _ => Vec::new(),
        };
    }

    fn go_on(&mut self) {
        if self.seconds_left() == Some(0) {
            self.timed_out = self.at + 1 < self.oral.questions.len();
            return self.finish();
        }
        self.put(self.at + 1);
    }

    fn finish(&mut self) {
        self.stage = Stage::Over;
        self.scroll = 0;
    }

    fn open_diagram(&mut self, size: (u16, u16)) {
        let rig = match Rig::normal(Arc::clone(self.oral.examiner.circuit())) {
            Ok(rig) => rig,
            Err(why) => {
                self.remark = Some(format!("No diagram: {why}."));
                return;
            }
        };
        let mut diagram = Diagram::of_rig(&rig, "The sound aircraft, as it usually stands.", size);
        if let Some(Look::Diagram(part)) = self.question().and_then(|question| question.look) {
            diagram.centre_on(part, size);
        }
        self.diagram = Some(Box::new(diagram));
    }

    /// What lies under a cell of the screen.
    pub(super) fn target(&self, stage: Rect, at: Position) -> Option<Target> {
        if !stage.contains(at) {
            return None;
        }
        if self.diagram.is_some() {
            return Some(Target::Picture(at.x, at.y));
        }
        page::row_at(self, stage, at).map(Target::Row)
    }

    /// Takes a click: the first takes a choice into focus, or marks it, another gives it.
    pub(super) fn click(&mut self, target: Target, size: (u16, u16)) {
        self.remark = None;
        match (target, &mut self.diagram) {
            (Target::Picture(x, y), Some(diagram)) => {
                let circuit = Arc::clone(self.oral.examiner.circuit());
                diagram.click(&circuit, (x, y), size);
            }
            (Target::Row(row), None) => {
                let several = !self.marked.is_empty();
                if self.focus == row && !several {
                    self.answer();
                } else {
                    self.focus = row;
                    self.mark(row);
                }
            }
            _ => {}
        }
    }
}
