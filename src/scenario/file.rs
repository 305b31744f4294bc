//! A file of drills as typed.

use std::collections::BTreeMap;

use ron::extensions::Extensions;
use serde::{Deserialize, Serialize};

use super::seal::{seal, unseal};
use crate::circuit::scan;
use crate::diagnostic::{Diagnostic, Place, Severity, did_you_mean, is_unprintable};

/// One drill as its author writes it.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename = "Drill", deny_unknown_fields)]
pub struct Scenario {
    /// Its name, unique in the file: letters, digits and hyphens.
    pub id: String,
    /// What it is called.
    pub title: String,
    /// Where it stands on the ladder, from 1 for first steps.
    #[serde(default = "first_rung")]
    pub rung: u32,
    /// What the trainee is told before it begins.
    #[serde(default)]
    pub brief: String,
    /// The mods embodied on the aircraft.
    #[serde(default)]
    pub mods: Vec<String>,
    /// Controls that do not stand as usual when the fault strikes, and their positions.
    #[serde(default)]
    pub controls: BTreeMap<String, String>,
    /// What it hides, open to see.
    #[serde(default)]
    pub hidden: Option<Hidden>,
    /// The same sealed.
    #[serde(default)]
    pub sealed: Option<String>,
    /// What the trainee has to reckon with besides a single fault: `pairs`, `controls`,
    /// `nothing`.
    #[serde(default)]
    pub reckon_with: Vec<String>,
    /// What the crew tell.
    #[serde(default)]
    pub write_up: WriteUpFile,
    /// The station at which one begins; the first one when left out.
    #[serde(default)]
    pub begins_at: Option<String>,
    /// Measurements, work and stations that are ruled out.
    #[serde(default)]
    pub without: Vec<String>,
    /// Spare fuses in the box; those of the system when left out.
    #[serde(default)]
    pub spare_fuses: Option<Vec<SpareFuses>>,
    /// Minutes that one has.
    #[serde(default)]
    pub minutes: Option<f64>,
    /// The most help that can be had: `none`, `reminder`, `last-step`, `best-step`.
    #[serde(default)]
    pub help: Option<String>,
    /// Whether the trainee says what each needle shows; where it is left out, in a drill
    /// without help, which is an examination.
    #[serde(default)]
    pub read_needles: Option<bool>,
    /// The number that the instruments' errors are drawn from; any when left out.
    #[serde(default)]
    pub seed: Option<u64>,
    /// The file it is in, as findings call it.
    #[serde(skip)]
    pub(super) file: String,
    /// Where it stands, and where each of its fields does.
    #[serde(skip)]
    pub(super) place: Place,
    #[serde(skip)]
    pub(super) places: BTreeMap<&'static str, Place>,
}

fn first_rung() -> u32 {
    1
}

/// What a drill hides, and what is told of it afterwards.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize)]
#[serde(rename = "Hidden", deny_unknown_fields)]
pub struct Hidden {
    /// What is wrong, as a call types it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
    /// Or a choice of that, with how often each is drawn relative to the others.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub pool: BTreeMap<String, f64>,
    /// What the drill is there to teach, told after the call.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub learn: Vec<String>,
}

/// What the crew tell.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(rename = "WriteUp", deny_unknown_fields)]
pub struct WriteUpFile {
    /// How much.
    #[serde(default)]
    pub tells: Tells,
    /// In their own words; plain ones when left out.
    #[serde(default)]
    pub words: String,
}

/// How much the crew tell.
#[derive(Clone, Debug, Default, Deserialize)]
pub enum Tells {
    /// All that was not as usual.
    #[default]
    All,
    /// What these parts showed.
    Only(Vec<String>),
    /// One thing, true, that points elsewhere.
    Misleading,
}

/// Spare fuses of one rating.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpareFuses {
    /// Their rating in amperes.
    pub amps: f64,
    /// How many.
    pub count: u32,
}

/// The fields of a drill, whose places are kept.
const FIELDS: [&str; 18] = [
    "id",
    "title",
    "rung",
    "brief",
    "mods",
    "controls",
    "hidden",
    "sealed",
    "reckon_with",
    "write_up",
    "begins_at",
    "without",
    "spare_fuses",
    "minutes",
    "help",
    "read_needles",
    "seed",
    "learn",
];

/// The file as a whole.
#[derive(Debug, Deserialize)]
#[serde(rename = "Drills")]
struct Drills(Vec<Scenario>);

/// Longest title and longest brief, write-up or learning point, in characters.
const TITLE_CHARS: usize = 60;
const TEXT_CHARS: usize = 600;

/// Most drills in a file.
const DRILL_LIMIT: usize = 500;

fn notation() -> ron::Options {
    ron::Options::default().with_default_extension(Extensions::IMPLICIT_SOME)
}

