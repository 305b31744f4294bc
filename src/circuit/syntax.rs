//! Tells what the parser of the notation could not read, in the words an author uses:
//! which bracket is open there, what can stand in it, what was perhaps meant.

use ron::error::{Error, Position, SpannedError};

use super::catalogue::CATALOGUE;
use super::common::TEST_POINT;
use super::file::{Findings, MOD, REPEAT};
use super::findings::{quoted, short};
use super::places::{Open, is_blank, open_at, rest_at};
use super::shape::{SPARE, STATION, SYSTEM, fields_of, it_has};
use crate::diagnostic::{Place, did_you_mean};

/// What is said of an error.
struct Said {
    code: &'static str,
    message: String,
    hint: Option<String>,
}

fn syntax(message: impl Into<String>) -> Said {
    Said { code: "syntax", message: message.into(), hint: None }
}

/// Reports the parser's error.
pub(super) fn report(error: &SpannedError, text: &str, findings: &mut Findings) {
    let nothing_there = matches!(error.code, Error::Eof | Error::ExpectedStructLike)
        || matches!(error.code, Error::ExpectedNamedStructLike(_));
    if nothing_there && is_blank(text) {
        let message = "the file is empty; it should hold `System(...)`";
        return findings.error("empty-file", Place { line: 1, column: 1 }, message, None);
    }
    let start = place(error.span.start);
    let end = place(error.span.end);
    if let Error::ExpectedDifferentStructName { expected, found } = &error.code {
        let message = format!("expected {} but found {}", quoted(expected), quoted(found));
        let hint = did_you_mean(short(found), [*expected]);
        return findings.error("syntax", start, message, hint);
    }
    let at = Spot { open: open_at(text, end), rest: rest_at(text, end) };
    let Said { code, message, hint } = at.said(&error.code);
    findings.error(code, end, message, hint);
}

fn place(position: Position) -> Place {
    Place { line: position.line, column: position.col }
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}

/// Where the parser stopped.
struct Spot<'t> {
    /// The brackets open there.
    open: Vec<Open>,
    /// The text from there on.
    rest: &'t str,
}

