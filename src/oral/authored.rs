//! Questions that the author of a system has written, beside those worked out from it.

use serde::Deserialize;

use super::examiner::draft::{Draft, Form};
use super::question::{Asked, Claim};
use crate::circuit::{Circuit, scan};
use crate::diagnostic::{Diagnostic, Place, Severity, did_you_mean, is_unprintable};

/// Most questions in a file.
const QUESTION_LIMIT: usize = 500;

/// Longest text of a question or a reason, and of a choice, in characters.
const TEXT_CHARS: usize = 400;
const CHOICE_CHARS: usize = 200;

/// How much longer than every wrong choice a right one may be.
const LONGER: f64 = 1.5;

/// The file as typed.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Questions(Vec<Typed>);

/// A question as typed.
#[derive(Debug, Deserialize)]
#[serde(rename = "Question", deny_unknown_fields)]
struct Typed {
    text: String,
    right: String,
    wrong: Vec<String>,
    #[serde(default)]
    reason: String,
    #[serde(default)]
    about: String,
}

/// A question that the author asks.
#[derive(Clone, Debug, PartialEq)]
pub struct Own {
    text: String,
    right: String,
    wrong: Vec<String>,
    reason: String,
    /// The part that it is about, if any.
    about: String,
}

impl Own {
    /// What its card is called: the part it is about, and a number that follows from its text.
    pub(super) fn name(&self) -> String {
        // FNV-1a (public domain).
        let hash = self
            .text
            .bytes()
            .fold(0x811c_9dc5_u32, |hash, byte| (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193));
        format!("{}#{hash:08x}", self.about)
    }

    pub(super) fn draft(&self) -> Draft {
        let wrong = self.wrong.iter().map(|told| (told.clone(), Claim::Said(false))).collect();
        Draft {
            asked: Asked::Own,
            subject: self.name(),
            text: self.text.clone(),
            form: Form::One((self.right.clone(), Claim::Said(true)), wrong),
            reasons: Some(&self.reason)
                .filter(|told| !told.is_empty())
                .into_iter()
                .cloned()
                .collect(),
            difficulty: 1,
            look: None,
        }
    }
}

/// Reads the questions of an author:
/// `Questions([Question(text: …, right: …, wrong: [two], reason: …, about: PART)])`.
///
/// `file_name` is used in findings only. The questions are good when no error was found.
///
/// ```
/// let circuit = halfsplit::library::load("bench").expect("it comes with the program");
/// let text = r#"Questions([Question(
///     text: "What must be done before measuring ohms?", about: "CB1",
///     right: "Pull the breaker", wrong: ["Hold the switch", "Press the lamp"],
/// )])"#;
/// let (questions, findings) = halfsplit::oral::read_questions(&circuit, "oral.ron", text);
/// assert!(findings.is_empty());
/// assert_eq!(questions.len(), 1);
/// ```
pub fn read_questions(
    circuit: &Circuit,
    file_name: &str,
    text: &str,
) -> (Vec<Own>, Vec<Diagnostic>) {
    let text = text.strip_prefix('\u{FEFF}').unwrap_or(text);
    let mut findings = Vec::new();
    let mut find = |severity, place, code, message: String, hint| {
        let file = file_name.to_owned();
        findings.push(Diagnostic { severity, code, file, place, message, hint });
    };
    let Questions(mut typed) = match ron::from_str(text) {
        Ok(typed) => typed,
        Err(error) => {
            let place = Place { line: error.span.end.line, column: error.span.end.col };
            let message = format!(
                "{}; the file holds `Questions([Question(text: \"…\", right: \"…\", \
                 wrong: [\"…\", \"…\"])])`",
                error.code.to_string().trim_end_matches('.')
            );
            find(Severity::Error, place, "syntax", message, None);
            return (Vec::new(), findings);
        }
    };
    let root = scan(text);
    let list = root.child(0);
    if typed.is_empty() {
        let message = "the file holds no question".to_owned();
        find(Severity::Error, list.place(), "no-questions", message, None);
    }
    if typed.len() > QUESTION_LIMIT {
        let message =
            format!("the file holds {} questions, more than {QUESTION_LIMIT}", typed.len());
        find(Severity::Error, list.place(), "too-many", message, None);
        typed.truncate(QUESTION_LIMIT);
    }
    let mut own: Vec<Own> = Vec::new();
    for (at, typed) in typed.into_iter().enumerate() {
        let node = list.child(at);
        let wrong_texts = typed.wrong.iter().map(|told| ("wrong", told, CHOICE_CHARS));
        let texts = [("text", &typed.text, TEXT_CHARS), ("right", &typed.right, CHOICE_CHARS)];
        for (field, told, most) in texts.into_iter().chain(wrong_texts) {
            if told.trim().is_empty() {
                let message = format!("`{field}` is empty");
                find(Severity::Error, node.field(field).place(), "bad-text", message, None);
            } else if let Some(message) = bad_text(field, told, most) {
                find(Severity::Error, node.field(field).place(), "bad-text", message, None);
            }
        }
        if let Some(message) = bad_text("reason", &typed.reason, TEXT_CHARS) {
            find(Severity::Error, node.field("reason").place(), "bad-text", message, None);
        }
        let wrong = node.field("wrong").place();
        if typed.wrong.len() != super::ALTERNATIVES - 1 {
            let message = format!("a question has two wrong choices, not {}", typed.wrong.len());
            find(Severity::Error, wrong, "wrong-count", message, None);
        }
        let alike = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
        let all: Vec<&String> = std::iter::once(&typed.right).chain(&typed.wrong).collect();
        let twice = (0..all.len()).find(|at| all[..*at].iter().any(|known| alike(known, all[*at])));
        if let Some(at) = twice {
            let message = format!("the choice `{}` stands there twice", short(all[at]));
            find(Severity::Error, wrong, "choice-twice", message, None);
        }
        if own.iter().any(|other| alike(&other.text, &typed.text)) {
            let message = "the same question stands there twice".to_owned();
            find(Severity::Error, node.field("text").place(), "question-twice", message, None);
        }
        if !typed.about.is_empty() && circuit.find_part(&typed.about).is_none() {
            let hint =
                did_you_mean(&typed.about, circuit.parts.iter().map(|part| part.id.as_str()));
            let message = format!("no part `{}` in this system", short(&typed.about));
            find(Severity::Error, node.field("about").place(), "unknown-part", message, hint);
        }
        let longest = typed.wrong.iter().map(|told| told.chars().count()).max().unwrap_or(0);
        if typed.right.chars().count() as f64 > LONGER * longest as f64 && longest > 0 {
            let message =
                "the right choice is much longer than the wrong ones, which gives it away";
            find(
                Severity::Warning,
                node.field("right").place(),
                "given-away",
                message.to_owned(),
                None,
            );
        }
        own.push(Own {
            text: one_line(&typed.text),
            right: one_line(&typed.right),
            wrong: typed.wrong.iter().map(|told| one_line(told)).collect(),
            reason: one_line(&typed.reason),
            about: typed.about,
        });
    }
    findings.sort_by_key(|finding| finding.place);
    (own, findings)
}

/// What is wrong with a text; `None` when nothing is.
fn bad_text(field: &str, text: &str, most: usize) -> Option<String> {
    if text.chars().any(|c| is_unprintable(c) && c != '\n') {
        Some(format!("`{field}` has a control character in it"))
    } else if text.chars().count() > most {
        Some(format!("`{field}` is longer than {most} characters"))
    } else {
        None
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn short(text: &str) -> String {
    text.chars().take(40).collect()
}
