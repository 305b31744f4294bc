//! Holds the outer structure of a file against what it may be: the system, its
//! stations, spare fuses and mods, each with its fields.
//!
//! Every unknown, missing or mistyped field is found in one run, and said with the
//! names of the fields that are possible there.

use super::catalogue::CATALOGUE;
use super::common::{PART_FIELDS, TEST_POINT, TEST_POINT_FIELDS};
use super::file::{
    Entry, FieldValue, Findings, MOD, ModFile, REPEAT, Raw, SpareFusesFile, StationFile,
    SystemFile, quoted,
};
use super::places::Node;
use crate::diagnostic::{Place, nearest};
use crate::units::significant;

/// The names of the outer structures.
pub(super) const SYSTEM: &str = "System";
pub(super) const STATION: &str = "Station";
pub(super) const SPARE: &str = "Spare";

pub(super) const INCLUDE: &str = "Include";

/// The fields that an included file can have.
pub(super) static INCLUDE_FIELDS: [&str; 7] =
    ["include", "spare_fuses", "stations", "nets", "parts", "test_points", "mods"];
static SYSTEM_FIELDS: [&str; 10] = [
    "include",
    "id",
    "title",
    "brief",
    "insulation_megohms",
    "spare_fuses",
    "stations",
    "nets",
    "parts",
    "test_points",
];
static STATION_FIELDS: [&str; 7] =
    ["id", "title", "minutes", "open_minutes", "crew", "cautions", "panels"];
static SPARE_FIELDS: [&str; 2] = ["amps", "count"];
static MOD_FIELDS: [&str; 9] = [
    "id",
    "title",
    "nets",
    "remove",
    "remove_nets",
    "remove_test_points",
    "change",
    "add",
    "test_points",
];
static REPEAT_FIELDS: [&str; 3] = ["over", "parts", "test_points"];

/// Megohms from each net to the airframe where the file says nothing (assumption).
const USUAL_INSULATION: f64 = 10.0;

/// The fields that can stand in `Name(...)`; `None` where nothing has that name.
pub(super) fn fields_of(name: &str) -> Option<Vec<&'static str>> {
    Some(match name {
        SYSTEM => SYSTEM_FIELDS.into_iter().chain(["mods"]).collect(),
        INCLUDE => INCLUDE_FIELDS.to_vec(),
        STATION => STATION_FIELDS.to_vec(),
        SPARE => SPARE_FIELDS.to_vec(),
        MOD => MOD_FIELDS.to_vec(),
        REPEAT => REPEAT_FIELDS.to_vec(),
        TEST_POINT => TEST_POINT_FIELDS.iter().map(|field| field.name).collect(),
        kind => {
            let spec = CATALOGUE.iter().find(|spec| spec.name == kind)?;
            PART_FIELDS.iter().chain(spec.fields).map(|field| field.name).collect()
        }
    })
}

/// `it has id, title, ...`, as far as a line holds them.
pub(super) fn it_has(fields: &[&str]) -> String {
    /// Most names in one message.
    const NAMES: usize = 16;
    let more = if fields.len() > NAMES { ", …" } else { "" };
    let shown = &fields[..fields.len().min(NAMES)];
    format!("it has {}{more}", shown.join(", "))
}

