//! The pages of an oral, drawn.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};
use ratatui::style::Style;

use super::{Asking, GRADES, Stage, letter};
use crate::drill::needle_at;
use crate::oral::{Answer, Given, Look, Question};
use crate::screen::diagram;
use crate::screen::frame::{Areas, foot, head, keys, sheet_columns};
use crate::screen::sheet::{Line, TRAINING_ONLY, Text, draw_lines};
use crate::screen::station::dial;
use crate::screen::text::wrap;
use crate::screen::theme::Theme;
use crate::units::{counted, minutes, significant};

/// Columns before the words of a choice: pointer, box or blank, letter.
const BEFORE: u16 = 8;
/// Rows of a pointer instrument, where one is shown.
const DIAL_ROWS: u16 = 8;
/// Columns of the longest bar of the forecast.
const BAR: usize = 40;

/// The lines of a question, and by choice which of them are its own.
struct Put {
    lines: Vec<Line>,
    choices: Vec<std::ops::Range<usize>>,
}

/// A question with its choices.
fn lines_of(asking: &Asking, question: &Question, columns: u16, theme: Theme) -> Put {
    let mut text = Text { columns, lines: Vec::new(), theme };
    text.paragraph(&question.text, theme.strong());
    text.blank();
    let mut choices = Vec::new();
    let answered = asking.stage == Stage::Told;
    match &question.answer {
        Answer::One { choices: words, .. } | Answer::All { choices: words, .. } => {
            for (at, words) in words.iter().enumerate() {
                let from = text.lines.len();
                let here = at == asking.focus && !answered;
                let style = if here { theme.focus() } else { Style::new() };
                let sign = sign(asking, question, at);
                let told = wrap(words, columns.saturating_sub(BEFORE));
                for (row, line) in told.into_iter().enumerate() {
                    let lead = if row == 0 { sign.clone() } else { " ".repeat(BEFORE.into()) };
                    text.lines.push(vec![(lead, style), (line, style)]);
                }
                choices.push(from..text.lines.len());
            }
        }
        Answer::Number { unit, .. } => {
            let typed = if answered {
                given_told(asking, question)
            } else {
                format!("{}▏ {unit}", asking.typed)
            };
            text.paragraph(&format!("Your figure: {typed}"), Style::new());
        }
        Answer::Words { model } => {
            if asking.stage == Stage::Asked {
                text.paragraph(
                    "Say it aloud, as to the board. Then compare with the model answer.",
                    theme.quiet(),
                );
            } else {
                for line in model {
                    text.item("-", line);
                }
            }
            if asking.stage == Stage::Compared {
                text.blank();
                text.paragraph("How was yours?", theme.quiet());
                for (at, (_, words)) in GRADES.iter().enumerate() {
                    let here = at == asking.focus;
                    let style = if here { theme.focus() } else { Style::new() };
                    let sign = if here { "▸" } else { " " };
                    let from = text.lines.len();
                    text.lines.push(vec![(format!("{sign}     {} {words}", at + 1), style)]);
                    choices.push(from..from + 1);
                }
            }
        }
    }
    Put { lines: text.lines, choices }
}

/// What stands before a choice: the pointer or what became of it, its box, its letter.
fn sign(asking: &Asking, question: &Question, at: usize) -> String {
    let given = asking.outcomes.get(asking.at).map(|outcome| &outcome.given);
    let (several, is_right) = match &question.answer {
        Answer::All { right, .. } => (true, right.get(at) == Some(&true)),
        Answer::One { right, .. } => (false, *right == at),
        _ => (false, false),
    };
    let chosen = match given.filter(|_| asking.stage == Stage::Told) {
        Some(Given::One(chosen)) => *chosen == at,
        Some(Given::All(chosen)) => chosen.get(at) == Some(&true),
        _ => asking.marked.get(at) == Some(&true),
    };
    let first = match asking.stage {
        Stage::Told if is_right => "✓",
        Stage::Told if chosen => "×",
        Stage::Told => " ",
        _ if asking.focus == at => "▸",
        _ => " ",
    };
    let boxed = match (several, chosen) {
        (true, true) => "[×]",
        (true, false) => "[ ]",
        (false, true) if asking.stage == Stage::Told => " ← ",
        (false, _) => "   ",
    };
    format!("{first} {boxed} {} ", letter(at))
}

/// What was answered, in words.
fn given_told(asking: &Asking, question: &Question) -> String {
    match (asking.outcomes.get(asking.at).map(|outcome| &outcome.given), &question.answer) {
        (Some(Given::Number(figure)), Answer::Number { unit, .. }) => {
            format!("{} {unit}", significant(*figure, 4))
        }
        _ => String::new(),
    }
}

