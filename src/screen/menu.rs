//! The first page: the systems one can drill.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};
use ratatui::style::Style;

use super::app::App;
use super::frame::{Areas, head, sheet_columns};
use super::sheet::TRAINING_ONLY;
use super::text::{fit, put, wrap};
use super::theme::Theme;

/// Rows above the first system.
const ROWS_ABOVE: u16 = 2;

/// The row of the menu under a cell.
pub(super) fn row_at(app: &App, stage: Rect, at: Position) -> Option<usize> {
    let row = usize::from(at.y.checked_sub(stage.y + ROWS_ABOVE)?);
    (row < app.systems.len()).then_some(row)
}

/// Draws the menu with the row in focus.
pub(super) fn draw(buffer: &mut Buffer, areas: &Areas, (app, at): (&App, usize), theme: Theme) {
    head(buffer, areas.head, "HALFSPLIT", "find the failed part by reasoning", theme);
    let stage = areas.stage;
    let text = Rect { width: sheet_columns(stage), ..stage };
    let mut y = stage.y + ROWS_ABOVE;
    put(buffer, stage, stage.x, y - 1, "SYSTEMS", theme.quiet());
    for (index, system) in app.systems.iter().enumerate() {
        let (sign, style) = if index == at { ("▸", theme.focus()) } else { (" ", Style::new()) };
        let line = format!("{sign} {} ", fit(&system.title, text.width.saturating_sub(4)));
        put(buffer, text, text.x, y, &line, style);
        y += 1;
    }
    if let Some(system) = app.systems.get(at) {
        y += 1;
        for line in wrap(&system.brief, text.width.saturating_sub(2)) {
            put(buffer, text, text.x + 2, y, &line, theme.quiet());
            y += 1;
        }
    }
    let caution = wrap(TRAINING_ONLY, text.width);
    let from = stage.bottom().saturating_sub(caution.len() as u16 + 1).max(y + 1);
    for (row, line) in caution.iter().enumerate() {
        put(buffer, stage, stage.x, from + row as u16, line, Style::new());
    }
}
