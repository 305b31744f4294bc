//! A question in the making, and whether it can be asked.

use std::collections::BTreeSet;

use unicode_width::UnicodeWidthStr;

use super::ALTERNATIVES;
use crate::chance::Chance;
use crate::oral::question::{Answer, Asked, Claim, Look};

/// Columns of a choice on a screen of 80, its letter and margins taken off.
const CHOICE_COLUMNS: usize = 74;

/// A question that is being made.
pub(crate) struct Draft {
    pub(crate) asked: Asked,
    pub(crate) subject: String,
    pub(crate) text: String,
    pub(crate) form: Form,
    pub(crate) reasons: Vec<String>,
    pub(crate) difficulty: u32,
    pub(crate) look: Option<Look>,
}

/// How it will be answered.
pub(crate) enum Form {
    /// By one of these: the right choice and the wrong ones.
    One((String, Claim), Vec<(String, Claim)>),
    /// By all that are right.
    All(Vec<(String, bool, Claim)>),
    /// By a figure.
    Number { value: f64, unit: String, tolerance: f64, claim: Claim },
    /// By words.
    Words(Vec<String>),
}

impl Form {
    pub(super) fn into_answer(self, chance: &mut Chance) -> Answer {
        match self {
            Self::One(the, wrong) => {
                let right = pick(wrong.len() + 1, chance);
                let (mut choices, mut claims): (Vec<String>, Vec<Claim>) =
                    wrong.into_iter().unzip();
                choices.insert(right, the.0);
                claims.insert(right, the.1);
                Answer::One { choices, right, claims }
            }
            Self::All(mut all) => {
                shuffle(&mut all, chance);
                let right = all.iter().map(|(_, right, _)| *right).collect();
                let (choices, claims) =
                    all.into_iter().map(|(told, _, claim)| (told, claim)).unzip();
                Answer::All { choices, right, claims }
            }
            Self::Number { value, unit, tolerance, claim } => {
                Answer::Number { value, unit, tolerance, claim }
            }
            Self::Words(model) => Answer::Words { model },
        }
    }
}

impl Draft {
    /// Whether it can be asked: as many choices as there must be, no two alike, none wider than
    /// a line unless it is a whole sentence by the author.
    pub(super) fn is_askable(&self) -> bool {
        let told: Vec<&String> = match &self.form {
            Form::One(right, wrong) => {
                if wrong.len() != ALTERNATIVES - 1 {
                    return false;
                }
                std::iter::once(&right.0).chain(wrong.iter().map(|(told, _)| told)).collect()
            }
            Form::All(all) => {
                let right = all.iter().filter(|(_, right, _)| *right).count();
                if right == 0 || right == all.len() || all.len() < ALTERNATIVES {
                    return false;
                }
                all.iter().map(|(told, _, _)| told).collect()
            }
            Form::Number { .. } => return true,
            Form::Words(model) => return !model.is_empty(),
        };
        let whole_sentences = matches!(self.asked, Asked::Caution | Asked::Own);
        let fits = |told: &&String| whole_sentences || told.width() <= CHOICE_COLUMNS;
        told.iter().collect::<BTreeSet<_>>().len() == told.len() && told.iter().all(fits)
    }
}

/// The first so many of these that are told differently from each other and from `not`.
pub(super) fn distinct<T>(
    offered: impl IntoIterator<Item = (String, T)>,
    not: &[&str],
    most: usize,
) -> Vec<(String, T)> {
    let mut kept: Vec<(String, T)> = Vec::new();
    for (told, with) in offered {
        if kept.len() == most {
            break;
        }
        if !not.contains(&told.as_str()) && kept.iter().all(|(known, _)| *known != told) {
            kept.push((told, with));
        }
    }
    kept
}

/// A place among so many; any where there are none.
pub(super) fn pick(count: usize, chance: &mut Chance) -> usize {
    ((chance.unit() * count as f64) as usize).min(count.saturating_sub(1))
}

/// One of these, by chance.
pub(super) fn one_of<'a, T>(things: &'a [T], chance: &mut Chance) -> Option<&'a T> {
    things.get(pick(things.len(), chance))
}

/// Brings what is told about as long as something else before what is not, so that neither the
/// longest nor the shortest choice stands out.
pub(super) fn by_length<T>(things: &mut [T], like: &str, told: impl Fn(&T) -> String) {
    let columns = like.width();
    things.sort_by_key(|thing| told(thing).width().abs_diff(columns) / NEAR_COLUMNS);
}

/// Columns by which lengths may differ before that is noticed.
const NEAR_COLUMNS: usize = 1;

/// Brings things into an order that chance decides (Fisher and Yates).
pub(super) fn shuffle<T>(things: &mut [T], chance: &mut Chance) {
    for at in (1..things.len()).rev() {
        let other = pick(at + 1, chance);
        things.swap(at, other);
    }
}
