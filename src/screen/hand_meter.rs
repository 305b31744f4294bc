//! The hand meter: a function, where its two leads go, and what it last showed.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::text::{fit, put, rule};
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
}

const COLUMNS: usize = 3;

impl HandMeter {
    /// A meter with its red lead on a point and the black one on the airframe.
    pub(super) fn on(red: Touch, function: Function) -> Self {
        Self {
            probe: Probe { function, red, black: Touch::Airframe },
            column: 1,
            typed: String::new(),
        }
    }

    /// To the column on the left or right.
    pub(super) fn sideways(&mut self, right: bool) {
        self.column = (self.column + if right { 1 } else { COLUMNS - 1 }) % COLUMNS;
        self.typed.clear();
    }

    /// Up or down in the column, by so many rows.
    pub(super) fn along(&mut self, session: &Session, rows: isize) {
        let touches = touches(session);
        match self.column {
            0 => self.probe.function = moved(&Function::ALL, self.probe.function, rows),
            1 => self.probe.red = moved(&touches, self.probe.red, rows),
            _ => self.probe.black = moved(&touches, self.probe.black, rows),
        }
        self.typed.clear();
    }

    /// Takes a letter and goes to the first point that has what was typed so far.
    pub(super) fn letter(&mut self, session: &Session, letter: char) {
        self.typed.push(letter);
        let wanted = self.typed.to_lowercase();
        let circuit = session.circuit();
        if self.column == 0 {
            let found =
                Function::ALL.into_iter().find(|f| f.name().to_lowercase().starts_with(&wanted));
            match found {
                Some(function) => self.probe.function = function,
                None => self.typed.clear(),
            }
            return;
        }
        let touches = touches(session);
        let name = |touch: &Touch| told(circuit, *touch).to_lowercase();
        let ends = |touch: &Touch| touch.name(circuit).to_lowercase().ends_with(&wanted);
        let found = touches
            .iter()
            .find(|t| touches.len() > 1 && ends(t))
            .or_else(|| touches.iter().find(|t| name(t).contains(&wanted)));
        match found {
            Some(touch) if self.column == 1 => self.probe.red = *touch,
            Some(touch) => self.probe.black = *touch,
            None => self.typed.clear(),
        }
    }

    /// Takes a letter back.
    pub(super) fn erase(&mut self) {
        self.typed.pop();
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
    let list = Rect { y: area.y + 6, height: area.height.saturating_sub(6), ..area };
    let wide = (area.width.saturating_sub(14)) / 2;
    let touches = touches(session);
    let names: Vec<String> = touches.iter().map(|t| told(circuit, *t)).collect();
    let functions: Vec<String> = Function::ALL.iter().map(|f| f.name().to_owned()).collect();
    let at = |touch: Touch| touches.iter().position(|t| *t == touch).unwrap_or(0);
    let function = Function::ALL.iter().position(|f| *f == meter.probe.function).unwrap_or(0);
    let columns = [
        ("FUNCTION", &functions, function, Rect { width: 14, ..list }),
        ("RED", &names, at(meter.probe.red), Rect { x: list.x + 14, width: wide, ..list }),
        (
            "BLACK",
            &names,
            at(meter.probe.black),
            Rect { x: list.x + 14 + wide, width: wide, ..list },
        ),
    ];
    for (index, (heading, names, at, area)) in columns.into_iter().enumerate() {
        put(buffer, area, area.x + 1, area.y, heading, theme.quiet());
        let rows = usize::from(area.height.saturating_sub(1));
        let from = (at + 1).saturating_sub(rows);
        for (row, (i, name)) in names.iter().enumerate().skip(from).take(rows).enumerate() {
            let here = i == at;
            let style = match (here, index == meter.column) {
                (true, true) => theme.focus(),
                (true, false) => theme.strong(),
                (false, _) => theme.quiet(),
            };
            let text = format!("{}{name} ", if here { "▸" } else { " " });
            let text = fit(&text, area.width.saturating_sub(1));
            put(buffer, area, area.x, area.y + 1 + row as u16, &text, style);
        }
    }
}
