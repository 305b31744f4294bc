//! What is wrong with an input file, said once, with its place and a way out.

use std::fmt;

use unicode_width::UnicodeWidthStr;

/// How serious a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Nothing is wrong; an author may want to know.
    Advice,
    /// The file can be used; something in it is worth a look.
    Warning,
    /// The file cannot be used as it stands.
    Error,
}

impl Severity {
    /// `advice`, `warning` or `error`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Advice => "advice",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// A place in a text: both counted from one; columns count characters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// Line, from one.
    pub line: usize,
    /// Column in characters, from one.
    pub column: usize,
}

/// One finding in one file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// How serious it is.
    pub severity: Severity,
    /// Short stable name of the finding, such as `unknown-net`.
    pub code: &'static str,
    /// The file it is in, as the user named it.
    pub file: String,
    /// Where in the file.
    pub place: Place,
    /// What is wrong and what was expected, one sentence without a full stop.
    pub message: String,
    /// A suggestion, where there is one.
    pub hint: Option<String>,
}

impl fmt::Display for Diagnostic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = self.severity.word();
        write!(
            f,
            "{}:{}:{}: {word}[{}]: {}",
            self.file,
            self.place.line,
            self.place.column,
            self.code,
            plain(&self.message)
        )?;
        if let Some(hint) = &self.hint {
            write!(f, " ({})", plain(hint))?;
        }
        Ok(())
    }
}

/// Most columns of a source line that an excerpt shows.
const EXCERPT_COLUMNS: usize = 88;

impl Diagnostic {
    /// The line of the text that it is about and a caret under its place, two lines; `None`
    /// where the text has no such line.
    ///
    /// A long line is cut around the place. Control characters and tabs are shown as one
    /// column each, so that the caret stands where it should.
    pub fn excerpt(&self, text: &str) -> Option<String> {
        let line = text.split('\n').nth(self.place.line.checked_sub(1)?)?;
        let line: Vec<char> = line.trim_end_matches('\r').chars().collect();
        let at = self.place.column.saturating_sub(1).min(line.len());
        // From so far before the place that most of what follows it is seen.
        let from = if line.len() <= EXCERPT_COLUMNS {
            0
        } else {
            at.saturating_sub(EXCERPT_COLUMNS / 3).min(line.len() - EXCERPT_COLUMNS)
        };
        let to = line.len().min(from + EXCERPT_COLUMNS);
        let shown = |part: &[char]| -> String {
            part.iter().map(|c| if *c == '\t' { ' ' } else { *c }).map(visible).collect()
        };
        let (cut, more) = (if from > 0 { "…" } else { "" }, if to < line.len() { "…" } else { "" });
        let before = format!("{cut}{}", shown(&line[from..at]));
        let after = format!("{}{more}", shown(&line[at..to]));
        let (number, indent) = (self.place.line, UnicodeWidthStr::width(before.as_str()));
        Some(format!("{number:>6} | {before}{after}\n       | {:indent$}^", ""))
    }
}

/// The word in `known` nearest to `typed`, if one is near enough to be meant.
///
/// Near enough is a third of the typed length in single-character edits, at
/// least one (Damerau-Levenshtein distance, compared without case).
pub fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    let allowed = (typed.chars().count() / 3).max(1);
    known
        .into_iter()
        .map(|word| (strsim::damerau_levenshtein(&typed, &word.to_lowercase()), word))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, word)| (*distance, *word))
        .map(|(_, word)| word)
}

/// "did you mean `X`?" for the nearest known word.
pub fn did_you_mean<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<String> {
    nearest(typed, known).map(|word| format!("did you mean `{word}`?"))
}

/// The text with every control character replaced, safe to send to a terminal.
///
/// Text from files is data: an escape sequence in a part's name must not reach
/// the terminal. Besides the C0 and C1 controls this covers the directional
/// marks that reorder what follows them on the line.
pub fn plain(text: &str) -> String {
    text.chars().map(visible).collect()
}

/// The beginning of a text, of so many letters at most; what is left out is marked.
///
/// A value out of a file may be as long as the file. A sentence that tells of it stays one.
pub fn shortened(text: &str, most: usize) -> String {
    if text.char_indices().nth(most).is_none() {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{kept}…")
}

fn visible(c: char) -> char {
    if is_unprintable(c) { '\u{FFFD}' } else { c }
}

/// A text with control and direction marks replaced and what means something in HTML
/// and XML written out.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not characters of XML at all.
            '\u{FFFE}' | '\u{FFFF}' => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

/// Whether a character has no business in a name or a sentence.
pub fn is_unprintable(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_words_are_suggested_and_far_ones_are_not() {
        assert_eq!(nearest("FLT.AA", ["FLT.A", "SVY.C"]), Some("FLT.A"));
        assert_eq!(nearest("Fues", ["Fuse", "Wire"]), Some("Fuse"));
        assert_eq!(nearest("horizon", ["Fuse", "Wire"]), None);
    }

    fn at(line: usize, column: usize) -> Diagnostic {
        let (severity, code) = (Severity::Error, "syntax");
        let (file, message) = (String::new(), String::new());
        let place = Place { line, column };
        Diagnostic { severity, code, file, place, message, hint: None }
    }

    #[test]
    fn an_excerpt_puts_its_caret_under_the_place() {
        let text = "one\r\n  näme: \u{1b}\t\"漢字\", x";
        let line = "     2 |   näme: \u{FFFD} \"漢字\", x";
        // The two ideographs are two columns wide each.
        let caret = |columns: usize| format!("{line}\n       | {}^", " ".repeat(columns));
        assert_eq!(at(2, 3).excerpt(text), Some(caret(2)));
        assert_eq!(at(2, 17).excerpt(text), Some(caret(18)));
        assert_eq!(at(2, 99).excerpt(text), Some(caret(19)));
        assert_eq!(at(1, 1).excerpt(text).as_deref(), Some("     1 | one\n       | ^"));
        assert_eq!(at(3, 1).excerpt(text), None);
        assert_eq!(at(0, 0).excerpt(text), None);
    }

    #[test]
    fn a_long_line_is_cut_around_the_place() {
        let text = format!("{}X{}", "a".repeat(200), "b".repeat(200));
        let excerpt = at(1, 201).excerpt(&text).expect("the line is there");
        let (line, caret) = excerpt.split_once('\n').expect("two lines");
        assert!(line.chars().count() < 100, "{line}");
        assert_eq!(line.chars().position(|c| c == 'X'), caret.chars().position(|c| c == '^'));
        assert!(line.ends_with('…') && line.contains("| …"), "{line}");
    }

    #[test]
    fn control_characters_do_not_survive() {
        assert_eq!(plain("a\u{1b}[31mb\u{202E}"), "a\u{FFFD}[31mb\u{FFFD}");
    }
}
