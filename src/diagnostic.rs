//! What is wrong with an input file, said once, with its place and a way out.

use std::fmt;

/// How serious a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The file can be used; something in it is worth a look.
    Warning,
    /// The file cannot be used as it stands.
    Error,
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
        let word = match self.severity {
            Severity::Warning => "warning",
            Severity::Error => "error",
        };
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
    text.chars().map(|c| if is_unprintable(c) { '\u{FFFD}' } else { c }).collect()
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

    #[test]
    fn control_characters_do_not_survive() {
        assert_eq!(plain("a\u{1b}[31mb\u{202E}"), "a\u{FFFD}[31mb\u{FFFD}");
    }
}