/// Reads a file of drills: `Drills([Drill(id: …, title: …, hidden: (cause: …)), …])`.
///
/// `file_name` is used in findings only. The drills are good as far as this goes when
/// nothing was found; whether they fit their system is for [`Scenario::ready`].
///
/// ```
/// let text = r#"Drills([Drill(id: "one", title: "One", hidden: (cause: "F1:open"))])"#;
/// let (drills, findings) = halfsplit::scenario::read_drills("drills.ron", text);
/// assert!(findings.is_empty());
/// assert_eq!(drills[0].id, "one");
/// ```
pub fn read_drills(file_name: &str, text: &str) -> (Vec<Scenario>, Vec<Diagnostic>) {
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let mut findings = Vec::new();
    let mut find = |place, code, message: String, hint| {
        let (severity, file) = (Severity::Error, file_name.to_owned());
        findings.push(Diagnostic { severity, code, file, place, message, hint });
    };
    let Drills(mut drills) = match notation().from_str(text) {
        Ok(drills) => drills,
        Err(error) => {
            let place = Place { line: error.span.end.line, column: error.span.end.col };
            let (message, hint) = said(&error.code);
            find(place, "syntax", message, hint);
            return (Vec::new(), findings);
        }
    };
    let root = scan(text);
    let list = root.child(0);
    if drills.is_empty() {
        find(list.place(), "no-drills", "the file holds no drill".to_owned(), None);
    }
    if drills.len() > DRILL_LIMIT {
        let message = format!("the file holds {} drills, more than {DRILL_LIMIT}", drills.len());
        find(list.place(), "too-many", message, None);
        drills.truncate(DRILL_LIMIT);
    }
    let mut ids: Vec<String> = Vec::new();
    for (at, drill) in drills.iter_mut().enumerate() {
        let node = list.child(at);
        file_name.clone_into(&mut drill.file);
        drill.place = node.place();
        drill.places = FIELDS.into_iter().map(|field| (field, node.field(field).place())).collect();
        let good = |c: char| c.is_ascii_alphanumeric() || c == '-';
        if drill.id.is_empty() || drill.id.len() > 40 || !drill.id.chars().all(good) {
            let message = "a drill's id is of letters, digits and hyphens, 40 at the most";
            find(drill.places["id"], "bad-name", message.to_owned(), None);
        } else if ids.contains(&drill.id) {
            let message = format!("two drills are named `{}`", drill.id);
            find(drill.places["id"], "duplicate-id", message, None);
        }
        ids.push(drill.id.clone());
        if drill.title.trim().is_empty() {
            let message = format!("drill `{}` has no title", short(&drill.id));
            find(drill.places["title"], "bad-name", message, None);
        }
        let texts = [
            ("title", drill.title.as_str(), TITLE_CHARS),
            ("brief", drill.brief.as_str(), TEXT_CHARS),
            ("write_up", drill.write_up.words.as_str(), TEXT_CHARS),
        ];
        for (field, text, most) in texts {
            if let Some(message) = bad_text(field, text, most) {
                find(drill.places[field], "bad-name", message, None);
            }
        }
        match (&drill.hidden, &drill.sealed) {
            (Some(_), Some(_)) => {
                let message = "give what is hidden either open or sealed, not both".to_owned();
                find(drill.places["sealed"], "hidden-twice", message, None);
            }
            (None, None) => {
                let message = format!("drill `{}` hides nothing", short(&drill.id));
                let hint = "for an aircraft in order write hidden: (cause: \"nothing\")";
                find(drill.place, "missing-field", message, Some(hint.to_owned()));
            }
            (None, Some(sealed)) => {
                drill.hidden = opened(&drill.id, sealed);
                if drill.hidden.is_none() {
                    let message = "this seal is damaged, or it belongs to another drill".to_owned();
                    let hint = "a drill that is renamed has to be sealed anew".to_owned();
                    find(drill.places["sealed"], "broken-seal", message, Some(hint));
                }
            }
            (Some(_), None) => {}
        }
        for point in drill.hidden.iter().flat_map(|hidden| &hidden.learn) {
            if let Some(message) = bad_text("learn", point, TEXT_CHARS) {
                find(drill.places["hidden"], "bad-name", message, None);
            }
        }
    }
    findings.sort_by_key(|finding| finding.place);
    (drills, findings)
}

/// What is wrong with a text; `None` when nothing is.
fn bad_text(what: &str, text: &str, most: usize) -> Option<String> {
    if text.chars().any(|c| is_unprintable(c) && c != '\n') {
        Some(format!("`{what}` has a control character in it"))
    } else if text.chars().count() > most {
        Some(format!("`{what}` is longer than {most} characters"))
    } else {
        None
    }
}

fn short(id: &str) -> String {
    id.chars().take(40).collect()
}

