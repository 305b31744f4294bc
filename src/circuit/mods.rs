//! Mods: changes that have been embodied on some aircraft and not on others.
//!
//! A mod takes parts out, gives parts of the same name and kind other values, and
//! puts parts in. It works on the written-out lines of a file, before anything is
//! resolved, so that a build is read by the same rules whichever mods it has, and
//! every finding has the place of the line that caused it. Mods apply in file
//! order, whatever the order in which they are asked for.

use std::collections::BTreeMap;

use super::catalogue::{CATALOGUE, FieldSpec};
use super::expand::{ENTRY_LIMIT, Written, WrittenField, expand, expand_names, too_many};
use super::file::{Entry, Findings, ModFile, Raw, SystemFile, quoted};
use super::names::{line, word};
use super::places::Node;
use super::values::default_as_typed;
use crate::diagnostic::Place;

/// A mod as a file offers it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ModInfo {
    /// Its number or name, as given to `--mod`.
    pub id: String,
    /// What it does, in one line.
    pub title: String,
}

/// Most mods of one system: a check reads the system once for each of them.
pub(super) const MOD_LIMIT: usize = 40;

/// A mod that is fitted, with the place of its text.
#[derive(Clone, Copy)]
pub(super) struct Fitted<'f> {
    pub(super) file: &'f ModFile,
    node: &'f Node,
}

/// The mods a file offers; what is wrong with their names is found whether or not
/// they are fitted.
pub(super) fn offered(file: &SystemFile, root: &Node, findings: &mut Findings) -> Vec<ModInfo> {
    let list = root.field("mods");
    if file.mods.len() > MOD_LIMIT {
        too_many(findings, list.place, MOD_LIMIT, "mods");
        return Vec::new();
    }
    let mut seen: BTreeMap<String, Place> = BTreeMap::new();
    for (index, one) in file.mods.iter().enumerate() {
        let node = list.child(index);
        let place = node.field("id").place;
        if word(&one.id, "a mod's id", false, place, findings) {
            if one.id.contains(',') {
                let message = format!("the id of a mod has a comma in it: {}", quoted(&one.id));
                let hint = Some("a comma parts one mod from the next".to_owned());
                findings.error("bad-name", place, message, hint);
            }
            if let Some(first) = seen.insert(one.id.to_lowercase(), place) {
                let message = format!(
                    "the mod {} is already at {}",
                    quoted(&one.id),
                    findings.told(first, place)
                );
                findings.error("duplicate-id", place, message, None);
            }
        }
        let what = format!("the title of mod {}", quoted(&one.id));
        let place = node.field("title").place;
        if one.title.trim().is_empty() {
            findings.error("bad-name", place, format!("{what} is empty"), None);
        } else {
            line(&one.title, &what, place, findings);
        }
    }
    file.mods.iter().map(|m| ModInfo { id: m.id.clone(), title: m.title.clone() }).collect()
}

/// The mods asked for, by their place in the file and in its order; a finding for
/// each that the file does not offer.
pub(super) fn chosen(
    file: &SystemFile,
    root: &Node,
    wanted: &[&str],
    findings: &mut Findings,
) -> Vec<usize> {
    for name in wanted {
        if file.mods.iter().any(|m| m.id.eq_ignore_ascii_case(name)) {
            continue;
        }
        let place = root.field("mods").place;
        let hint = findings.suggest(name, file.mods.iter().map(|m| m.id.as_str()));
        let known: Vec<_> = file.mods.iter().take(10).map(|m| quoted(&m.id)).collect();
        let known = match (known.len(), file.mods.len()) {
            (0, _) => "it has none".to_owned(),
            (shown, all) if shown < all => format!("it has {}, …", known.join(", ")),
            (_, _) => format!("it has {}", known.join(", ")),
        };
        let message = format!("this system has no mod {}; {known}", quoted(name));
        findings.error("unknown-mod", place, message, hint);
    }
    (0..file.mods.len())
        .filter(|index| wanted.iter().any(|name| file.mods[*index].id.eq_ignore_ascii_case(name)))
        .collect()
}

/// These mods of the file with the places of their texts.
pub(super) fn fitted<'f>(file: &'f SystemFile, root: &'f Node, which: &[usize]) -> Vec<Fitted<'f>> {
    let list = root.field("mods");
    which
        .iter()
        .map(|index| Fitted { file: &file.mods[*index], node: list.child(*index) })
        .collect()
}

