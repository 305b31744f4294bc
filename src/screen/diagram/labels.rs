//! The names of nets, written beside their lines where there is room.

use crate::circuit::{Circuit, NetId};
use crate::diagram::{Class, Drawing, Grid, braced};
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
        let name = line.name(circuit);
        let mut pieces: Vec<_> =
            line.pieces.iter().filter(|piece| piece.from.row == piece.to.row).collect();
        pieces.sort_by_key(|piece| piece.from.column - piece.to.column);
        let place = |wide: i32| {
            pieces.iter().find_map(|piece| {
                [piece.from.row - 1, piece.from.row + 1].into_iter().find_map(|row| {
                    let last = piece.to.column - wide;
                    let starts = (piece.from.column + 1..=last).map(|column| (column, row));
                    { starts }.find(|(column, row)| {
                        let blank = (' ', Class::Blank);
                        let free = (-1..=wide)
                            .all(|off| grid.at(column + off, *row) == blank && *row >= 0);
                        let clear = labels.iter().all(|other| {
                            let end = other.column + other.columns;
                            other.row != *row || end < *column || other.column > column + wide
                        });
                        free && clear
                    })
                })
            })
        };
        // With its test points where there is room for them.
        let fits = [with_points(circuit, &line.nets, &name), Some(name)];
        let fit = fits.into_iter().flatten().find_map(|text| {
            let wide = i32::from(width(&text));
            place(wide).map(|(column, row)| Label {
                column,
                columns: wide,
                row,
                text,
                line: number,
            })
        });
        labels.extend(fit);
    }
    labels
}

/// The name of a line with its test points, as the wiring list has them: `TB.BUS [TB1-2]`;
/// `None` where it has none.
pub(super) fn with_points(circuit: &Circuit, nets: &[NetId], name: &str) -> Option<String> {
    let points: Vec<&str> = circuit
        .test_points_with_ids()
        .filter(|(_, point)| nets.contains(&point.net))
        .map(|(_, point)| point.id.as_str())
        .collect();
    match points.as_slice() {
        [] => None,
        [one] => Some(format!("{name} [{one}]")),
        several => Some(format!("{name} [{}]", braced(several))),
    }
}
