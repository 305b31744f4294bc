//! Writes out an author's shorthand: `Repeat` with its `<n>`, and brace lists.
//!
//! Both step, neither multiplies: the lists of one `Repeat` and all the brace
//! lists of one part advance together, so that what belongs together stays
//! together. A written-out part keeps the places of the line it came from. How
//! much may be written out is limited, since a few nested lines could otherwise
//! ask for more parts than any machine holds.

use super::file::{Entry, FieldValue, Findings, REPEAT, Raw, quoted};
use super::places::Node;
use crate::diagnostic::Place;

/// One part or test point after repetition and brace lists are written out.
pub(super) struct Written<'f> {
    /// The kind as typed.
    pub(super) name: &'f str,
    /// Where its line begins in the author's text.
    pub(super) place: Place,
    /// Its fields in the order typed.
    pub(super) fields: Vec<WrittenField<'f>>,
}

/// One field of a written-out part.
pub(super) struct WrittenField<'f> {
    pub(super) name: &'f str,
    pub(super) key_place: Place,
    pub(super) node: &'f Node,
    pub(super) value: Raw,
}

/// Most parts, and most test points, of one system.
pub(super) const ENTRY_LIMIT: usize = 20_000;

/// Most names that one `Repeat` sets.
const NAME_LIMIT: usize = 20;

/// Most memory that written-out values may take, in bytes, roughly counted.
const SIZE_LIMIT: usize = 64 << 20;

/// Writes out one list of entries; `list` is its name, `parts` or `test_points`.
pub(super) fn expand<'f>(
    entries: &'f [Entry],
    node: &'f Node,
    list: &'static str,
    findings: &mut Findings,
) -> Vec<Written<'f>> {
    let mut writer =
        Writer { list, findings, written: Vec::new(), rounds: 0, size: 0, full: false };
    writer.entries(entries, node, &mut Vec::new());
    writer.written
}

/// The names that one text of the nets list stands for.
pub(super) fn expand_names(text: &str, place: Place, findings: &mut Findings) -> Vec<String> {
    let pieces = match pieces(text) {
        Ok(pieces) => pieces,
        Err(reason) => {
            findings.error("brace-mismatch", place, format!("{}: {reason}", quoted(text)), None);
            return Vec::new();
        }
    };
    let mut lists = pieces.iter().filter_map(|piece| match piece {
        Piece::Plain(_) => None,
        Piece::List(items) => Some(items.len()),
    });
    let count = lists.next().unwrap_or(1);
    if lists.next().is_some() {
        findings.error(
            "brace-mismatch",
            place,
            format!("{} has more than one brace list", quoted(text)),
            Some("write one line for each entry of the first".to_owned()),
        );
        return Vec::new();
    }
    if count > ENTRY_LIMIT {
        too_many(findings, place, ENTRY_LIMIT, "nets");
        return Vec::new();
    }
    (0..count).map(|index| join(&pieces, index)).collect()
}

/// Reports a list that is longer than any system needs.
pub(super) fn too_many(findings: &mut Findings, place: Place, limit: usize, what: &str) {
    findings.error("too-many", place, format!("this makes more than {limit} {what}"), None);
}

/// A `<name>` and what stands for it in this round.
struct Binding<'f> {
    name: &'f str,
    text: String,
}

struct Writer<'f, 'w> {
    list: &'static str,
    findings: &'w mut Findings,
    written: Vec<Written<'f>>,
    rounds: usize,
    size: usize,
    full: bool,
}

