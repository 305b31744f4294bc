//! The debrief on the screen: the verdict and what figures mean, every step judged, the path beside par's, habits
//! to work on, what happened inside, and why the other faults are out.

mod path;
mod steps;

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};
use ratatui::style::Style;

use super::command::Command;
use super::diagram::{self, Diagram};
use super::drilling::scrolled;
use super::frame::{Areas, foot, head, keys, notice};
use super::mouse::Target;
use super::sheet::{Line, Text, capital, draw_lines};
use super::text::{put, rule};
use super::theme::Theme;
use crate::drill::Session;
use crate::score::{Debrief, FEW_FAULTS, LEGEND, Provable};
use crate::units::{counted, minutes};

/// The parts of a debrief.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Verdict,
    Steps,
    Path,
    Habits,
    Inside,
    Exclusions,
}

const PARTS: [(Part, &str); 6] = [
    (Part::Verdict, "VERDICT"),
    (Part::Steps, "STEPS"),
    (Part::Path, "PATH"),
    (Part::Habits, "HABITS"),
    (Part::Inside, "INSIDE"),
    (Part::Exclusions, "WHY NOT"),
];

/// A debrief on the screen.
#[derive(Debug)]
pub(super) struct Debriefing {
    /// The drill, its call made.
    pub(super) session: Session,
    /// The debrief, once worked out.
    debrief: Option<Result<Debrief, String>>,
    part: usize,
    at: usize,
    scroll: usize,
    /// Whether every fault of a reason is told by name.
    in_full: bool,
    /// The diagram, while it is open.
    diagram: Option<Box<Diagram>>,
    /// Why there is none.
    pub(super) remark: Option<String>,
}

impl Debriefing {
    /// A debrief still to be worked out.
    pub(super) fn new(session: Session) -> Self {
        Self {
            session,
            debrief: None,
            part: 0,
            at: 0,
            scroll: 0,
            in_full: false,
            diagram: None,
            remark: None,
        }
    }

    /// The same, opened at the first of its steps: for going through them once more.
    pub(super) fn at_its_steps(mut self) -> Self {
        self.part = PARTS.iter().position(|(part, _)| *part == Part::Steps).unwrap_or_default();
        self
    }

    /// Whether letters are letters of something being looked for.
    pub(super) fn typing(&self) -> bool {
        self.diagram.as_ref().is_some_and(|diagram| diagram.is_searching())
    }

    /// Takes the debrief, and what is to be said of it.
    pub(super) fn receive(&mut self, debrief: Result<Debrief, String>, remark: Option<String>) {
        self.debrief = Some(debrief);
        self.remark = remark;
    }

    /// Takes a command; tells whether the debrief is left.
    pub(super) fn update(&mut self, command: Command, size: (u16, u16), theme: Theme) -> bool {
        let Some(Ok(debrief)) = &self.debrief else {
            return matches!(command, Command::Quit | Command::Back | Command::Take);
        };
        self.remark = None;
        if let Some(diagram) = &mut self.diagram {
            let stays =
                command != Command::Quit && diagram.update(command, self.session.circuit(), size);
            if !stays {
                self.diagram = None;
            }
            return false;
        }
        match command {
            Command::Quit | Command::Back => return true,
            Command::Diagram => {
                match Diagram::of_debrief(&self.session, debrief, size) {
                    Ok(diagram) => self.diagram = Some(Box::new(diagram)),
                    Err(why) => self.remark = Some(format!("No diagram: {why}.")),
                }
                return false;
            }
            // Enter reads on: pressed once too often it must not put the debrief away.
            Command::Right | Command::Next | Command::Take => {
                self.part = (self.part + 1) % PARTS.len();
            }
            Command::Left | Command::Previous => {
                self.part = (self.part + PARTS.len() - 1) % PARTS.len();
            }
            Command::Mark if PARTS[self.part].0 == Part::Exclusions => {
                self.in_full = !self.in_full;
            }
            _ if PARTS[self.part].0 == Part::Steps => {
                self.at = scrolled(self.at, command, debrief.rows.len(), 1);
                return false;
            }
            _ => {
                let stage = super::frame::areas(size, false).stage;
                let body = body(stage, debrief);
                let lines = self.lines(debrief, text_columns(body), theme).len();
                self.scroll = scrolled(self.scroll, command, lines, usize::from(body.height));
                return false;
            }
        }
        self.scroll = 0;
        false
    }

