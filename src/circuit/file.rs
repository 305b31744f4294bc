//! A system file as typed: names are still text, repetition is still shorthand.
//!
//! Everything is read as any name with any fields and any values: the parser stops at
//! the first thing it is told not to expect, and one run should find all that is
//! wrong. [`super::shape`] then holds the outer structure against what it may be, and
//! [`super::values`] the parts against the catalogue, so that a new kind needs no
//! change here.

use std::fmt;

use serde::Deserialize;
use serde::de::{
    Deserializer, EnumAccess, IgnoredAny, MapAccess, SeqAccess, VariantAccess, Visitor,
};

pub(super) use super::findings::{Findings, quoted};
use super::syntax::report;

/// The whole file.
#[derive(Debug)]
pub(super) struct SystemFile {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) brief: String,
    pub(super) insulation_megohms: f64,
    pub(super) spare_fuses: Vec<SpareFusesFile>,
    pub(super) stations: Vec<StationFile>,
    pub(super) nets: Vec<String>,
    pub(super) parts: Vec<Entry>,
    pub(super) test_points: Vec<Entry>,
    pub(super) mods: Vec<ModFile>,
}

/// One mod: what fitting it does to the plain build.
#[derive(Debug)]
pub(super) struct ModFile {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) nets: Vec<String>,
    pub(super) remove: Vec<String>,
    pub(super) remove_test_points: Vec<String>,
    pub(super) remove_nets: Vec<String>,
    pub(super) change: Vec<Entry>,
    pub(super) add: Vec<Entry>,
    pub(super) test_points: Vec<Entry>,
}

#[derive(Debug)]
pub(super) struct SpareFusesFile {
    pub(super) amps: f64,
    pub(super) count: u32,
}

#[derive(Debug)]
pub(super) struct StationFile {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) minutes: f64,
    pub(super) open_minutes: f64,
    pub(super) crew: bool,
    pub(super) cautions: Vec<String>,
    pub(super) panels: Vec<String>,
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
    /// Anything but a list of entries.
    Raw(Raw),
    /// A list of entries.
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

/// The entry that stands for a mod.
pub(super) const MOD: &str = "Mod";

/// The fields of a system, a `Repeat` and a mod that hold entries.
const SYSTEM_LISTS: &[&str] = &["parts", "test_points", "mods"];
const REPEAT_LISTS: &[&str] = &["parts", "test_points"];
const MOD_LISTS: &[&str] = &["change", "add", "test_points"];

/// The fields of `System(...)`.
struct Outermost(Vec<(String, FieldValue)>);

impl<'de> Deserialize<'de> for Outermost {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let visitor = FieldsVisitor { lists: SYSTEM_LISTS };
        deserializer.deserialize_struct("System", &[], visitor).map(Outermost)
    }
}

/// The fields of `Include(...)`.
struct Included(Vec<(String, FieldValue)>);

impl<'de> Deserialize<'de> for Included {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let visitor = FieldsVisitor { lists: SYSTEM_LISTS };
        deserializer.deserialize_struct("Include", &[], visitor).map(Included)
    }
}

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
        let lists = match name.as_str() {
            REPEAT => REPEAT_LISTS,
            MOD => MOD_LISTS,
            _ => &[],
        };
        let fields = variant.struct_variant(&[], FieldsVisitor { lists })?;
        Ok(Entry { name, fields })
    }
}

struct FieldsVisitor {
    /// The fields that hold entries.
    lists: &'static [&'static str],
}

impl<'de> Visitor<'de> for FieldsVisitor {
    type Value = Vec<(String, FieldValue)>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("fields in parentheses")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Self::Value, A::Error> {
        let mut fields = Vec::new();
        while let Some(Name(name)) = access.next_key()? {
            let value = if self.lists.contains(&name.as_str()) {
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

/// The fields of a system in its typed form, or why they cannot be read.
pub(super) fn outermost(text: &str, findings: &mut Findings) -> Option<Vec<(String, FieldValue)>> {
    match ron::from_str(text) {
        Ok(Outermost(fields)) => Some(fields),
        Err(error) => {
            report(&error, text, findings);
            None
        }
    }
}

/// The fields of an included file, or why they cannot be read.
pub(super) fn included(text: &str, findings: &mut Findings) -> Option<Vec<(String, FieldValue)>> {
    match ron::from_str(text) {
        Ok(Included(fields)) => Some(fields),
        Err(error) => {
            report(&error, text, findings);
            None
        }
    }
}
