//! `halfsplit kinds`: the catalogue of part kinds as a reference.

use std::io::{IsTerminal, Write};

use anyhow::{Result, bail};
use serde_json::{Value, json};

use super::{Ended, args};
use crate::circuit::{CATALOGUE, FieldDefault, FieldKind, FieldSpec, KindSpec, PART_FIELDS};
use crate::diagnostic::{did_you_mean, plain};
use crate::faults::ohms_range;
use crate::screen;
use crate::units::{minutes, quantity, significant};

/// Lines are no longer than this however wide the terminal: long ones are hard to read.
const WIDEST: u16 = 100;

/// Columns where nothing says how many there are.
const USUAL_COLUMNS: u16 = 80;

/// Prints the list of kinds, or everything about one.
pub(super) fn run(arguments: &args::Kinds) -> Result<Ended> {
    let kind = match &arguments.kind {
        Some(typed) => Some(named(typed)?),
        None => None,
    };
    let mut out = std::io::stdout().lock();
    if arguments.json {
        let all = kind.map_or_else(everything, as_json);
        writeln!(out, "{all}")?;
        return Ok(Ended::Well);
    }
    let known = out.is_terminal().then(screen::columns).flatten();
    let columns = known.unwrap_or(USUAL_COLUMNS).min(WIDEST);
    let page = kind.map_or_else(|| list(columns), |kind| page(kind, columns));
    for line in page.lines {
        writeln!(out, "{line}")?;
    }
    Ok(Ended::Well)
}

/// The kind of this name, compared without case.
fn named(typed: &str) -> Result<&'static KindSpec> {
    if let Some(spec) = CATALOGUE.iter().find(|spec| spec.name.eq_ignore_ascii_case(typed)) {
        return Ok(spec);
    }
    let near = did_you_mean(typed, CATALOGUE.iter().map(|spec| spec.name));
    let near = near.map_or_else(String::new, |near| format!("; {near}"));
    bail!("there is no kind of part named `{}`{near} (`halfsplit kinds` lists them)", plain(typed))
}

/// Lines of text, broken to a width.
struct Page {
    columns: u16,
    lines: Vec<String>,
}

impl Page {
    fn blank(&mut self) {
        self.lines.push(String::new());
    }

    fn heading(&mut self, text: &str) {
        self.blank();
        self.lines.push(text.to_owned());
    }

    /// A text whose lines all begin this far in.
    fn text(&mut self, indent: usize, text: &str) {
        let room = self.columns.saturating_sub(indent as u16);
        let margin = " ".repeat(indent);
        self.lines.extend(screen::wrap(text, room).iter().map(|line| format!("{margin}{line}")));
    }

    /// A name in a column of its own, its text beside it.
    fn item(&mut self, name: &str, name_columns: usize, text: &str) {
        let first = self.lines.len();
        self.text(name_columns + 4, text);
        if let Some(line) = self.lines.get_mut(first) {
            *line = format!("  {name:<name_columns$}  {}", line.trim_start());
        }
    }

    /// Fields under a heading; nothing where there are none.
    fn fields<'f>(
        &mut self,
        heading: &str,
        name_columns: usize,
        fields: impl Iterator<Item = &'f FieldSpec>,
    ) {
        for (index, field) in fields.enumerate() {
            if index == 0 {
                self.heading(heading);
            }
            self.item(field.name, name_columns, &described(field));
        }
    }
}

/// The longest of some names, so that their texts stand in one column.
fn longest<'a>(names: impl Iterator<Item = &'a str>) -> usize {
    names.map(|name| name.chars().count()).max().unwrap_or_default()
}

/// Every kind with what it is for.
fn list(columns: u16) -> Page {
    let mut page = Page { columns, lines: Vec::new() };
    let head =
        format!("{} kinds of part. `halfsplit kinds KIND` tells all about one.", CATALOGUE.len());
    page.text(0, &head);
    page.blank();
    let name_columns = longest(CATALOGUE.iter().map(|spec| spec.name));
    for spec in &CATALOGUE {
        page.item(spec.name, name_columns, first_sentence(spec.purpose));
    }
    page
}

/// The first sentence of a text: a full stop inside a number or word does not end it.
fn first_sentence(text: &str) -> &str {
    text.find(". ").map_or(text, |end| &text[..=end])
}

