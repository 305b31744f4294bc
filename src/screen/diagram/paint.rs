//! The diagram drawn: the window on the large picture, what has the focus, what is traced.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::{Diagram, Frame, Thing, overview};
use crate::circuit::{Circuit, PartId};
use crate::diagnostic::plain;
use crate::diagram::{Area, Cell, Class, Live, Mark};
use crate::screen::frame::{Areas, foot, keys};
use crate::screen::text::put;
use crate::screen::theme::Theme;

/// A thin line drawn double, for what is traced.
fn doubled(letter: char) -> char {
    match letter {
        '─' | '━' | '╍' => '═',
        '│' | '┃' | '╏' => '║',
        '┌' | '┏' => '╔',
        '┐' | '┓' => '╗',
        '└' | '┗' => '╚',
        '┘' | '┛' => '╝',
        '├' | '┣' => '╠',
        '┤' | '┫' => '╣',
        '┬' | '┳' => '╦',
        '┴' | '┻' => '╩',
        other => other,
    }
}

/// Draws the window, what it shows, and the keys.
pub(in super::super) fn draw(
    buffer: &mut Buffer,
    areas: &Areas,
    (diagram, circuit): (&Diagram, &Circuit),
    theme: Theme,
) {
    let window = areas.stage;
    let Some(frame) = diagram.frames.get(diagram.step) else { return };
    if diagram.overview {
        overview::draw(buffer, window, (diagram, (window.width, window.height)), theme);
    } else {
        picture(buffer, window, (diagram, frame), theme);
    }
    let told = match (&diagram.search, &diagram.remark) {
        (Some(typed), _) => format!("Part or net: {}▏", plain(typed)),
        (None, Some(remark)) => remark.clone(),
        (None, None) => {
            let stepping = diagram.frames.len() > 1 && diagram.traced.is_none();
            let told = diagram.focus_told(circuit).filter(|_| !stepping);
            told.unwrap_or_else(|| frame.told.clone())
        }
    };
    let shown = |from: i32, seen: u16, whole: i32| {
        format!("{}-{} of {whole}", from + 1, (from + i32::from(seen)).min(whole))
    };
    let place = format!(
        "columns {}, rows {}",
        shown(diagram.left, window.width, diagram.map.drawing.columns),
        shown(diagram.top, window.height, diagram.map.drawing.rows)
    );
    foot(buffer, areas.foot, &[told], Some((&place, "")), theme);
    let hints: &[(&str, &str)] = if diagram.is_searching() {
        &[("letters", "id of a part, or a net"), ("Enter", "find it"), ("Esc", "back")]
    } else if diagram.overview {
        &[("←→↑↓", "move the frame"), ("Enter", "look there"), ("/", "find"), ("Esc", "back")]
    } else {
        let arrows =
            if diagram.frames.len() > 1 { ("←→", "step") } else { ("←→↑↓", "move") };
        &[
            arrows,
            ("Tab", "next"),
            ("Enter", "trace"),
            ("o", "overview"),
            ("/", "find"),
            ("Esc", "back"),
            ("PgUp PgDn", "a page"),
        ]
    };
    keys(buffer, areas.foot, hints, theme);
}

/// Draws the surroundings of a part into an area, without anything to press.
pub(in super::super) fn surroundings(
    buffer: &mut Buffer,
    area: Rect,
    (mut diagram, part): (Diagram, Option<PartId>),
    theme: Theme,
) {
    if let Some(part) = part {
        let shapes = &diagram.map.drawing.shapes;
        diagram.focus =
            shapes.iter().position(|shape| shape.parts.contains(&part)).map(Thing::Shape);
    }
    let at = diagram.shape_in_focus().map(|shape| shape.area);
    if let Some(at) = at {
        diagram.left = at.left + at.columns / 2 - i32::from(area.width) / 2;
        diagram.top = at.top + at.rows / 2 - i32::from(area.height) / 2;
    }
    let most = |whole: i32, seen: u16| (whole - i32::from(seen)).max(0);
    diagram.left = diagram.left.clamp(0, most(diagram.map.drawing.columns, area.width));
    diagram.top = diagram.top.clamp(0, most(diagram.map.drawing.rows, area.height));
    if let Some(frame) = diagram.frames.first() {
        picture(buffer, area, (&diagram, frame), theme);
    }
}

