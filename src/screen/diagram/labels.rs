//! The names of nets, written beside their lines where there is room.

use crate::circuit::Circuit;
use crate::diagram::{Class, Drawing, Grid};
use crate::screen::text::width;

/// A name in the picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Label {
    /// Its first column.
    pub(super) column: i32,
    /// How many columns it takes.
    pub(super) columns: i32,
    /// Its row.
    pub(super) row: i32,
    /// The name.
    pub(super) text: String,
    /// Which line it names.
    pub(super) line: usize,
}

/// A name for every line that has room for it above or below one of its level pieces,
/// beginning with the longest piece. Nothing is written over.
pub(super) fn labels(circuit: &Circuit, drawing: &Drawing, grid: &Grid) -> Vec<Label> {
    let mut labels: Vec<Label> = Vec::new();
    for (number, line) in drawing.lines.iter().enumerate() {
        let text = line.name(circuit);
        let wide = i32::from(width(&text));
        let mut pieces: Vec<_> =
            line.pieces.iter().filter(|piece| piece.from.row == piece.to.row).collect();
        pieces.sort_by_key(|piece| piece.from.column - piece.to.column);
        let place = pieces.into_iter().find_map(|piece| {
            [piece.from.row - 1, piece.from.row + 1].into_iter().find_map(|row| {
                let last = piece.to.column - wide;
                (piece.from.column + 1..=last).map(|column| (column, row)).find(|(column, row)| {
                    let free = (-1..=wide)
                        .all(|off| grid.at(column + off, *row) == (' ', Class::Blank) && *row >= 0);
                    let clear = labels.iter().all(|other| {
                        let end = other.column + other.columns;
                        other.row != *row || end < *column || other.column > column + wide
                    });
                    free && clear
                })
            })
        });
        if let Some((column, row)) = place {
            labels.push(Label { column, columns: wide, row, text, line: number });
        }
    }
    labels
}
