//! The first page: what one can do here. A row may open a list of its own: the ladder of a
//! system.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

use super::app::{App, Beginning, Entry};
use super::command::Command;
use super::frame::{Areas, head, sheet_columns};
use super::sheet::TRAINING_ONLY;
use super::text::{fit, put, wrap};
use super::theme::Theme;

/// Rows above the first entry.
const ROWS_ABOVE: u16 = 2;
/// Rows kept for what is said of the entry in focus and for the caution.
const ROWS_BELOW: u16 = 8;

/// Columns of a row at most: beyond that its two ends are hard to see as one.
const WIDEST_ROW: u16 = 110;

/// What stands at the end of a drill's row.
const WHAT_A_ROW_SAYS: &str = "Par: minutes the best plan known takes, on average. In 100: how \
many who follow it call the wrong part. Rung 1: first steps, 5: before the board.";

/// Where one is in the menu: the row in focus, and the entry whose list is open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Menu {
    /// The entry whose list is open, by its row in the first list.
    pub(super) inside: Option<usize>,
    /// The row in focus.
    pub(super) at: usize,
}

/// What comes of a command in the menu.
pub(super) enum Chosen {
    /// Nothing further.
    Stay,
    /// The program is left.
    Leave,
    /// This entry is to be begun.
    Begin(Entry),
}

impl Menu {
    /// The entries of the list that is open.
    pub(super) fn rows(self, entries: &[Entry]) -> &[Entry] {
        match self.inside.and_then(|at| entries.get(at)) {
            Some(open) => &open.within,
            None => entries,
        }
    }

    /// What Enter does with the row in focus.
    pub(super) fn verb(self, entries: &[Entry]) -> &'static str {
        match self.rows(entries).get(self.at) {
            Some(entry) if !entry.within.is_empty() => "open the list",
            Some(Entry { what: Beginning::Attempt(_), .. }) => "open it",
            Some(Entry { what: Beginning::Oral { .. }, .. }) => "be asked",
            _ => "start the drill",
        }
    }

    /// Takes one command.
    pub(super) fn update(&mut self, command: Command, entries: &[Entry]) -> Chosen {
        let rows = self.rows(entries);
        let last = rows.len().saturating_sub(1);
        match command {
            Command::Up | Command::Previous => self.at = self.at.saturating_sub(1),
            Command::Down | Command::Next => self.at = (self.at + 1).min(last),
            Command::First => self.at = 0,
            Command::Last => self.at = last,
            Command::Take => match rows.get(self.at) {
                Some(entry) if !entry.within.is_empty() => {
                    *self = Self { inside: Some(self.at), at: 0 };
                }
                Some(entry) => return Chosen::Begin(entry.clone()),
                None => {}
            },
            Command::Back | Command::Quit => match self.inside {
                Some(before) => *self = Self { inside: None, at: before },
                // Esc is pressed once too often too easily to end the program.
                None if command == Command::Quit => return Chosen::Leave,
                None => {}
            },
            _ => {}
        }
        Chosen::Stay
    }
}

/// The first row that is shown, where there are more than fit.
fn first_shown(rows: usize, at: usize, fit: usize) -> usize {
    if rows <= fit { 0 } else { at.saturating_sub(fit / 2).min(rows - fit) }
}

fn rows_that_fit(stage: Rect) -> usize {
    usize::from(stage.height.saturating_sub(ROWS_ABOVE + ROWS_BELOW)).max(1)
}

/// The row of the menu under a cell.
pub(super) fn row_at(app: &App, menu: Menu, stage: Rect, at: Position) -> Option<usize> {
    let row = usize::from(at.y.checked_sub(stage.y + ROWS_ABOVE)?);
    let rows = menu.rows(&app.entries).len();
    let fit = rows_that_fit(stage);
    let row = (row < fit).then_some(row + first_shown(rows, menu.at, fit))?;
    (row < rows).then_some(row)
}

/// Draws the menu with the row in focus.
pub(super) fn draw(buffer: &mut Buffer, areas: &Areas, (app, menu): (&App, Menu), theme: Theme) {
    head(buffer, areas.head, "HALFSPLIT", "find the failed part by reasoning", theme);
    let stage = areas.stage;
    let text = Rect { width: sheet_columns(stage), ..stage };
    let table = Rect { width: stage.width.min(WIDEST_ROW), ..stage };
    let open = menu.inside.and_then(|at| app.entries.get(at));
    let title = open.map_or("SYSTEMS", |open| open.title.as_str());
    let mut y = stage.y + ROWS_ABOVE;
    put(buffer, stage, stage.x, y - 1, &fit(title, text.width), theme.quiet());
    let rows = menu.rows(&app.entries);
    let shown = rows_that_fit(stage);
    let first = first_shown(rows.len(), menu.at, shown);
    for (index, entry) in rows.iter().enumerate().skip(first).take(shown) {
        let (sign, style) =
            if index == menu.at { ("▸", theme.focus()) } else { (" ", Style::new()) };
        let note = entry.note.width() as u16;
        let room = table.width.saturating_sub(5 + note);
        let line = format!("{sign} {} ", fit(&entry.title, room));
        put(buffer, table, table.x, y, &line, style);
        put(buffer, table, table.right().saturating_sub(note), y, &entry.note, theme.quiet());
        y += 1;
    }
    if first > 0 || first + shown < rows.len() {
        let told = format!("{} of {}", menu.at + 1, rows.len());
        put(buffer, text, text.x + 2, y, &told, theme.quiet());
        y += 1;
    }
    let mut caution = wrap(TRAINING_ONLY, text.width);
    if rows.iter().any(|entry| matches!(entry.what, Beginning::Written(_))) {
        caution.splice(0..0, wrap(WHAT_A_ROW_SAYS, text.width));
    }
    let from = stage.bottom().saturating_sub(caution.len() as u16);
    if let Some(entry) = rows.get(menu.at) {
        y += 1;
        let mut lines = wrap(&entry.brief, text.width.saturating_sub(2));
        // What there is no room for is told before the drill begins.
        let room = usize::from(from.saturating_sub(y + 1));
        if lines.len() > room {
            lines.truncate(room);
            if let Some(last) = lines.last_mut() {
                last.push('…');
            }
        }
        for line in lines {
            put(buffer, text, text.x + 2, y, &line, theme.quiet());
            y += 1;
        }
    }
    for (row, line) in caution.iter().enumerate() {
        put(buffer, stage, stage.x, from + row as u16, line, Style::new());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_row_in_focus_is_always_shown() {
        for rows in 0..40 {
            for at in 0..rows {
                let first = first_shown(rows, at, 7);
                assert!((first..first + 7).contains(&at), "{at} of {rows} from {first}");
                assert!(rows <= 7 || first + 7 <= rows);
            }
        }
    }
}
