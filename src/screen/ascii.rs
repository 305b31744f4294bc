//! The same screen with ASCII characters alone.
//!
//! Everything is drawn with the characters that suit it; this turns a finished picture
//! into ASCII, cell by cell, so that no page can forget to. Only the fine drawings of
//! [`super::dots`] choose their strokes themselves.

use ratatui::buffer::Buffer;

/// Turns every character of the picture into an ASCII one.
pub(super) fn flatten(buffer: &mut Buffer) {
    for cell in &mut buffer.content {
        if !cell.symbol().is_ascii() {
            let plain = cell.symbol().chars().next().map_or(' ', sign);
            cell.set_char(plain);
        }
    }
}

/// The ASCII character that stands for another one. Signs that stand for different
/// states of one thing stay different.
fn sign(c: char) -> char {
    match c {
        // Where one is, and where it goes on.
        '▸' | '▶' | '▷' | '→' | '›' | '»' => '>',
        '◀' | '←' | '‹' | '«' => '<',
        '▲' | '▴' | '↑' => '^',
        '▼' | '▾' | '↓' => 'v',
        '…' => '~',
        // Breakers in and out; buttons and knobs are round.
        '●' | '•' => '*',
        '◉' => '@',
        // The light of a lamp, from full to hardly any, and light that comes and goes.
        '▒' | '≡' | '═' => '=',
        '║' => 'H',
        '░' | '\u{2800}'..='\u{28ff}' => '.',
        '▚' | '╲' | '⟍' => '\\',
        '▞' | '╱' | '⟋' => '/',
        '▌' | '▐' => '!',
        '×' => 'x',
        '○' | '°' | '\u{25a0}'..='\u{25ff}' => 'o',
        'µ' | 'μ' => 'u',
        'Ω' => 'R',
        '‘' | '’' => '\'',
        '“' | '”' => '"',
        '‐'..='―' | '−' | '─' | '━' | '┄' | '┅' | '┈' | '┉' | '╌' | '╍' | '╴' | '╶' | '╸' | '╺' => {
            '-'
        }
        '▏' | '▕' | '·' | '│' | '┃' | '┆' | '┇' | '┊' | '┋' | '╎' | '╏' | '╵' | '╷' | '╹' | '╻' => {
            '|'
        }
        '✓' | '\u{2500}'..='\u{257f}' => '+',
        // The blocks that are left, the full one first of all.
        '\u{2580}'..='\u{259f}' => '#',
        _ => '?',
    }
}
