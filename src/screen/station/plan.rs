//! Where each thing of a station goes in the room there is.
//!
//! Several layouts are tried from the roomiest to the closest; the first that fits is
//! taken. When none fits, the closest is shown through a window that follows the focus.

use ratatui::layout::Rect;

use super::super::text;
use super::control::{self, Shape};
use super::{cells, meter};
use crate::circuit::{Circuit, PartId, TestPointId};
use crate::drill::View;

/// Something that can have the focus.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(in super::super) enum Item {
    /// A part.
    Part(PartId),
    /// A test point.
    Point(TestPointId),
}

/// What is drawn somewhere; the index is that into the list of the [`View`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    Heading(&'static str),
    Needle(usize),
    Lamp(usize),
    Control(usize),
    Sign(usize),
    Machine(usize),
    Breaker(usize),
    Fuse(usize),
    Point(usize),
}

/// A piece in its place.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    pub(super) piece: Piece,
    pub(super) item: Option<Item>,
    pub(super) area: Rect,
}

/// A laid-out station.
#[derive(Clone, Debug)]
pub(in super::super) struct Plan {
    pub(super) placed: Vec<Placed>,
    pub(super) height: u16,
    pub(super) roomy: bool,
    /// What belongs beside the meter had to go below it.
    torn: bool,
}

/// How close things stand.
#[derive(Clone, Copy, Debug)]
struct Closeness {
    meter_rows: u16,
    roomy: bool,
    headings: bool,
    gap: u16,
}

const CLOSENESSES: [Closeness; 9] = [
    Closeness { meter_rows: 15, roomy: true, headings: true, gap: 2 },
    Closeness { meter_rows: 13, roomy: true, headings: true, gap: 2 },
    Closeness { meter_rows: 13, roomy: true, headings: true, gap: 1 },
    Closeness { meter_rows: 11, roomy: true, headings: true, gap: 1 },
    Closeness { meter_rows: 13, roomy: false, headings: true, gap: 1 },
    Closeness { meter_rows: 11, roomy: false, headings: true, gap: 1 },
    Closeness { meter_rows: 9, roomy: false, headings: true, gap: 1 },
    Closeness { meter_rows: 9, roomy: false, headings: true, gap: 0 },
    Closeness { meter_rows: 9, roomy: false, headings: false, gap: 0 },
];

/// Lays a station out.
pub(in super::super) fn plan(view: &View, circuit: &Circuit, (width, height): (u16, u16)) -> Plan {
    let mut last = None;
    for closeness in CLOSENESSES {
        let plan = lay(view, circuit, width, closeness);
        if plan.height <= height && !plan.torn {
            return plan;
        }
        last = Some(plan);
    }
    last.expect("there is at least one layout")
}

impl Plan {
    /// The items in reading order.
    pub(in super::super) fn items(&self) -> Vec<Item> {
        self.placed.iter().filter_map(|p| p.item).collect()
    }

    /// Whether something can be done with an item besides looking at it.
    pub(in super::super) fn acts(&self, item: Item) -> bool {
        self.placed.iter().filter(|p| p.item == Some(item)).any(|p| match p.piece {
            Piece::Control(_) | Piece::Breaker(_) | Piece::Fuse(_) | Piece::Point(_) => true,
            Piece::Heading(_)
            | Piece::Needle(_)
            | Piece::Lamp(_)
            | Piece::Sign(_)
            | Piece::Machine(_) => false,
        })
    }

    /// Where an item is.
    pub(in super::super) fn area_of(&self, item: Item) -> Option<Rect> {
        self.placed.iter().find(|p| p.item == Some(item)).map(|p| p.area)
    }

    /// The first row to show so that an item is seen in a window of so many rows.
    pub(in super::super) fn scroll_to(&self, item: Option<Item>, rows: u16) -> u16 {
        let most = self.height.saturating_sub(rows);
        let Some(area) = item.and_then(|item| self.area_of(item)) else { return 0 };
        // A row more than needed shows that it goes on.
        (area.bottom() + 1).saturating_sub(rows).min(most).min(area.top())
    }
}

/// Puts blocks in lines, as words in a paragraph.
struct Flow {
    placed: Vec<Placed>,
    width: u16,
    gap: u16,
    x: u16,
    y: u16,
    row: u16,
}

