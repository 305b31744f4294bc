//! A system file as typed: names are still text, repetition is still shorthand.
//!
//! The outer structure is fixed and read as such. What a part may hold depends on
//! its kind, so a part is read as any name with any fields; [`super::values`] then
//! holds them against the catalogue. That way one run finds everything wrong with
//! the parts, and a new kind needs no change here.

use std::fmt;

use ron::error::{Error, Position, SpannedError};
use serde::Deserialize;
use serde::de::{
    Deserializer, EnumAccess, IgnoredAny, MapAccess, SeqAccess, VariantAccess, Visitor,
};

use crate::diagnostic::{Diagnostic, Place, Severity, did_you_mean};

/// The whole file.
#[derive(Debug, Deserialize)]
#[serde(rename = "System", deny_unknown_fields)]
pub(super) struct SystemFile {
    pub(super) id: String,
    pub(super) title: String,
    #[serde(default)]
    pub(super) brief: String,
    #[serde(default = "usual_insulation")]
    pub(super) insulation_megohms: f64,
    #[serde(default)]
    pub(super) spare_fuses: Vec<SpareFusesFile>,
    #[serde(default)]
    pub(super) stations: Vec<StationFile>,
    #[serde(default)]
    pub(super) nets: Vec<String>,
    #[serde(default)]
    pub(super) parts: Vec<Entry>,
    #[serde(default)]
    pub(super) test_points: Vec<Entry>,
    #[serde(default)]
    pub(super) mods: Vec<ModFile>,
}

/// One mod: what fitting it does to the plain build.
#[derive(Debug, Deserialize)]
#[serde(rename = "Mod", deny_unknown_fields)]
pub(super) struct ModFile {
    pub(super) id: String,
    pub(super) title: String,
    #[serde(default)]
    pub(super) nets: Vec<String>,
    #[serde(default)]
    pub(super) remove: Vec<String>,
    #[serde(default)]
    pub(super) remove_test_points: Vec<String>,
    #[serde(default)]
    pub(super) remove_nets: Vec<String>,
    #[serde(default)]
    pub(super) change: Vec<Entry>,
    #[serde(default)]
    pub(super) add: Vec<Entry>,
    #[serde(default)]
    pub(super) test_points: Vec<Entry>,
}

/// Megohms from each net to the airframe where the file says nothing (assumption).
fn usual_insulation() -> f64 {
    10.0
}

#[derive(Debug, Deserialize)]
#[serde(rename = "Spare", deny_unknown_fields)]
pub(super) struct SpareFusesFile {
    pub(super) amps: f64,
    pub(super) count: u32,
}

#[derive(Debug, Deserialize)]
#[serde(rename = "Station", deny_unknown_fields)]
pub(super) struct StationFile {
    pub(super) id: String,
    pub(super) title: String,
    #[serde(default)]
    pub(super) minutes: f64,
    #[serde(default)]
    pub(super) open_minutes: f64,
    #[serde(default)]
    pub(super) crew: bool,
    #[serde(default)]
    pub(super) cautions: Vec<String>,
}

/// One line of the parts list or the test point list: `Name(field: value, ...)`.
#[derive(Debug)]
pub(super) struct Entry {
    pub(super) name: String,
    pub(super) fields: Vec<(String, FieldValue)>,
}

/// What stands after a field's colon.
#[derive(Debug)]
pub(super) enum FieldValue {
    /// Anything but the lines inside a `Repeat`.
    Raw(Raw),
    /// The lines inside a `Repeat`.
    Entries(Vec<Entry>),
}

/// A value whose type nobody has judged yet.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Raw {
    Number(f64),
    Text(String),
    Flag(bool),
    /// `[...]` or `(..., ...)`.
    List(Vec<Raw>),
    /// `{"key": ...}` or `(key: ...)`.
    Map(Vec<(Raw, Raw)>),
    /// Legal in the notation and of no use here; says what it is.
    Other(&'static str),
}

impl Raw {
    /// What it is, for a sentence.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Self::Number(_) => "a number",
            Self::Text(_) => "a text in quotes",
            Self::Flag(_) => "true or false",
            Self::List(_) => "a list",
            Self::Map(_) => "a map",
            Self::Other(name) => name,
        }
    }
}

/// The entry that stands for many.
pub(super) const REPEAT: &str = "Repeat";

/// The fields of a `Repeat` that hold entries.
pub(super) const ENTRY_LISTS: [&str; 2] = ["parts", "test_points"];

impl<'de> Deserialize<'de> for Entry {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        // No list of known names: a name is judged later, against the catalogue, so
        // that one run finds every unknown kind.
        deserializer.deserialize_enum("Part", &[], EntryVisitor)
    }
}

struct EntryVisitor;

impl<'de> Visitor<'de> for EntryVisitor {
    type Value = Entry;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a part such as `Fuse(id: ...)`")
    }

    fn visit_enum<A: EnumAccess<'de>>(self, access: A) -> Result<Entry, A::Error> {
        let (Name(name), variant) = access.variant()?;
        let fields = variant.struct_variant(&[], FieldsVisitor { repeat: name == REPEAT })?;
        Ok(Entry { name, fields })
    }
}

struct FieldsVisitor {
    repeat: bool,
}

impl<'de> Visitor<'de> for FieldsVisitor {
    type Value = Vec<(String, FieldValue)>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("fields in parentheses")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Self::Value, A::Error> {
        let mut fields = Vec::new();
        while let Some(Name(name)) = access.next_key()? {
            let value = if self.repeat && ENTRY_LISTS.contains(&name.as_str()) {
                FieldValue::Entries(access.next_value()?)
            } else {
                FieldValue::Raw(access.next_value()?)
            };
            fields.push((name, value));
        }
        Ok(fields)
    }
}

