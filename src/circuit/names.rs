//! What may be a name and what may stand on one line.

use super::file::{Findings, quoted};
use crate::diagnostic::{Place, is_unprintable};

/// Longest id, in characters.
const WORD_CHARS: usize = 40;

/// Longest line of text on a placard, in characters.
const LINE_CHARS: usize = 80;

/// Whether a text can be an id: not empty, short, nothing unprintable, no space
/// unless `spaced`. Reports what is wrong; `what` is how the message calls it.
pub(super) fn word(
    text: &str,
    what: &str,
    spaced: bool,
    place: Place,
    findings: &mut Findings,
) -> bool {
    let reason = if text.trim().is_empty() {
        "is empty".to_owned()
    } else if text.chars().any(is_unprintable) {
        "has a control character in it".to_owned()
    } else if !spaced && text.chars().any(char::is_whitespace) {
        "has a space in it".to_owned()
    } else if text.trim() != text {
        "has a space at its end".to_owned()
    } else if text.chars().count() > WORD_CHARS {
        format!("is longer than {WORD_CHARS} characters")
    } else {
        return true;
    };
    let message = format!("{what} {reason}: {}", quoted(text));
    findings.error("bad-name", place, message, None);
    false
}

/// Whether a text can stand on one line: not too long, nothing unprintable; it may
/// be empty. Reports what is wrong.
pub(super) fn line(text: &str, what: &str, place: Place, findings: &mut Findings) -> bool {
    line_of(text, what, LINE_CHARS, place, findings)
}

/// As [`line`], for another length.
pub(super) fn line_of(
    text: &str,
    what: &str,
    most: usize,
    place: Place,
    findings: &mut Findings,
) -> bool {
    let reason = if text.chars().any(is_unprintable) {
        "has a control character in it".to_owned()
    } else if text.chars().count() > most {
        format!("is longer than {most} characters")
    } else {
        return true;
    };
    let message = format!("{what} {reason}: {}", quoted(text));
    findings.error("bad-name", place, message, None);
    false
}
