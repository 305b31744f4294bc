//! Question papers and their keys, under the published rules of an examination.

use std::fmt::Write as _;

use super::{Answer, Question};
use crate::diagnostic::{escaped, plain};
use crate::report::style::STYLE;
use crate::units::counted;

/// What a paper is worked under.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Seconds for a question, on average.
    pub seconds_each: u32,
    /// Percent that must be right.
    pub pass_percent: u32,
}

/// Seventy-five seconds a question, 75 % to pass, no marks off for a wrong answer: Regulation
/// (EU) No 1321/2014, Annex III (Part-66), Appendix II, as retained in the United Kingdom.
impl Default for Terms {
    fn default() -> Self {
        Self { seconds_each: 75, pass_percent: 75 }
    }
}

impl Terms {
    /// Minutes for so many questions, rounded up.
    pub fn minutes(self, questions: usize) -> u32 {
        (u32::try_from(questions).unwrap_or(u32::MAX).saturating_mul(self.seconds_each))
            .div_ceil(60)
    }

    /// Right answers that are enough, of so many.
    pub fn enough(self, questions: usize) -> usize {
        (questions * self.pass_percent as usize).div_ceil(100)
    }
}

/// A paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Paper {
    /// The system, with its mods.
    pub title: String,
    /// The number it was drawn from.
    pub seed: u64,
    /// What it is worked under.
    pub terms: Terms,
    /// The questions, in order, each of one right choice among three.
    pub questions: Vec<Question>,
}

/// The alternatives of a question and the place of the right one; none where it is answered
/// otherwise, which a paper has no room for.
pub(super) fn alternatives(question: &Question) -> (&[String], usize) {
    match &question.answer {
        Answer::One { choices, right, .. } => (choices, *right),
        Answer::All { .. } | Answer::Number { .. } | Answer::Words { .. } => (&[], 0),
    }
}

/// Reasons one after the other, each a sentence.
fn told(reasons: &[String]) -> String {
    let sentences: Vec<String> =
        reasons.iter().map(|reason| format!("{}.", reason.trim_end_matches('.'))).collect();
    sentences.join(" ")
}

/// The letter of an alternative.
pub(super) fn letter(at: usize) -> char {
    char::from(b'a' + u8::try_from(at % 26).unwrap_or(0))
}

const TRAINING_ONLY: &str = "Questions about an invented system, for training only. On an aircraft \
follow the approved maintenance data, local rules and licensed staff.";

impl Paper {
    fn rules(&self) -> String {
        let count = self.questions.len();
        format!(
            "{}, {} min, {} right to pass ({} %). One answer of each is right; nothing is taken off for a wrong one.",
            counted(count, "question"),
            self.terms.minutes(count),
            self.terms.enough(count),
            self.terms.pass_percent
        )
    }

    /// As Markdown, its key at the end.
    pub fn markdown(&self) -> String {
        let text = |words: &str| {
            let mut out = String::new();
            for letter in plain(words).chars() {
                if matches!(letter, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '#' | '|') {
                    out.push('\\');
                }
                out.push(letter);
            }
            out
        };
        let mut out = format!(
            "# {}\n\nPaper {}. {}\n\n{TRAINING_ONLY}\n",
            text(&self.title),
            self.seed,
            self.rules()
        );
        for (number, question) in self.questions.iter().enumerate() {
            let _ = writeln!(out, "\n**{}.** {}\n", number + 1, text(&question.text));
            for (at, choice) in alternatives(question).0.iter().enumerate() {
                let _ = writeln!(out, "- {}) {}", letter(at), text(choice));
            }
        }
        out.push_str("\n## Key\n\n");
        for (number, question) in self.questions.iter().enumerate() {
            let _ = writeln!(
                out,
                "{}. {}) {}",
                number + 1,
                letter(alternatives(question).1),
                text(&told(&question.reasons))
            );
        }
        out
    }

    /// As a page of HTML that stands by itself; printed, the key begins a page of its own.
    pub fn html(&self) -> String {
        let mut out = format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n\
             <title>{title}</title>\n<style>{STYLE}\n\
             .asked{{break-inside:avoid;margin:0 0 1.25rem}}\n.asked ol{{list-style:lower-alpha;margin:.25rem 0 0;padding-left:2rem}}\n\
             .key{{break-before:page}}</style>\n</head>\n<body>\n<header><h1>{title}</h1>\n\
             <p class=\"quiet\">Paper {}. {}</p>\n<p class=\"training\">{TRAINING_ONLY}</p></header>\n<main>\n<ol>\n",
            self.seed,
            escaped(&self.rules()),
            title = escaped(&self.title)
        );
        for question in &self.questions {
            let _ = write!(out, "<li class=\"asked\">{}<ol>", escaped(&question.text));
            for choice in alternatives(question).0 {
                let _ = write!(out, "<li>{}</li>", escaped(choice));
            }
            out.push_str("</ol></li>\n");
        }
        out.push_str("</ol>\n<section class=\"key\"><h2>Key</h2>\n<ol>\n");
        for question in &self.questions {
            let _ = writeln!(
                out,
                "<li><strong>{}</strong> {}</li>",
                letter(alternatives(question).1),
                escaped(&told(&question.reasons))
            );
        }
        out.push_str("</ol></section>\n</main>\n</body>\n</html>\n");
        out
    }
}