/// The choice under a cell.
pub(super) fn row_at(asking: &Asking, stage: Rect, at: Position) -> Option<usize> {
    if !matches!(asking.stage, Stage::Asked | Stage::Compared) {
        return None;
    }
    let put = lines_of(asking, asking.question()?, sheet_columns(stage), Theme::new(false));
    let line = asking.scroll + usize::from(at.y.checked_sub(stage.y + 1)?);
    put.choices.iter().position(|lines| lines.contains(&line))
}

/// Draws the page.
pub(in super::super) fn draw(buffer: &mut Buffer, areas: &Areas, asking: &Asking, theme: Theme) {
    let title = asking.oral.examiner.circuit().title_with_mods();
    if let Some(shown) = &asking.diagram {
        head(buffer, areas.head, "DIAGRAM", &title, theme);
        diagram::draw(buffer, areas, (shown, asking.oral.examiner.circuit()), theme);
        return;
    }
    let mut right = title;
    if matches!(asking.stage, Stage::Asked | Stage::Compared | Stage::Told) {
        right = format!("{right} · {} of {}", asking.at + 1, asking.oral.questions.len());
    }
    if let Some(left) = asking.seconds_left().filter(|_| asking.stage != Stage::Over) {
        right = format!("{right} · {}:{:02} left", left / 60, left % 60);
    }
    let placard = if asking.oral.digs { "THE BOARD" } else { "ORAL" };
    head(buffer, areas.head, placard, &right, theme);
    let stage = areas.stage;
    let body = Rect { y: stage.y + 1, height: stage.height.saturating_sub(1), ..stage };
    let columns = sheet_columns(stage);
    let (lines, hints): (Vec<Line>, &[(&str, &str)]) = match asking.stage {
        Stage::Before => (before(asking, columns, theme), &[("Enter", "begin"), ("Esc", "back")]),
        Stage::Over => (over(asking, columns, theme), &[("Enter", "close"), ("↑↓", "read on")]),
        _ => {
            let Some(question) = asking.question() else { return };
            let mut put = lines_of(asking, question, columns, theme);
            if asking.stage == Stage::Told {
                reasons(&mut put.lines, asking, question, (columns, theme));
            }
            (put.lines, hints(asking, question))
        }
    };
    draw_lines(buffer, body, (&lines, asking.scroll), theme);
    if asking.stage == Stage::Told
        && let Some(question) = asking.question()
    {
        needle(buffer, body, asking, (question, lines.len()), theme);
    }
    let further = asking.further.get(asking.at) == Some(&true) && asking.stage == Stage::Asked;
    let said = asking.remark.clone().or_else(|| {
        further.then(|| "The answer before was weak: the board asks further.".to_owned())
    });
    foot(buffer, areas.foot, &said.into_iter().collect::<Vec<_>>(), None, theme);
    // Before the board an answer stands.
    let hints: Vec<(&str, &str)> =
        hints.iter().copied().filter(|(key, _)| !(asking.oral.digs && *key == "Bksp")).collect();
    keys(buffer, areas.foot, &hints, theme);
}

fn hints(asking: &Asking, question: &Question) -> &'static [(&'static str, &'static str)] {
    match (asking.stage, &question.answer) {
        (Stage::Told, _) => &[
            ("Enter", "go on"),
            ("Bksp", "take it back"),
            ("d", "diagram"),
            ("↑↓", "read on"),
            ("Esc", "finish"),
        ],
        (Stage::Compared, _) => {
            &[("Enter", "grade it so"), ("↑↓ 1-4", "choose"), ("Esc", "finish")]
        }
        (_, Answer::All { .. }) => &[
            ("Enter", "answer"),
            ("space letters", "mark all that are right"),
            ("Bksp", "the last one again"),
            ("Esc", "finish"),
        ],
        (_, Answer::One { .. }) => &[
            ("Enter", "answer"),
            ("↑↓ letters", "choose"),
            ("Bksp", "the last one again"),
            ("Esc", "finish"),
        ],
        (_, Answer::Number { .. }) => &[
            ("figures", "as near as the scale can be read"),
            ("Enter", "answer"),
            ("Esc", "finish"),
        ],
        (_, Answer::Words { .. }) => &[("Enter", "show the model answer"), ("Esc", "finish")],
    }
}