    /// What lies under a cell of the screen.
    pub(super) fn target(&self, stage: Rect, at: Position) -> Option<Target> {
        let Some(Ok(debrief)) = &self.debrief else { return None };
        if !stage.contains(at) {
            return None;
        }
        if self.diagram.is_some() {
            return Some(Target::Picture(at.x, at.y));
        }
        let body = body(stage, debrief);
        if at.y + 2 == body.y {
            let under =
                |(x, name): (u16, &str)| (x..x + super::text::width(name) + 2).contains(&at.x);
            return headings(stage).position(under).map(Target::Heading);
        }
        if PARTS[self.part].0 == Part::Steps {
            return steps::row_at(body, debrief, self.at, at).map(Target::Row);
        }
        None
    }

    /// Takes a click.
    pub(super) fn click(&mut self, target: Target, size: (u16, u16)) {
        self.remark = None;
        match (target, &mut self.diagram) {
            (Target::Picture(x, y), Some(diagram)) => {
                diagram.click(self.session.circuit(), (x, y), size);
            }
            (Target::Heading(part), None) => {
                self.part = part;
                self.scroll = 0;
            }
            (Target::Row(row), None) => self.at = row,
            _ => {}
        }
    }

    /// The text of the parts that are text.
    fn lines(&self, debrief: &Debrief, columns: u16, theme: Theme) -> Vec<Line> {
        let mut text = Text { columns, lines: Vec::new(), theme };
        match PARTS[self.part].0 {
            Part::Steps | Part::Path => {}
            Part::Verdict => verdict(&mut text, debrief),
            Part::Habits => habits(&mut text, debrief),
            Part::Inside => {
                if debrief.story.is_empty() {
                    text.paragraph("Nothing switched, tripped or stopped.", theme.quiet());
                }
                for line in &debrief.story {
                    text.item("-", &capital(line));
                }
                if !debrief.cautions.is_empty() {
                    text.blank();
                    text.heading("CAUTIONS GONE AGAINST");
                }
                for caution in &debrief.cautions {
                    text.item("!", caution);
                }
                if !debrief.readings.is_empty() {
                    text.blank();
                    text.heading("NEEDLES AS YOU READ THEM");
                }
                for line in &debrief.readings {
                    text.item("-", &capital(line));
                }
                if !debrief.parts_changed_good.is_empty() {
                    text.blank();
                    text.heading("PARTS CHANGED THAT WERE GOOD");
                    text.paragraph(&debrief.parts_changed_good.join(", "), Style::new());
                }
            }
            Part::Exclusions => {
                text.heading("STILL POSSIBLE AT THE CALL");
                for (fault, probability) in &debrief.left {
                    let percent = format!("{:>5.1} %", 100.0 * probability);
                    text.item(&percent, fault);
                    if let Some(still) = debrief.still.iter().find(|still| still.fault == *fault) {
                        text.paragraph(&format!("{}.", capital(&still.told)), theme.quiet());
                    }
                }
                for told in debrief
                    .against
                    .iter()
                    .cloned()
                    .chain(debrief.provable.iter().map(Provable::told))
                {
                    text.paragraph(&format!("{}.", capital(&told)), Style::new());
                }
                text.blank();
                text.heading("EXCLUDED, AND BY WHICH STEP");
                let most = if self.in_full { MOST_FAULTS } else { FEW_FAULTS };
                let mut last = None;
                for reason in debrief.reasons() {
                    // The step once, above all that it showed.
                    if last != Some(reason.row) {
                        text.paragraph(&capital(&reason.by()), theme.strong());
                        last = Some(reason.row);
                    }
                    let count = counted(reason.faults.len(), "fault");
                    text.hanging((" ", theme.quiet()), &format!("{}.", reason.why), Style::new());
                    let faults = reason.faults_told(Some(most));
                    text.hanging(
                        ("   ", theme.quiet()),
                        &format!("{count}: {faults}"),
                        theme.quiet(),
                    );
                }
            }
        }
        text.lines
    }
}

/// What to work on.
fn habits(text: &mut Text, debrief: &Debrief) {
    let theme = text.theme;
    if debrief.habits.is_empty() {
        text.paragraph("No habit to work on showed in this drill.", Style::new());
    }
    for (number, habit) in debrief.habits.iter().enumerate() {
        if number > 0 {
            text.blank();
        }
        let title = format!("{} {}", number + 1, habit.kind.title());
        text.paragraph(&format!("{title}: {}.", habit.cost_told()), theme.strong());
        text.hanging((" ", Style::new()), &format!("{}.", capital(&habit.evidence)), Style::new());
        text.hanging((" ", Style::new()), &format!("Instead: {}.", habit.instead), Style::new());
    }
}

/// Faults of one reason told by name when all are asked for: of pairs there can be very many.
const MOST_FAULTS: usize = 1000;