impl Spot<'_> {
    fn said(&self, code: &Error) -> Said {
        match code {
            Error::ExpectedIdentifier
            | Error::InvalidIdentifier(_)
            | Error::SuggestRawIdentifier(_) => self.no_name(),
            Error::ExpectedMapColon => self.no_colon(),
            Error::ExpectedComma => self.no_comma(),
            Error::ExpectedStructLike | Error::ExpectedNamedStructLike(_) => self.no_bracket(),
            Error::UnexpectedChar(_) => match self.key() {
                Some(key) => {
                    syntax(format!("expected a value for {}, not {}", quoted(key), self.found()))
                }
                None => syntax(format!("{} cannot stand here", self.found())),
            },
            Error::ExpectedBoolean => self.wrong_type("true or false"),
            Error::ExpectedFloat => self.wrong_type("a number"),
            Error::ExpectedInteger => self.wrong_type("a whole number"),
            Error::ExpectedString => self.wrong_type("a text in quotes"),
            Error::ExpectedArray => self.wrong_type("a list in square brackets"),
            Error::IntegerOutOfBounds => Said {
                code: "out-of-range",
                message: "the number does not fit here".to_owned(),
                hint: None,
            },
            Error::ExceededRecursionLimit => syntax("brackets are nested too deeply"),
            Error::Eof => self.too_early(),
            Error::ExpectedStringEnd => syntax("this text has no closing quote"),
            Error::TrailingCharacters => syntax("nothing may follow the end of `System(...)`"),
            other => syntax(lower_first(&other.to_string())),
        }
    }

    /// The innermost open bracket; none outside of all.
    fn inner(&self) -> Option<&Open> {
        self.open.last().filter(|open| open.bracket.is_some())
    }

    /// The key whose value is expected.
    fn key(&self) -> Option<&str> {
        self.inner()?.key.as_deref()
    }

    /// The key of the list that holds what is being read.
    fn list(&self) -> Option<&str> {
        let around = self.open.len().checked_sub(2)?;
        self.open[around].key.as_deref()
    }

    /// What the innermost bracket is of: its name, or what the list around it holds.
    fn structure(&self) -> Option<&str> {
        let inner = self.inner()?;
        if !inner.name.is_empty() {
            return Some(&inner.name);
        }
        // The file, the list's owner, the list, this bracket.
        let owner = self.open.len().checked_sub(3)?;
        match (owner, self.open[owner].key.as_deref()) {
            (_, Some("stations")) => Some(STATION),
            (_, Some("spare_fuses")) => Some(SPARE),
            (_, Some("mods")) => Some(MOD),
            (_, _) => None,
        }
    }

    /// The word or sign that was found, as a message repeats it.
    fn found(&self) -> String {
        match self.rest.chars().next() {
            None => "the end of the file".to_owned(),
            Some('"') => "a text in quotes".to_owned(),
            Some(sign) if word_in(self.rest).is_empty() => quoted(&sign.to_string()),
            Some(_) => quoted(word_in(self.rest)),
        }
    }

    /// A name was expected: of a field, or of a part.
    fn no_name(&self) -> Said {
        let Some(inner) = self.inner() else {
            return syntax(format!("expected `System(...)`, not {}", self.found()));
        };
        let typed = word_in(self.rest.trim_start_matches('"'));
        if inner.bracket == Some('[') {
            let (what, names): (&str, Vec<&str>) = match self.list() {
                Some("test_points") => ("`TestPoint(id: ...)`", vec![TEST_POINT, REPEAT]),
                Some("mods") => ("`Mod(id: ...)`", vec![MOD]),
                _ => (
                    "a part such as `Fuse(id: ...)`",
                    CATALOGUE.iter().map(|spec| spec.name).chain([REPEAT]).collect(),
                ),
            };
            let hint = did_you_mean(short(typed), names);
            return Said { hint, ..syntax(format!("expected {what}, not {}", self.found())) };
        }
        if self.rest.starts_with(',') {
            return syntax("there is nothing before this comma");
        }
        let Some((name, fields)) = self.structure().and_then(|n| Some((n, fields_of(n)?))) else {
            return syntax(format!("expected the name of a field, not {}", self.found()));
        };
        let near = did_you_mean(short(typed), fields.iter().copied());
        let hint = Some(near.unwrap_or_else(|| it_has(&fields)));
        let message = if self.rest.starts_with('"') && !typed.is_empty() {
            format!("the name of a field of {} stands without quotes", quoted(name))
        } else {
            format!("expected the name of a field of {}, not {}", quoted(name), self.found())
        };
        Said { hint, ..syntax(message) }
    }

    /// A field's name is there and its colon is not.
    fn no_colon(&self) -> Said {
        let Some(field) = self.inner().and_then(|inner| inner.last.as_deref()) else {
            return syntax(format!("expected a colon, not {}", self.found()));
        };
        let message = format!("expected a colon after {}, not {}", quoted(field), self.found());
        let fields = self.structure().and_then(fields_of).unwrap_or_default();
        let hint = if fields.is_empty() || fields.contains(&field) {
            None
        } else {
            let near = did_you_mean(short(field), fields.iter().copied());
            Some(near.unwrap_or_else(|| it_has(&fields)))
        };
        Said { hint, ..syntax(message) }
    }

    /// The file ends with a bracket open.
    fn too_early(&self) -> Said {
        match self.inner() {
            Some(inner) => {
                syntax(format!("the file ends too early; {} is not closed", bracket(inner)))
            }
            None => syntax("the file ends too early; a closing bracket is missing"),
        }
    }

    /// A value is there and what must follow it is not.
    fn no_comma(&self) -> Said {
        if self.rest.is_empty() {
            return self.too_early();
        }
        let Some(inner) = self.inner() else {
            return syntax("expected a comma or a closing bracket");
        };
        let closing = match inner.bracket {
            Some('(') => ')',
            Some('[') => ']',
            _ => '}',
        };
        let message = format!("expected a comma, or `{closing}` to close {}", bracket(inner));
        let next = word_in(self.rest);
        let hint = if self.rest[next.len()..].trim_start().starts_with(':') && !next.is_empty() {
            Some(format!("a comma is missing before {}", quoted(next)))
        } else {
            Some(format!("found {}", self.found()))
        };
        Said { hint, ..syntax(message) }
    }

    /// A name is there and its fields in brackets are not.
    fn no_bracket(&self) -> Said {
        match self.inner() {
            Some(inner) => {
                let after = inner.last.as_deref().filter(|last| !last.is_empty());
                let after = after.map_or_else(String::new, |n| format!(" after {}", quoted(n)));
                syntax(format!("expected `(`{after}, not {}", self.found()))
            }
            None => syntax(format!("expected `{SYSTEM}(`, not {}", self.found())),
        }
    }

    fn wrong_type(&self, expected: &str) -> Said {
        let message = match (self.key(), self.structure()) {
            (Some(key), Some(name)) => {
                format!("{} of {name} must be {expected}", quoted(key))
            }
            _ => format!("expected {expected}"),
        };
        Said { code: "wrong-type", message, hint: None }
    }
}

/// An open bracket with its name and place: ``the `Fuse(` of 12:9``.
fn bracket(open: &Open) -> String {
    let sign = open.bracket.map(String::from).unwrap_or_default();
    let name = short(&open.name);
    format!("the `{name}{sign}` of {}:{}", open.place.line, open.place.column)
}

/// The word at the start of a text.
fn word_in(text: &str) -> &str {
    let end = text.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(text.len());
    &text[..end]
}
