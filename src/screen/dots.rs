//! Fine drawing: two by four dots in each cell, with the braille characters.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A sheet of dots over an area of cells; `y` grows downwards.
#[derive(Debug)]
pub(super) struct Dots {
    area: Rect,
    cells: Vec<(u8, Style)>,
}

/// Bits of the braille pattern, by row and column of the dot in its cell.
const BITS: [[u8; 2]; 4] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];

impl Dots {
    /// An empty sheet.
    pub(super) fn over(area: Rect) -> Self {
        Self {
            area,
            cells: vec![(0, Style::new()); usize::from(area.width) * usize::from(area.height)],
        }
    }

    /// Sets one dot; outside the sheet nothing happens.
    pub(super) fn set(&mut self, x: f64, y: f64, style: Style) {
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
        cell.0 |= BITS[y % 4][x % 2];
        cell.1 = style;
    }

    /// A straight line, both ends included.
    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), style: Style) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let steps = libm::ceil(dx.abs().max(dy.abs())).max(1.0);
        for step in 0..=(steps as u32) {
            let way = f64::from(step) / steps;
            self.set(from.0 + dx * way, from.1 + dy * way, style);
        }
    }

    /// Puts the dots on the screen.
    pub(super) fn show(&self, buffer: &mut Buffer) {
        for (index, (bits, style)) in self.cells.iter().enumerate() {
            if *bits == 0 {
                continue;
            }
            let x = self.area.x + (index % usize::from(self.area.width)) as u16;
            let y = self.area.y + (index / usize::from(self.area.width)) as u16;
            if let (Some(cell), Some(symbol)) =
                (buffer.cell_mut((x, y)), char::from_u32(0x2800 + u32::from(*bits)))
            {
                cell.set_char(symbol).set_style(*style);
            }
        }
    }
}