/// The system in these fields; `None` where one that it needs is missing or of the
/// wrong type.
pub(super) fn system(
    fields: Vec<(String, FieldValue)>,
    root: &Node,
    findings: &mut Findings,
) -> Option<SystemFile> {
    let known = fields_of(SYSTEM).unwrap_or_default();
    let mut shape = Shape::new(SYSTEM.to_owned(), fields, root, &known, findings);
    let mut file = SystemFile {
        id: shape.text("id", None, findings),
        title: shape.text("title", None, findings),
        brief: shape.text("brief", Some(""), findings),
        insulation_megohms: shape.number("insulation_megohms", Some(USUAL_INSULATION), findings),
        spare_fuses: Vec::new(),
        stations: Vec::new(),
        nets: shape.texts("nets", findings),
        parts: shape.entries("parts", findings),
        test_points: shape.entries("test_points", findings),
        mods: Vec::new(),
    };
    // What they hold is among the other fields by now.
    shape.texts("include", findings);
    let mut sound = true;
    for (raw, node) in shape.items("spare_fuses", findings) {
        match fields_in(raw, node, SPARE, "(amps: 5, count: 2)", findings) {
            None => sound = false,
            Some(fields) => {
                let who = "a spare fuse".to_owned();
                let mut shape = Shape::new(who, fields, node, &SPARE_FIELDS, findings);
                let amps = shape.number("amps", None, findings);
                let count = shape.whole("count", findings);
                file.spare_fuses.push(SpareFusesFile { amps, count });
                sound &= shape.sound;
            }
        }
    }
    for (raw, node) in shape.items("stations", findings) {
        match fields_in(raw, node, STATION, "Station(id: ..., title: ...)", findings) {
            None => sound = false,
            Some(fields) => {
                let who = called(STATION, &fields);
                let mut shape = Shape::new(who, fields, node, &STATION_FIELDS, findings);
                file.stations.push(StationFile {
                    id: shape.text("id", None, findings),
                    title: shape.text("title", None, findings),
                    minutes: shape.number("minutes", Some(0.0), findings),
                    open_minutes: shape.number("open_minutes", Some(0.0), findings),
                    crew: shape.flag("crew", findings),
                    cautions: shape.texts("cautions", findings),
                    panels: shape.texts("panels", findings),
                });
                sound &= shape.sound;
            }
        }
    }
    let mods_node = root.field("mods");
    for (index, entry) in shape.entries("mods", findings).into_iter().enumerate() {
        let node = mods_node.child(index);
        if entry.name != MOD {
            let message = format!("{} is not a mod", quoted(&entry.name));
            let hint = findings.suggest(&entry.name, [MOD]);
            findings.error("unknown-kind", node.place, message, hint);
            sound = false;
            continue;
        }
        let who = called(MOD, &entry.fields);
        let mut shape = Shape::new(who, entry.fields, node, &MOD_FIELDS, findings);
        file.mods.push(ModFile {
            id: shape.text("id", None, findings),
            title: shape.text("title", None, findings),
            nets: shape.texts("nets", findings),
            remove: shape.texts("remove", findings),
            remove_test_points: shape.texts("remove_test_points", findings),
            remove_nets: shape.texts("remove_nets", findings),
            change: shape.entries("change", findings),
            add: shape.entries("add", findings),
            test_points: shape.entries("test_points", findings),
        });
        sound &= shape.sound;
    }
    (sound && shape.sound).then_some(file)
}

/// ``Station `bay` ``, or the name alone where it has no id.
fn called(name: &str, fields: &[(String, FieldValue)]) -> String {
    match fields.iter().find(|(field, _)| field == "id") {
        Some((_, FieldValue::Raw(Raw::Text(id)))) => format!("{name} {}", quoted(id)),
        Some(_) | None => name.to_owned(),
    }
}

/// The fields of `Name(...)` or `(...)`; a finding where it is something else.
fn fields_in(
    raw: Raw,
    node: &Node,
    name: &str,
    example: &str,
    findings: &mut Findings,
) -> Option<Vec<(String, FieldValue)>> {
    if !node.name.is_empty() && &*node.name != name {
        let message = format!("expected {}, not {}", quoted(name), quoted(&node.name));
        let hint = findings.suggest(&node.name, [name]);
        findings.error("unknown-kind", node.place, message, hint);
        return None;
    }
    let in_brackets = node.bracket == Some('(');
    match raw {
        Raw::Map(pairs) if in_brackets => Some(
            pairs
                .into_iter()
                .filter_map(|(key, value)| match key {
                    Raw::Text(key) => Some((key, FieldValue::Raw(value))),
                    _ => None,
                })
                .collect(),
        ),
        // `Station()` and `()` reach here as empty lists.
        Raw::List(values) if in_brackets && values.is_empty() => Some(Vec::new()),
        other => {
            let message = format!("expected {}, not {}", quoted(example), other.name());
            findings.error("wrong-type", node.place, message, None);
            None
        }
    }
}

/// The fields of one structure, being taken out one by one.
struct Shape<'n> {
    who: String,
    place: Place,
    fields: Vec<(String, FieldValue, &'n Node)>,
    /// Fields that unknown ones were probably meant to be; they are not missing.
    meant: Vec<&'static str>,
    sound: bool,
}