impl Flow {
    fn block(&mut self, columns: u16, rows: u16) -> Rect {
        if self.x > 0 && self.x + columns > self.width {
            self.x = 0;
            self.y += self.row;
            self.row = 0;
        }
        let area = Rect { x: self.x, y: self.y, width: columns, height: rows };
        self.x += columns;
        self.row = self.row.max(rows);
        area
    }

    fn end_line(&mut self) {
        self.x = 0;
        self.y += self.row;
        self.row = 0;
    }

    fn end_section(&mut self) {
        if self.x > 0 {
            self.end_line();
            self.y += self.gap;
        }
    }

    fn put(&mut self, piece: Piece, item: Option<Item>, area: Rect) {
        self.placed.push(Placed { piece, item, area });
    }

    fn heading(&mut self, text: &'static str) {
        let area = self.block(self.width, 1);
        self.put(Piece::Heading(text), None, area);
        self.end_line();
    }

    fn cells(&mut self, cells: &[(Piece, Item)], (columns, rows): (u16, u16)) {
        for (piece, item) in cells {
            let area = self.block(columns, rows);
            self.put(*piece, Some(*item), area);
        }
    }

    /// Cells in columns read downwards, as a list is.
    fn columns(&mut self, cells: &[(Piece, Item)], count: u16) {
        let rows = (cells.len() as u16).div_ceil(count.max(1));
        let columns = self.width / count.max(1);
        for (index, (piece, item)) in cells.iter().enumerate() {
            let (column, row) = (index as u16 / rows, index as u16 % rows);
            let area = Rect { x: column * columns, y: self.y + row, width: columns, height: 1 };
            self.put(*piece, Some(*item), area);
        }
        self.x = 1;
        self.row = rows;
    }
}

/// Columns of a one-line cell at least.
const LINE_COLUMNS: u16 = 25;
/// Columns of one where there is room.
const WIDE_COLUMNS: u16 = 32;
/// Breakers up to this number stand beside the meter, where there is one.
const FEW: usize = 3;
/// Columns of the stack of small things beside the meter.
const STACK_COLUMNS: u16 = 20;

fn lay(view: &View, circuit: &Circuit, width: u16, closeness: Closeness) -> Plan {
    let Closeness { roomy, headings, gap, .. } = closeness;
    let mut flow = Flow { placed: Vec::new(), width, gap, x: 0, y: 0, row: 0 };
    let stacked = top_band(&mut flow, view, closeness);
    let torn = flow.y > 0;
    flow.end_section();

    for (index, item) in view.controls.iter().enumerate() {
        let shape = control::shape(item);
        if shape == Shape::Selector || (stacked && shape == Shape::Button) {
            continue;
        }
        let (columns, rows) = control::size(item, STACK_COLUMNS, 1);
        let area = flow.block(columns + 1, rows);
        flow.put(Piece::Control(index), Some(Item::Part(item.part)), area);
    }
    flow.end_section();

    let line_columns = (width / LINE_COLUMNS).max(1);
    let sign_columns = if roomy { (width / WIDE_COLUMNS).max(1) } else { line_columns };
    let signs: Vec<_> = view
        .life_signs
        .iter()
        .enumerate()
        .map(|(i, s)| (Piece::Sign(i), Item::Part(s.part)))
        .collect();
    section(&mut flow, "INSTRUMENTS", headings, &signs, |flow, cells| {
        flow.columns(cells, sign_columns);
    });
    let machines: Vec<_> = view
        .machines
        .iter()
        .enumerate()
        .map(|(i, s)| (Piece::Machine(i), Item::Part(s.part)))
        .collect();
    section(&mut flow, "HEARD", headings, &machines, |flow, cells| {
        flow.columns(cells, line_columns.min(2));
    });
    let breakers: Vec<_> = view
        .breakers
        .iter()
        .enumerate()
        .map(|(i, b)| (Piece::Breaker(i), Item::Part(b.part)))
        .collect();
    let fuses: Vec<_> =
        view.fuses.iter().enumerate().map(|(i, f)| (Piece::Fuse(i), Item::Part(f.part))).collect();
    let small = |flow: &mut Flow, cells: &[(Piece, Item)]| {
        if roomy {
            flow.cells(cells, cells::ROOMY);
        } else {
            flow.columns(cells, line_columns);
        }
    };
    if !(stacked && breakers.len() <= FEW) {
        section(&mut flow, "BREAKERS", headings, &breakers, small);
    }
    section(&mut flow, "FUSES", headings, &fuses, small);
    if !(stacked && view.points.len() <= FEW) {
        let points: Vec<_> = view
            .points
            .iter()
            .enumerate()
            .map(|(i, p)| (Piece::Point(i), Item::Point(*p)))
            .collect();
        let longest = view
            .points
            .iter()
            .map(|point| {
                let point = circuit.test_point(*point);
                text::width(&point.id) + text::width(circuit.net_name(point.net)) + 4
            })
            .max()
            .unwrap_or(1);
        let count = (width / longest.min(width).max(1)).max(1);
        section(&mut flow, "TEST POINTS", headings, &points, |flow, cells| {
            flow.columns(cells, count);
        });
    }
    let height = flow.placed.iter().map(|p| p.area.bottom()).max().unwrap_or(0);
    Plan { placed: flow.placed, height, roomy, torn }
}

