//! Pages of text that take the place of the station: read, scrolled, put away.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::notebook::notes;
use super::text::{put, put_right, width, wrap};
use super::theme::Theme;
use crate::circuit::StationId;
use crate::drill::{Advice, Help, Session, USUAL_VALUES, Usual, usual_values};
use crate::observation::Step;
use crate::score::told_with_walk;
use crate::units::{bits, counted, minutes, significant};

/// What a sheet tells.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Sheet {
    /// The notebook.
    Notebook,
    /// What the crew wrote.
    WriteUp,
    /// What a station shows and carries on a sound aircraft.
    Values(StationId),
    /// The cautions of a station, and the steps that wait until they are read.
    Cautions(StationId, Vec<Step>),
    /// The best next step.
    Advice(Advice),
    /// Other help: what was asked for, and what it says.
    Helped(Help, Vec<String>),
}

/// A line of a sheet: pieces of text in their styles.
pub(super) type Line = Vec<(String, Style)>;

/// What every drill begins with.
pub(super) const TRAINING_ONLY: &str = "Training model only. Work on an aircraft follows the \
approved maintenance data, local rules and licensed staff.";

/// What the trade has to be told again before hands go in.
pub(super) const STORED_ENERGY: &str = "115 V 400 Hz kills. Power off and proven dead before hands \
go in; capacitors and machines keep energy; reset a breaker once at most, and only when its cause \
is known.";

impl Sheet {
    /// The heading.
    pub(super) fn title(&self, session: &Session) -> String {
        match self {
            Self::Notebook => "NOTEBOOK".to_owned(),
            Self::WriteUp => "WRITE-UP".to_owned(),
            Self::Values(station) => {
                format!("USUAL VALUES: {}", session.circuit().station(*station).title)
            }
            Self::Cautions(station, _) => {
                format!("CAUTIONS: {}", session.circuit().station(*station).title)
            }
            Self::Advice(_) => "ADVICE".to_owned(),
            Self::Helped(Help::LastStep, _) => "THE LAST STEP".to_owned(),
            Self::Helped(..) => "SHOWN SO FAR".to_owned(),
        }
    }

    /// What Enter does, for the line of keys.
    pub(super) fn verb(&self) -> &'static str {
        match self {
            Self::Cautions(_, waiting) if !waiting.is_empty() => "read; go on with the step",
            Self::Cautions(..) => "read",
            Self::Advice(Advice::Do { prospect, .. }) if walks(prospect) => "go there and do it",
            Self::Advice(Advice::Do { .. }) => "do it",
            Self::Advice(Advice::Call { .. }) => "make this call",
            Self::Advice(Advice::Nothing)
            | Self::Notebook
            | Self::WriteUp
            | Self::Values(_)
            | Self::Helped(..) => "close",
        }
    }

    /// The text, broken into lines.
    pub(super) fn lines(&self, session: &Session, columns: u16, theme: Theme) -> Vec<Line> {
        let mut text = Text { columns, lines: Vec::new(), theme };
        match self {
            Self::Notebook => notebook(&mut text, session, true),
            Self::Helped(_, said) => {
                for line in said {
                    text.paragraph(line, Style::new());
                    text.blank();
                }
                text.paragraph("The debrief will say that you asked.", text.theme.quiet());
            }
            Self::WriteUp => write_up(&mut text, session),
            Self::Values(station) => values(&mut text, session, *station),
            Self::Cautions(station, _) => {
                for caution in &session.circuit().station(*station).cautions {
                    text.item("!", caution);
                }
            }
            Self::Advice(advice) => advice_text(&mut text, session, advice),
        }
        text.lines
    }
}

/// What a station shows and carries on a sound aircraft, names in one column.
fn values(text: &mut Text, session: &Session, station: StationId) {
    text.paragraph(USUAL_VALUES, text.theme.quiet());
    text.blank();
    let usual = usual_values(session, station);
    let wide = usual.iter().map(|usual| width(&usual.name)).max().unwrap_or(0);
    for Usual { name, value } in usual {
        let gap = " ".repeat(usize::from(wide - width(&name) + 2));
        text.hanging((&format!("{name}{gap}"), text.theme.quiet()), &value, Style::new());
    }
}

/// Whether one walks first and then does something.
fn walks(prospect: &crate::diagnosis::Prospect) -> bool {
    prospect.walk && !matches!(prospect.step, Step::Go(_))
}

/// Lines as they are gathered.
pub(super) struct Text {
    pub(super) columns: u16,
    pub(super) lines: Vec<Line>,
    pub(super) theme: Theme,
}

impl Text {
    pub(super) fn blank(&mut self) {
        self.lines.push(Vec::new());
    }

    pub(super) fn heading(&mut self, text: &str) {
        self.lines.push(vec![(text.to_owned(), self.theme.quiet())]);
    }

    pub(super) fn paragraph(&mut self, text: &str, style: Style) {
        for line in wrap(text, self.columns) {
            self.lines.push(vec![(line, style)]);
        }
    }