/// Everything about one kind.
fn page(spec: &KindSpec, columns: u16) -> Page {
    let mut page = Page { columns, lines: vec![spec.name.to_owned()] };
    page.text(2, spec.purpose);
    page.text(2, spec.formula);
    let replaced = format!(
        "Replaced in {} once its station is open (common practice, no published source).",
        minutes(spec.replace_minutes)
    );
    page.text(2, &replaced);
    let name_columns = longest(spec.fields.iter().chain(&PART_FIELDS).map(|field| field.name));
    for (heading, pins) in [("Pins", true), ("Parameters", false)] {
        let fields = spec.fields.iter().filter(|field| field.kind.is_pins() == pins);
        page.fields(heading, name_columns, fields);
    }
    page.fields("Every part also has", name_columns, PART_FIELDS.iter());
    if spec.modes.is_empty() {
        return page;
    }
    page.heading("Fault modes, with their relative rates per million hours");
    let mode_columns = longest(spec.modes.iter().map(|mode| mode.name));
    for mode in spec.modes {
        let text = format!("{}: {}", significant(mode.rate, 4), mode.text);
        page.item(mode.name, mode_columns, &text);
        if let Some(range) = ohms_range(spec.id, mode.name) {
            let told = format!(
                "Takes ohms, as in {}@{}: {} to {}, {} unless said otherwise.",
                mode.name,
                significant(range.usual, 3),
                significant(range.least, 3),
                quantity(range.most, "ohm"),
                significant(range.usual, 3)
            );
            page.text(mode_columns + 4, &told);
        }
        page.text(mode_columns + 4, &format!("Rate: {}.", mode.source));
    }
    page.text(
        2,
        "A mode that exists once for each contact, phase or position has that after a dash and \
         shares the rate.",
    );
    page.heading("Sources of the rates");
    let short_columns = longest(spec.rate_sources().map(|(short, _)| short));
    for (short, long) in spec.rate_sources() {
        page.item(short, short_columns, &format!("{long}."));
    }
    page
}

/// A field in a line: what it means, what it holds, what it is when left out.
fn described(field: &FieldSpec) -> String {
    let holds = field.kind.holds().replace('`', "");
    let default = field.default.words().replace('`', "");
    match field.default {
        FieldDefault::Required => format!("{} ({holds}; {default})", field.doc),
        FieldDefault::Absent => format!("{} ({holds})", field.doc),
        FieldDefault::Number(_) | FieldDefault::Text(_) | FieldDefault::Flag(_) => {
            format!("{} ({holds}; left out: {default})", field.doc)
        }
    }
}

/// The whole catalogue.
fn everything() -> Value {
    json!({
        "kinds": CATALOGUE.iter().map(as_json).collect::<Vec<_>>(),
        "every_part": PART_FIELDS.iter().map(field_as_json).collect::<Vec<_>>(),
    })
}

fn as_json(spec: &KindSpec) -> Value {
    let fields = |pins: bool| -> Vec<Value> {
        let wanted = spec.fields.iter().filter(|field| field.kind.is_pins() == pins);
        wanted.map(field_as_json).collect()
    };
    let modes: Vec<Value> = spec
        .modes
        .iter()
        .map(|mode| {
            let ohms = ohms_range(spec.id, mode.name).map(
                |range| json!({ "least": range.least, "usual": range.usual, "most": range.most }),
            );
            json!({
                "name": mode.name,
                "ohms": ohms,
                "text": mode.text,
                "rate_per_million_hours": mode.rate,
                "rate_source": mode.source,
            })
        })
        .collect();
    let sources: serde_json::Map<String, Value> =
        spec.rate_sources().map(|(short, long)| (short.to_owned(), long.into())).collect();
    json!({
        "kind": spec.name,
        "purpose": spec.purpose,
        "formula": spec.formula,
        "replace_minutes": spec.replace_minutes,
        "pins": fields(true),
        "parameters": fields(false),
        "fault_modes": modes,
        "rate_sources": sources,
    })
}

fn field_as_json(field: &FieldSpec) -> Value {
    let mut all = json!({
        "name": field.name,
        "meaning": field.doc,
        "holds": field.kind.holds().replace('`', ""),
        "required": field.default == FieldDefault::Required,
        "default": match field.default {
            FieldDefault::Required | FieldDefault::Absent => Value::Null,
            FieldDefault::Number(number) => number.into(),
            FieldDefault::Text(text) => text.into(),
            FieldDefault::Flag(flag) => flag.into(),
        },
    });
    if let FieldKind::Number { unit, .. } = field.kind {
        all["unit"] = unit.into();
    }
    if let FieldKind::Choice(words) = field.kind {
        all["words"] = words.into();
    }
    all
}
