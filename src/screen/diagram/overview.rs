//! The whole system in one picture, small enough to fit: where one is, what is marked, what
//! a trace runs through, and the names of sources and machines where there is room.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::Diagram;
use crate::diagram::{Figure, Mark, Shape};
use crate::screen::dots::{Dots, Stroke};
use crate::screen::text::{put, width};
use crate::screen::theme::Theme;

/// Dots across and down a cell of the screen.
const ACROSS: f64 = 2.0;
const DOWN: f64 = 4.0;

/// How the picture is made smaller.
#[derive(Clone, Copy, Debug)]
struct Scale {
    /// Dots of the screen for a column and for a row of the picture.
    column: f64,
    row: f64,
}

impl Scale {
    fn of(diagram: &Diagram, window: Rect) -> Self {
        let fit = |room: f64, whole: i32| (room - 1.0) / f64::from(whole.max(1));
        Self {
            column: fit(f64::from(window.width) * ACROSS, diagram.map.drawing.columns),
            row: fit(f64::from(window.height) * DOWN, diagram.map.drawing.rows),
        }
    }

    fn dot(self, column: i32, row: i32) -> (f64, f64) {
        (f64::from(column) * self.column, f64::from(row) * self.row)
    }

    /// The cell of the screen, counted from the corner of the window.
    fn cell(self, column: i32, row: i32) -> (u16, u16) {
        let (x, y) = self.dot(column, row);
        ((x / ACROSS) as u16, (y / DOWN) as u16)
    }
}

/// The column and row of the picture under a cell of the window.
pub(super) fn under(diagram: &Diagram, window: Rect, (x, y): (u16, u16)) -> (i32, i32) {
    let scale = Scale::of(diagram, window);
    let column = (f64::from(x - window.x) * ACROSS + 1.0) / scale.column;
    let row = (f64::from(y - window.y) * DOWN + 2.0) / scale.row;
    (column as i32, row as i32)
}

/// Draws the whole system; the frame is what the large picture shows.
pub(super) fn draw(
    buffer: &mut Buffer,
    window: Rect,
    (diagram, seen): (&Diagram, (u16, u16)),
    theme: Theme,
) {
    let scale = Scale::of(diagram, window);
    let mut dots = Dots::over(window);
    let traced = |on: bool| if on { theme.strong() } else { theme.quiet() };
    // What is traced comes last, so that it lies on top.
    for bold in [false, true] {
        for (number, line) in diagram.map.drawing.lines.iter().enumerate() {
            if diagram.is_line_traced(number) != bold {
                continue;
            }
            for piece in &line.pieces {
                let from = scale.dot(piece.from.column, piece.from.row);
                let to = scale.dot(piece.to.column, piece.to.row);
                let level = piece.from.row == piece.to.row;
                let sign = match (bold, level) {
                    (false, true) => '-',
                    (false, false) => '|',
                    (true, true) => '=',
                    (true, false) => 'H',
                };
                dots.line(from, to, Stroke::Sign(sign), traced(bold));
            }
        }
        for shape in &diagram.map.drawing.shapes {
            if diagram.is_shape_traced(shape) != bold {
                continue;
            }
            let (left, top) = scale.dot(shape.area.left, shape.area.top);
            let (right, bottom) = scale.dot(shape.area.right() - 1, shape.area.bottom() - 1);
            let mut y = top;
            while y <= bottom {
                dots.line((left, y), (right, y), Stroke::Sign('#'), traced(bold));
                y += 1.0;
            }
        }
    }
    dots.show(buffer, theme.ascii());
    // The corners of what the large picture shows.
    let (left, top) = scale.cell(diagram.left, diagram.top);
    let right = diagram.left + i32::from(seen.0) - 1;
    let bottom = diagram.top + i32::from(seen.1) - 1;
    let (right, bottom) =
        scale.cell(right.min(diagram.map.drawing.columns), bottom.min(diagram.map.drawing.rows));
    for (x, y, sign) in
        [(left, top, "┌"), (right, top, "┐"), (left, bottom, "└"), (right, bottom, "┘")]
    {
        put(buffer, window, window.x + x, window.y + y, sign, theme.focus());
    }
    // Names go over them.
    let mut taken: Vec<Rect> = Vec::new();
    let mut write = |buffer: &mut Buffer, (x, y): (u16, u16), text: &str, style: Style| {
        let wide = width(text);
        let x = (window.x + x).min(window.right().saturating_sub(wide));
        let y = (window.y + y).min(window.bottom().saturating_sub(1));
        let room = Rect { x: x.saturating_sub(1), y, width: wide + 2, height: 1 };
        if taken.iter().any(|other| other.intersects(room)) {
            return;
        }
        put(buffer, window, x, y, text, style);
        taken.push(room);
    };
    for shape in &diagram.map.drawing.shapes {
        let at = scale.cell(shape.area.left, shape.area.top);
        match diagram.mark_of(shape) {
            Some(Mark::Suspect) => write(buffer, at, "?", theme.focus()),
            Some(Mark::Cleared) => write(buffer, at, "✓", theme.strong()),
            Some(Mark::Excluded) | None => {}
        }
    }
    if let Some(shape) = diagram.shape_in_focus() {
        let name = format!("▸{} ", shape.name);
        write(buffer, scale.cell(shape.area.left, shape.area.top), &name, theme.focus());
    }
    let mut named: Vec<&Shape> =
        diagram.map.drawing.shapes.iter().filter(|shape| stands_out(shape.figure)).collect();
    named.sort_by_key(|shape| rank(shape.figure));
    for shape in named {
        let at = scale.cell(shape.area.left, shape.area.top + shape.area.rows / 2);
        write(buffer, at, &shape.name, theme.strong());
    }
}

/// Whether a part is worth a name on the small picture.
fn stands_out(figure: Figure) -> bool {
    rank(figure) < u8::MAX
}

/// What is named first.
fn rank(figure: Figure) -> u8 {
    match figure {
        Figure::Battery
        | Figure::Supply
        | Figure::Generator
        | Figure::Receptacle
        | Figure::Alternator => 0,
        Figure::Converter | Figure::Vibrator | Figure::Rectifier => 1,
        Figure::Transformer => 2,
        Figure::Selector | Figure::Relay => 3,
        Figure::Meter => 4,
        _ => u8::MAX,
    }
}