    /// A paragraph that hangs behind a sign.
    pub(super) fn item(&mut self, sign: &str, text: &str) {
        self.hanging((sign, self.theme.strong()), text, Style::new());
    }

    pub(super) fn hanging(&mut self, (sign, sign_style): (&str, Style), text: &str, style: Style) {
        let indent = width(sign) + 1;
        for (index, line) in wrap(text, self.columns.saturating_sub(indent)).into_iter().enumerate()
        {
            let lead = if index == 0 {
                (format!("{sign} "), sign_style)
            } else {
                (" ".repeat(usize::from(indent)), Style::new())
            };
            self.lines.push(vec![lead, (line, style)]);
        }
    }
}

/// The steps so far, newest last; of the last one not what it showed, unless settled.
pub(super) fn notebook(text: &mut Text, session: &Session, settled: bool) {
    let (strong, quiet) = (text.theme.strong(), text.theme.quiet());
    text.hanging(("  0.0", quiet), &session.write_up().lines.join("; "), quiet);
    let notes = notes(session);
    for (index, note) in notes.iter().enumerate() {
        let clock = format!("{:>5.1}", note.clock);
        let price = if note.minutes > 0.0 {
            format!(" ({})", minutes(note.minutes))
        } else {
            String::new()
        };
        text.hanging((&clock, quiet), &format!("{}{price}", note.step), strong);
        let told = settled || index + 1 < notes.len();
        for line in note.showed.iter().filter(|_| told) {
            text.hanging(("     ", quiet), line, Style::new());
        }
        for breach in &note.breaches {
            text.hanging(("    !", strong), breach, strong);
        }
    }
}

/// System, crew's report and cautions.
pub(super) fn write_up(text: &mut Text, session: &Session) {
    let circuit = session.circuit();
    let quiet = text.theme.quiet();
    text.paragraph(&circuit.brief, quiet);
    text.blank();
    text.heading("THE CREW WROTE");
    for line in &session.write_up().lines {
        text.item("-", line);
    }
    text.blank();
    text.heading("BEFORE YOU BEGIN");
    text.item("!", TRAINING_ONLY);
    text.item("!", STORED_ENERGY);
    let first = circuit.station(session.place().station);
    if session.log().is_empty() {
        for caution in &first.cautions {
            text.item("!", &format!("{}: {caution}", first.title));
        }
    }
}

fn advice_text(text: &mut Text, session: &Session, advice: &Advice) {
    let circuit = session.circuit();
    match advice {
        Advice::Nothing => {
            text.paragraph(
                "Nothing that may be wrong here explains what was seen.",
                text.theme.strong(),
            );
        }
        Advice::Call { cause, group_probability } => {
            text.paragraph(&format!("Call {}", cause.code(circuit)), text.theme.strong());
            text.blank();
            text.paragraph(&cause.told(circuit), Style::new());
            text.paragraph(
                &format!(
                    "What was observed gives this part {} %.",
                    significant(100.0 * group_probability, 3)
                ),
                Style::new(),
            );
        }
        Advice::Do { prospect, candidates, groups, rests } => {
            let step = told_with_walk(circuit, prospect);
            text.paragraph(&capital(&step), text.theme.strong());
            text.blank();
            let walk = if walks(prospect) { ", the walk included" } else { "" };
            let worth = bits(prospect.bits);
            let price = minutes(prospect.minutes);
            text.paragraph(&format!("Worth {worth} for {price}{walk}."), Style::new());
            text.paragraph(&rests.told(), Style::new());
            for step in prospect.path() {
                for caution in session.cautions_against(step) {
                    text.item("!", &format!("As things stand, against a caution: {caution}."));
                }
            }
            text.paragraph(
                &format!(
                    "Still possible: {} in {}.",
                    counted(*candidates, "fault"),
                    counted(*groups, "repair group")
                ),
                Style::new(),
            );
        }
    }
    text.blank();
    text.paragraph("The debrief will say that advice was asked for here.", text.theme.quiet());
}

/// The text with its first letter as a capital.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |c| c.to_uppercase().chain(letters).collect())
}

/// Writes lines from the first one shown; a word at the foot tells that it goes on.
pub(super) fn draw_lines(
    buffer: &mut Buffer,
    area: Rect,
    (lines, from): (&[Line], usize),
    theme: Theme,
) {
    let rows = usize::from(area.height);
    let from = from.min(lines.len().saturating_sub(rows));
    for (y, line) in (area.top()..area.bottom()).zip(lines.iter().skip(from)) {
        let mut x = area.left();
        for (text, style) in line {
            put(buffer, area, x, y, text, *style);
            x = x.saturating_add(width(text));
        }
    }
    let below = lines.len().saturating_sub(from + rows);
    if below > 0 && area.height > 0 {
        let word = format!(" ▾ {} more", counted(below, "line"));
        put_right(buffer, area, area.bottom() - 1, &word, theme.quiet());
    }
    if from > 0 {
        put_right(
            buffer,
            area,
            area.top(),
            &format!(" ▴ {} above", counted(from, "line")),
            theme.quiet(),
        );
    }
}
