//! Switches and selectors: a lever in its slot, a pointer knob among its engraved
//! positions, a button that springs back.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::dots::{Dots, Stroke};
use super::super::text::{put, put_right, width, wrap};
use super::super::theme::Theme;
use crate::drill::Control;

/// The shape a control has on the panel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// A button that springs back.
    Button,
    /// A lever with two positions.
    Lever,
    /// A knob with a few positions.
    Knob,
    /// A selector with many.
    Selector,
}

/// Columns between the engraved positions on both sides of a knob.
const KNOB_COLUMNS: u16 = 5;
fn selector_columns(apart: u16) -> u16 {
    9 + 2 * apart
}

/// The shape that suits a control.
pub(super) fn shape(control: &Control) -> Shape {
    match control.positions.len() {
        _ if control.springs_back => Shape::Button,
        0..=2 => Shape::Lever,
        3 | 4 => Shape::Knob,
        _ => Shape::Selector,
    }
}

fn longest(control: &Control) -> u16 {
    control.positions.iter().map(|p| width(p)).max().unwrap_or(0)
}

/// Positions on each side of a knob, and whether one stands at the top.
fn sides(count: usize) -> (usize, bool) {
    (count / 2, count % 2 == 1)
}

/// Columns and rows a control takes; a button's rows depend on its width, those of a
/// selector on how many rows its positions stand apart.
pub(super) fn size(control: &Control, columns: u16, apart: u16) -> (u16, u16) {
    let placard = width(&control.label) + 2 + 2 * u16::from(control.guard);
    let (side, top) = sides(control.positions.len());
    let knob_rows = side as u16 + u16::from(top);
    match shape(control) {
        Shape::Button => (columns, wrap(&control.label, columns.saturating_sub(5)).len() as u16),
        Shape::Lever => (placard.max(longest(control) + 5), 1 + control.positions.len() as u16),
        Shape::Knob => (placard.max(2 * longest(control) + KNOB_COLUMNS + 1), 1 + knob_rows),
        Shape::Selector => (
            placard.max(2 * longest(control) + selector_columns(apart) + 3),
            2 + side as u16 * apart + u16::from(top),
        ),
    }
}

/// How a control is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Manner {
    /// It has the focus.
    pub(super) focus: bool,
    /// What stands before it.
    pub(super) sign: &'static str,
    /// A hand is on it and about to move it here.
    pub(super) about: Option<usize>,
    /// The styles.
    pub(super) theme: Theme,
}

/// Draws a control.
pub(super) fn draw(buffer: &mut Buffer, area: Rect, control: &Control, manner: Manner) {
    match shape(control) {
        Shape::Button => button(buffer, area, control, manner),
        Shape::Lever => lever(buffer, area, control, manner),
        Shape::Knob | Shape::Selector => knob(buffer, area, control, manner),
    }
}

fn placard(buffer: &mut Buffer, area: Rect, control: &Control, manner: Manner) {
    let style = if manner.focus { manner.theme.focus() } else { manner.theme.strong() };
    let tail = if manner.focus { " " } else { "" };
    // A knob has its guard around its placard, a lever around its slot.
    let guard = control.guard && shape(control) != Shape::Lever;
    let text = if guard {
        format!("{}{{{}}}{tail}", manner.sign, control.label)
    } else {
        format!("{}{}{tail}", manner.sign, control.label)
    };
    put(buffer, area, area.x, area.y, &text, style);
}

fn position_style(control: &Control, index: usize, manner: Manner) -> Style {
    if manner.about == Some(index) {
        manner.theme.focus()
    } else if control.at == index {
        manner.theme.strong()
    } else {
        manner.theme.quiet()
    }
}

fn button(buffer: &mut Buffer, area: Rect, control: &Control, manner: Manner) {
    let style = if manner.focus { manner.theme.focus() } else { manner.theme.strong() };
    let button = if control.guard { "{○}" } else { "(○)" };
    put(buffer, area, area.x, area.y, &format!("{}{button}", manner.sign), style);
    let lines = wrap(&control.label, area.width.saturating_sub(5));
    for (row, line) in lines.iter().enumerate() {
        put(buffer, area, area.x + 5, area.y + row as u16, line, style);
    }
}

