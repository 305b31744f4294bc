//! The hand meter: a function, where its two leads go, and what it last showed.
//!
//! The column that keys move in is told by a pointer at its heading, so that it is seen
//! without colour; what has been typed stands beside it.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};

use super::text::{fit, fit_placard, put, put_right, rule, width};
use super::theme::Theme;
use crate::circuit::Circuit;
use crate::drill::Session;
use crate::observation::{Function, Probe, Step, Touch};
use crate::units::minutes;

/// The meter in the hand.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct HandMeter {
    /// The probe as it stands.
    pub(super) probe: Probe,
    /// Which of function, red and black is being chosen.
    column: usize,
    /// What has been typed to find a point.
    typed: String,
    /// Whether what was typed last is the name of nothing here.
    missed: bool,
    /// Whether it has measured since it was taken into the hand.
    pub(super) measured: bool,
}

/// What is being chosen on the meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Choosing {
    /// What it measures.
    Function,
    /// Where the red lead goes.
    Red,
    /// Where the black lead goes.
    Black,
}

const COLUMNS: usize = 3;

impl HandMeter {
    /// A meter with its leads on two places.
    pub(super) fn on((red, black): (Touch, Touch), function: Function) -> Self {
        Self {
            probe: Probe { function, red, black },
            column: 1,
            typed: String::new(),
            missed: false,
            measured: false,
        }
    }

    /// What is being chosen.
    pub(super) fn choosing(&self) -> Choosing {
        match self.column {
            0 => Choosing::Function,
            1 => Choosing::Red,
            _ => Choosing::Black,
        }
    }

    /// To the column on the left or right; at the end of the row nothing happens.
    pub(super) fn sideways(&mut self, right: bool) {
        self.column =
            if right { (self.column + 1).min(COLUMNS - 1) } else { self.column.saturating_sub(1) };
        self.forget();
    }

    /// To the next column or the one before, round and round.
    pub(super) fn round(&mut self, on: bool) {
        self.column = (self.column + if on { 1 } else { COLUMNS - 1 }) % COLUMNS;
        self.forget();
    }

    fn forget(&mut self) {
        self.typed.clear();
        self.missed = false;
    }

    /// Up or down in the column, by so many rows.
    pub(super) fn along(&mut self, session: &Session, rows: isize) {
        let touches = touches(session);
        match self.column {
            0 => self.probe.function = moved(&Function::ALL, self.probe.function, rows),
            1 => self.probe.red = moved(&touches, self.probe.red, rows),
            _ => self.probe.black = moved(&touches, self.probe.black, rows),
        }
        self.forget();
    }

    /// Puts the function or a lead where it was pointed at.
    pub(super) fn put(&mut self, session: &Session, column: usize, row: usize) {
        let touches = touches(session);
        self.column = column;
        self.forget();
        match (column, Function::ALL.get(row), touches.get(row)) {
            (0, Some(function), _) => self.probe.function = *function,
            (1, _, Some(touch)) => self.probe.red = *touch,
            (2, _, Some(touch)) => self.probe.black = *touch,
            _ => {}
        }
    }

    /// The row in focus of each column.
    fn rows_in_focus(&self, session: &Session) -> [usize; COLUMNS] {
        let touches = touches(session);
        let at = |touch: Touch| touches.iter().position(|t| *t == touch).unwrap_or(0);
        let function = Function::ALL.iter().position(|f| *f == self.probe.function).unwrap_or(0);
        [function, at(self.probe.red), at(self.probe.black)]
    }

    /// Takes a letter and goes to the first point that has what was typed so far.
    pub(super) fn letter(&mut self, session: &Session, letter: char) {
        // After a miss one begins anew.
        if self.missed {
            self.forget();
        }
        self.typed.push(letter);
        self.find(session);
    }

