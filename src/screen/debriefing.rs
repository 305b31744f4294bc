//! The debrief on the screen: the verdict, every step judged, what happened inside, and
//! why the other faults are out.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::command::Command;
use super::diagram::{self, Diagram};
use super::drilling::scrolled;
use super::frame::{Areas, foot, head, keys, notice};
use super::sheet::{Line, Text, capital, draw_lines};
use super::text::{fit, put, put_right, rule, wrap};
use super::theme::Theme;
use crate::drill::Session;
use crate::score::{Debrief, Provable, Row};
use crate::units::{counted, minutes};

/// The parts of a debrief.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Steps,
    Inside,
    Exclusions,
}

const PARTS: [(Part, &str); 3] =
    [(Part::Steps, "STEPS"), (Part::Inside, "INSIDE"), (Part::Exclusions, "WHY NOT")];

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
    /// The diagram, while it is open.
    diagram: Option<Box<Diagram>>,
    /// Why there is none.
    remark: Option<String>,
}

impl Debriefing {
    /// A debrief still to be worked out.
    pub(super) fn new(session: Session) -> Self {
        Self { session, debrief: None, part: 0, at: 0, scroll: 0, diagram: None, remark: None }
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
            Command::Quit | Command::Back | Command::Take => return true,
            Command::Diagram => {
                match Diagram::of_debrief(&self.session, debrief, size) {
                    Ok(diagram) => self.diagram = Some(Box::new(diagram)),
                    Err(why) => self.remark = Some(format!("No diagram: {why}.")),
                }
                return false;
            }
            Command::Right | Command::Next => self.part = (self.part + 1) % PARTS.len(),
            Command::Left | Command::Previous => {
                self.part = (self.part + PARTS.len() - 1) % PARTS.len();
            }
            _ if PARTS[self.part].0 == Part::Steps => {
                self.at = scrolled(self.at, command, debrief.rows.len(), 1);
                return false;
            }
            _ => {
                let body = body(super::frame::areas(size, false).stage, debrief);
                let lines = self.lines(debrief, text_columns(body), theme).len();
                self.scroll = scrolled(self.scroll, command, lines, usize::from(body.height));
                return false;
            }
        }
        self.scroll = 0;
        false
    }

    /// The text of the parts that are text.
    fn lines(&self, debrief: &Debrief, columns: u16, theme: Theme) -> Vec<Line> {
        let mut text = Text { columns, lines: Vec::new(), theme };
        match PARTS[self.part].0 {
            Part::Steps => {}
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
                for (row, why, faults) in debrief.reasons() {
                    let row =
                        row.map_or("write-up".to_owned(), |row| format!("step {:>3}", row + 1));
                    text.hanging((&row, theme.strong()), &format!("{why}."), Style::new());
                    text.hanging(("        ", theme.quiet()), &faults.join(", "), theme.quiet());
                }
            }
        }
        text.lines
    }
}

/// Lines of the verdict above the parts.
fn verdict(debrief: &Debrief, columns: u16, theme: Theme) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    let verdict = &debrief.verdict;
    text.paragraph(&verdict.sentence, theme.strong());
    text.paragraph(
        &format!(
            "You called {}. The fault was {}: {}.",
            verdict.called, verdict.planted, verdict.planted_text
        ),
        Style::new(),
    );
    text.paragraph(&format!("{}.", debrief.score_told()), Style::new());
    for line in debrief.readings.iter().take(1) {
        text.paragraph(&format!("{}; told below the story.", capital(line)), Style::new());
    }
    text.paragraph(&format!("Minutes: {}.", debrief.par_told()), theme.quiet());
    text.lines
}

/// Where the parts go, below the verdict and the line that names the parts.
fn body(stage: Rect, debrief: &Debrief) -> Rect {
    let above = verdict(debrief, stage.width, Theme::new(false)).len() as u16 + 3;
    Rect { y: stage.y + above, height: stage.height.saturating_sub(above), ..stage }
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
        diagram::draw(buffer, areas, shown, theme);
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
    draw_lines(buffer, stage, (&verdict(debrief, stage.width, theme), 0), theme);
    let body = body(stage, debrief);
    let y = body.y - 2;
    let mut x = stage.x;
    for (index, (_, name)) in PARTS.iter().enumerate() {
        let here = index == debriefing.part;
        let text = if here { format!("▸{name} ") } else { format!(" {name} ") };
        let style = if here { theme.focus() } else { theme.quiet() };
        put(buffer, stage, x, y, &text, style);
        x += super::text::width(&text) + 1;
    }
    rule(buffer, stage, y + 1, theme.quiet());
    let said: Vec<String> = debriefing.remark.iter().cloned().collect();
    foot(buffer, areas.foot, &said, None, theme);
    if PARTS[debriefing.part].0 == Part::Steps {
        steps(buffer, body, debrief, debriefing.at, theme);
        keys(
            buffer,
            areas.foot,
            &[("↑↓", "step"), ("←→", "other parts"), ("d", "diagram"), ("Enter", "close")],
            theme,
        );
    } else {
        let lines = debriefing.lines(debrief, text_columns(body), theme);
        draw_lines(buffer, body, (&lines, debriefing.scroll), theme);
        keys(
            buffer,
            areas.foot,
            &[("↑↓", "read on"), ("←→", "other parts"), ("d", "diagram"), ("Enter", "close")],
            theme,
        );
    }
}

/// Columns to the right of the step's words: expected, gained, best, minutes, faults.
const NUMBERS: u16 = 33;
/// Columns of the bar of remaining faults in a table so wide.
fn bar_columns(table: u16) -> u16 {
    match table {
        0..70 => 5,
        70..90 => 12,
        _ => 24,
    }
}

