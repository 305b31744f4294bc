//! The diagram of the system: a window on a picture larger than the screen, and the whole of
//! it made small.
//!
//! A part or a net in focus can be traced: what it feeds and what it is fed through stands
//! out by double lines, so that it is seen without colour.
//!
//! In a drill it shows what hands have moved and the trainee's own marks and nothing of
//! what is live; in the debrief what was really live after each step, and what was
//! excluded by then.

mod labels;
mod overview;
mod paint;

use std::sync::Arc;

use super::command::Command;
use super::frame::areas;
use crate::circuit::{Circuit, NetId, PartId};
use crate::diagnostic::{nearest, plain};
use crate::diagram::{
    Area, Cell, Drawing, Figure, Grid, Mark, Overlay, Shape, Trace, cells, trace,
};
use crate::drill::{self, Session};
use crate::observation::Rig;
use crate::score::Debrief;
use crate::units::counted;
use labels::{Label, labels};

pub(super) use paint::{draw, surroundings};

/// Columns and rows that an arrow moves the picture.
const ACROSS: i32 = 8;
const DOWN: i32 = 3;

/// One state that can be looked at.
#[derive(Clone, Debug, PartialEq)]
struct Frame {
    /// What it is, for the line below the picture.
    told: String,
    grid: Grid,
    /// The marks, by part.
    marks: Vec<Option<Mark>>,
}

/// A thing in the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Thing {
    /// A part, by its place among the shapes.
    Shape(usize),
    /// A net, by its place among the lines.
    Line(usize),
}

/// What stays the same in every diagram of a system: where everything is, and the names of
/// the nets.
#[derive(Debug, PartialEq)]
pub(super) struct Map {
    drawing: Drawing,
    labels: Vec<Label>,
}

impl Map {
    /// Lays a system out.
    pub(super) fn of(circuit: &Circuit) -> Arc<Self> {
        let drawing = Drawing::of(circuit);
        let grid = cells(&drawing, &Overlay::default(), false);
        let labels = labels(circuit, &drawing, &grid);
        Arc::new(Self { drawing, labels })
    }
}

/// A diagram on the screen.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Diagram {
    map: Arc<Map>,
    /// One in a drill; in the debrief one for the start and one for every step.
    frames: Vec<Frame>,
    /// Which is shown.
    step: usize,
    /// The cell in the upper left corner.
    left: i32,
    top: i32,
    /// What is being typed to look for.
    search: Option<String>,
    /// What has the focus.
    focus: Option<Thing>,
    /// What is traced from it.
    traced: Option<Trace>,
    /// Whether the whole is shown small.
    overview: bool,
    /// An answer to the last key.
    remark: Option<String>,
}

impl Diagram {
    fn new(map: Arc<Map>, frames: Vec<Frame>, size: (u16, u16)) -> Self {
        let mut diagram = Self {
            map,
            frames,
            step: 0,
            left: 0,
            top: 0,
            search: None,
            focus: None,
            traced: None,
            overview: false,
            remark: None,
        };
        // It opens at a source, not at the blank corner of the sheet.
        let shapes = &diagram.map.drawing.shapes;
        let source = shapes.iter().position(|shape| is_source(shape.figure));
        if !shapes.is_empty() {
            diagram.show(Thing::Shape(source.unwrap_or(0)), size);
            diagram.focus = None;
        }
        diagram
    }

    /// As far as a trainee may know: what hands moved, and the trainee's marks.
    pub(super) fn of_drill(session: &Session, map: Arc<Map>, size: (u16, u16)) -> Self {
        let mut overlay = Overlay::standing(&session.place().hands);
        for (part, mark) in session.marks() {
            let mark = match mark {
                drill::Mark::Suspect => Mark::Suspect,
                drill::Mark::Cleared => Mark::Cleared,
            };
            overlay.mark(*part, mark);
        }
        let grid = cells(&map.drawing, &overlay, false);
        let told = "Controls, breakers and fuses as you left them, relays at rest; ? and ✓ are \
                    your marks."
            .to_owned();
        let marks = overlay.marks;
        Self::new(map, vec![Frame { told, grid, marks }], size)
    }