/// What declares the nets of a build.
pub(super) struct NetTexts<'f> {
    /// The texts of the nets lists.
    pub(super) texts: Vec<(&'f str, Place)>,
    /// The names that mods take off.
    pub(super) removed: Vec<(String, Place)>,
}

/// The texts of the nets list with those of the fitted mods, and the names that the
/// mods take off it.
pub(super) fn net_texts<'f>(
    file: &'f SystemFile,
    root: &Node,
    fitted: &[Fitted<'f>],
    findings: &mut Findings,
) -> NetTexts<'f> {
    let with_places = |texts: &'f [String], node: &Node| -> Vec<(&'f str, Place)> {
        let place = |index| node.child(index).place;
        texts.iter().enumerate().map(|(index, text)| (text.as_str(), place(index))).collect()
    };
    let mut texts = with_places(&file.nets, root.field("nets"));
    let mut removed = Vec::new();
    for one in fitted {
        texts.extend(with_places(&one.file.nets, one.node.field("nets")));
        removed.extend(names(&one.file.remove_nets, one.node.field("remove_nets"), findings));
    }
    NetTexts { texts, removed }
}

/// The lines of the parts list after the fitted mods.
pub(super) fn parts<'f>(
    file: &'f SystemFile,
    root: &'f Node,
    common: &'static [FieldSpec],
    fitted: &[Fitted<'f>],
    findings: &mut Findings,
) -> Vec<Written<'f>> {
    let plain = expand(&file.parts, root.field("parts"), "parts", findings);
    if fitted.is_empty() {
        return plain;
    }
    let mut lines = Lines::new("part", plain);
    for one in fitted {
        let list = |entries: &'f [Entry], name: &str, findings: &mut Findings| {
            expand(entries, one.node.field(name), "parts", findings)
        };
        lines.remove(&one.file.remove, one.node.field("remove"), &one.file.id, findings);
        for change in list(&one.file.change, "change", findings) {
            lines.change(change, common, findings);
        }
        lines.add(list(&one.file.add, "add", findings), one.node.field("add"), findings);
    }
    lines.left()
}

/// The lines of the test point list after the fitted mods.
pub(super) fn test_points<'f>(
    file: &'f SystemFile,
    root: &'f Node,
    fitted: &[Fitted<'f>],
    findings: &mut Findings,
) -> Vec<Written<'f>> {
    let name = "test_points";
    let plain = expand(&file.test_points, root.field(name), name, findings);
    let mut lines = Lines::new("test point", plain);
    for one in fitted {
        let node = one.node.field("remove_test_points");
        lines.remove(&one.file.remove_test_points, node, &one.file.id, findings);
        let node = one.node.field(name);
        lines.add(expand(&one.file.test_points, node, name, findings), node, findings);
    }
    lines.left()
}

/// The names a list of texts stands for, each with its place.
fn names(texts: &[String], node: &Node, findings: &mut Findings) -> Vec<(String, Place)> {
    let mut all = Vec::new();
    for (index, text) in texts.iter().enumerate() {
        let place = node.child(index).place;
        all.extend(expand_names(text, place, findings).into_iter().map(|name| (name, place)));
        if all.len() > ENTRY_LIMIT {
            too_many(findings, place, ENTRY_LIMIT, "names");
            break;
        }
    }
    all
}

/// Written-out lines that mods work on, found by id.
struct Lines<'f> {
    /// What one of them is, for a sentence.
    what: &'static str,
    all: Vec<Option<Written<'f>>>,
    by_id: BTreeMap<String, usize>,
    /// What has been taken out, and the mod that did it.
    gone: BTreeMap<String, String>,
}

impl<'f> Lines<'f> {
    fn new(what: &'static str, plain: Vec<Written<'f>>) -> Self {
        let mut lines =
            Self { what, all: Vec::new(), by_id: BTreeMap::new(), gone: BTreeMap::new() };
        for line in plain {
            lines.push(line);
        }
        lines
    }

    /// Of two lines with one id the first keeps it; the resolver reports the second.
    fn push(&mut self, line: Written<'f>) {
        if let Some(id) = id_of(&line) {
            self.by_id.entry(id.to_owned()).or_insert(self.all.len());
        }
        self.all.push(Some(line));
    }

