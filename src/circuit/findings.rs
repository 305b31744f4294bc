//! Everything found wrong in one reading of a file.
//!
//! A file can be wrong in a thousand places. What is kept and compared is bounded, so
//! that the worst file is answered in a moment.

use super::origins::Remark;
use crate::diagnostic::{Diagnostic, Place, Severity, did_you_mean, plain};

/// Longest piece of an author's text that a message repeats.
const QUOTED_CHARS: usize = 40;

/// The start of a text, as far as a message repeats it.
pub(super) fn short(text: &str) -> &str {
    text.char_indices().nth(QUOTED_CHARS).map_or(text, |(end, _)| &text[..end])
}

/// An author's text as a message repeats it.
pub(super) fn quoted(text: &str) -> String {
    let start = short(text);
    let dots = if start.len() < text.len() { "…" } else { "" };
    format!("`{start}{dots}`")
}

/// Everything found wrong so far.
#[derive(Clone, Debug)]
pub(super) struct Findings {
    /// Each file, and the line at which it begins in all of them together.
    files: Vec<(String, usize)>,
    list: Vec<Diagnostic>,
    errors: usize,
    comparisons: usize,
}

/// Beyond this many errors a reader is told to mend the first ones first: each
/// further one costs a search for a suggestion and helps nobody.
const ERROR_LIMIT: usize = 100;

/// Most words looked at for suggestions in one run; enough for dozens of slips in the
/// largest system.
const COMPARISON_LIMIT: usize = 200_000;

/// Beyond this many warnings no more are kept.
const WARNING_LIMIT: usize = 1000;

impl Findings {
    pub(super) fn new(file: &str) -> Self {
        Self::over(vec![(file.to_owned(), 1)])
    }

    /// The same over several files, each with the line at which it begins.
    pub(super) fn over(files: Vec<(String, usize)>) -> Self {
        Self { files, list: Vec::new(), errors: 0, comparisons: COMPARISON_LIMIT }
    }

    /// The file of a line, and the line in it.
    fn in_file(&self, line: usize) -> (&str, usize) {
        let of = self.files.iter().rev().find(|(_, first)| *first <= line);
        of.or(self.files.first()).map_or(("", line), |(name, first)| (name, line + 1 - first))
    }

    /// A place as another message names it: the file only where it is not that of `from`.
    pub(super) fn told(&self, place: Place, from: Place) -> String {
        let (file, line) = self.in_file(place.line);
        if self.in_file(from.line).0 == file {
            format!("{line}:{}", place.column)
        } else {
            format!("{}:{line}:{}", plain(file), place.column)
        }
    }

    /// Takes over what was found in one file, which begins so many lines further down.
    pub(super) fn take_over(&mut self, other: Self, lines: usize) {
        for mut finding in other.list {
            finding.place.line += lines;
            self.errors += usize::from(finding.severity == Severity::Error);
            self.list.push(finding);
        }
    }

    pub(super) fn error(
        &mut self,
        code: &'static str,
        place: Place,
        message: impl Into<String>,
        hint: Option<String>,
    ) {
        self.errors += 1;
        if self.errors <= ERROR_LIMIT {
            self.push(Severity::Error, code, place, message.into(), hint);
        }
    }

    pub(super) fn warning(
        &mut self,
        code: &'static str,
        place: Place,
        message: impl Into<String>,
        hint: Option<String>,
    ) {
        if self.list.len() < WARNING_LIMIT {
            self.push(Severity::Warning, code, place, message.into(), hint);
        }
    }

    /// Something found in the circuit itself.
    pub(super) fn remark(&mut self, remark: Remark, place: Place) {
        let Remark { severity, code, message, hint, .. } = remark;
        match severity {
            Severity::Error => self.error(code, place, message, hint),
            Severity::Warning | Severity::Advice if self.list.len() >= WARNING_LIMIT => {}
            Severity::Warning | Severity::Advice => self.push(severity, code, place, message, hint),
        }
    }

    fn push(
        &mut self,
        severity: Severity,
        code: &'static str,
        place: Place,
        message: String,
        hint: Option<String>,
    ) {
        self.list.push(Diagnostic {
            severity,
            code,
            // Named once all has been found.
            file: String::new(),
            place,
            message,
            hint,
        });
    }

    /// Gives a finding another hint, made from the one it has.
    pub(super) fn amend(
        &mut self,
        code: &str,
        place: Place,
        hint: impl Fn(Option<&str>) -> String,
    ) {
        for finding in self.list.iter_mut().filter(|d| d.code == code && d.place == place) {
            finding.hint = Some(hint(finding.hint.as_deref()));
        }
    }

    /// "did you mean" for the nearest known word, while searching is worth its time.
    pub(super) fn suggest<'a>(
        &mut self,
        typed: &str,
        known: impl IntoIterator<Item = &'a str>,
    ) -> Option<String> {
        if self.errors >= ERROR_LIMIT || self.comparisons == 0 {
            return None;
        }
        let comparisons = &mut self.comparisons;
        let known = known.into_iter().inspect(|_| *comparisons = comparisons.saturating_sub(1));
        did_you_mean(short(typed), known)
    }

    pub(super) fn has_errors(&self) -> bool {
        self.errors > 0
    }

    /// The findings by place; what the copies of one line have in common is said once.
    pub(super) fn into_sorted(mut self) -> Vec<Diagnostic> {
        if self.errors > ERROR_LIMIT {
            let more = self.errors - ERROR_LIMIT;
            let last = self.list.iter().map(|d| d.place).max().unwrap_or_default();
            self.push(
                Severity::Error,
                "too-many",
                last,
                format!("{more} more errors are not shown; mend the ones above first"),
                None,
            );
        }
        // The sort is stable, so findings of one place stay in the order made.
        self.list.sort_by_key(|d| d.place);
        self.list.dedup();
        let mut list = std::mem::take(&mut self.list);
        for finding in &mut list {
            let (file, line) = self.in_file(finding.place.line);
            file.clone_into(&mut finding.file);
            finding.place.line = line;
        }
        list
    }
}