    /// What is live on an aircraft as it stands.
    pub(super) fn of_rig(rig: &Rig, told: &str, size: (u16, u16)) -> Self {
        let map = Map::of(rig.circuit());
        let overlay = Overlay::of_settled(&map.drawing, rig.network(), rig.settled());
        let grid = cells(&map.drawing, &overlay, false);
        let told = format!("{told} ━ live, ─ dead, ◄ fed backwards.");
        Self::new(map, vec![Frame { told, grid, marks: overlay.marks }], size)
    }

    /// What was really live, step by step, and what was excluded, opened at the part that
    /// had failed; in words, why not.
    pub(super) fn of_debrief(
        session: &Session,
        debrief: &Debrief,
        size: (u16, u16),
    ) -> Result<Self, String> {
        let circuit = session.circuit();
        let map = Map::of(circuit);
        let drawing = &map.drawing;
        let rigs = session.looked_back().map_err(|error| error.to_string())?;
        let mut frames = Vec::with_capacity(rigs.len());
        for (step, rig) in rigs.iter().enumerate() {
            let mut overlay = Overlay::of_settled(drawing, rig.network(), rig.settled());
            for part in excluded(circuit, debrief, step) {
                overlay.mark(part, Mark::Excluded);
            }
            let what = match step.checked_sub(1).and_then(|row| debrief.rows.get(row)) {
                Some(row) => format!("After step {step} of {}: {}.", rigs.len() - 1, row.step),
                None => "As the crew left it.".to_owned(),
            };
            let told = format!("{what} ━ live, ─ dead, ◄ fed backwards, × and dotted: excluded.");
            let grid = cells(drawing, &overlay, false);
            frames.push(Frame { told, grid, marks: overlay.marks });
        }
        if frames.is_empty() {
            return Err("no call was made".to_owned());
        }
        let mut diagram = Self::new(map, frames, size);
        if let Some(part) = parts_of(circuit, &debrief.verdict.planted).first().copied() {
            diagram.centre_on(part, size);
        }
        Ok(diagram)
    }

    /// Whether letters are letters of a part that is looked for.
    pub(super) fn is_searching(&self) -> bool {
        self.search.is_some()
    }

    /// Brings a part into the middle of the window.
    pub(super) fn centre_on(&mut self, part: PartId, size: (u16, u16)) -> bool {
        let shape = self.map.drawing.shapes.iter().position(|shape| shape.parts.contains(&part));
        shape.is_some_and(|shape| self.show(Thing::Shape(shape), size))
    }

    /// Takes a thing into focus and brings it into the middle of the window.
    fn show(&mut self, thing: Thing, size: (u16, u16)) -> bool {
        let Some(area) = self.area_of(thing) else { return false };
        let window = areas(size, false).stage;
        self.left = area.left + area.columns / 2 - i32::from(window.width) / 2;
        self.top = area.top + area.rows / 2 - i32::from(window.height) / 2;
        self.focus = Some(thing);
        self.keep_inside(size);
        true
    }

    /// Where a thing is; a net where its name stands, or along its longest piece.
    fn area_of(&self, thing: Thing) -> Option<Area> {
        match thing {
            Thing::Shape(at) => self.map.drawing.shapes.get(at).map(|shape| shape.area),
            Thing::Line(at) => {
                if let Some(label) = self.map.labels.iter().find(|label| label.line == at) {
                    let (left, top, columns) = (label.column, label.row, label.columns);
                    return Some(Area { left, top, columns, rows: 1 });
                }
                let pieces = self.map.drawing.lines.get(at)?.pieces.iter();
                let longest = pieces.max_by_key(|piece| piece.to.column - piece.from.column)?;
                Some(Area {
                    left: longest.from.column,
                    top: longest.from.row,
                    columns: longest.to.column - longest.from.column + 1,
                    rows: longest.to.row - longest.from.row + 1,
                })
            }
        }
    }

    /// The part in focus.
    fn shape_in_focus(&self) -> Option<&Shape> {
        match self.focus? {
            Thing::Shape(at) => self.map.drawing.shapes.get(at),
            Thing::Line(_) => None,
        }
    }

    fn is_line_traced(&self, line: usize) -> bool {
        let nets = self.map.drawing.lines.get(line).map_or(&[][..], |line| &line.nets);
        let traced = |trace: &Trace| nets.iter().any(|net| trace.nets[net.index()]);
        self.traced.as_ref().is_some_and(traced)
    }

