//! Where each thing of a station goes in the room there is.
//!
//! Several layouts are tried from the roomiest to the closest; the first that fits is
//! taken. When none fits, the closest is shown through a window that follows the focus.

mod pages;

use ratatui::layout::Rect;

use super::super::text;
use super::control::{self, Shape};
use super::{cells, meter};
use crate::circuit::{Circuit, PartId, TestPointId};
use crate::drill::View;
use pages::{Page, paged};

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
    /// A heading; the index is that into the titles of the plan.
    Heading(usize),
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
    /// What the headings say.
    pub(super) titles: Vec<String>,
    /// What belongs beside the meter had to go below it.
    torn: bool,
    /// The panels, where one of them is shown at a time.
    pages: Vec<Page>,
}

/// Whether something can be done with what is drawn besides looking at it.
fn acts(piece: Piece) -> bool {
    match piece {
        Piece::Control(_) | Piece::Breaker(_) | Piece::Fuse(_) | Piece::Point(_) => true,
        Piece::Heading(_)
        | Piece::Needle(_)
        | Piece::Lamp(_)
        | Piece::Sign(_)
        | Piece::Machine(_) => false,
    }
}

/// How close things stand.
#[derive(Clone, Copy, Debug)]
struct Closeness {
    meter_rows: u16,
    roomy: bool,
    headings: bool,
    gap: u16,
    /// Rows from one line of a list to the next.
    line: u16,
    /// Whether levers stand beside the meters where there is room.
    beside: bool,
}

const CLOSENESSES: [Closeness; 17] = [
    Closeness { meter_rows: 30, roomy: true, headings: true, gap: 2, line: 2, beside: false },
    Closeness { meter_rows: 24, roomy: true, headings: true, gap: 2, line: 2, beside: false },
    Closeness { meter_rows: 20, roomy: true, headings: true, gap: 2, line: 2, beside: false },
    Closeness { meter_rows: 24, roomy: true, headings: true, gap: 2, line: 1, beside: false },
    Closeness { meter_rows: 20, roomy: true, headings: true, gap: 2, line: 1, beside: false },
    Closeness { meter_rows: 17, roomy: true, headings: true, gap: 2, line: 1, beside: false },
    Closeness { meter_rows: 15, roomy: true, headings: true, gap: 2, line: 1, beside: false },
    Closeness { meter_rows: 13, roomy: true, headings: true, gap: 2, line: 1, beside: false },
    Closeness { meter_rows: 13, roomy: true, headings: true, gap: 1, line: 1, beside: false },
    Closeness { meter_rows: 11, roomy: true, headings: true, gap: 1, line: 1, beside: false },
    Closeness { meter_rows: 13, roomy: false, headings: true, gap: 1, line: 1, beside: false },
    Closeness { meter_rows: 11, roomy: false, headings: true, gap: 1, line: 1, beside: false },
    Closeness { meter_rows: 13, roomy: false, headings: true, gap: 0, line: 1, beside: false },
    Closeness { meter_rows: 11, roomy: false, headings: true, gap: 0, line: 1, beside: false },
    Closeness { meter_rows: 9, roomy: false, headings: true, gap: 1, line: 1, beside: false },
    Closeness { meter_rows: 9, roomy: false, headings: true, gap: 0, line: 1, beside: false },
    Closeness { meter_rows: 9, roomy: false, headings: false, gap: 0, line: 1, beside: false },
];

/// Where nothing fits and one has to go through it by rows, titles tell where one is.
const CLOSE_WITH_TITLES: Closeness =
    Closeness { meter_rows: 9, roomy: false, headings: true, gap: 0, line: 1, beside: false };

/// Lays a station out: the roomiest way that fits. Where none keeps together what belongs
/// together, the roomiest that fits at all. Where nothing fits and there are panels, the one
/// that has what is `near`; else the closest, to be gone through by rows.
pub(in super::super) fn plan(
    view: &View,
    circuit: &Circuit,
    (width, height): (u16, u16),
    near: Option<Item>,
) -> Plan {
    let mut torn = None;
    for closeness in CLOSENESSES {
        let plan = lay(view, circuit, width, closeness);
        if plan.height <= height && !plan.torn {
            return plan;
        }
        if plan.height <= height && torn.is_none() {
            torn = Some(plan);
        }
    }
    torn.or_else(|| paged(view, circuit, (width, height), near))
        .unwrap_or_else(|| lay(view, circuit, width, CLOSE_WITH_TITLES))
}

impl Plan {
    /// The items in reading order, those on panels that are not shown among them.
    pub(in super::super) fn items(&self) -> Vec<Item> {
        self.everything().into_iter().map(|(item, _)| item).collect()
    }

