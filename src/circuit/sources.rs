//! A system that is written in several files: the text of each, and one system from all.
//!
//! An included file holds `Include(...)` with some of the lists of a system; they are added to
//! its own, in the order in which the files are included. For places the files are one text,
//! each after the one before, so that everything that reads them knows lines alone;
//! [`Findings`] turns such a line back into a file and a line in it.

use super::file::{FieldValue, Findings, Raw, SystemFile, included, outermost, quoted};
use super::places::{Node, is_blank, scan, scan_from};
use super::shape::{INCLUDE_FIELDS, it_has, system};
use crate::diagnostic::{Place, is_unprintable};

/// A system as typed: the text of its file, and of those that it includes.
#[derive(Clone, Debug)]
pub struct Sources {
    texts: Vec<Source>,
    /// Whether there is a folder from which files could be included.
    has_folder: bool,
    refused: Vec<Refused>,
}

/// The text of one file.
#[derive(Clone, Debug)]
struct Source {
    name: String,
    text: String,
}

/// A file that could not be included.
#[derive(Clone, Debug)]
struct Refused {
    by: usize,
    place: Place,
    message: String,
}

/// A file that another one includes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Its path from the system's folder, a sound one.
    pub path: String,
    /// Where it is named.
    pub place: Place,
}

/// Most files of one system.
pub const FILE_LIMIT: usize = 100;

impl Sources {
    /// A system in one file of this name; it cannot include others.
    pub fn single(name: &str, text: &str) -> Self {
        let mut sources = Self { texts: Vec::new(), has_folder: false, refused: Vec::new() };
        sources.include(name, text);
        sources
    }

    /// A system whose file stands in a folder from which others may be included.
    pub fn in_folder(name: &str, text: &str) -> Self {
        Self { has_folder: true, ..Self::single(name, text) }
    }

    /// Adds the text of a file that one of those before includes.
    pub fn include(&mut self, name: &str, text: &str) {
        // Some editors put a mark of byte order before the text; it means nothing here.
        let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
        self.texts.push(Source { name: name.to_owned(), text: text.to_owned() });
    }

    /// Says why a file that the text of this number names cannot be included.
    pub fn refuse(&mut self, by: usize, place: Place, message: String) {
        self.refused.push(Refused { by, place, message });
    }

    /// How many files there are so far.
    pub fn count(&self) -> usize {
        self.texts.len()
    }

    /// Name and text of every file.
    pub fn texts(&self) -> impl Iterator<Item = (&str, &str)> {
        self.texts.iter().map(|source| (source.name.as_str(), source.text.as_str()))
    }

    /// What the text of this number includes, as far as its paths are sound; nothing where it
    /// does not read.
    pub fn wanted(&self, of: usize) -> Vec<Wanted> {
        let text = &self.texts[of].text;
        if !text.contains("include") {
            return Vec::new();
        }
        let mut unheard = Findings::new("");
        let fields =
            if of == 0 { outermost(text, &mut unheard) } else { included(text, &mut unheard) };
        let named = paths(&fields.unwrap_or_default(), &scan(text));
        let sound = named.into_iter().filter(|(path, _)| fault(path).is_none());
        sound.map(|(path, place)| Wanted { path, place }).collect()
    }

    /// Names of the files, and the line at which each begins in all of them together.
    pub(super) fn lines(&self) -> Vec<(String, usize)> {
        let mut first = 1;
        let mut lines = Vec::new();
        for source in &self.texts {
            lines.push((source.name.clone(), first));
            first += source.text.split('\n').count();
        }
        lines
    }

