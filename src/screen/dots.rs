//! Fine drawing: two by four dots in each cell, with the braille characters, or with
//! strokes where only ASCII is drawn.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A sheet of dots over an area of cells; `y` grows downwards.
#[derive(Debug)]
pub(super) struct Dots {
    area: Rect,
    cells: Vec<Fine>,
}

/// One cell: its dots, and the stroke that stands for them in ASCII.
#[derive(Clone, Copy, Debug)]
struct Fine {
    bits: u8,
    stroke: char,
    style: Style,
}

/// What stands for dots where only ASCII is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) enum Stroke {
    /// The character that slopes as the line does.
    Sloped,
    /// This character.
    Sign(char),
}

/// Bits of the braille pattern, by row and column of the dot in its cell.
const BITS: [[u8; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];

impl Dots {
    /// An empty sheet.
    pub(super) fn over(area: Rect) -> Self {
        Self {
            area,
            cells: vec![
                Fine { bits: 0, stroke: ' ', style: Style::new() };
                usize::from(area.width) * usize::from(area.height)
            ],
        }
    }

    /// Sets one dot; outside the sheet nothing happens.
    pub(super) fn set(&mut self, x: f64, y: f64, stroke: char, style: Style) {
        let (x, y) = (libm::round(x), libm::round(y));
        if x < 0.0 || y < 0.0 {
            return;
        }
        let (x, y) = (x as usize, y as usize);
        let (column, row) = (x / 2, y / 4);
        if column >= usize::from(self.area.width) || row >= usize::from(self.area.height) {
            return;
        }
        let cell = &mut self.cells[row * usize::from(self.area.width) + column];
        cell.bits |= BITS[y % 4][x % 2];
        cell.stroke = stroke;
        cell.style = style;
    }

    /// A straight line, both ends included.
    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), stroke: Stroke, style: Style) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let stroke = match stroke {
            Stroke::Sign(sign) => sign,
            Stroke::Sloped => slope(dx, dy),
        };
        let steps = libm::ceil(dx.abs().max(dy.abs())).max(1.0);
        for step in 0..=(steps as u32) {
            let way = f64::from(step) / steps;
            self.set(from.0 + dx * way, from.1 + dy * way, stroke, style);
        }
    }

    /// Puts the dots on the screen, or the strokes that stand for them.
    pub(super) fn show(&self, buffer: &mut Buffer, ascii: bool) {
        for (index, cell) in self.cells.iter().enumerate() {
            let Fine { bits, stroke, style } = *cell;
            if bits == 0 {
                continue;
            }
            let x = self.area.x + (index % usize::from(self.area.width)) as u16;
            let y = self.area.y + (index / usize::from(self.area.width)) as u16;
            let dots = char::from_u32(0x2800 + u32::from(bits)).unwrap_or(stroke);
            if let Some(cell) = buffer.cell_mut((x, y)) {
                cell.set_char(if ascii { stroke } else { dots }).set_style(style);
            }
        }
    }
}

/// The stroke nearest to a direction; `y` grows downwards and dots are square.
fn slope(dx: f64, dy: f64) -> char {
    /// Tangent of 22.5 degrees, half way between two strokes.
    const HALF_WAY: f64 = 0.414;
    if dx.abs() < HALF_WAY * dy.abs() {
        '|'
    } else if dy.abs() < HALF_WAY * dx.abs() {
        '-'
    } else if (dx > 0.0) == (dy > 0.0) {
        '\\'
    } else {
        '/'
    }
}