    /// Takes a letter back.
    pub(super) fn erase(&mut self, session: &Session) {
        self.typed.pop();
        self.missed = false;
        if !self.typed.is_empty() {
            self.find(session);
        }
    }

    /// Goes to the first row that has what was typed.
    fn find(&mut self, session: &Session) {
        let wanted = self.typed.to_lowercase();
        let circuit = session.circuit();
        if self.column == 0 {
            let found =
                Function::ALL.into_iter().find(|f| f.name().to_lowercase().starts_with(&wanted));
            self.missed = found.is_none();
            self.probe.function = found.unwrap_or(self.probe.function);
            return;
        }
        let touches = touches(session);
        let name = |touch: &Touch| told(circuit, *touch).to_lowercase();
        let ends = |touch: &Touch| touch.name(circuit).to_lowercase().ends_with(&wanted);
        let found = touches
            .iter()
            .find(|t| touches.len() > 1 && ends(t))
            .or_else(|| touches.iter().find(|t| name(t).contains(&wanted)));
        self.missed = found.is_none();
        match found {
            Some(touch) if self.column == 1 => self.probe.red = *touch,
            Some(touch) => self.probe.black = *touch,
            None => {}
        }
    }

    /// What has been typed, for the heading of the column it is looked for in.
    fn echo(&self) -> String {
        match (self.typed.is_empty(), self.missed) {
            (true, _) => String::new(),
            (false, false) => format!("find {}▏", self.typed),
            (false, true) => format!("no `{}` here", self.typed),
        }
    }
}

/// Where a lead can go here: the test points, then the airframe.
fn touches(session: &Session) -> Vec<Touch> {
    let here = session.place().station;
    session
        .circuit()
        .test_points_with_ids()
        .filter(|(_, t)| t.station == here)
        .map(|(id, _)| Touch::Point(id))
        .chain([Touch::Airframe])
        .collect()
}

/// The first place for the red lead here; `None` when there is no test point.
pub(super) fn first_point(session: &Session) -> Option<Touch> {
    touches(session).into_iter().find(|t| *t != Touch::Airframe)
}

fn moved<T: Copy + PartialEq>(all: &[T], now: T, rows: isize) -> T {
    let at = all.iter().position(|t| *t == now).unwrap_or(0);
    let to = at.saturating_add_signed(rows).min(all.len().saturating_sub(1));
    all.get(to).copied().unwrap_or(now)
}

fn told(circuit: &Circuit, touch: Touch) -> String {
    match touch {
        Touch::Point(_) => {
            format!("{} {}", touch.name(circuit), circuit.net_name(touch.net(circuit)))
        }
        Touch::Airframe => format!("{} airframe", touch.name(circuit)),
    }
}

/// Rows above the columns, their headings included.
const ROWS_ABOVE: u16 = 7;
/// Columns of the screen that the functions take.
const FUNCTION_COLUMNS: u16 = 14;

/// Where the three columns are on a stage, without their headings.
fn columns(stage: Rect) -> [Rect; COLUMNS] {
    let list =
        Rect { y: stage.y + ROWS_ABOVE, height: stage.height.saturating_sub(ROWS_ABOVE), ..stage };
    let wide = stage.width.saturating_sub(FUNCTION_COLUMNS) / 2;
    [
        Rect { width: FUNCTION_COLUMNS, ..list },
        Rect { x: list.x + FUNCTION_COLUMNS, width: wide, ..list },
        Rect { x: list.x + FUNCTION_COLUMNS + wide, width: wide, ..list },
    ]
}

/// The first row shown of a column of so many rows on the screen.
fn first_row(in_focus: usize, rows: u16) -> usize {
    (in_focus + 1).saturating_sub(usize::from(rows))
}

