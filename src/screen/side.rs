//! What the trainee knows, beside the station: notebook and suspects, and on a large screen
//! the surroundings of what has the focus in the diagram.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::diagram;
use super::drilling::Drilling;
use super::picker::mark_sign;
use super::sheet::{Text, draw_lines, notebook};
use super::station::Item;
use super::text::{fit, put, put_right};
use super::theme::Theme;
use crate::drill::Mark;

/// Columns and rows beside the station from which on the diagram stands there too.
const FOR_DIAGRAM: (u16, u16) = (52, 40);

/// Draws them, with a rule to the station; what the last step showed only once every
/// pointer has settled.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    (drilling, looked_at): (&Drilling, Option<Item>),
    theme: Theme,
) {
    let (session, settled) = (&drilling.session, drilling.swing.is_none());
    for y in area.top()..area.bottom() {
        put(buffer, area, area.x, y, "│", theme.quiet());
    }
    let inner = Rect { x: area.x + 2, width: area.width.saturating_sub(3), ..area };
    let marks: Vec<_> = {
        let mut marks: Vec<_> = session.marks().iter().map(|(p, m)| (*p, *m)).collect();
        marks.sort_by_key(|(_, mark)| *mark != Mark::Suspect);
        marks
    };
    let diagram_rows = if area.width >= FOR_DIAGRAM.0 && area.height >= FOR_DIAGRAM.1 {
        area.height / 2
    } else {
        0
    };
    let whole = inner;
    let inner = Rect { height: inner.height - diagram_rows, ..inner };
    let most = (inner.height / 3).max(4);
    let board_rows = (marks.len().max(1) as u16 + 2).min(most);
    let notes = Rect { height: inner.height.saturating_sub(board_rows), ..inner };
    let board = Rect { y: notes.bottom(), height: board_rows, ..inner };

    put(buffer, notes, notes.x, notes.y, "NOTEBOOK", theme.strong());
    let body = Rect { y: notes.y + 1, height: notes.height.saturating_sub(2), ..notes };
    let mut text = Text { columns: body.width, lines: Vec::new(), theme };
    notebook(&mut text, session, settled);
    draw_lines(buffer, body, (&text.lines, usize::MAX), theme);

    put(buffer, board, board.x, board.y, "SUSPECTS", theme.strong());
    let circuit = session.circuit();
    let shown = usize::from(board.height.saturating_sub(2));
    if marks.is_empty() {
        put(
            buffer,
            board,
            board.x,
            board.y + 1,
            "no marks yet: s, or space on a part",
            theme.quiet(),
        );
    }
    for (row, (part, mark)) in marks.iter().take(shown).enumerate() {
        let y = board.y + 1 + row as u16;
        let part = circuit.part(*part);
        let style = if *mark == Mark::Suspect { Style::new() } else { theme.quiet() };
        put(buffer, board, board.x, y, mark_sign(Some(*mark)), theme.strong());
        let text = fit(&format!("{}  {}", part.id, part.label), board.width.saturating_sub(2));
        put(buffer, board, board.x + 2, y, &text, style);
    }
    if marks.len() > shown {
        let more = format!("{} more", marks.len() - shown);
        put_right(buffer, board, board.y, &more, theme.quiet());
    }
    if diagram_rows > 0 {
        let area = Rect { y: inner.bottom(), height: diagram_rows, ..whole };
        put(buffer, area, area.x, area.y, "DIAGRAM", theme.strong());
        put_right(buffer, area, area.y, "d opens it", theme.quiet());
        let body = Rect { y: area.y + 1, height: area.height - 1, ..area };
        let around =
            (drilling.diagram((area.width, area.height)), drilling.part_looked_at(looked_at));
        diagram::surroundings(buffer, body, around, theme);
    }
}
