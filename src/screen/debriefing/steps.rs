//! Every step judged: a table, and the step in focus told in full.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};
use ratatui::style::Style;

use crate::score::{Debrief, FEW_FAULTS, Known, Row};
use crate::screen::sheet::{Line, Text, capital, draw_lines};
use crate::screen::text::{fit, put, put_right, rule, wrap};
use crate::screen::theme::Theme;
use crate::units::counted;

/// Columns to the right of the step's words: expected, gained, most, minutes, faults.
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

/// The table, and what tells the step in focus in full: beside it or below it.
fn divided(area: Rect, debrief: &Debrief, theme: Theme) -> (Rect, Rect) {
    if area.width >= WIDE {
        let table = Rect { width: area.width * 6 / 10, ..area };
        let x = table.right() + 2;
        return (table, Rect { x, width: area.right() - x, ..area });
    }
    let of = |at: usize| (&debrief.rows[at], debrief.known.get(at + 1), possible(debrief, at + 1));
    // As much as the longest of them takes, so that the table keeps its height.
    let longest = (0..debrief.rows.len())
        .map(|at| row_lines(of(at), at, area.width, theme).len() as u16)
        .max()
        .unwrap_or(0);
    let told = (longest + 1).min(area.height.saturating_sub(5).max(area.height / 2));
    let table = Rect { height: area.height - told, ..area };
    (table, Rect { y: table.bottom(), height: told, ..area })
}

/// The first row of the table that is shown; the write-up is row 0.
fn first_shown(table: Rect, at: usize) -> usize {
    (at + 2).saturating_sub(usize::from(table.height.saturating_sub(1)))
}

/// The step whose row lies under a cell, the step `at` being in focus.
pub(super) fn row_at(area: Rect, debrief: &Debrief, at: usize, cell: Position) -> Option<usize> {
    let (table, _) = divided(area, debrief, Theme::new(false));
    if !table.contains(cell) {
        return None;
    }
    let row = first_shown(table, at) + usize::from(cell.y.checked_sub(table.y + 1)?);
    row.checked_sub(1).filter(|step| *step < debrief.rows.len())
}

pub(super) fn draw(buffer: &mut Buffer, area: Rect, debrief: &Debrief, at: usize, theme: Theme) {
    let wide = area.width >= WIDE;
    let of = |at: usize| (&debrief.rows[at], debrief.known.get(at + 1), possible(debrief, at + 1));
    let (table, detail) = divided(area, debrief, theme);
    let head = "expect gained   most    min  left";
    let bars = bar_columns(table.width);
    let right = Rect { width: table.width.saturating_sub(bars + 1), ..table };
    put(buffer, table, table.x, table.y, "  #  step", theme.quiet());
    put_right(buffer, right, table.y, head, theme.quiet());
    let rows = usize::from(table.height.saturating_sub(1));
    // The write-up is a row of its own: it is where the faults begin to fall.
    let from = first_shown(table, at);
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
    if at < debrief.rows.len() {
        let y = detail.y + u16::from(!wide);
        let text = Rect { y, height: detail.bottom().saturating_sub(y), ..detail };
        let lines = row_lines(of(at), at, text.width, theme);
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

/// What was possible after so many steps, by name as far as that stays short.
fn possible(debrief: &Debrief, steps: usize) -> String {
    let all = debrief.possible_after(steps);
    let named = all.iter().take(FEW_FAULTS).copied().collect::<Vec<_>>().join(", ");
    match all.len().saturating_sub(FEW_FAULTS) {
        0 => named,
        more => format!("{named} and {more} more"),
    }
}

fn row_lines(
    (row, known, possible): (&Row, Option<&Known>, String),
    at: usize,
    columns: u16,
    theme: Theme,
) -> Vec<Line> {
    let mut text = Text { columns, lines: Vec::new(), theme };
    text.paragraph(&format!("Step {}: {}", at + 1, row.step), theme.strong());
    for line in wrap(&format!("{}.", capital(&row.remark)), columns) {
        text.lines.push(vec![(line, Style::new())]);
    }
    if !row.showed.is_empty() {
        text.paragraph(&format!("It showed {}.", row.showed.join("; ")), Style::new());
    }
    for also in row.loss_told().map(str::to_owned).into_iter().chain(row.most_told()) {
        text.paragraph(&format!("{}.", capital(&also)), theme.quiet());
    }
    if row.advice_taken {
        text.paragraph("Advice was asked for before this step.", theme.quiet());
    }
    text.paragraph(
        &format!(
            "Left: {} in {}: {possible}.",
            counted(row.candidates, "fault"),
            counted(row.groups, "repair group")
        ),
        theme.quiet(),
    );
    if let Some(known) = known.filter(|known| known.is_marked()) {
        text.paragraph(&format!("By then: {}.", known.told()), theme.quiet());
    }
    for breach in &row.breaches {
        text.item("!", breach);
    }
    text.lines
}