/// Whether it was right, and why.
fn reasons(
    lines: &mut Vec<Line>,
    asking: &Asking,
    question: &Question,
    (columns, theme): (u16, Theme),
) {
    let mut text = Text { columns, lines: std::mem::take(lines), theme };
    text.blank();
    let is_right = asking.outcomes.get(asking.at).is_some_and(|outcome| outcome.is_right);
    let verdict = match &question.answer {
        Answer::Words { .. } => "Graded by yourself.".to_owned(),
        _ if is_right => "Right.".to_owned(),
        Answer::Number { value, unit, tolerance, .. } => format!(
            "No: {} {unit}, give or take {}.",
            significant(*value, 4),
            significant(*tolerance, 2)
        ),
        _ => "No. ✓ stands before what is right.".to_owned(),
    };
    text.paragraph(&verdict, theme.strong());
    for reason in &question.reasons {
        text.item("-", reason);
    }
    *lines = text.lines;
}

/// The pointer that one would look at, below the text or beside it.
fn needle(
    buffer: &mut Buffer,
    body: Rect,
    asking: &Asking,
    (question, lines): (&Question, usize),
    theme: Theme,
) {
    let Some(Look::Needle { dial: part, volts_or_value }) = question.look else { return };
    let Some(needle) = needle_at(asking.oral.examiner.circuit(), part, volts_or_value) else {
        return;
    };
    let drawn = dial(&needle, DIAL_ROWS, theme);
    let below = body.y + lines as u16 + 1;
    let beside = body.x + sheet_columns(body) + 4;
    let (x, y) = if below + DIAL_ROWS <= body.bottom() {
        (body.x + 4, below)
    } else if beside + drawn.area.width <= body.right() {
        (beside, body.y)
    } else {
        return;
    };
    for row in 0..drawn.area.height {
        for column in 0..drawn.area.width {
            if let Some(cell) = buffer.cell_mut((x + column, y + row)) {
                *cell = drawn[(column, row)].clone();
            }
        }
    }
}

/// What is due, before the first question.
fn before(asking: &Asking, columns: u16, theme: Theme) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    let (due, forecast) = asking.oral.ledger.plan();
    let count = counted(asking.oral.questions.len(), "question");
    let time = asking.oral.seconds.map_or_else(
        || "without hurry".to_owned(),
        |seconds| format!("in {}", minutes(seconds as f64 / 60.0)),
    );
    let further = if asking.oral.digs { ", and further ones where an answer is weak" } else { "" };
    let told = format!("{count} {time}: what is due first, then what is new{further}.");
    text.paragraph(&told, theme.strong());
    text.paragraph(&format!("Drawn from {}.", asking.oral.seed), theme.quiet());
    text.blank();
    text.heading("WHAT IS DUE");
    text.paragraph(&due, Style::new());
    bars(&mut text, &forecast);
    text.blank();
    text.paragraph(TRAINING_ONLY, Style::new());
    text.lines
}

/// Cards that fall due, day by day.
fn bars(text: &mut Text, forecast: &[u32]) {
    let most = forecast.iter().copied().max().unwrap_or(0);
    if most == 0 {
        return;
    }
    let quiet = text.theme.quiet();
    for (day, count) in forecast.iter().enumerate() {
        let when =
            if day == 0 { "today".to_owned() } else { format!("in {}", counted(day, "day")) };
        let bar = "▄".repeat((*count as usize * BAR).div_ceil(most as usize));
        text.lines.push(vec![(format!("{when:>11} {count:>4} "), Style::new()), (bar, quiet)]);
    }
}

/// How it went.
fn over(asking: &Asking, columns: u16, theme: Theme) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    let answered = asking.outcomes.len();
    // Before a board what was not answered was not known.
    let of = if asking.oral.digs { asking.oral.questions.len() } else { answered };
    let right = asking.outcomes.iter().filter(|outcome| outcome.is_right).count();
    if asking.timed_out {
        text.paragraph("The time is over.", theme.strong());
    }
    if answered == 0 {
        text.paragraph("Nothing was answered.", theme.strong());
    } else {
        let pass = asking.oral.pass_percent;
        let enough = 100 * right >= pass as usize * of;
        let word = if enough { "enough" } else { "not enough" };
        text.paragraph(&format!("{right} of {of} right: {word} for {pass} %."), theme.strong());
    }
    text.blank();
    text.heading("WHAT IS DUE");
    let (due, forecast) = asking.oral.ledger.plan();
    text.paragraph(&due, Style::new());
    let wrong: Vec<&Question> = asking
        .oral
        .questions
        .iter()
        .zip(&asking.outcomes)
        .filter(|(_, outcome)| !outcome.is_right)
        .map(|(question, _)| question)
        .collect();
    if !wrong.is_empty() {
        text.blank();
        text.heading("TO GO OVER AGAIN");
        for question in wrong {
            text.item("-", &question.text);
        }
    }
    text.blank();
    bars(&mut text, &forecast);
    text.lines
}