impl<'n> Shape<'n> {
    fn new(
        who: String,
        fields: Vec<(String, FieldValue)>,
        node: &'n Node,
        known: &[&'static str],
        findings: &mut Findings,
    ) -> Self {
        let mut kept: Vec<(String, FieldValue, &Node)> = Vec::new();
        let mut meant = Vec::new();
        for (index, (name, value)) in fields.into_iter().enumerate() {
            let place = node.key_place(index);
            if !known.contains(&name.as_str()) {
                let message = format!("{who} has no field {}", quoted(&name));
                let hint = findings.suggest(&name, known.iter().copied());
                if hint.is_some() && meant.len() < known.len() {
                    meant.extend(nearest(&name, known.iter().copied()));
                }
                let hint = hint.or_else(|| Some(it_has(known)));
                findings.error("unknown-field", place, message, hint);
            } else if kept.iter().any(|(before, ..)| *before == name) {
                let message = format!("{} of {who} is given twice", quoted(&name));
                findings.error("duplicate-field", place, message, None);
            } else {
                kept.push((name, value, node.child(index)));
            }
        }
        Self { who, place: node.place, fields: kept, meant, sound: true }
    }

    fn take(&mut self, name: &str) -> Option<(FieldValue, &'n Node)> {
        let at = self.fields.iter().position(|(field, ..)| field == name)?;
        let (_, value, node) = self.fields.swap_remove(at);
        Some((value, node))
    }

    fn wrong<T: Default>(
        &mut self,
        field: &str,
        expected: &str,
        found: &str,
        place: Place,
        findings: &mut Findings,
    ) -> T {
        let message = format!("{} of {} must be {expected}, not {found}", quoted(field), self.who);
        findings.error("wrong-type", place, message, None);
        self.sound = false;
        T::default()
    }

    /// The value of a field, or `usual`; a finding where there is neither.
    fn raw(
        &mut self,
        name: &str,
        needed: bool,
        findings: &mut Findings,
    ) -> Option<(Raw, &'n Node)> {
        match self.take(name) {
            Some((FieldValue::Raw(raw), node)) => Some((raw, node)),
            Some((FieldValue::Entries(_), _)) | None => {
                if needed && self.meant.contains(&name) {
                    self.sound = false;
                } else if needed {
                    let message = format!("{} needs its field {}", self.who, quoted(name));
                    findings.error("missing-field", self.place, message, None);
                    self.sound = false;
                }
                None
            }
        }
    }

    fn text(&mut self, name: &str, usual: Option<&str>, findings: &mut Findings) -> String {
        match self.raw(name, usual.is_none(), findings) {
            None => usual.unwrap_or_default().to_owned(),
            Some((Raw::Text(text), _)) => text,
            Some((other, node)) => {
                self.wrong(name, "a text in quotes", other.name(), node.place, findings)
            }
        }
    }

    fn number(&mut self, name: &str, usual: Option<f64>, findings: &mut Findings) -> f64 {
        match self.raw(name, usual.is_none(), findings) {
            None => usual.unwrap_or_default(),
            Some((Raw::Number(number), _)) => number,
            Some((other, node)) => self.wrong(name, "a number", other.name(), node.place, findings),
        }
    }

    fn whole(&mut self, name: &str, findings: &mut Findings) -> u32 {
        let expected = "a whole number";
        match self.raw(name, true, findings) {
            None => 0,
            Some((Raw::Number(number), node)) => {
                if number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number) {
                    return number as u32;
                }
                self.wrong(name, expected, &significant(number, 6), node.place, findings)
            }
            Some((other, node)) => self.wrong(name, expected, other.name(), node.place, findings),
        }
    }

    fn flag(&mut self, name: &str, findings: &mut Findings) -> bool {
        match self.raw(name, false, findings) {
            None => false,
            Some((Raw::Flag(flag), _)) => flag,
            Some((other, node)) => {
                self.wrong(name, "true or false", other.name(), node.place, findings)
            }
        }
    }

    /// The values of a list with their places; none where it is left out.
    fn items(&mut self, name: &str, findings: &mut Findings) -> Vec<(Raw, &'n Node)> {
        match self.raw(name, false, findings) {
            None => Vec::new(),
            Some((Raw::List(values), node)) => values
                .into_iter()
                .enumerate()
                .map(|(index, value)| (value, node.child(index)))
                .collect(),
            Some((other, node)) => {
                let expected = "a list in square brackets";
                self.wrong(name, expected, other.name(), node.place, findings)
            }
        }
    }

    fn texts(&mut self, name: &str, findings: &mut Findings) -> Vec<String> {
        let mut texts = Vec::new();
        for (raw, node) in self.items(name, findings) {
            match raw {
                Raw::Text(text) => texts.push(text),
                other => {
                    let message = format!(
                        "{} of {} must hold texts in quotes, not {}",
                        quoted(name),
                        self.who,
                        other.name()
                    );
                    findings.error("wrong-type", node.place, message, None);
                    self.sound = false;
                }
            }
        }
        texts
    }

    /// A list of entries, which the parser has read as such.
    fn entries(&mut self, name: &str, findings: &mut Findings) -> Vec<Entry> {
        match self.take(name) {
            Some((FieldValue::Entries(entries), _)) => entries,
            Some((FieldValue::Raw(raw), node)) => {
                self.wrong(name, "a list in square brackets", raw.name(), node.place, findings)
            }
            None => Vec::new(),
        }
    }
}