    /// The system from all files, with the places of everything in it.
    pub(super) fn join(&self, findings: &mut Findings) -> Option<(SystemFile, Node)> {
        let lines = self.lines();
        let main = &self.texts[0].text;
        let mut root = scan(main);
        let mut fields = outermost(main, findings)?;
        self.judge(&fields, &root, findings);
        let mut sound = true;
        for (at, source) in self.texts.iter().enumerate().skip(1) {
            let (_, first) = lines[at];
            let mut own = Findings::new(&source.name);
            let read = if is_blank(&source.text) {
                let message = "the file is empty; it should hold `Include(...)`";
                own.error("empty-file", Place { line: 1, column: 1 }, message, None);
                None
            } else {
                included(&source.text, &mut own)
            };
            findings.take_over(own, first - 1);
            let Some(more) = read else {
                sound = false;
                continue;
            };
            let node = scan_from(&source.text, first);
            self.judge(&more, &node, findings);
            add(&mut fields, &mut root, more, node, findings);
        }
        for Refused { by, place, message } in &self.refused {
            let place = Place { line: place.line + lines[*by].1 - 1, ..*place };
            findings.error("bad-include", place, message.clone(), None);
            sound = false;
        }
        let file = system(fields, &root, findings);
        file.filter(|_| sound).map(|file| (file, root))
    }

    /// Finds fault with the paths that a file includes.
    fn judge(&self, fields: &[(String, FieldValue)], node: &Node, findings: &mut Findings) {
        for (path, place) in paths(fields, node) {
            let message = match fault(&path) {
                Some(why) => format!("{} cannot be included: {why}", quoted(&path)),
                None if self.has_folder => continue,
                None => format!(
                    "{} cannot be included: there is no folder of this system to find it in",
                    quoted(&path)
                ),
            };
            let hint = "write the path from the folder of the system, such as \"panel.ron\"";
            findings.error("bad-include", place, message, Some(hint.to_owned()));
        }
    }
}

/// The texts in the list `include`, with their places.
fn paths(fields: &[(String, FieldValue)], node: &Node) -> Vec<(String, Place)> {
    let Some((_, FieldValue::Raw(Raw::List(list)))) =
        fields.iter().find(|(name, _)| name == "include")
    else {
        return Vec::new();
    };
    let node = node.field("include");
    let texts = list.iter().enumerate().filter_map(|(at, raw)| match raw {
        Raw::Text(text) => Some((text.clone(), node.child(at).place)),
        _ => None,
    });
    texts.collect()
}

/// Why a path cannot be one of a file in the folder of a system; `None` where it can.
fn fault(path: &str) -> Option<&'static str> {
    if path.is_empty() {
        Some("the name is empty")
    } else if path.contains(is_unprintable) {
        Some("the name has a control character in it")
    } else if path.contains('\\') || path.contains(':') {
        Some("folders are parted by `/` alone")
    } else if path.starts_with('/') {
        Some("it does not lie in the folder of the system")
    } else if path.split('/').any(|step| step == "..") {
        Some("`..` leads out of the folder of the system")
    } else if path.split('/').any(|step| step.is_empty() || step == ".") {
        Some("it is written in a roundabout way")
    } else {
        None
    }
}

/// Adds the lists of an included file to those of the system.
fn add(
    fields: &mut Vec<(String, FieldValue)>,
    root: &mut Node,
    more: Vec<(String, FieldValue)>,
    node: Node,
    findings: &mut Findings,
) {
    for ((name, value), (key_place, node)) in more.into_iter().zip(node.into_fields()) {
        if !INCLUDE_FIELDS.contains(&name.as_str()) {
            let message = format!("an included file has no field {}", quoted(&name));
            findings.error("unknown-field", key_place, message, Some(it_has(&INCLUDE_FIELDS)));
            continue;
        }
        if name == "include" {
            continue;
        }
        if !matches!(value, FieldValue::Entries(_) | FieldValue::Raw(Raw::List(_))) {
            let message = format!("{} of an included file must be a list", quoted(&name));
            findings.error("wrong-type", node.place, message, None);
            continue;
        }
        let Some(at) = fields.iter().position(|(known, _)| *known == name) else {
            root.push_field(&name, key_place, node);
            fields.push((name, value));
            continue;
        };
        match (&mut fields[at].1, value) {
            (FieldValue::Entries(all), FieldValue::Entries(more)) => all.extend(more),
            (FieldValue::Raw(Raw::List(all)), FieldValue::Raw(Raw::List(more))) => all.extend(more),
            // What is no list in the system's own file is told of there.
            (FieldValue::Entries(_) | FieldValue::Raw(_), _) => continue,
        }
        root.append(at, node);
    }
}