impl<'f> Writer<'f, '_> {
    fn entries(&mut self, entries: &'f [Entry], node: &'f Node, bindings: &mut Vec<Binding<'f>>) {
        for (index, entry) in entries.iter().enumerate() {
            if self.full {
                return;
            }
            let node = node.child(index);
            if entry.name == REPEAT {
                self.repeat(entry, node, bindings);
            } else {
                self.copies(entry, node, bindings);
            }
        }
    }

    /// Writes out one `Repeat`.
    fn repeat(&mut self, entry: &'f Entry, node: &'f Node, bindings: &mut Vec<Binding<'f>>) {
        let mut over = None;
        let mut inner = None;
        for (index, (name, value)) in entry.fields.iter().enumerate() {
            match value {
                FieldValue::Raw(raw) if name == "over" && over.is_none() => {
                    over = Some((raw, node.child(index)));
                }
                FieldValue::Entries(entries) if name == self.list && inner.is_none() => {
                    inner = Some((entries, node.child(index)));
                }
                FieldValue::Raw(_) | FieldValue::Entries(_) => {
                    let place = node.key_place(index);
                    if name == "over" || name == self.list {
                        let message = format!("{} of Repeat is given twice", quoted(name));
                        self.findings.error("duplicate-field", place, message, None);
                    } else {
                        let message = format!("Repeat has no field {} here", quoted(name));
                        let hint = self.findings.suggest(name, ["over", self.list]);
                        self.findings.error("unknown-field", place, message, hint);
                    }
                }
            }
        }
        for (field, given) in [("over", over.is_some()), (self.list, inner.is_some())] {
            if !given {
                let message = format!("Repeat needs its field {}", quoted(field));
                self.findings.error("missing-field", node.place, message, None);
            }
        }
        let (Some((over, over_node)), Some((entries, entries_node))) = (over, inner) else {
            return;
        };
        let Some(lists) = self.lists_of(over, over_node) else {
            return;
        };
        let rounds = lists.first().map_or(0, |(_, texts)| texts.len());
        for round in 0..rounds {
            self.rounds += 1;
            if self.rounds > ENTRY_LIMIT || self.is_spent() {
                self.stop(node.place);
            }
            if self.full {
                return;
            }
            let outside = bindings.len();
            for (name, texts) in &lists {
                let (text, place) = texts[round];
                let text = self.fill(text, place, &bindings[..outside]);
                bindings.push(Binding { name, text });
            }
            self.entries(entries, entries_node, bindings);
            bindings.truncate(outside);
        }
    }

    /// The lists of `over`: all texts, all equally long, none empty.
    #[allow(clippy::type_complexity, reason = "name, then each text with its place")]
    fn lists_of(
        &mut self,
        over: &'f Raw,
        node: &Node,
    ) -> Option<Vec<(&'f str, Vec<(&'f str, Place)>)>> {
        let Raw::Map(pairs) = over else {
            self.wrong_over(node.place);
            return None;
        };
        if pairs.len() > NAME_LIMIT {
            too_many(self.findings, node.place, NAME_LIMIT, "names to step over");
            return None;
        }
        let mut lists: Vec<(&str, Vec<(&str, Place)>)> = Vec::new();
        for (index, (key, value)) in pairs.iter().enumerate() {
            let value_node = node.child(index);
            let (Raw::Text(name), Raw::List(values)) = (key, value) else {
                self.wrong_over(value_node.place);
                return None;
            };
            if !is_placeholder(name) {
                let message = format!(
                    "{} cannot stand between `<` and `>`; use letters and digits",
                    quoted(name)
                );
                self.findings.error("bad-name", node.key_place(index), message, None);
                return None;
            }
            let mut texts = Vec::with_capacity(values.len());
            for (item, value) in values.iter().enumerate() {
                let place = value_node.child(item).place;
                let Raw::Text(text) = value else {
                    self.wrong_over(place);
                    return None;
                };
                texts.push((text.as_str(), place));
            }
            if let Some((first, other)) = lists.first()
                && other.len() != texts.len()
            {
                let message = format!(
                    "{} has {} entries but {} has {}; the lists of one Repeat step together",
                    quoted(name),
                    texts.len(),
                    quoted(first),
                    other.len()
                );
                self.findings.error("brace-mismatch", value_node.place, message, None);
                return None;
            }
            lists.push((name, texts));
        }
        if lists.first().is_none_or(|(_, texts)| texts.is_empty()) {
            let message = "Repeat has nothing to repeat over";
            self.findings.error("out-of-range", node.place, message, None);
            return None;
        }
        Some(lists)
    }

    fn wrong_over(&mut self, place: Place) {
        let message = "expected a map of names to lists of texts";
        let hint = Some("such as over: {\"n\": [\"1\", \"2\"]}".to_owned());
        self.findings.error("wrong-type", place, message, hint);
    }

    /// Writes out one line, once for each step of its brace lists.
    fn copies(&mut self, entry: &'f Entry, node: &'f Node, bindings: &[Binding<'f>]) {
        let mut filled = Vec::with_capacity(entry.fields.len());
        let mut steps = Steps::default();
        for (index, (name, value)) in entry.fields.iter().enumerate() {
            // Only a Repeat holds entries, and a Repeat does not come here.
            let FieldValue::Raw(raw) = value else {
                continue;
            };
            let field_node = node.child(index);
            let value = self.fill_value(raw, field_node, bindings);
            if self.is_spent() {
                return self.stop(node.place);
            }
            if !steps.take_in(&value, field_node, field_node.place, self.findings) {
                return;
            }
            filled.push(WrittenField {
                name,
                key_place: node.key_place(index),
                node: field_node,
                value,
            });
        }
        let Some(count) = steps.count() else {
            return self.keep(entry, node.place, filled);
        };
        if count > ENTRY_LIMIT {
            return self.stop(node.place);
        }
        for step in 0..count {
            if self.full {
                return;
            }
            let fields = filled
                .iter()
                .map(|field| WrittenField {
                    name: field.name,
                    key_place: field.key_place,
                    node: field.node,
                    value: self.step_value(&field.value, step),
                })
                .collect();
            self.keep(entry, node.place, fields);
        }
    }

    fn keep(&mut self, entry: &'f Entry, place: Place, fields: Vec<WrittenField<'f>>) {
        if self.written.len() == ENTRY_LIMIT || self.is_spent() {
            return self.stop(place);
        }
        self.written.push(Written { name: &entry.name, place, fields });
    }

    /// Says once that there is too much, and writes no more.
    fn stop(&mut self, place: Place) {
        if !std::mem::replace(&mut self.full, true) {
            too_many(self.findings, place, ENTRY_LIMIT, &self.list.replace('_', " "));
        }
    }

    /// Counts memory written; false when no more may be.
    fn spend(&mut self, bytes: usize) -> bool {
        self.size = self.size.saturating_add(bytes);
        !self.is_spent()
    }

    fn is_spent(&self) -> bool {
        self.size > SIZE_LIMIT
    }

    /// A value with every `<name>` replaced.
    fn fill_value(&mut self, raw: &Raw, node: &Node, bindings: &[Binding<'f>]) -> Raw {
        if !self.spend(size_of::<Raw>()) {
            return Raw::Other("too much");
        }
        match raw {
            Raw::Text(text) => Raw::Text(self.fill(text, node.place, bindings)),
            Raw::List(values) => Raw::List(
                values
                    .iter()
                    .enumerate()
                    .map(|(index, value)| self.fill_value(value, node.child(index), bindings))
                    .collect(),
            ),
            Raw::Map(pairs) => Raw::Map(
                pairs
                    .iter()
                    .enumerate()
                    .map(|(index, (key, value))| {
                        let key = match key {
                            Raw::Text(text) => {
                                Raw::Text(self.fill(text, node.key_place(index), bindings))
                            }
                            other => other.clone(),
                        };
                        (key, self.fill_value(value, node.child(index), bindings))
                    })
                    .collect(),
            ),
            Raw::Number(_) | Raw::Flag(_) | Raw::Other(_) => raw.clone(),
        }
    }

    /// A text with every `<name>` replaced.
    fn fill(&mut self, text: &str, place: Place, bindings: &[Binding<'f>]) -> String {
        let mut filled = String::with_capacity(text.len());
        let mut rest = text;
        while let Some(open) = rest.find('<') {
            let after = &rest[open + 1..];
            let name = after.split('>').next().unwrap_or_default();
            if name.len() == after.len() || !is_placeholder(name) {
                filled.push_str(&rest[..=open]);
                rest = after;
                continue;
            }
            filled.push_str(&rest[..open]);
            // The innermost Repeat comes last and hides one of the same name outside.
            if let Some(binding) = bindings.iter().rev().find(|b| b.name == name) {
                filled.push_str(&binding.text);
                if !self.spend(binding.text.len()) {
                    return filled;
                }
            } else {
                let message = format!("no Repeat around this line sets {}", quoted(name));
                let hint = self.findings.suggest(name, bindings.iter().map(|b| b.name));
                self.findings.error("unknown-placeholder", place, message, hint);
            }
            rest = &after[name.len() + 1..];
        }
        filled.push_str(rest);
        self.spend(text.len());
        filled
    }

    /// A value with every brace list replaced by its entry at `step`.
    fn step_value(&mut self, raw: &Raw, step: usize) -> Raw {
        if !self.spend(size_of::<Raw>()) {
            return Raw::Other("too much");
        }
        match raw {
            Raw::Text(text) => {
                // The whole text is gone through at each step, so all of it counts.
                self.spend(text.len());
                Raw::Text(step_text(text, step))
            }
            Raw::List(values) => {
                Raw::List(values.iter().map(|value| self.step_value(value, step)).collect())
            }
            Raw::Map(pairs) => Raw::Map(
                pairs
                    .iter()
                    .map(|(key, value)| (self.step_value(key, step), self.step_value(value, step)))
                    .collect(),
            ),
            Raw::Number(_) | Raw::Flag(_) | Raw::Other(_) => raw.clone(),
        }
    }
}

/// How many copies the brace lists of one line ask for.
#[derive(Default)]
struct Steps {
    first: Option<(usize, String)>,
}

impl Steps {
    fn count(&self) -> Option<usize> {
        self.first.as_ref().map(|(count, _)| *count)
    }

    /// Looks at the brace lists of one value; false when they do not fit.
    fn take_in(&mut self, raw: &Raw, node: &Node, place: Place, findings: &mut Findings) -> bool {
        match raw {
            Raw::Text(text) => self.take_in_text(text, place, findings),
            Raw::List(values) => values.iter().enumerate().all(|(index, value)| {
                let node = node.child(index);
                self.take_in(value, node, node.place, findings)
            }),
            Raw::Map(pairs) => pairs.iter().enumerate().all(|(index, (key, value))| {
                let node_of_value = node.child(index);
                self.take_in(key, node, node.key_place(index), findings)
                    && self.take_in(value, node_of_value, node_of_value.place, findings)
            }),
            Raw::Number(_) | Raw::Flag(_) | Raw::Other(_) => true,
        }
    }

    fn take_in_text(&mut self, text: &str, place: Place, findings: &mut Findings) -> bool {
        let pieces = match pieces(text) {
            Ok(pieces) => pieces,
            Err(reason) => {
                let message = format!("{}: {reason}", quoted(text));
                findings.error("brace-mismatch", place, message, None);
                return false;
            }
        };
        for piece in &pieces {
            let Piece::List(items) = piece else { continue };
            match &self.first {
                None => self.first = Some((items.len(), text.to_owned())),
                Some((count, first)) if *count != items.len() => {
                    let message = format!(
                        "{} has {} entries but {} has {count}; the brace lists of one part step \
                         together",
                        quoted(text),
                        items.len(),
                        quoted(first)
                    );
                    findings.error("brace-mismatch", place, message, None);
                    return false;
                }
                Some(_) => {}
            }
        }
        true
    }
}

/// Part of a text: as it stands, or a brace list.
enum Piece<'t> {
    Plain(&'t str),
    List(Vec<&'t str>),
}

/// Splits a text at its brace lists, or says what is wrong with them.
fn pieces(text: &str) -> Result<Vec<Piece<'_>>, &'static str> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while let Some(at) = rest.find(['{', '}']) {
        let Some(inside) = rest[at..].strip_prefix('{') else {
            return Err("a closing brace has no opening brace");
        };
        pieces.push(Piece::Plain(&rest[..at]));
        match inside.find(['{', '}']) {
            Some(end) if inside[end..].starts_with('}') => {
                pieces.push(Piece::List(inside[..end].split(',').map(str::trim).collect()));
                rest = &inside[end + 1..];
            }
            Some(_) => return Err("brace lists cannot stand inside one another"),
            None => return Err("an opening brace has no closing brace"),
        }
    }
    pieces.push(Piece::Plain(rest));
    Ok(pieces)
}

fn join(pieces: &[Piece<'_>], step: usize) -> String {
    pieces
        .iter()
        .map(|piece| match piece {
            Piece::Plain(text) => text,
            Piece::List(items) => items.get(step).copied().unwrap_or_default(),
        })
        .collect()
}

fn step_text(text: &str, step: usize) -> String {
    // The text has been split before without complaint.
    pieces(text).map_or_else(|_| text.to_owned(), |pieces| join(&pieces, step))
}

/// Whether a text may stand between `<` and `>`.
fn is_placeholder(name: &str) -> bool {
    name.starts_with(|c: char| c.is_ascii_alphabetic())
        && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
}

#[cfg(test)]
mod tests {
    use super::super::sources::Sources;
    use super::*;

    /// The ids and the first codes that a parts list gives.
    fn check(parts: &str) -> (Vec<String>, Vec<&'static str>) {
        let text = format!("System(id: \"x\", title: \"x\", parts: [{parts}])");
        let mut findings = Findings::new("x");
        let read = Sources::single("x", &text).join(&mut findings);
        let ids = read.map_or_else(Vec::new, |(file, root)| {
            expand(&file.parts, root.field("parts"), "parts", &mut findings)
                .iter()
                .flat_map(|written| &written.fields)
                .filter(|field| field.name == "id")
                .map(|field| match &field.value {
                    Raw::Text(text) => text.clone(),
                    other => format!("{other:?}"),
                })
                .collect()
        });
        let codes = findings.into_sorted().iter().map(|d| d.code).collect();
        (ids, codes)
    }

    fn ids(parts: &str) -> Vec<String> {
        let (ids, codes) = check(parts);
        assert_eq!(codes, Vec::<&str>::new());
        ids
    }

    #[test]
    fn brace_lists_step_together() {
        assert_eq!(ids(r#"Wire(id: "W{1, 2}-{A,C}", a: "x{A,C}")"#), ["W1-A", "W2-C"]);
        assert_eq!(ids(r#"Wire(id: "W{,B}")"#), ["W", "WB"]);
        let (none, codes) = check(r#"Wire(id: "W{1,2}", a: "x{A,B,C}")"#);
        assert!(none.is_empty());
        assert_eq!(codes, ["brace-mismatch"]);
    }

    #[test]
    fn repeats_nest_and_hold_brace_lists() {
        assert_eq!(
            ids(r#"Repeat(over: {"n": ["1", "2"], "s": ["L", "R"]}, parts: [
                    Repeat(over: {"m": ["x", "<n>"]}, parts: [Wire(id: "<s><n><m>{A,C}")]),
                ])"#),
            ["L1xA", "L1xC", "L11A", "L11C", "R2xA", "R2xC", "R22A", "R22C"]
        );
    }

    #[test]
    fn shorthand_that_makes_no_sense_is_refused() {
        for (parts, code) in [
            (r#"Wire(id: "W{1")"#, "brace-mismatch"),
            (r#"Wire(id: "W1}")"#, "brace-mismatch"),
            (r#"Wire(id: "{a{b}}")"#, "brace-mismatch"),
            (r#"Wire(id: "W<n>")"#, "unknown-placeholder"),
            (r#"Repeat(over: {"n": []}, parts: [])"#, "out-of-range"),
            (r#"Repeat(over: {"n": [1]}, parts: [])"#, "wrong-type"),
            (r#"Repeat(over: ["n"], parts: [])"#, "wrong-type"),
            (r#"Repeat(over: {"n o": ["1"]}, parts: [])"#, "bad-name"),
            (r#"Repeat(over: {"n": ["1"], "m": ["1", "2"]}, parts: [])"#, "brace-mismatch"),
            (r#"Repeat(over: {"n": ["1"]})"#, "missing-field"),
            (r#"Repeat(over: {"n": ["1"]}, parts: [], part: 1)"#, "unknown-field"),
            (r#"Repeat(over: {"n": ["1"]}, test_points: [], parts: [])"#, "unknown-field"),
        ] {
            assert_eq!(check(parts).1, [code], "{parts}");
        }
    }

    #[test]
    fn a_few_lines_cannot_ask_for_too_much() {
        let ten = r#"["1","2","3","4","5","6","7","8","9","0"]"#;
        let mut parts = String::from(r#"Wire(id: "W<a>{1,2}")"#);
        let mut doubling = String::from(r#"Wire(id: "<a>")"#);
        let mut empty = String::new();
        for _ in 0..12 {
            parts = format!(r#"Repeat(over: {{"a": {ten}}}, parts: [{parts}])"#);
            empty = format!(r#"Repeat(over: {{"a": {ten}}}, parts: [{empty}])"#);
        }
        for _ in 0..14 {
            doubling = format!(r#"Repeat(over: {{"a": ["<a><a><a><a>"]}}, parts: [{doubling}])"#);
        }
        doubling = doubling.replacen("<a><a><a><a>", "0123456789", 1);
        let commas = format!("Wire(id: \"{{{}}}\")", ",".repeat(1_000_000));
        for text in [parts, empty, doubling, commas] {
            assert_eq!(check(&text).1, ["too-many"]);
        }
    }

    #[test]
    fn a_net_text_holds_one_list() {
        let mut findings = Findings::new("x");
        let place = Place::default();
        assert_eq!(expand_names("CV1.{A,B}", place, &mut findings), ["CV1.A", "CV1.B"]);
        assert_eq!(expand_names("BAT", place, &mut findings), ["BAT"]);
        assert!(!findings.has_errors());
        assert!(expand_names("{A,B}{C,D}", place, &mut findings).is_empty());
        assert!(expand_names("{A", place, &mut findings).is_empty());
        assert_eq!(findings.into_sorted().len(), 2);
    }
}