fn section(
    flow: &mut Flow,
    heading: &'static str,
    headings: bool,
    cells: &[(Piece, Item)],
    put: impl Fn(&mut Flow, &[(Piece, Item)]),
) {
    if cells.is_empty() {
        return;
    }
    if headings {
        flow.heading(heading);
    }
    put(flow, cells);
    flow.end_section();
}

/// Meters, selectors and, beside them, what is small; tells whether there is such a
/// band.
fn top_band(flow: &mut Flow, view: &View, closeness: Closeness) -> bool {
    let rows = closeness.meter_rows;
    for (index, needle) in view.needles.iter().enumerate() {
        let area = flow.block(meter::columns(rows) + 1, rows);
        let area = Rect { width: area.width - 1, ..area };
        flow.put(Piece::Needle(index), Some(Item::Part(needle.part)), area);
    }
    let mut band = !view.needles.is_empty();
    for (index, item) in view.controls.iter().enumerate() {
        if control::shape(item) == Shape::Selector {
            let apart = if rows >= 13 { 2 } else { 1 };
            let (columns, height) = control::size(item, STACK_COLUMNS, apart);
            let area = flow.block(columns + 1, height);
            // A selector stands at the height of the meter's pivot.
            let down = flow.row.saturating_sub(height) / 2;
            let area = Rect { y: area.y + down, ..area };
            flow.put(Piece::Control(index), Some(Item::Part(item.part)), area);
            band = true;
        }
    }
    if !band {
        for (index, lamp) in view.annunciators.iter().enumerate() {
            let columns = text::width(&lamp.legend) + 6;
            let area = flow.block(columns, 1);
            flow.put(Piece::Lamp(index), Some(Item::Part(lamp.part)), area);
        }
        return false;
    }
    stack(flow, view, closeness.gap);
    true
}

/// Lamps, buttons, and breakers and test points when there are few, in one column.
fn stack(flow: &mut Flow, view: &View, gap: u16) {
    let columns = flow.width.saturating_sub(flow.x).clamp(STACK_COLUMNS, STACK_COLUMNS + 6);
    let mut pieces: Vec<(Piece, Item, u16)> = Vec::new();
    for (index, lamp) in view.annunciators.iter().enumerate() {
        pieces.push((Piece::Lamp(index), Item::Part(lamp.part), 1));
    }
    for (index, item) in view.controls.iter().enumerate() {
        if control::shape(item) == Shape::Button {
            let (_, rows) = control::size(item, columns, 1);
            pieces.push((Piece::Control(index), Item::Part(item.part), rows));
        }
    }
    if view.breakers.len() <= FEW {
        for (index, breaker) in view.breakers.iter().enumerate() {
            pieces.push((Piece::Breaker(index), Item::Part(breaker.part), 1));
        }
    }
    if view.points.len() <= FEW {
        for (index, point) in view.points.iter().enumerate() {
            pieces.push((Piece::Point(index), Item::Point(*point), 1));
        }
    }
    let kind = |piece: &Piece| std::mem::discriminant(piece);
    let breaks = pieces.windows(2).filter(|two| kind(&two[0].0) != kind(&two[1].0)).count();
    let rows: u16 = pieces.iter().map(|p| p.2).sum();
    // A blank row between kinds where it does not make the band higher.
    let blank = u16::from(gap > 0 || rows + breaks as u16 <= flow.row);
    let area = flow.block(columns, rows + blank * breaks as u16);
    let mut y = area.y;
    let mut before = None;
    for (piece, item, rows) in pieces {
        if before.is_some_and(|b| b != kind(&piece)) {
            y += blank;
        }
        before = Some(kind(&piece));
        let at = Rect { x: area.x, y, width: columns, height: rows };
        flow.put(piece, Some(item), at);
        y += rows;
    }
}
