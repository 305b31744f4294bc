//! Questions that dig where an answer was weak.

use super::Examiner;
use super::TRIES;
use super::draft::{Draft, shuffle};
use crate::chance::Chance;
use crate::dictionary::Case;
use crate::oral::question::{Answer, Asked, Claim, Question};

impl Examiner {
    /// A question that digs where an answer was weak: the same failure with a relay that does
    /// not move as it should then, or else another kind of question about the same part. `None`
    /// where there is none.
    pub fn follow_up(&self, question: &Question, seed: u64) -> Option<Question> {
        let mut chance = Chance::stream(seed, "follow-up");
        let subject = question.card.splitn(3, ' ').nth(2)?;
        let fresh = |draft: &Draft| draft.text != question.text;
        if question.asked != Asked::Unmoved
            && let Some(code) = failure(question)
            && let Some(Case::One(fault)) = self.dictionary.case(code)
        {
            let deeper = (0..TRIES).find_map(|_| {
                let scene = self.some_scene(&mut chance)?;
                self.unmoved_after(scene, fault, &mut chance).filter(Draft::is_askable)
            });
            if let Some(draft) = deeper.filter(fresh) {
                return Some(self.finished(draft, &mut chance));
            }
        }
        let mut kinds: Vec<Asked> =
            Asked::ALL.into_iter().filter(|asked| *asked != question.asked).collect();
        shuffle(&mut kinds, &mut chance);
        let draft = kinds.into_iter().find_map(|asked| {
            let mut tries =
                (0..TRIES).filter_map(|_| self.draft(asked, Some(subject), &mut chance));
            tries.find(fresh)
        })?;
        Some(self.finished(draft, &mut chance))
    }
}

/// The failure that a question is about, by its code.
fn failure(question: &Question) -> Option<&str> {
    let claim = match &question.answer {
        Answer::One { right, claims, .. } => claims.get(*right)?,
        Answer::All { right, claims, .. } => claims.get(right.iter().position(|right| *right)?)?,
        Answer::Number { claim, .. } => claim,
        Answer::Words { .. } => return None,
    };
    match claim {
        Claim::Shows(_, codes, ..)
        | Claim::Indicates(_, codes, ..)
        | Claim::Lit(_, codes, _)
        | Claim::Differ(_, codes, _) => codes.first().map(String::as_str),
        Claim::Unusual(_, code, _) | Claim::Explains(_, code, _) => Some(code),
        _ => None,
    }
}
