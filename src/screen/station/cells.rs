//! The small faces of a station: lamps, breakers, fuse holders, instruments, machines
//! and test points.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::text::{fit_placard, put, put_right, width, wrap};
use super::super::theme::Theme;
use crate::drill::{Annunciator, BreakerFace, FuseHolder, LifeSign};
use crate::observation::Look;
use crate::units::significant;

/// How a cell is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Manner {
    /// It has the focus.
    pub(super) focus: bool,
    /// What stands before it.
    pub(super) sign: &'static str,
    /// Whether there is room for a cell of several rows.
    pub(super) roomy: bool,
    /// The styles.
    pub(super) theme: Theme,
}

impl Manner {
    fn label(self, plain: Style) -> Style {
        if self.focus { self.theme.focus() } else { plain }
    }
}

/// Columns and rows of a breaker or fuse in a roomy layout.
pub(super) const ROOMY: (u16, u16) = (18, 4);

/// What stands on both sides of a legend: the shape of the light.
fn light_marks(look: Look) -> (&'static str, &'static str) {
    match look {
        Look::Bright => ("█", "█"),
        Look::Dim => ("▒", "▒"),
        Look::Glimmer => ("░", "░"),
        Look::Flickering => ("▚", "▞"),
        Look::Flashing => ("▌", "▐"),
        _ => (" ", " "),
    }
}

/// A lamp behind its legend.
pub(super) fn annunciator(buffer: &mut Buffer, area: Rect, lamp: &Annunciator, manner: Manner) {
    let legend = fit_placard(&lamp.legend, area.width.saturating_sub(5));
    let (left, right) = light_marks(lamp.look);
    let (style, light) = manner.theme.lamp(&lamp.colour, lamp.look);
    let frame = manner.label(Style::new());
    put(buffer, area, area.x, area.y, manner.sign, frame);
    put(buffer, area, area.x + 1, area.y, "[", frame);
    put(buffer, area, area.x + 2, area.y, left, light);
    put(buffer, area, area.x + 3, area.y, &legend, style);
    let end = area.x + 3 + width(&legend);
    put(buffer, area, end, area.y, right, light);
    put(buffer, area, end + 1, area.y, "]", frame);
}

/// A breaker: its button in, or its collar showing.
pub(super) fn breaker(buffer: &mut Buffer, area: Rect, breaker: &BreakerFace, manner: Manner) {
    let theme = manner.theme;
    let glyph = if breaker.out { "◉" } else { "●" };
    let rating = format!("{} A", significant(breaker.amps, 3));
    let knob = if breaker.out { theme.collar() } else { Style::new() };
    if !manner.roomy {
        let end = if breaker.out { "OUT".to_owned() } else { rating };
        row(buffer, area, glyph, &breaker.label, (&end, knob), manner);
        return;
    }
    let top = if breaker.out { format!("{glyph} OUT") } else { glyph.to_owned() };
    roomy_cell(buffer, area, (&top, knob), (&rating, &breaker.label), manner);
}

/// A fuse holder with its number on the row: seated, or empty with the fuse in the hand.
pub(super) fn fuse(
    buffer: &mut Buffer,
    area: Rect,
    (number, fuse): (usize, &FuseHolder),
    manner: Manner,
) {
    let placard = format!("{number} {}", fuse.label);
    let theme = manner.theme;
    let rating = format!("{} A {} sp", significant(fuse.amps, 3), fuse.spares);
    let in_hand = fuse.in_hand_words();
    let style = if fuse.seated { Style::new() } else { theme.strong() };
    if !manner.roomy {
        let glyph = if fuse.seated { "[━]" } else { "[ ]" };
        row(buffer, area, glyph, &placard, (in_hand.as_deref().unwrap_or(&rating), style), manner);
        return;
    }
    let top = match in_hand {
        Some(word) => format!("[  ] {word}"),
        None => "[━━]".to_owned(),
    };
    roomy_cell(buffer, area, (&top, style), (&rating, &placard), manner);
}