    fn is_shape_traced(&self, shape: &Shape) -> bool {
        let traced = |trace: &Trace| shape.parts.iter().any(|part| trace.parts[part.index()]);
        self.traced.as_ref().is_some_and(traced)
    }

    fn mark_of(&self, shape: &Shape) -> Option<Mark> {
        let marks = &self.frames.get(self.step)?.marks;
        shape.parts.iter().find_map(|part| marks.get(part.index()).copied().flatten())
    }

    /// The thing under a cell of the picture: a part, a name, or a line.
    fn thing_at(&self, at: Cell) -> Option<Thing> {
        let shape = self.map.drawing.shapes.iter().position(|shape| shape.area.holds(at));
        let label = || {
            let named = self.map.labels.iter().find(|label| {
                let end = label.column + label.columns;
                label.row == at.row && (label.column..end).contains(&at.column)
            });
            named.map(|label| Thing::Line(label.line))
        };
        let line = || self.map.drawing.lines.iter().position(|line| line.runs_through(at));
        shape.map(Thing::Shape).or_else(label).or_else(|| line().map(Thing::Line))
    }

    /// The things in the window, in reading order.
    fn things_in(&self, size: (u16, u16)) -> Vec<Thing> {
        let window = areas(size, false).stage;
        let seen = Area {
            left: self.left,
            top: self.top,
            columns: i32::from(window.width),
            rows: i32::from(window.height),
        };
        let shapes = (0..self.map.drawing.shapes.len()).map(Thing::Shape);
        let lines = self.map.labels.iter().map(|label| Thing::Line(label.line));
        let mut things: Vec<(i32, i32, Thing)> = shapes
            .chain(lines)
            .filter_map(|thing| {
                let area = self.area_of(thing)?;
                let corner = Cell { column: area.left, row: area.top };
                seen.holds(corner).then_some((area.top, area.left, thing))
            })
            .collect();
        things.sort_by_key(|(row, column, _)| (*row, *column));
        things.into_iter().map(|(_, _, thing)| thing).collect()
    }

    /// A click: takes what is there into focus, and traces it when it has the focus. On the
    /// small picture it chooses what the large one shows.
    pub(super) fn click(&mut self, circuit: &Circuit, (x, y): (u16, u16), size: (u16, u16)) {
        let window = areas(size, false).stage;
        if self.search.is_some() || !window.contains((x, y).into()) {
            return;
        }
        self.remark = None;
        if self.overview {
            let (column, row) = overview::under(self, window, (x, y));
            self.overview = false;
            self.left = column - i32::from(window.width) / 2;
            self.top = row - i32::from(window.height) / 2;
            self.keep_inside(size);
            return;
        }
        let column = self.left + i32::from(x - window.x);
        let row = self.top + i32::from(y - window.y);
        match self.thing_at(Cell { column, row }) {
            Some(thing) if self.focus == Some(thing) => self.trace(circuit),
            thing => {
                self.focus = thing;
                self.traced = None;
            }
        }
    }

    /// Traces what has the focus.
    fn trace(&mut self, circuit: &Circuit) {
        let nets: Vec<NetId> = match self.focus {
            Some(Thing::Line(at)) => self.map.drawing.lines[at].nets.clone(),
            Some(Thing::Shape(at)) => {
                let shape = &self.map.drawing.shapes[at];
                let mut nets: Vec<NetId> =
                    shape.parts.iter().flat_map(|part| circuit.connections(*part)).collect();
                nets.retain(|net| *net != crate::circuit::AIRFRAME);
                nets
            }
            None => return,
        };
        self.traced = Some(trace(circuit, &nets));
    }