/// A bare word: the name of a part's kind or of a field.
struct Name(String);

impl<'de> Deserialize<'de> for Name {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct NameVisitor;
        impl Visitor<'_> for NameVisitor {
            type Value = Name;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a name")
            }

            fn visit_str<E>(self, text: &str) -> Result<Name, E> {
                Ok(Name(text.to_owned()))
            }
        }
        deserializer.deserialize_identifier(NameVisitor)
    }
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(RawVisitor)
    }
}

struct RawVisitor;

impl<'de> Visitor<'de> for RawVisitor {
    type Value = Raw;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_f64<E>(self, value: f64) -> Result<Raw, E> {
        Ok(Raw::Number(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Raw, E> {
        Ok(Raw::Number(value as f64))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Raw, E> {
        Ok(Raw::Number(value as f64))
    }

    fn visit_bool<E>(self, value: bool) -> Result<Raw, E> {
        Ok(Raw::Flag(value))
    }

    fn visit_char<E>(self, _: char) -> Result<Raw, E> {
        Ok(Raw::Other("a character in single quotes"))
    }

    fn visit_str<E>(self, text: &str) -> Result<Raw, E> {
        Ok(Raw::Text(text.to_owned()))
    }

    fn visit_bytes<E>(self, _: &[u8]) -> Result<Raw, E> {
        Ok(Raw::Other("a byte string"))
    }

    fn visit_unit<E>(self) -> Result<Raw, E> {
        Ok(Raw::Other("a word without quotes"))
    }

    fn visit_none<E>(self) -> Result<Raw, E> {
        Ok(Raw::Other("an optional value"))
    }

    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Raw, D::Error> {
        IgnoredAny::deserialize(deserializer)?;
        Ok(Raw::Other("an optional value"))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut access: A) -> Result<Raw, A::Error> {
        let mut values = Vec::new();
        while let Some(value) = access.next_element()? {
            values.push(value);
        }
        Ok(Raw::List(values))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Raw, A::Error> {
        let mut pairs = Vec::new();
        while let Some(pair) = access.next_entry()? {
            pairs.push(pair);
        }
        Ok(Raw::Map(pairs))
    }
}

/// Reads the text of a file into its typed form, or says why it cannot be read.
pub(super) fn parse(text: &str, findings: &mut Findings) -> Option<SystemFile> {
    match ron::from_str(text) {
        Ok(file) => Some(file),
        Err(error) => {
            report_syntax(&error, text, findings);
            None
        }
    }
}

/// The parser's own error, told in the words an author uses.
fn report_syntax(error: &SpannedError, text: &str, findings: &mut Findings) {
    let nothing_there = matches!(error.code, Error::Eof | Error::ExpectedStructLike)
        || matches!(error.code, Error::ExpectedNamedStructLike(_));
    if nothing_there && super::places::is_blank(text) {
        findings.error(
            "empty-file",
            Place { line: 1, column: 1 },
            "the file is empty; it should hold `System(...)`",
            None,
        );
        return;
    }
    let start = place(error.span.start);
    let end = place(error.span.end);
    let (code, at, message, hint) = match &error.code {
        Error::NoSuchStructField { expected, found, .. } => (
            "unknown-field",
            start,
            format!("there is no field {}", quoted(found)),
            did_you_mean(short(found), expected.iter().copied()),
        ),
        Error::MissingStructField { field, outer } => (
            "missing-field",
            end,
            match outer {
                Some(outer) => format!("{outer} ends here without its field {}", quoted(field)),
                None => format!("the field {} is missing", quoted(field)),
            },
            None,
        ),
        Error::DuplicateStructField { field, .. } => {
            ("duplicate-field", start, format!("the field {} is given twice", quoted(field)), None)
        }
        Error::ExpectedBoolean => wrong_type(end, "true or false"),
        Error::ExpectedFloat => wrong_type(end, "a number"),
        Error::ExpectedInteger => wrong_type(end, "a whole number"),
        Error::ExpectedString => wrong_type(end, "a text in quotes"),
        Error::ExpectedArray => wrong_type(end, "a list in square brackets"),
        Error::IntegerOutOfBounds => {
            ("out-of-range", end, "the number does not fit here".to_owned(), None)
        }
        Error::ExpectedDifferentStructName { expected, found } => (
            "syntax",
            start,
            format!("expected {} but found {}", quoted(expected), quoted(found)),
            did_you_mean(short(found), [*expected]),
        ),
        Error::ExceededRecursionLimit => {
            ("syntax", end, "brackets are nested too deeply".to_owned(), None)
        }
        Error::Eof => (
            "syntax",
            end,
            "the file ends too early; a closing bracket is missing".to_owned(),
            None,
        ),
        Error::ExpectedStringEnd => {
            ("syntax", end, "this text has no closing quote".to_owned(), None)
        }
        Error::TrailingCharacters => {
            ("syntax", end, "nothing may follow the end of `System(...)`".to_owned(), None)
        }
        Error::ExpectedComma => {
            ("syntax", end, "expected a comma or a closing bracket".to_owned(), None)
        }
        other => ("syntax", end, lower_first(&other.to_string()), None),
    };
    findings.error(code, at, message, hint);
}

fn wrong_type(at: Place, expected: &str) -> (&'static str, Place, String, Option<String>) {
    ("wrong-type", at, format!("expected {expected}"), None)
}

fn place(position: Position) -> Place {
    Place { line: position.line, column: position.col }
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}

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
#[derive(Debug)]
pub(super) struct Findings {
    file: String,
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
        Self { file: file.to_owned(), list: Vec::new(), errors: 0, comparisons: COMPARISON_LIMIT }
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
            file: self.file.clone(),
            place,
            message,
            hint,
        });
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
        self.list
    }
}