/// The last engraved position is drawn at the top: levers go up to switch on.
fn lever(buffer: &mut Buffer, area: Rect, control: &Control, manner: Manner) {
    placard(buffer, area, control, manner);
    let count = control.positions.len();
    for (row, index) in (0..count).rev().enumerate() {
        let y = area.y + 1 + row as u16;
        let (bat, slot) =
            if control.at == index { ("█", Style::new()) } else { ("│", manner.theme.quiet()) };
        put(buffer, area, area.x + 1, y, bat, slot);
        // The guard stays where the lever usually is; lifted, it has no lever in it.
        if control.guard && control.start == index {
            put(buffer, area, area.x, y, "{", manner.theme.strong());
            put(buffer, area, area.x + 2, y, "}", manner.theme.strong());
        }
        let style = position_style(control, index, manner);
        let x = area.x + 3 + u16::from(control.guard);
        put(buffer, area, x, y, &control.positions[index], style);
    }
}

/// Positions run clockwise from the lower left over the top to the lower right.
fn knob(buffer: &mut Buffer, area: Rect, control: &Control, manner: Manner) {
    placard(buffer, area, control, manner);
    let count = control.positions.len();
    let (side, top) = sides(count);
    let column = longest(control);
    let large = shape(control) == Shape::Selector;
    let rows = area.height.saturating_sub(2 + u16::from(top));
    let apart = if large { (rows / (side as u16).max(1)).max(1) } else { 1 };
    let between = if large { selector_columns(apart) } else { KNOB_COLUMNS };
    let first = area.y + 1 + u16::from(top);
    let left = Rect { x: area.x + 1, width: column, ..area };
    let right_x = left.right() + between;
    for (index, position) in control.positions.iter().enumerate() {
        let style = position_style(control, index, manner);
        if index < side {
            put_right(buffer, left, first + apart * (side - 1 - index) as u16, position, style);
        } else if top && index == side {
            let x = left.right() + between / 2 - (width(position) / 2).min(between / 2);
            put(buffer, area, x, area.y + 1, position, style);
        } else {
            let row = index - side - usize::from(top);
            put(buffer, area, right_x, first + apart * row as u16, position, style);
        }
    }
    let pointing = manner.about.unwrap_or(control.at);
    if large {
        let face = Rect { x: left.right(), y: first, width: between, height: rows + 1 };
        let end = end_of_pointer(face, pointing, (side, top), f64::from(apart));
        large_knob(buffer, face, end, manner.theme);
    } else {
        let (arrow, row) = if pointing < side {
            ('◀', side - 1 - pointing)
        } else if top && pointing == side {
            ('▲', 0)
        } else {
            ('▶', pointing - side - usize::from(top))
        };
        let middle = left.right() + between / 2;
        let y = first + row as u16;
        put(buffer, area, middle, y, "○", Style::new());
        let x = match arrow {
            '◀' => middle - 1,
            '▶' => middle + 1,
            _ => middle,
        };
        put(buffer, area, x, y, &arrow.to_string(), manner.theme.strong());
    }
}

/// Where the line of a knob ends, in dots of its face: at the position it points to.
fn end_of_pointer(face: Rect, to: usize, (side, top): (usize, bool), apart: f64) -> (f64, f64) {
    let across = 2.0 * f64::from(face.width) - 1.0;
    if to < side {
        (0.0, (side - 1 - to) as f64 * apart * 4.0 + 1.5)
    } else if top && to == side {
        (across / 2.0, 0.0)
    } else {
        (across, (to - side - usize::from(top)) as f64 * apart * 4.0 + 1.5)
    }
}

/// A round knob with a line from its middle.
fn large_knob(buffer: &mut Buffer, face: Rect, end: (f64, f64), theme: Theme) {
    let mut dots = Dots::over(face);
    let half_rows = f64::from(face.height.saturating_sub(1)) * 2.0;
    let middle = (f64::from(face.width) - 0.5, half_rows);
    let radius = (half_rows - 2.0).min(f64::from(face.width) - 5.0);
    let round = (radius * 7.0) as u32;
    for step in 0..round {
        let angle = f64::from(step) / f64::from(round) * std::f64::consts::TAU;
        let (x, y) = (middle.0 + radius * libm::cos(angle), middle.1 + radius * libm::sin(angle));
        dots.set(x, y, '.', theme.quiet());
    }
    dots.line(middle, end, Stroke::Sloped, theme.strong());
    dots.show(buffer, theme.ascii());
}