/// Columns from which the step in focus is told beside the table.
const WIDE: u16 = 130;

fn steps(buffer: &mut Buffer, area: Rect, debrief: &Debrief, at: usize, theme: Theme) {
    let wide = area.width >= WIDE;
    let (table, detail) = if wide {
        let table = Rect { width: area.width * 6 / 10, ..area };
        let x = table.right() + 2;
        (table, Rect { x, width: area.right() - x, ..area })
    } else {
        // As much as the longest of them takes, so that the table keeps its height.
        let longest = (0..debrief.rows.len())
            .map(|at| row_lines(&debrief.rows[at], at, area.width, theme).len() as u16)
            .max()
            .unwrap_or(0);
        let told = (longest + 1).min(area.height.saturating_sub(5).max(area.height / 2));
        let table = Rect { height: area.height - told, ..area };
        (table, Rect { y: table.bottom(), height: told, ..area })
    };
    let head = "expect gained   best    min  left";
    let bars = bar_columns(table.width);
    let right = Rect { width: table.width.saturating_sub(bars + 1), ..table };
    put(buffer, table, table.x, table.y, "  #  step", theme.quiet());
    put_right(buffer, right, table.y, head, theme.quiet());
    let rows = usize::from(table.height.saturating_sub(1));
    // The write-up is a row of its own: it is where the faults begin to fall.
    let from = (at + 2).saturating_sub(rows);
    for (line, index) in (from..=debrief.rows.len()).take(rows).enumerate() {
        let area = Rect { y: table.y + 1 + line as u16, height: 1, ..table };
        let here = index == at + 1;
        match index.checked_sub(1) {
            None => {
                let numbers = format!("{:>6}", debrief.start_candidates);
                step_row(buffer, area, ("  -", "the crew's write-up", &numbers), false, theme);
                bar(buffer, area, debrief.start_candidates, debrief.start_candidates, theme);
            }
            Some(index) => {
                let row = &debrief.rows[index];
                let number = format!("{:>3}{}", index + 1, sign(row));
                step_row(buffer, area, (&number, &row.step, &numbers(row)), here, theme);
                bar(buffer, area, row.candidates, debrief.start_candidates, theme);
            }
        }
    }
    if !wide {
        rule(buffer, detail, detail.y, theme.quiet());
    }
    if let Some(row) = debrief.rows.get(at) {
        let y = detail.y + u16::from(!wide);
        let text = Rect { y, height: detail.bottom().saturating_sub(y), ..detail };
        let lines = row_lines(row, at, text.width, theme);
        draw_lines(buffer, text, (&lines, 0), theme);
    }
}

/// The sign beside a step: a caution gone against, or advice asked for.
fn sign(row: &Row) -> char {
    if !row.breaches.is_empty() {
        '!'
    } else if row.advice_taken {
        'a'
    } else {
        ' '
    }
}

fn numbers(row: &Row) -> String {
    let best = row.best.as_ref().map_or("-".to_owned(), |b| format!("{:.2}", b.bits));
    // Rounding must not leave a minus before a nought.
    let gained = if row.gained_bits.abs() < 0.005 { 0.0 } else { row.gained_bits };
    format!(
        "{:>6.2} {gained:>6.2} {best:>6} {:>6.1} {:>5}",
        row.expected_bits, row.minutes, row.candidates
    )
}

fn step_row(
    buffer: &mut Buffer,
    area: Rect,
    (number, step, numbers): (&str, &str, &str),
    here: bool,
    theme: Theme,
) {
    let text = Rect { width: area.width.saturating_sub(bar_columns(area.width) + 1), ..area };
    let style = if here { theme.focus() } else { Style::new() };
    if here {
        buffer.set_style(text, style);
    }
    let sign = if here { format!("▸{}", &number[1..]) } else { number.to_owned() };
    put(buffer, text, text.x, text.y, &sign, style);
    let room = text.width.saturating_sub(NUMBERS + 6);
    put(buffer, text, text.x + 5, text.y, &fit(step, room), style);
    put_right(buffer, text, text.y, numbers, style);
}

/// How many faults are left, as a bar; half as high as its row, so that bars stand apart.
fn bar(buffer: &mut Buffer, area: Rect, left: usize, of: usize, theme: Theme) {
    let columns = bar_columns(area.width);
    let full = usize::from(columns);
    let length = (left * full).div_ceil(of.max(1)).min(full);
    let x = area.right().saturating_sub(columns);
    put(buffer, area, x, area.y, &"▄".repeat(length), theme.quiet());
}

fn row_lines(row: &Row, at: usize, columns: u16, theme: Theme) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    text.paragraph(&format!("Step {}: {}", at + 1, row.step), theme.strong());
    for line in wrap(&format!("{}.", capital(&row.remark)), columns) {
        text.lines.push(vec![(line, Style::new())]);
    }
    if !row.showed.is_empty() {
        text.paragraph(&format!("It showed {}.", row.showed.join("; ")), Style::new());
    }
    // A remark on a weak step names the best one already.
    if let Some(best) = row.best.as_ref().filter(|best| !row.remark.contains(&best.step)) {
        let told = format!(
            "Best then: {}, {:.2} bits for {}.",
            best.step,
            best.bits,
            minutes(best.minutes)
        );
        text.paragraph(&told, theme.quiet());
    }
    if row.advice_taken {
        text.paragraph("Advice was asked for before this step.", theme.quiet());
    }
    text.paragraph(
        &format!(
            "Left: {} in {}.",
            counted(row.candidates, "fault"),
            counted(row.groups, "repair group")
        ),
        theme.quiet(),
    );
    for breach in &row.breaches {
        text.item("!", breach);
    }
    text.lines
}