/// An instrument or a machine with its word.
pub(super) fn sign(buffer: &mut Buffer, area: Rect, sign: &LifeSign, manner: Manner) {
    let quiet = matches!(sign.look, Look::Works | Look::Silent);
    let style = if quiet { manner.theme.quiet() } else { manner.theme.strong() };
    let long = sign.look.word();
    let word = if width(long) + 12 > area.width { short_word(sign.look) } else { long };
    row(buffer, area, "", &sign.label, (word, style), manner);
}

/// A word for narrow columns.
fn short_word(look: Look) -> &'static str {
    match look {
        Look::Flagged => "flag",
        Look::Humming => "humming",
        Look::Slow => "slow",
        other => other.word(),
    }
}

/// A test point with the net it touches.
pub(super) fn point(buffer: &mut Buffer, area: Rect, id: &str, net: &str, manner: Manner) {
    let label = manner.label(Style::new());
    put(buffer, area, area.x, area.y, manner.sign, label);
    let id = fit_placard(id, area.width.saturating_sub(2));
    put(buffer, area, area.x + 1, area.y, &id, label);
    let x = area.x + 2 + width(&id);
    let room = area.right().saturating_sub(x + 1);
    if room >= 3 {
        put(buffer, area, x, area.y, &fit_placard(net, room), manner.theme.quiet());
    }
}

/// One line: pointer, glyph, placard, and a word at the right.
fn row(
    buffer: &mut Buffer,
    area: Rect,
    glyph: &str,
    label: &str,
    (end, end_style): (&str, Style),
    manner: Manner,
) {
    let cell = Rect { width: area.width.saturating_sub(1), ..area };
    let x = put_right(buffer, cell, area.y, end, end_style);
    put(buffer, area, area.x, area.y, manner.sign, manner.label(Style::new()));
    put(buffer, area, area.x + 1, area.y, glyph, end_style);
    let from = area.x + 1 + if glyph.is_empty() { 0 } else { width(glyph) + 1 };
    let placard = fit_placard(label, x.saturating_sub(from + 1));
    put(buffer, area, from, area.y, &placard, manner.label(Style::new()));
}

/// Three rows: the thing itself with its rating, and its placard on two lines.
fn roomy_cell(
    buffer: &mut Buffer,
    area: Rect,
    (top, style): (&str, Style),
    (rating, label): (&str, &str),
    manner: Manner,
) {
    let placard = manner.label(Style::new());
    put(buffer, area, area.x, area.y, manner.sign, placard);
    let inner = Rect { x: area.x + 1, width: area.width.saturating_sub(3), ..area };
    put(buffer, inner, inner.x, area.y, top, style);
    let room = inner.width.saturating_sub(width(top));
    if room > width(rating) {
        put(buffer, inner, inner.x + width(top) + 1, area.y, rating, manner.theme.quiet());
    }
    let lines = placard_lines(label, inner.width);
    for (line, text) in lines.iter().enumerate() {
        put(buffer, inner, inner.x, area.y + 1 + line as u16, text, placard);
    }
}

/// A placard on at most two lines, as even as they can be.
fn placard_lines(label: &str, columns: u16) -> Vec<String> {
    let whole = |lines: &[String]| lines.len() <= 2 && lines.iter().all(|l| !l.contains('…'));
    if width(label) <= columns.saturating_sub(2) {
        return vec![fit_placard(label, columns)];
    }
    if let Some(lines) = (1..=columns).map(|w| wrap(label, w)).find(|lines| whole(lines)) {
        return lines;
    }
    let mut lines = wrap(label, columns);
    let rest = lines.split_off(1).join(" ");
    lines.push(fit_placard(&rest, columns));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placards_break_evenly_and_never_take_three_lines() {
        assert_eq!(placard_lines("FLT GYRO PRI A", 12), ["FLT GYRO", "PRI A"]);
        assert_eq!(placard_lines("TORQUE", 12), ["TORQUE"]);
        assert_eq!(placard_lines("WINDSCREEN HEAT CONTROLLER", 10).len(), 2);
    }
}
