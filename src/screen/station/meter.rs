//! A pointer instrument: arc, division marks, figures and a pointer from its pivot.
//!
//! The pointer stands where it is read, on a mark a person can tell apart; the exact
//! value is nowhere on the screen.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::super::dots::{Dots, Stroke};
use super::super::text::{put, put_centred, width};
use super::super::theme::Theme;
use crate::drill::Needle;

/// Half the sweep of the pointer, in degrees from upright.
const HALF_SWEEP_DEGREES: f64 = crate::observation::POINTER_SWEEP_DEGREES / 2.0;
/// Rows below the dial: placard and reading.
const ROWS_BELOW: u16 = 2;

/// Columns a meter of so many rows takes.
pub(super) fn columns(rows: u16) -> u16 {
    // A radius of four dots a row, two dots a column, and the figures at both ends.
    (rows - ROWS_BELOW - 1) * 4 + 8
}

/// Draws a meter.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    needle: &Needle,
    (focus, sign): (bool, &str),
    theme: Theme,
) {
    let dial = Rect { height: area.height.saturating_sub(ROWS_BELOW), ..area };
    let radius = f64::from(dial.height.saturating_sub(1)) * 4.0 - 1.0;
    let pivot = (f64::from(dial.width) - 1.0, f64::from(dial.height) * 4.0 - 2.0);
    let at = |fraction: f64, radius: f64| {
        let angle = ((fraction * 2.0 - 1.0) * HALF_SWEEP_DEGREES).to_radians();
        (pivot.0 + radius * libm::sin(angle), pivot.1 - radius * libm::cos(angle))
    };
    let mut dots = Dots::over(dial);
    let steps = (radius * 3.0) as u32;
    for step in 0..=steps {
        let (x, y) = at(f64::from(step) / f64::from(steps.max(1)), radius);
        dots.set(x, y, '.', theme.quiet());
    }
    for tick in &needle.ticks {
        let sign = Stroke::Sign(if tick.figure.is_some() { '+' } else { ':' });
        let long = radius * if tick.figure.is_some() { 0.16 } else { 0.07 };
        let marks =
            if tick.figure.is_some() { ratatui::style::Style::new() } else { theme.quiet() };
        dots.line(at(tick.fraction, radius - long), at(tick.fraction, radius), sign, marks);
    }
    dots.line(pivot, at(needle.fraction, radius - 2.0), Stroke::Sloped, theme.strong());
    let hub = ((pivot.0 - 1.0, pivot.1), (pivot.0 + 1.0, pivot.1));
    dots.line(hub.0, hub.1, Stroke::Sign('o'), theme.strong());
    dots.show(buffer, theme.ascii());
    let mut taken: Vec<(u16, u16, u16)> = Vec::new();
    for (fraction, figure) in
        needle.ticks.iter().filter_map(|t| t.figure.as_ref().map(|f| (t.fraction, f)))
    {
        let columns = width(figure);
        let (x, y) = at(fraction, radius + 3.0);
        let row = (libm::floor(y / 4.0).max(0.0) as u16).min(dial.height.saturating_sub(1));
        // Left of the middle a figure ends at its mark, right of it it begins there.
        let side = libm::sin(((fraction * 2.0 - 1.0) * HALF_SWEEP_DEGREES).to_radians());
        let middle = x / 2.0 + side * f64::from(columns) * 0.5;
        let left = libm::round(middle - f64::from(columns) / 2.0 + 0.5).max(0.0) as u16;
        let left = left.min(dial.width.saturating_sub(columns));
        let clear =
            taken.iter().all(|(r, from, to)| *r != row || left > *to || left + columns < *from);
        if clear {
            put(buffer, dial, dial.x + left, dial.y + row, figure, ratatui::style::Style::new());
            taken.push((row, left, left + columns));
        }
    }
    let placard = if focus { theme.focus() } else { theme.strong() };
    let tail = if focus { " " } else { "" };
    let text = format!("{}{}{tail}", sign.trim(), needle.label);
    put_centred(buffer, area, dial.bottom(), &text, placard);
    put_centred(
        buffer,
        area,
        dial.bottom() + 1,
        &caption(&needle.words, area.width),
        theme.quiet(),
    );
}

/// The reading in words, shorter where its own words are too many.
fn caption(words: &str, columns: u16) -> String {
    if width(words) <= columns {
        return words.to_owned();
    }
    words.replace("midway between ", "mid ").replace(" and ", "–").replace("a little ", "just ")
}