    /// What has the focus, in words; what is traced from it, where it is.
    fn focus_told(&self, circuit: &Circuit) -> Option<String> {
        let told = match self.focus? {
            Thing::Shape(at) => self.map.drawing.shapes.get(at)?.label.clone(),
            Thing::Line(at) => {
                let line = self.map.drawing.lines.get(at)?;
                let nets: Vec<String> =
                    line.nets.iter().map(|net| circuit.net_with_points(*net)).collect();
                format!("net {}", nets.join(", "))
            }
        };
        let Some(trace) = &self.traced else { return Some(format!("{told}. Enter traces it.")) };
        let names = |parts: &[(PartId, bool)]| -> String {
            let ends = parts.iter().filter(|(_, end)| *end);
            let names: Vec<&str> = ends.map(|(id, _)| circuit.part(*id).id.as_str()).collect();
            if names.is_empty() { String::new() } else { format!(": {}", names.join(", ")) }
        };
        Some(format!(
            "{told} ═ is fed through {}{}; feeds {}{}",
            counted(trace.feeding.len(), "part"),
            names(&trace.feeding),
            counted(trace.fed.len(), "part"),
            names(&trace.fed)
        ))
    }

    /// After a leap sideways, some of the picture is brought into the window by moving up or
    /// down.
    fn avoid_blank(&mut self, size: (u16, u16)) {
        self.keep_inside(size);
        let window = areas(size, false).stage;
        let (right, bottom) =
            (self.left + i32::from(window.width), self.top + i32::from(window.height));
        let here = self
            .map
            .drawing
            .shapes
            .iter()
            .map(|shape| shape.area)
            .filter(|area| area.left >= self.left && area.right() <= right);
        let middle = self.top + i32::from(window.height) / 2;
        let nearest = here.min_by_key(|area| (area.top + area.rows / 2 - middle).abs());
        if let Some(area) = nearest
            && (area.top < self.top || area.bottom() > bottom)
        {
            self.top = area.top + area.rows / 2 - i32::from(window.height) / 2;
            self.keep_inside(size);
        }
    }

    /// The picture does not leave the window.
    fn keep_inside(&mut self, size: (u16, u16)) {
        let window = areas(size, false).stage;
        let most = |whole: i32, seen: u16| (whole - i32::from(seen)).max(0);
        self.left = self.left.clamp(0, most(self.map.drawing.columns, window.width));
        self.top = self.top.clamp(0, most(self.map.drawing.rows, window.height));
    }

    /// Takes a command; tells whether the diagram stays open.
    pub(super) fn update(&mut self, command: Command, circuit: &Circuit, size: (u16, u16)) -> bool {
        self.remark = None;
        if self.search.is_some() {
            self.on_search(command, circuit, size);
            return true;
        }
        let window = areas(size, false).stage;
        let page = (i32::from(window.width) - ACROSS).max(ACROSS);
        let stepping = self.frames.len() > 1;
        if self.overview {
            return self.on_overview(command, size);
        }
        match command {
            Command::Back if self.traced.is_some() => self.traced = None,
            Command::Back | Command::Diagram => return false,
            Command::Overview => self.overview = true,
            Command::Take if self.focus.is_some() => self.trace(circuit),
            Command::Take => self.remark = Some("Tab takes a part or net into focus.".to_owned()),
            Command::Next | Command::Previous => {
                let things = self.things_in(size);
                let now = self.focus.and_then(|f| things.iter().position(|thing| *thing == f));
                let last = things.len().saturating_sub(1);
                let to = match (now, command == Command::Next) {
                    (None, true) => 0,
                    (None, false) => last,
                    (Some(at), true) => {
                        if at == last {
                            0
                        } else {
                            at + 1
                        }
                    }
                    (Some(at), false) => at.checked_sub(1).unwrap_or(last),
                };
                self.focus = things.get(to).copied();
                self.traced = None;
            }
            Command::Up => self.top -= DOWN,
            Command::Down => self.top += DOWN,
            Command::Left | Command::TurnBack if stepping => {
                self.step = self.step.saturating_sub(1);
            }
            Command::Right | Command::TurnOn if stepping => {
                self.step = (self.step + 1).min(self.frames.len() - 1);
            }
            Command::Left => self.left -= ACROSS,
            Command::Right => self.left += ACROSS,
            Command::PageUp => {
                self.left -= page;
                self.avoid_blank(size);
            }
            Command::PageDown => {
                self.left += page;
                self.avoid_blank(size);
            }
            Command::First => {
                self.left = 0;
                self.avoid_blank(size);
            }
            Command::Last => {
                self.left = self.map.drawing.columns;
                self.avoid_blank(size);
            }
            Command::Acts => self.search = Some(String::new()),
            _ => {}
        }
        self.keep_inside(size);
        true
    }