    /// Every item, and whether something can be done with it besides looking.
    fn everything(&self) -> Vec<(Item, bool)> {
        if !self.pages.is_empty() {
            return self.pages.iter().flat_map(|page| page.items.iter().copied()).collect();
        }
        self.placed
            .iter()
            .filter_map(|placed| placed.item.map(|item| (item, acts(placed.piece))))
            .collect()
    }

    /// Whether something can be done with an item besides looking at it.
    pub(in super::super) fn acts(&self, item: Item) -> bool {
        self.everything().into_iter().any(|(other, acts)| other == item && acts)
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
    titles: Vec<String>,
    width: u16,
    gap: u16,
    /// Rows from one line of a list to the next.
    line: u16,
    /// Columns are as wide as their cells need, not as wide as there is room.
    close: bool,
    x: u16,
    y: u16,
    row: u16,
}

impl Flow {
    fn new(width: u16, Closeness { gap, line, .. }: Closeness, close: bool) -> Self {
        let (placed, titles) = (Vec::new(), Vec::new());
        Self { placed, titles, width, gap, line, close, x: 0, y: 0, row: 0 }
    }

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

    fn heading(&mut self, text: &str) {
        let area = self.block(self.width, 1);
        self.put(Piece::Heading(self.titles.len()), None, area);
        self.titles.push(text.to_owned());
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
        let all = cells.len() as u16;
        let count = if self.close { count.min(all.div_ceil(CLOSE_ROWS)).max(1) } else { count };
        let rows = all.div_ceil(count.max(1));
        let room = self.width / count.max(1);
        let columns = if self.close { room.min(WIDE_COLUMNS) } else { room };
        for (index, (piece, item)) in cells.iter().enumerate() {
            let (column, row) = (index as u16 / rows, index as u16 % rows);
            let area = Rect {
                x: column * columns,
                y: self.y + self.line * row,
                width: columns,
                height: 1,
            };
            self.put(*piece, Some(*item), area);
        }
        self.x = 1;
        self.row = self.line * rows;
    }
}

/// Columns of a one-line cell at least.
const LINE_COLUMNS: u16 = 25;
/// Columns of one where there is room.
const WIDE_COLUMNS: u16 = 37;
/// Columns of a fuse on one line.
const FUSE_COLUMNS: u16 = 36;
/// Rows of a list on a panel before it goes on in a second column.
const CLOSE_ROWS: u16 = 6;
/// Breakers up to this number stand beside the meter, where there is one.
const FEW: usize = 3;
/// Columns of the stack of small things beside the meter.
const STACK_COLUMNS: u16 = 20;
/// Columns between two panels.
const PANEL_GAP: u16 = 3;

/// What goes on one panel: indices into the lists of the view.
#[derive(Clone, Debug, Default)]
struct Contents {
    needles: Vec<usize>,
    lamps: Vec<usize>,
    controls: Vec<usize>,
    signs: Vec<usize>,
    machines: Vec<usize>,
    breakers: Vec<usize>,
    fuses: Vec<usize>,
    points: Vec<usize>,
}

impl Contents {
    /// The parts that are wanted, and the test points or none of them.
    fn of(view: &View, wanted: impl Fn(PartId) -> bool, points: bool) -> Self {
        fn those<T>(all: &[T], wanted: impl Fn(&T) -> bool) -> Vec<usize> {
            all.iter().enumerate().filter(|(_, one)| wanted(one)).map(|(index, _)| index).collect()
        }
        Self {
            needles: those(&view.needles, |n| wanted(n.part)),
            lamps: those(&view.annunciators, |a| wanted(a.part)),
            controls: those(&view.controls, |c| wanted(c.part)),
            signs: those(&view.life_signs, |s| wanted(s.part)),
            machines: those(&view.machines, |m| wanted(m.part)),
            breakers: those(&view.breakers, |b| wanted(b.part)),
            fuses: those(&view.fuses, |f| wanted(f.part)),
            points: those(&view.points, |_| points),
        }
    }

    /// Whether there are several sorts of things in lists, which need headings.
    fn mixed(&self) -> bool {
        let lists = [&self.signs, &self.machines, &self.breakers, &self.fuses, &self.points];
        lists.iter().filter(|list| !list.is_empty()).count() > 1
    }

