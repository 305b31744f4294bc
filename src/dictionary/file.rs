//! Reads a list of setups from a file.

use std::fmt;

use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};

use super::Setup;
use super::setup::is_pulled_by_hand;
use crate::circuit::{Circuit, PartId, scan};
use crate::diagnostic::{Diagnostic, Place, Severity, did_you_mean, is_unprintable};

/// A setup as typed.
#[derive(Debug, Deserialize)]
#[serde(rename = "Setup", deny_unknown_fields)]
struct Typed {
    name: String,
    #[serde(default)]
    sets: Pairs,
    #[serde(default)]
    pulled: Vec<String>,
}

/// A map as typed: in its own order, and with whatever is in it twice.
#[derive(Debug, Default)]
struct Pairs(Vec<(String, String)>);

impl<'de> Deserialize<'de> for Pairs {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct PairsVisitor;
        impl<'de> Visitor<'de> for PairsVisitor {
            type Value = Pairs;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map of controls to positions")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut access: A) -> Result<Pairs, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = access.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }
        deserializer.deserialize_map(PairsVisitor)
    }
}

/// Longest name of a setup, in characters: it is a column of a table.
const NAME_CHARS: usize = 80;

/// Reads a list of setups: `[Setup(name: …, sets: {CONTROL: POSITION}, pulled: […])]`.
///
/// `file_name` is used in findings only. The setups are good when nothing was found.
///
/// ```
/// use halfsplit::{dictionary::read_setups, library};
/// let circuit = library::load("t4-ac").expect("it comes with the program");
/// let text = r#"[Setup(name: "one source", sets: {"SOURCE2": "OFF"})]"#;
/// let (setups, findings) = read_setups(&circuit, "setups.ron", text);
/// assert!(findings.is_empty());
/// assert_eq!(setups[0].sets.len(), 1);
/// ```
pub fn read_setups(
    circuit: &Circuit,
    file_name: &str,
    text: &str,
) -> (Vec<Setup>, Vec<Diagnostic>) {
    let mut findings = Vec::new();
    let mut find = |place, code, message: String, hint| {
        let (severity, file) = (Severity::Error, file_name.to_owned());
        findings.push(Diagnostic { severity, code, file, place, message, hint });
    };
    let typed: Vec<Typed> = match ron::from_str(text) {
        Ok(typed) => typed,
        Err(error) => {
            let place = Place { line: error.span.end.line, column: error.span.end.col };
            let message = format!(
                "{}; the file holds `[Setup(name: \"…\", sets: {{\"CONTROL\": \"POSITION\"}}, \
                 pulled: [\"PART\"])]`",
                error.code.to_string().trim_end_matches('.')
            );
            find(place, "syntax", message, None);
            return (Vec::new(), findings);
        }
    };
    let root = scan(text);
    if typed.is_empty() {
        find(root.place(), "no-setups", "the list holds no setup".to_owned(), None);
    }
    let mut setups: Vec<Setup> = Vec::new();
    for (at, typed) in typed.iter().enumerate() {
        let node = root.child(at);
        let mut setup = Setup { name: typed.name.clone(), ..Setup::default() };
        if setups.iter().any(|other| other.name == typed.name) {
            let place = node.field("name").place();
            find(place, "name-twice", format!("two setups are named `{}`", typed.name), None);
        }
        let odd = typed.name.trim().is_empty()
            || typed.name.chars().count() > NAME_CHARS
            || typed.name.contains(is_unprintable);
        if odd {
            let message = format!(
                "a setup needs a name of 1 to {NAME_CHARS} characters on one line, that can be shown"
            );
            find(node.field("name").place(), "bad-name", message, None);
        }
        let sets = node.field("sets");
        let mut from = sets.place();
        for (control, position) in &typed.sets.0 {
            let place = place_of(text, from, control);
            // What comes next is looked for behind it.
            from = Place { column: place.column + 1, ..place };
            let Some(part) = circuit.find_part(control) else {
                find(place, "unknown-part", unknown(control), near(circuit, control));
                continue;
            };
            let Some(found) = circuit.part(part).kind.control() else {
                find(place, "not-a-control", format!("`{control}` is not a control"), None);
                continue;
            };
            if setup.sets.iter().any(|(set, _)| *set == part) {
                let message = format!("`{control}` is set twice in one setup");
                find(place, "duplicate-field", message, None);
                continue;
            }
            let known = found.positions.iter().position(|p| p.eq_ignore_ascii_case(position));
            if let Some(at) = known {
                setup.sets.push((part, at as u8));
            } else {
                let has = found.positions.join(", ");
                let message = format!("`{control}` has no position `{position}`; it has {has}");
                let hint = did_you_mean(position, found.positions.iter().copied());
                find(place_of(text, place, position), "unknown-position", message, hint);
            }
        }
        let list = node.field("pulled");
        for (at, name) in typed.pulled.iter().enumerate() {
            let place = list.child(at).place();
            match circuit.find_part(name) {
                None => find(place, "unknown-part", unknown(name), near(circuit, name)),
                Some(part) if setup.pulled.contains(&part) => {
                    find(place, "duplicate-id", format!("`{name}` is pulled twice"), None);
                }
                Some(part) if is_pulled_by_hand(&circuit.part(part).kind) => {
                    setup.pulled.push(part);
                }
                Some(_) => {
                    let message = format!("`{name}` is neither a breaker nor a fuse");
                    find(place, "not-pulled", message, None);
                }
            }
        }
        setup.sets.sort_unstable_by_key(|(part, _): &(PartId, u8)| *part);
        setups.push(setup);
    }
    findings.sort_by_key(|finding| finding.place);
    (setups, findings)
}

fn unknown(name: &str) -> String {
    format!("no part `{name}` in this system")
}

fn near(circuit: &Circuit, name: &str) -> Option<String> {
    did_you_mean(name, circuit.parts.iter().map(|part| part.id.as_str()))
}

/// Where a quoted word next stands in a text, from a place on; the place itself when it
/// is written in some other way.
fn place_of(text: &str, from: Place, word: &str) -> Place {
    let quoted = format!("\"{word}\"");
    let lines = text.lines().enumerate().skip(from.line.saturating_sub(1));
    for (line, content) in lines {
        let skipped = if line + 1 == from.line { from.column.saturating_sub(1) } else { 0 };
        let start = content.char_indices().nth(skipped).map_or(content.len(), |(at, _)| at);
        if let Some(found) = content[start..].find(&quoted) {
            let column = content[..start + found].chars().count() + 1;
            return Place { line: line + 1, column };
        }
    }
    from
}