    /// On the small picture arrows move the frame, and Enter goes there.
    fn on_overview(&mut self, command: Command, size: (u16, u16)) -> bool {
        let window = areas(size, false).stage;
        let (across, down) = (i32::from(window.width) / 2, i32::from(window.height) / 2);
        match command {
            Command::Diagram => return false,
            Command::Back | Command::Take | Command::Overview => self.overview = false,
            Command::Left => self.left -= across,
            Command::Right => self.left += across,
            Command::Up => self.top -= down,
            Command::Down => self.top += down,
            Command::First => (self.left, self.top) = (0, 0),
            Command::Last => {
                (self.left, self.top) = (self.map.drawing.columns, self.map.drawing.rows);
            }
            Command::Acts => {
                self.overview = false;
                self.search = Some(String::new());
            }
            _ => {}
        }
        self.keep_inside(size);
        true
    }

    fn on_search(&mut self, command: Command, circuit: &Circuit, size: (u16, u16)) {
        let Some(mut typed) = self.search.take() else { return };
        match command {
            Command::Back => {}
            Command::Take => {
                let part = look_for(circuit, &typed);
                if part.is_some_and(|part| self.centre_on(part, size)) {
                    self.traced = None;
                } else if let Some(line) = self.line_named(circuit, &typed) {
                    self.show(Thing::Line(line), size);
                    self.traced = None;
                } else {
                    let known = circuit.parts.iter().map(|part| part.id.as_str());
                    let hint = nearest(&typed.to_uppercase(), known)
                        .map_or_else(String::new, |id| format!("; did you mean {id}?"));
                    self.remark = Some(format!("No part or net {}{hint}", plain(&typed)));
                }
            }
            Command::Type(letter) => {
                typed.push(letter);
                self.search = Some(typed);
            }
            Command::Erase => {
                typed.pop();
                self.search = Some(typed);
            }
            _ => self.search = Some(typed),
        }
    }
}

impl Diagram {
    /// The line of the net that someone means, by its whole name.
    fn line_named(&self, circuit: &Circuit, typed: &str) -> Option<usize> {
        let net = circuit.find_net(typed.trim())?;
        self.map.drawing.lines.iter().position(|line| line.nets.contains(&net))
    }
}

/// Whether a part gives power by itself.
fn is_source(figure: Figure) -> bool {
    matches!(
        figure,
        Figure::Battery
            | Figure::Supply
            | Figure::Generator
            | Figure::Receptacle
            | Figure::Alternator
    )
}

/// The part that someone means: by its whole id, by how it begins, or by a piece of it.
fn look_for(circuit: &Circuit, typed: &str) -> Option<PartId> {
    let typed = typed.trim().to_lowercase();
    if typed.is_empty() {
        return None;
    }
    let find = |fits: &dyn Fn(&str) -> bool| {
        circuit.parts_with_ids().find(|(_, part)| fits(&part.id.to_lowercase())).map(|(id, _)| id)
    };
    find(&|id| id == typed)
        .or_else(|| find(&|id| id.starts_with(&typed)))
        .or_else(|| find(&|id| id.contains(&typed)))
}

/// The parts that a cause names, as `PART:MODE` or several of these.
fn parts_of(circuit: &Circuit, cause: &str) -> Vec<PartId> {
    let ids = cause.split('+').filter_map(|fault| fault.rsplit_once(':'));
    ids.filter_map(|(id, _)| circuit.find_part(id.trim())).collect()
}

/// The parts of which nothing is possible any more after so many steps.
fn excluded(circuit: &Circuit, debrief: &Debrief, steps: usize) -> Vec<PartId> {
    let count = circuit.parts.len();
    let (mut out, mut open) = (vec![false; count], vec![false; count]);
    for line in &debrief.exclusions {
        // The write-up comes before the first step.
        let gone = line.row.is_none_or(|row| row < steps);
        for part in parts_of(circuit, &line.fault) {
            let told = if gone { &mut out } else { &mut open };
            told[part.index()] = true;
        }
    }
    for part in debrief.left.iter().flat_map(|(cause, _)| parts_of(circuit, cause)) {
        open[part.index()] = true;
    }
    let all = circuit.parts_with_ids().map(|(id, _)| id);
    all.filter(|id| out[id.index()] && !open[id.index()]).collect()
}