    fn add(&mut self, lines: Vec<Written<'f>>, node: &Node, findings: &mut Findings) {
        if self.all.len() + lines.len() > ENTRY_LIMIT {
            return too_many(findings, node.place, ENTRY_LIMIT, &format!("{}s", self.what));
        }
        for line in lines {
            self.push(line);
        }
    }

    /// The line with this id; a finding that says who took it away, or what may have
    /// been meant.
    fn find(
        &mut self,
        id: &str,
        purpose: &str,
        place: Place,
        findings: &mut Findings,
    ) -> Option<usize> {
        if let Some(at) = self.by_id.get(id) {
            return Some(*at);
        }
        let message = format!("there is no {} {} to {purpose}", self.what, quoted(id));
        let hint = match self.gone.get(id) {
            Some(by) => Some(format!("mod {} has removed it", quoted(by))),
            None => findings.suggest(id, self.by_id.keys().map(String::as_str)),
        };
        let code = if self.what == "part" { "unknown-part" } else { "unknown-test-point" };
        findings.error(code, place, message, hint);
        None
    }

    fn remove(&mut self, texts: &[String], node: &Node, by: &str, findings: &mut Findings) {
        for (id, place) in names(texts, node, findings) {
            if let Some(at) = self.find(&id, "remove", place, findings) {
                self.all[at] = None;
                self.by_id.remove(&id);
                self.gone.insert(id, by.to_owned());
            }
        }
    }

    /// Gives a line the fields of a change, which has its kind and id.
    fn change(
        &mut self,
        change: Written<'f>,
        common: &'static [FieldSpec],
        findings: &mut Findings,
    ) {
        let Some(id) = id_of(&change).map(str::to_owned) else {
            let message = "a change needs the id of the part it changes";
            return findings.error("missing-field", change.place, message, None);
        };
        let place = change.fields.iter().find(|field| field.name == "id");
        let place = place.map_or(change.place, |field| field.node.place);
        let Some(at) = self.find(&id, "change", place, findings) else { return };
        let line = self.all[at].as_mut().expect("a line found by its id is there");
        if line.name != change.name {
            let message =
                format!("{} is a {}, not a {}", quoted(&id), line.name, quoted(change.name));
            let hint =
                "a change keeps the kind; to put in another, remove the part and add the new";
            return findings.error("kind-differs", change.place, message, Some(hint.to_owned()));
        }
        let who = format!("{} {}", line.name, quoted(&id));
        if change.fields.len() == 1 {
            let message = format!("the change of {who} gives no field to change");
            findings.warning("no-change", change.place, message, None);
        }
        let mut given = vec!["id"];
        for field in change.fields {
            if field.name == "id" {
                continue;
            }
            if given.contains(&field.name) {
                let message = format!("{} of {who} is given twice", quoted(field.name));
                findings.error("duplicate-field", field.key_place, message, None);
                continue;
            }
            given.push(field.name);
            if had(line, field.name, common).as_ref() == Some(&field.value) {
                let message =
                    format!("{} of {who} is no different from before", quoted(field.name));
                findings.warning("no-change", field.key_place, message, None);
            }
            match line.fields.iter_mut().find(|before| before.name == field.name) {
                Some(before) => *before = field,
                None => line.fields.push(field),
            }
        }
    }

    fn left(self) -> Vec<Written<'f>> {
        self.all.into_iter().flatten().collect()
    }
}

/// The value a line gives to a field, or the default it stands for.
fn had(line: &Written<'_>, field: &str, common: &'static [FieldSpec]) -> Option<Raw> {
    if let Some(written) = line.fields.iter().find(|written| written.name == field) {
        return Some(written.value.clone());
    }
    let kind = CATALOGUE.iter().find(|spec| spec.name == line.name)?;
    let spec = common.iter().chain(kind.fields).find(|spec| spec.name == field)?;
    default_as_typed(spec.default)
}

fn id_of<'w>(line: &'w Written<'_>) -> Option<&'w str> {
    match line.fields.iter().find(|field| field.name == "id") {
        Some(WrittenField { value: Raw::Text(id), .. }) => Some(id),
        Some(_) | None => None,
    }
}