/// The column and its row under a cell of the screen.
pub(super) fn cell_at(
    stage: Rect,
    session: &Session,
    meter: &HandMeter,
    at: Position,
) -> Option<(usize, usize)> {
    let columns = columns(stage);
    let column = columns.iter().position(|column| column.contains(at))?;
    let area = columns[column];
    let from = first_row(meter.rows_in_focus(session)[column], area.height);
    let row = from + usize::from(at.y - area.y);
    let count = if column == 0 { Function::ALL.len() } else { touches(session).len() };
    (row < count).then_some((column, row))
}

/// Draws the meter.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    session: &Session,
    meter: &HandMeter,
    theme: Theme,
) {
    let circuit = session.circuit();
    put(buffer, area, area.x, area.y, "HAND METER", theme.strong());
    let how = "arrows or letters choose, or click; Enter measures";
    put_right(buffer, area, area.y, how, theme.quiet());
    let shown = session.log().last().and_then(|entry| {
        let Step::Probe(probe) = entry.observation.step else { return None };
        let (what, percept) = entry.observation.percepts.first()?;
        Some((percept.told(*what, circuit), probe))
    });
    let (reading, of) = match shown {
        Some((reading, probe)) => {
            let of = crate::observation::What::Display(probe).told(circuit);
            (reading, of)
        }
        None => ("- - -".to_owned(), String::new()),
    };
    let y = area.y + 2;
    put(buffer, area, area.x + 2, y, &format!("▕ {reading:^22} ▏"), theme.strong());
    put(buffer, area, area.x + 30, y, &of, theme.quiet());
    let price = session.place().minutes(circuit, Step::Probe(meter.probe));
    let line = format!(
        "Next: {}, {} (red) to {} (black), {}",
        meter.probe.function.name(),
        meter.probe.red.name(circuit),
        meter.probe.black.name(circuit),
        minutes(price)
    );
    put(buffer, area, area.x, area.y + 4, &line, ratatui::style::Style::new());
    rule(buffer, area, area.y + 5, theme.quiet());
    let names: Vec<String> = touches(session).iter().map(|t| told(circuit, *t)).collect();
    let functions: Vec<String> = Function::ALL.iter().map(|f| f.name().to_owned()).collect();
    let headings = [("FUNCTION", &functions), ("RED LEAD", &names), ("BLACK LEAD", &names)];
    let in_focus = meter.rows_in_focus(session);
    for (index, (heading, names)) in headings.into_iter().enumerate() {
        let (list, at) = (columns(area)[index], in_focus[index]);
        let active = index == meter.column;
        // What keys move has a pointer at its heading and at its row; elsewhere a dot tells
        // what is chosen.
        let heading = if active { format!("▸{heading} ") } else { format!(" {heading} ") };
        let style = if active { theme.focus() } else { theme.quiet() };
        put(buffer, area, list.x, list.y - 1, &heading, style);
        if active {
            let after = Rect { width: list.width.saturating_sub(1), ..list };
            let after = Rect { y: list.y - 1, height: 1, ..after };
            put(
                buffer,
                after,
                list.x + width(&heading) + 1,
                after.y,
                &meter.echo(),
                theme.strong(),
            );
        }
        let rows = usize::from(list.height);
        let from = first_row(at, list.height);
        for (row, (i, name)) in names.iter().enumerate().skip(from).take(rows).enumerate() {
            let (sign, style) = match (i == at, active) {
                (true, true) => ("▸", theme.focus()),
                (true, false) => ("•", theme.strong()),
                (false, _) => (" ", theme.quiet()),
            };
            // A point's id stands first and its net last; both tell it from its neighbour.
            let name = fit_placard(name, list.width.saturating_sub(3));
            put(buffer, list, list.x, list.y + row as u16, &format!("{sign}{name} "), style);
        }
        let below = names.len().saturating_sub(from + rows);
        if below > 0 {
            let more = fit(&format!("▾ {below} more"), list.width.saturating_sub(1));
            let last = Rect { width: list.width.saturating_sub(1), ..list };
            put_right(buffer, last, list.bottom() - 1, &more, theme.quiet());
        }
    }
}
