//! A system as a picture, drawn from the circuit graph alone.
//!
//! [`Drawing::of`] lays a circuit out in abstract cells: parts in columns, sources on
//! the left and what they feed to the right of them, nets as lines of horizontal and
//! vertical pieces. It is the same for every state, so a picture does not jump when a
//! control is moved; what changes is an [`Overlay`], and [`svg`] and [`cells`] put the
//! two together.
//!
//! The layout is the layered one of Sugiyama, Tagawa and Toda (1981), its lines routed
//! in the channels between the columns as in Hashimoto and Stevens (1971); both from
//! memory. It is our own code because a net is not an edge: it has any number of ends,
//! leaves parts at pins and must come out as one connected line, none of which a general
//! graph layout offers.
//!
//! The diagram knows nothing of drills: whose marks an overlay carries is the caller's
//! business.

#![allow(clippy::cast_possible_wrap, reason = "a picture has far fewer than 2^31 cells")]

mod branches;
mod bundle;
mod cells;
mod channel;
mod layer;
mod order;
mod overlay;
mod place;
mod potential;
mod shape;
mod svg;
mod trace;

pub use branches::{Branch, branches};
pub(crate) use bundle::braced;
pub use cells::{Class, Grid, cells};
pub use overlay::{Live, Mark, Overlay};
pub use shape::{Figure, Joint, Pin, Shape, Side, When};
pub use svg::svg;
pub use trace::{Trace, trace};

use crate::circuit::{Circuit, NetId, PartId};

/// A place in the picture; a cell is about twice as high as wide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// Columns from the left.
    pub column: i32,
    /// Rows from the top.
    pub row: i32,
}

/// A rectangle of cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Area {
    /// The first column.
    pub left: i32,
    /// The first row.
    pub top: i32,
    /// How many columns.
    pub columns: i32,
    /// How many rows.
    pub rows: i32,
}

impl Area {
    /// The first column to the right of it.
    pub fn right(self) -> i32 {
        self.left + self.columns
    }

    /// The first row below it.
    pub fn bottom(self) -> i32 {
        self.top + self.rows
    }

    /// Whether a cell lies in it.
    pub fn holds(self, cell: Cell) -> bool {
        (self.left..self.right()).contains(&cell.column)
            && (self.top..self.bottom()).contains(&cell.row)
    }
}

/// A straight piece of a line, horizontal or vertical, both ends included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// The left or upper end.
    pub from: Cell,
    /// The right or lower end.
    pub to: Cell,
}

/// A net, or a bundle of them, as drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What runs in it: one net, or the nets of a bundle in order of phase.
    pub nets: Vec<NetId>,
    /// Its pieces; together they are connected.
    pub pieces: Vec<Piece>,
    /// Where three or more of its pieces meet.
    pub dots: Vec<Cell>,
}

impl Line {
    /// The name of its net; of a bundle with what differs in braces: `CV1.{A,B}`.
    pub fn name(&self, circuit: &Circuit) -> String {
        let names: Vec<&str> = self.nets.iter().map(|net| circuit.net_name(*net)).collect();
        match names.as_slice() {
            [one] => (*one).to_owned(),
            several => bundle::braced(several),
        }
    }

    /// Whether it runs through a cell.
    pub fn runs_through(&self, at: Cell) -> bool {
        self.pieces.iter().any(|piece| {
            (piece.from.column..=piece.to.column).contains(&at.column)
                && (piece.from.row..=piece.to.row).contains(&at.row)
        })
    }
}

/// A circuit laid out.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The name of the system, with its mods.
    pub title: String,
    /// What it does.
    pub brief: String,
    /// Columns of the whole picture.
    pub columns: i32,
    /// Rows of the whole picture.
    pub rows: i32,
    /// The parts. One part may be drawn in several places (the pins of a connector),
    /// and several in one (the wires of a bundle).
    pub shapes: Vec<Shape>,
    /// The nets, other than the airframe, that join two pins or more.
    pub lines: Vec<Line>,
}

impl Drawing {
    /// Lays out a circuit. The same circuit gives the same drawing.
    pub fn of(circuit: &Circuit) -> Self {
        let mut shapes = shape::shapes(circuit);
        let nets = bundle::bundle(circuit, &mut shapes);
        let layers = layer::layers(&shapes, &nets);
        let sheet = order::order(&shapes, &nets, &layers);
        let (lines, columns, rows) = place::place(&mut shapes, &nets, sheet);
        Self {
            title: circuit.title_with_mods(),
            brief: circuit.brief.clone(),
            columns,
            rows,
            shapes,
            lines,
        }
    }

    /// Where a part is drawn first.
    pub fn find(&self, part: PartId) -> Option<&Shape> {
        self.shapes.iter().find(|shape| shape.parts.contains(&part))
    }
}