    fn is_empty(&self) -> bool {
        self.needles.is_empty()
            && self.lamps.is_empty()
            && self.controls.is_empty()
            && self.signs.is_empty()
            && self.machines.is_empty()
            && self.breakers.is_empty()
            && self.fuses.is_empty()
            && self.points.is_empty()
    }
}

/// Panels side by side as they fit, in the order of the station; below them what is on no
/// panel.
fn lay(view: &View, circuit: &Circuit, width: u16, closeness: Closeness) -> Plan {
    let station = circuit.station(view.station);
    let panel_of = |part: PartId| {
        let panel = circuit.part(part).panel.as_ref()?;
        let known = station.panels.iter().position(|known| known == panel);
        // Without room for titles panels would only scatter what belongs together.
        known.filter(|_| closeness.headings)
    };
    let mut plan = Plan {
        placed: Vec::new(),
        height: 0,
        roomy: closeness.roomy,
        titles: Vec::new(),
        torn: false,
        pages: Vec::new(),
    };
    let (mut x, mut y, mut row) = (0, 0, 0);
    for (index, title) in station.panels.iter().enumerate() {
        let contents = Contents::of(view, |part| panel_of(part) == Some(index), false);
        if contents.is_empty() {
            continue;
        }
        let panel = lay_panel((view, circuit), &contents, width, closeness, Some(title));
        let columns = panel.placed.iter().map(|p| p.area.right()).max().unwrap_or(0);
        if x > 0 && x + columns > width {
            (x, y, row) = (0, y + row + closeness.gap, 0);
        }
        row = row.max(panel.height);
        plan.take(panel, (x, y));
        x += columns + PANEL_GAP;
    }
    let rest = Contents::of(view, |part| panel_of(part).is_none(), true);
    if !rest.is_empty() {
        let gap = if plan.placed.is_empty() { 0 } else { closeness.gap };
        let rest = lay_panel((view, circuit), &rest, width, closeness, None);
        plan.take(rest, (0, y + row + gap));
    }
    plan
}

impl Plan {
    /// Takes the pieces of another plan, moved to a place in this one.
    fn take(&mut self, other: Self, (x, y): (u16, u16)) {
        let titles = self.titles.len();
        for mut placed in other.placed {
            placed.area.x += x;
            placed.area.y += y;
            if let Piece::Heading(title) = &mut placed.piece {
                *title += titles;
            }
            self.height = self.height.max(placed.area.bottom());
            self.placed.push(placed);
        }
        self.titles.extend(other.titles);
        self.torn |= other.torn;
    }
}

/// Lays out what is on one panel, under its title; or, without one, what is on none.
fn lay_panel(
    (view, circuit): (&View, &Circuit),
    contents: &Contents,
    width: u16,
    closeness: Closeness,
    title: Option<&str>,
) -> Plan {
    let roomy = closeness.roomy;
    // A panel needs no headings of its own.
    let headings = closeness.headings && title.is_none();
    let close = title.is_some();
    let mut flow = Flow::new(width, closeness, close);
    if let Some(title) = title {
        flow.heading(title);
    }
    let top = flow.y;
    let stacked = top_band(&mut flow, view, contents, closeness);
    let torn = flow.y > top;
    let levers: Vec<usize> = contents
        .controls
        .iter()
        .copied()
        .filter(|index| match control::shape(&view.controls[*index]) {
            Shape::Selector => false,
            Shape::Button => !stacked,
            Shape::Lever | Shape::Knob => true,
        })
        .collect();
    let levers =
        if closeness.beside && stacked { beside_meters(&mut flow, view, levers) } else { levers };
    flow.end_section();

    for index in levers {
        let item = &view.controls[index];
        let (columns, rows) = control::size(item, STACK_COLUMNS, 1);
        let area = flow.block(columns + 1, rows);
        flow.put(Piece::Control(index), Some(Item::Part(item.part)), area);
    }
    flow.end_section();

    let line_columns = (width / LINE_COLUMNS).max(1);
    let sign_columns = if roomy { (width / WIDE_COLUMNS).max(1) } else { line_columns };
    let part = |piece: Piece, part: PartId| (piece, Item::Part(part));
    let signs: Vec<_> =
        contents.signs.iter().map(|&i| part(Piece::Sign(i), view.life_signs[i].part)).collect();
    section(&mut flow, "INSTRUMENTS", headings, &signs, |flow, cells| {
        flow.columns(cells, sign_columns);
    });
    let machines: Vec<_> =
        contents.machines.iter().map(|&i| part(Piece::Machine(i), view.machines[i].part)).collect();
    section(&mut flow, "HEARD", headings, &machines, |flow, cells| {
        flow.columns(cells, line_columns.min(2));
    });
    let breakers: Vec<_> =
        contents.breakers.iter().map(|&i| part(Piece::Breaker(i), view.breakers[i].part)).collect();
    let fuses: Vec<_> =
        contents.fuses.iter().map(|&i| part(Piece::Fuse(i), view.fuses[i].part)).collect();
    let small = |flow: &mut Flow, cells: &[(Piece, Item)], count: u16| {
        if roomy {
            flow.cells(cells, cells::ROOMY);
        } else {
            flow.columns(cells, count);
        }
    };
    if !(stacked && breakers.len() <= FEW) {
        section(&mut flow, "BREAKERS", headings, &breakers, |flow, cells| {
            small(flow, cells, line_columns);
        });
    }
    // Number, placard, rating and spares take more room than one line usually has.
    section(&mut flow, "FUSES: rating, spares left", headings, &fuses, |flow, cells| {
        small(flow, cells, (width / FUSE_COLUMNS).max(1));
    });
    if !(stacked && contents.points.len() <= FEW) {
        let points: Vec<_> = contents
            .points
            .iter()
            .map(|&i| (Piece::Point(i), Item::Point(view.points[i])))
            .collect();
        let longest = contents
            .points
            .iter()
            .map(|&index| {
                let point = circuit.test_point(view.points[index]);
                text::width(&point.id) + text::width(circuit.net_name(point.net)) + 4
            })
            .max()
            .unwrap_or(1);
        let count = (width / longest.min(width).max(1)).max(1);
        section(&mut flow, "TEST POINTS", headings, &points, |flow, cells| {
            flow.columns(cells, count);
        });
    }
    let mut placed = flow.placed;
    if close {
        // The rule of a panel's heading is as long as the panel is wide.
        let things = || placed.iter().filter(|p| p.item.is_some()).map(|p| p.area.right());
        let title = title.map_or(0, text::width) + 4;
        let columns = things().max().unwrap_or(0).max(title).min(width);
        for heading in placed.iter_mut().filter(|p| p.item.is_none()) {
            heading.area.width = columns;
        }
    }
    let height = placed.iter().map(|p| p.area.bottom()).max().unwrap_or(0);
    Plan { placed, height, roomy, titles: flow.titles, torn, pages: Vec::new() }
}

/// Puts levers to the right of the meters, as many as there is room for; returns the rest.
fn beside_meters(flow: &mut Flow, view: &View, levers: Vec<usize>) -> Vec<usize> {
    let (left, bottom) = (flow.x, flow.y + flow.row);
    let (mut x, mut y, mut line) = (left, flow.y, 0);
    let mut rest = Vec::new();
    for index in levers {
        let item = &view.controls[index];
        let (columns, rows) = control::size(item, STACK_COLUMNS, 1);
        if x > left && x + columns > flow.width {
            (x, y, line) = (left, y + line, 0);
        }
        if x + columns > flow.width || y + rows > bottom {
            rest.push(index);
            continue;
        }
        let area = Rect { x, y, width: columns, height: rows };
        flow.put(Piece::Control(index), Some(Item::Part(item.part)), area);
        x += columns + 1;
        line = line.max(rows);
    }
    rest
}

fn section(
    flow: &mut Flow,
    heading: &str,
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
fn top_band(flow: &mut Flow, view: &View, contents: &Contents, closeness: Closeness) -> bool {
    let rows = closeness.meter_rows;
    for &index in &contents.needles {
        let needle = &view.needles[index];
        let area = flow.block(meter::columns(rows) + 1, rows);
        let area = Rect { width: area.width - 1, ..area };
        flow.put(Piece::Needle(index), Some(Item::Part(needle.part)), area);
    }
    let mut band = !contents.needles.is_empty();
    for &index in &contents.controls {
        let item = &view.controls[index];
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
        for &index in &contents.lamps {
            let lamp = &view.annunciators[index];
            let columns = text::width(&lamp.legend) + 6;
            let area = flow.block(columns, 1);
            flow.put(Piece::Lamp(index), Some(Item::Part(lamp.part)), area);
        }
        return false;
    }
    stack(flow, view, contents, closeness);
    true
}

/// Lamps, buttons, and breakers and test points when there are few, in one column.
fn stack(flow: &mut Flow, view: &View, contents: &Contents, closeness: Closeness) {
    let gap = closeness.gap;
    let spare = if closeness.beside { 0 } else { 6 };
    let columns = flow.width.saturating_sub(flow.x).clamp(STACK_COLUMNS, STACK_COLUMNS + spare);
    let mut pieces: Vec<(Piece, Item, u16)> = Vec::new();
    for &index in &contents.lamps {
        let lamp = &view.annunciators[index];
        pieces.push((Piece::Lamp(index), Item::Part(lamp.part), 1));
    }
    for &index in &contents.controls {
        let item = &view.controls[index];
        if control::shape(item) == Shape::Button {
            let (_, rows) = control::size(item, columns, 1);
            pieces.push((Piece::Control(index), Item::Part(item.part), rows));
        }
    }
    if contents.breakers.len() <= FEW {
        for &index in &contents.breakers {
            let breaker = &view.breakers[index];
            pieces.push((Piece::Breaker(index), Item::Part(breaker.part), 1));
        }
    }
    if contents.points.len() <= FEW {
        for &index in &contents.points {
            pieces.push((Piece::Point(index), Item::Point(view.points[index]), 1));
        }
    }
    if pieces.is_empty() {
        return;
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