/// Draws what the window shows of the large picture.
fn picture(buffer: &mut Buffer, window: Rect, (diagram, frame): (&Diagram, &Frame), theme: Theme) {
    let place = |column: i32, row: i32| {
        let x = u16::try_from(column - diagram.left).ok().filter(|x| *x < window.width)?;
        let y = u16::try_from(row - diagram.top).ok().filter(|y| *y < window.height)?;
        Some((window.x + x, window.y + y))
    };
    let in_focus = diagram.shape_in_focus().map(|shape| shape.area);
    let tracing = diagram.traced.is_some();
    let traced: Vec<Area> = diagram
        .map
        .drawing
        .shapes
        .iter()
        .filter(|shape| diagram.is_shape_traced(shape))
        .map(|shape| shape.area)
        .collect();
    for y in window.top()..window.bottom() {
        for x in window.left()..window.right() {
            let column = diagram.left + i32::from(x - window.left());
            let row = diagram.top + i32::from(y - window.top());
            let (letter, class) = frame.grid.at(column, row);
            // The second half of a wide character belongs to the first.
            if letter == '\0' {
                continue;
            }
            let here = Cell { column, row };
            let mut style = style(class, theme);
            if tracing && !traced.iter().any(|area| area.holds(here)) {
                style = theme.quiet();
            }
            if in_focus.is_some_and(|area| area.holds(here)) && matches!(class, Class::Name(_)) {
                style = theme.focus();
            }
            let cell = Rect { x, y, width: window.right() - x, height: 1 };
            put(buffer, cell, x, y, letter.encode_utf8(&mut [0; 4]), style);
        }
    }
    for (number, line) in diagram.map.drawing.lines.iter().enumerate() {
        let focus = diagram.focus == Some(Thing::Line(number));
        if !focus && !diagram.is_line_traced(number) {
            continue;
        }
        for piece in &line.pieces {
            for column in piece.from.column..=piece.to.column {
                for row in piece.from.row..=piece.to.row {
                    let (letter, class) = frame.grid.at(column, row);
                    if let (Some((x, y)), Class::Line(_)) = (place(column, row), class) {
                        let double = doubled(letter);
                        let style = if focus { theme.focus() } else { theme.strong() };
                        put(buffer, window, x, y, double.encode_utf8(&mut [0; 4]), style);
                    }
                }
            }
        }
    }
    for label in &diagram.map.labels {
        let focus = diagram.focus == Some(Thing::Line(label.line));
        let style = if focus { theme.focus() } else { theme.quiet() };
        for (column, letter) in (label.column..).zip(label.text.chars()) {
            if let Some((x, y)) = place(column, label.row) {
                put(buffer, window, x, y, letter.encode_utf8(&mut [0; 4]), style);
            }
        }
    }
}

/// How a cell is styled; all that it means is in its character already.
fn style(class: Class, theme: Theme) -> Style {
    let live = |live: Live| match live {
        Live::Untold => Style::new(),
        Live::Dead => theme.quiet(),
        Live::Energised | Live::Partly => theme.strong(),
        Live::Backwards => theme.strong().add_modifier(Modifier::UNDERLINED),
    };
    match class {
        Class::Blank => Style::new(),
        Class::Part(_, Some(Mark::Excluded))
        | Class::Name(Some(Mark::Excluded))
        | Class::Text(_) => theme.quiet(),
        Class::Line(of) | Class::Part(of, _) => live(of),
        Class::Name(_) => theme.strong(),
    }
}