/// The parser's complaint in an author's words.
fn said(error: &ron::Error) -> (String, Option<String>) {
    match error {
        ron::Error::NoSuchStructField { expected, found, outer } => {
            let who = outer.as_deref().unwrap_or("this");
            let hint = did_you_mean(found, expected.iter().copied())
                .unwrap_or_else(|| format!("it has {}", expected.join(", ")));
            (format!("`{who}` has no field `{}`", short(found)), Some(hint))
        }
        ron::Error::MissingStructField { field, outer } => {
            let who = outer.as_deref().unwrap_or("this");
            (format!("`{who}` needs its field `{field}`"), None)
        }
        ron::Error::DuplicateStructField { field, outer } => {
            let who = outer.as_deref().unwrap_or("this");
            (format!("`{field}` of `{who}` is given twice"), None)
        }
        ron::Error::NoSuchEnumVariant { expected, found, .. } => {
            let hint = did_you_mean(found, expected.iter().copied())
                .unwrap_or_else(|| format!("it may be {}", expected.join(", ")));
            (format!("`{}` is not possible here", short(found)), Some(hint))
        }
        other => {
            let text = other.to_string();
            let text = text.trim_end_matches('.');
            let message = format!("{}{}", text[..1].to_lowercase(), &text[1..]);
            let hint = "the file holds `Drills([Drill(id: …, title: …, hidden: (cause: …)), …])`";
            (message, Some(hint.to_owned()))
        }
    }
}

fn opened(drill: &str, sealed: &str) -> Option<Hidden> {
    notation().from_str(&unseal(drill, sealed)?).ok()
}

/// The text of a file with every `hidden` in it sealed; the rest stays letter for letter.
///
/// # Errors
/// The findings that keep the file from being read.
pub fn sealed_text(file_name: &str, text: &str) -> Result<String, Vec<Diagnostic>> {
    rewritten(file_name, text, "hidden", |drill, hidden| {
        let open = ron::to_string(hidden).unwrap_or_default();
        format!("sealed: \"{}\"", seal(&drill.id, &open))
    })
}

/// The text of a file with every seal opened; the rest stays letter for letter.
///
/// # Errors
/// The findings that keep the file from being read.
pub fn unsealed_text(file_name: &str, text: &str) -> Result<String, Vec<Diagnostic>> {
    rewritten(file_name, text, "sealed", |_, hidden| {
        let mut fields = Vec::new();
        if let Some(cause) = &hidden.cause {
            fields.push(format!("cause: {cause:?}"));
        }
        if !hidden.pool.is_empty() {
            let pool: Vec<String> =
                hidden.pool.iter().map(|(cause, weight)| format!("{cause:?}: {weight}")).collect();
            fields.push(format!("pool: {{{}}}", pool.join(", ")));
        }
        if !hidden.learn.is_empty() {
            let learn: Vec<String> =
                hidden.learn.iter().map(|point| format!("{point:?}")).collect();
            fields.push(format!("learn: [{}]", learn.join(", ")));
        }
        format!("hidden: ({})", fields.join(", "))
    })
}

/// Writes one field of every drill anew, name and value.
fn rewritten(
    file_name: &str,
    text: &str,
    field: &'static str,
    new: impl Fn(&Scenario, &Hidden) -> String,
) -> Result<String, Vec<Diagnostic>> {
    let (drills, findings) = read_drills(file_name, text);
    if !findings.is_empty() {
        return Err(findings);
    }
    let mut out = String::new();
    let mut done = 0;
    for drill in &drills {
        let start = byte_of(text, drill.place);
        // Where a drill has no such field, its own place stands for that of the field.
        let value = byte_of(text, drill.places[field]);
        let Some(hidden) = drill.hidden.as_ref().filter(|_| value > start) else { continue };
        let key = text[start..value].rfind(field).map_or(value, |at| start + at);
        let end = value + length_of_value(&text[value..]);
        out.push_str(&text[done..key]);
        out.push_str(&new(drill, hidden));
        done = end;
    }
    out.push_str(&text[done..]);
    Ok(out)
}

fn byte_of(text: &str, place: Place) -> usize {
    let line_start = text.split_inclusive('\n').take(place.line.saturating_sub(1));
    let start: usize = line_start.map(str::len).sum();
    let rest = &text[start..];
    start + rest.char_indices().nth(place.column.saturating_sub(1)).map_or(rest.len(), |(at, _)| at)
}

/// Bytes of the value at the start of a text: a text in quotes, or brackets and all in them.
fn length_of_value(text: &str) -> usize {
    let mut depth = 0_usize;
    let mut quoted = false;
    let mut escaped = false;
    let mut comment = false;
    for (at, c) in text.char_indices() {
        if comment {
            comment = c != '\n';
            continue;
        }
        if quoted {
            match c {
                _ if escaped => escaped = false,
                '\\' => escaped = true,
                '"' => {
                    quoted = false;
                    if depth == 0 {
                        return at + 1;
                    }
                }
                _ => {}
            }
            continue;
        }
        match c {
            '"' => quoted = true,
            '/' if text[at..].starts_with("//") => comment = true,
            '(' | '[' | '{' => depth += 1,
            ')' | ']' | '}' => {
                depth = depth.saturating_sub(1);
                if depth == 0 {
                    return at + 1;
                }
            }
            _ => {}
        }
    }
    text.len()
}
