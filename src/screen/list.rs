//! A list to choose from, drawn.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::picker::{Choice, Picker, Picking, Row};
use super::text::{fit, fit_placard, put, put_right, width};
use super::theme::Theme;
use crate::drill::Session;
use crate::units::counted;

/// Draws a list: title, what was typed, the rows around the one in focus.
pub(super) fn draw(
    buffer: &mut Buffer,
    stage: Rect,
    (session, picker): (&Session, &Picker),
    theme: Theme,
) {
    let rows = picker.rows(session);
    let title = picker.title(session.circuit());
    put(buffer, stage, stage.x, stage.y, &title, theme.strong());
    let count = if picker.filter.is_empty() {
        counted(rows.len(), "row")
    } else {
        format!("find: {}▏ {}", picker.filter, counted(rows.len(), "row"))
    };
    put_right(buffer, stage, stage.y, &count, theme.quiet());
    let body = Rect { y: stage.y + 2, height: super::frame::sheet_rows(stage), ..stage };
    let visible = usize::from(body.height);
    let from = (picker.at + 1).saturating_sub(visible);
    let columns = columns(body.width, &rows, picker, theme);
    for (index, row) in rows.iter().enumerate().skip(from).take(visible) {
        let y = body.y + (index - from) as u16;
        draw_row(buffer, Rect { y, height: 1, ..body }, row, index == picker.at, columns);
    }
    if rows.is_empty() {
        put(buffer, body, body.x + 2, body.y, "nothing of that name", theme.quiet());
    }
}

fn columns(whole: u16, rows: &[Row], picker: &Picker, theme: Theme) -> Columns {
    let names = rows.iter().map(|row| width(&row.name)).max().unwrap_or(0);
    let most = match picker.picking {
        Picking::Acts => whole * 6 / 10,
        _ => whole * 4 / 10,
    };
    Columns { name: names.min(most), boxes: picker.marks(), theme }
}

/// All of the row in focus, where it stands cut in the list.
pub(super) fn cut_row(stage: Rect, session: &Session, picker: &Picker) -> Option<String> {
    let rows = picker.rows(session);
    let row = rows.get(picker.at)?;
    let columns = columns(stage.width, &rows, picker, Theme::new(false));
    let before = if columns.boxes { BOXED } else { UNBOXED };
    let apart = if row.note.is_empty() { 2 } else { 3 };
    let rest = stage.width.saturating_sub(columns.name + before + apart);
    // As the row is drawn: the right end may take half of the rest.
    let most = if row.note.is_empty() { rest } else { rest.div_ceil(2).saturating_sub(1) };
    let end = width(&row.end);
    let cut = width(&row.name) > columns.name
        || end > most
        || (!row.note.is_empty() && width(&row.note) > rest.saturating_sub(end));
    let told = [row.name.trim(), row.end.trim(), row.note.trim()];
    cut.then(|| told.into_iter().filter(|t| !t.is_empty()).collect::<Vec<_>>().join("  "))
}

#[derive(Clone, Copy)]
struct Columns {
    name: u16,
    /// Whether marks stand in boxes that can be clicked.
    boxes: bool,
    theme: Theme,
}

/// Columns before the name in a list with boxes, and in one without.
const BOXED: u16 = 5;
const UNBOXED: u16 = 3;

/// Whether a cell of a list, so many columns from its left edge, belongs to a box.
pub(super) fn in_box(column: u16) -> bool {
    (1..BOXED).contains(&column)
}

fn draw_row(buffer: &mut Buffer, area: Rect, row: &Row, here: bool, columns: Columns) {
    let theme = columns.theme;
    let (strong, quiet) = if here {
        buffer.set_style(area, theme.focus());
        (theme.focus(), theme.focus())
    } else {
        (if heads(row) { theme.strong() } else { Style::new() }, theme.quiet())
    };
    put(buffer, area, area.x, area.y, if here { "▸" } else { " " }, strong);
    let before = if columns.boxes { BOXED } else { UNBOXED };
    if columns.boxes {
        put(buffer, area, area.x + 1, area.y, &format!("[{}]", row.mark), strong);
    } else {
        put(buffer, area, area.x + 1, area.y, row.mark, strong);
    }
    let name = fit_placard(&row.name, columns.name);
    put(buffer, area, area.x + before, area.y, &name, strong);
    // The right end may take half of what is left.
    let rest = area.width.saturating_sub(columns.name + before + 2);
    let end = fit_placard(&row.end, if row.note.is_empty() { rest } else { rest / 2 });
    let end_x = put_right(buffer, area, area.y, &end, quiet);
    let note_x = area.x + before + columns.name + 2;
    let room = end_x.saturating_sub(note_x + 1);
    if room > 2 {
        put(buffer, area, note_x, area.y, &fit(&row.note, room), quiet);
    }
}

/// Whether a row stands over others.
fn heads(row: &Row) -> bool {
    matches!(row.choice, Choice::Branch(_))
}
