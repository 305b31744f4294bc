//! Text that fits: widths in terminal columns, cut and wrapped, control characters out.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::diagnostic::plain;

/// Terminal columns a text takes.
pub(super) fn width(text: &str) -> u16 {
    u16::try_from(text.width()).unwrap_or(u16::MAX)
}

/// The text, cleaned and cut at the end to a number of columns.
pub(super) fn fit(text: &str, columns: u16) -> String {
    let text = plain(text);
    if width(&text) <= columns {
        return text;
    }
    format!("{}…", head(&text, columns.saturating_sub(1)))
}

/// The text, cleaned and cut in the middle: a placard's last letters tell it from its
/// neighbour.
pub(super) fn fit_placard(text: &str, columns: u16) -> String {
    const TAIL: u16 = 4;
    let text = plain(text);
    if width(&text) <= columns || columns <= 2 * TAIL {
        return fit(&text, columns);
    }
    let tail: String = {
        let mut taken: Vec<char> = Vec::new();
        let mut used = 0;
        for c in text.chars().rev() {
            used += c.width().unwrap_or(0);
            if used > usize::from(TAIL) {
                break;
            }
            taken.push(c);
        }
        taken.into_iter().rev().collect()
    };
    let front = head(&text, columns - 1 - width(&tail));
    format!("{}…{tail}", front.trim_end())
}

/// As much of the text as fits.
fn head(text: &str, columns: u16) -> String {
    let mut used = 0;
    text.chars()
        .take_while(|c| {
            used += c.width().unwrap_or(0);
            used <= usize::from(columns)
        })
        .collect()
}

/// The text broken into lines between words; a word too long for a line is cut.
pub fn wrap(text: &str, columns: u16) -> Vec<String> {
    let columns = columns.max(1);
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in plain(text).split_whitespace() {
        if !line.is_empty() && width(&line) + 1 + width(word) > columns {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&fit(word, columns));
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// Writes a text at a place, no further than the right edge of `within`.
pub(super) fn put(buffer: &mut Buffer, within: Rect, x: u16, y: u16, text: &str, style: Style) {
    if y < within.top() || y >= within.bottom() || x >= within.right() {
        return;
    }
    // What was there before does not shine through.
    let style = Style::reset().patch(style);
    buffer.set_string(x, y, fit(text, within.right() - x), style);
}

/// Writes a text so that it ends at the right edge of `within`; returns where it begins.
pub(super) fn put_right(
    buffer: &mut Buffer,
    within: Rect,
    y: u16,
    text: &str,
    style: Style,
) -> u16 {
    let text = fit(text, within.width);
    let x = within.right().saturating_sub(width(&text)).max(within.left());
    put(buffer, within, x, y, &text, style);
    x
}

/// Writes a text in the middle of `within`.
pub(super) fn put_centred(buffer: &mut Buffer, within: Rect, y: u16, text: &str, style: Style) {
    let text = fit_placard(text, within.width);
    let x = within.left() + (within.width.saturating_sub(width(&text))) / 2;
    put(buffer, within, x, y, &text, style);
}

/// A horizontal rule across `within`.
pub(super) fn rule(buffer: &mut Buffer, within: Rect, y: u16, style: Style) {
    put(buffer, within, within.left(), y, &"─".repeat(usize::from(within.width)), style);
}

/// The part of `area` that lies inside its margins of one column.
pub(super) fn inside(area: Rect) -> Rect {
    let margin = u16::from(area.width > 2);
    Rect { x: area.x + margin, width: area.width - 2 * margin, ..area }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_cut_to_columns_not_to_characters() {
        assert_eq!(fit("AC VOLTS", 8), "AC VOLTS");
        assert_eq!(fit("AC VOLTS", 5), "AC V…");
        assert_eq!(fit("電圧計", 5), "電圧…");
        assert_eq!(fit("a\u{1b}[2J", 9), "a\u{FFFD}[2J");
        assert_eq!(fit("abc", 0), "…");
    }

    #[test]
    fn a_placard_keeps_its_last_letters() {
        assert_eq!(fit_placard("WSHLD HEAT CONT A", 15), "WSHLD HEAT…NT A");
        assert_eq!(fit_placard("WSHLD HEAT CONT A", 17), "WSHLD HEAT CONT A");
    }

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("", 7), [""]);
        assert_eq!(wrap("incomprehensible", 6), ["incom…"]);
    }
}