/// How the drill ended, how it is marked, and what the figures of the other parts mean.
fn verdict(text: &mut Text, debrief: &Debrief) {
    let theme = text.theme;
    let verdict = &debrief.verdict;
    if !verdict.called.is_empty() {
        text.paragraph(
            &format!(
                "You called {}. The fault was {}: {}.",
                verdict.called, verdict.planted, verdict.planted_text
            ),
            Style::new(),
        );
    }
    for told in debrief.against.iter().cloned().chain(debrief.provable.iter().map(Provable::told)) {
        text.paragraph(&format!("{}.", capital(&told)), Style::new());
    }
    text.blank();
    text.paragraph(&format!("{}.", debrief.score_told()), Style::new());
    for line in debrief.readings.iter().take(1) {
        text.paragraph(&format!("{}; see INSIDE.", capital(line)), Style::new());
    }
    text.blank();
    text.paragraph(&format!("Minutes: {}.", debrief.par_told()), Style::new());
    text.blank();
    text.heading("WHAT THE FIGURES MEAN");
    for (term, meaning) in LEGEND {
        text.hanging((&format!("{term:<8}"), theme.strong()), meaning, theme.quiet());
    }
}

/// What stands above every part: how it ended, and the points.
fn above(debrief: &Debrief, columns: u16, theme: Theme) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    text.paragraph(&debrief.verdict.sentence, theme.strong());
    text.paragraph(&format!("{:.0} points of 100", debrief.score.total), Style::new());
    text.lines
}

/// Where the parts go, below that and the line that names the parts.
fn body(stage: Rect, debrief: &Debrief) -> Rect {
    let above = above(debrief, stage.width, Theme::new(false)).len() as u16 + 2;
    Rect { y: stage.y + above, height: stage.height.saturating_sub(above), ..stage }
}

/// The names of the parts, each with the column at which it begins.
fn headings(stage: Rect) -> impl Iterator<Item = (u16, &'static str)> {
    let mut next = stage.x;
    PARTS.iter().map(move |(_, name)| {
        let x = next;
        // A sign or a blank before it, a blank after it, and one that parts it from the next.
        next += super::text::width(name) + 3;
        (x, *name)
    })
}

/// Columns for the parts that are text.
fn text_columns(body: Rect) -> u16 {
    body.width.min(100)
}

/// Draws the debrief.
pub(super) fn draw(buffer: &mut Buffer, areas: &Areas, debriefing: &Debriefing, theme: Theme) {
    let session = &debriefing.session;
    let right = format!(
        "{} · drill {} · {}",
        session.circuit().title_with_mods(),
        session.seed(),
        minutes(session.minutes())
    );
    if let Some(shown) = &debriefing.diagram {
        head(buffer, areas.head, "DIAGRAM", &right, theme);
        diagram::draw(buffer, areas, (shown, session.circuit()), theme);
        return;
    }
    head(buffer, areas.head, "DEBRIEF", &right, theme);
    let stage = areas.stage;
    let debrief = match &debriefing.debrief {
        None => {
            notice(buffer, stage, "Working out the debrief…", theme);
            foot(buffer, areas.foot, &[], None, theme);
            return;
        }
        Some(Err(why)) => {
            notice(buffer, stage, &format!("No debrief: {why}"), theme);
            foot(buffer, areas.foot, &[], None, theme);
            keys(buffer, areas.foot, &[("Enter", "close")], theme);
            return;
        }
        Some(Ok(debrief)) => debrief,
    };
    let part = PARTS[debriefing.part].0;
    draw_lines(buffer, stage, (&above(debrief, stage.width, theme), 0), theme);
    let body = body(stage, debrief);
    let y = body.y - 2;
    for (index, (x, name)) in headings(stage).enumerate() {
        let here = index == debriefing.part;
        let text = if here { format!("▸{name} ") } else { format!(" {name} ") };
        let style = if here { theme.focus() } else { theme.quiet() };
        put(buffer, stage, x, y, &text, style);
    }
    rule(buffer, stage, y + 1, theme.quiet());
    let said: Vec<String> = debriefing.remark.iter().cloned().collect();
    foot(buffer, areas.foot, &said, None, theme);
    let mut hints =
        vec![("←→ Enter", "other parts"), ("d", "diagram"), ("k", "marks"), ("q Esc", "close")];
    match part {
        Part::Steps => {
            steps::draw(buffer, body, debrief, debriefing.at, theme);
            hints.insert(0, ("↑↓", "step"));
        }
        Part::Path => path::draw(buffer, body, &debrief.path, theme),
        Part::Verdict | Part::Habits | Part::Inside | Part::Exclusions => {
            let lines = debriefing.lines(debrief, text_columns(body), theme);
            draw_lines(buffer, body, (&lines, debriefing.scroll), theme);
            hints.insert(0, ("↑↓", "read on"));
            if part == Part::Exclusions {
                let word = if debriefing.in_full { "few" } else { "all faults" };
                hints.insert(1, ("space", word));
            }
        }
    }
    keys(buffer, areas.foot, &hints, theme);
}
