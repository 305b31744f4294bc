//! What is kept of the attempts of a class while they are gone through: a few numbers each,
//! and every text once.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::summary::Class;
use super::{Found, Judged};
use crate::units::counted;

/// A line of a hand-in, or a file, that counts for nothing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Refusal {
    /// The file.
    pub file: Arc<str>,
    /// The line, from 1.
    pub line: u64,
    /// Whose attempt it is; `None` where the line or the whole file cannot be read.
    pub trainee: Option<Arc<str>>,
    /// Why.
    pub why: String,
}

impl Refusal {
    /// In words, a line.
    fn told(&self) -> String {
        let whose = self.trainee.as_ref().map_or_else(String::new, |name| format!(" ({name})"));
        format!("{}:{}{whose}: {}", self.file, self.line, self.why)
    }
}

/// The attempts of a class. How many there are decides what it takes, not how long they are.
#[derive(Debug, Default)]
pub struct Register {
    texts: BTreeSet<Arc<str>>,
    /// By their id, with their place in the order in which they came.
    counts: BTreeMap<String, (usize, Judged)>,
    came: usize,
    /// How often each trainee handed in again what was there already.
    again: BTreeMap<Arc<str>, usize>,
    /// Attempts that came in under several names, and these.
    shared: BTreeMap<String, BTreeSet<Arc<str>>>,
    /// Of these the ones that no signature decides.
    nobodys: BTreeSet<String>,
    refused: Vec<Refusal>,
}

/// The names under which an attempt came in, and whose it is.
type Claim<'a> = (Vec<&'a str>, Option<&'a str>);

impl Register {
    /// Takes in one line of a hand-in.
    pub fn take(&mut self, found: Found) {
        match found {
            Found::Refused(refusal) => self.refused.push(refusal),
            Found::Counts(judged) => self.count(*judged),
        }
    }

    /// Takes in an attempt. Of one that was handed in more than once the longest counts, of
    /// those that are signed where any is. Where two trainees hand in the same and neither
    /// signature decides, it counts for nobody.
    fn count(&mut self, mut judged: Judged) {
        self.came += 1;
        self.share(&mut judged);
        let Some((_, before)) = self.counts.get(&judged.id) else {
            self.counts.insert(judged.id.clone(), (self.came, judged));
            return;
        };
        if before.trainee == judged.trainee {
            *self.again.entry(Arc::clone(&judged.trainee)).or_default() += 1;
        } else {
            let names = self.shared.entry(judged.id.clone()).or_default();
            names.extend([Arc::clone(&before.trainee), Arc::clone(&judged.trainee)]);
        }
        if before.signed == judged.signed && before.trainee != judged.trainee {
            self.nobodys.insert(judged.id.clone());
        } else if judged.signed && !before.signed {
            self.nobodys.remove(&judged.id);
        }
        if (judged.signed, judged.moves) > (before.signed, before.moves) {
            self.counts.insert(judged.id.clone(), (self.came, judged));
        }
    }

    /// Lets it have the texts that are there already.
    fn share(&mut self, judged: &mut Judged) {
        let whole = [
            &mut judged.trainee,
            &mut judged.system,
            &mut judged.drill,
            &mut judged.begun,
            &mut judged.ended,
            &mut judged.called,
            &mut judged.hidden,
        ];
        for text in whole.into_iter().chain(&mut judged.kinds).chain(&mut judged.useless) {
            match self.texts.get(text) {
                Some(known) => *text = Arc::clone(known),
                None => {
                    self.texts.insert(Arc::clone(text));
                }
            }
        }
        judged.useless.shrink_to_fit();
    }

    /// Those that count, in the order in which they were begun; of those that were begun in
    /// the same second, as they came.
    pub fn counted(&self) -> Vec<&Judged> {
        let counts = self.counts.values().filter(|(_, one)| !self.nobodys.contains(&one.id));
        let mut counted: Vec<(&Arc<str>, usize, &Judged)> =
            counts.map(|(came, one)| (&one.begun, *came, one)).collect();
        counted.sort_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)));
        counted.into_iter().map(|(.., one)| one).collect()
    }

    /// Sums up.
    pub fn class(&self) -> Class {
        let mut class = Class {
            again: self.again_told(),
            refused: self.refused.iter().map(Refusal::told).collect(),
            disputed: self.nobodys.len(),
            ..Class::default()
        };
        for one in self.counted() {
            class.add(one);
        }
        for trainee in self.refused.iter().filter_map(|refusal| refusal.trainee.as_deref()) {
            class.refuse(trainee);
        }
        class.unreadable = self.refused.iter().filter(|one| one.trainee.is_none()).count();
        class
    }

    /// What was handed in more than once, a line for each trainee and for each set of names.
    fn again_told(&self) -> Vec<String> {
        let mut told: Vec<String> = self
            .again
            .iter()
            .map(|(trainee, times)| format!("{trainee}: {} again", counted(*times, "attempt")))
            .collect();
        let mut claims: BTreeMap<Claim<'_>, Vec<&Judged>> = BTreeMap::new();
        for (id, names) in &self.shared {
            let Some((_, one)) = self.counts.get(id) else { continue };
            let whose = (!self.nobodys.contains(id)).then_some(&*one.trainee);
            let names = names.iter().map(|name| &**name).collect();
            claims.entry((names, whose)).or_default().push(one);
        }
        told.extend(claims.into_iter().map(|((names, whose), attempts)| {
            let name =
                |one: &&Judged| format!("{} ({})", one.drill, one.id.get(..8).unwrap_or(&one.id));
            let mut some: Vec<String> = attempts.iter().take(3).map(name).collect();
            if attempts.len() > some.len() {
                some.push(format!("{} more", attempts.len() - some.len()));
            }
            let whose = match whose {
                Some(trainee) => format!("signed by {trainee}, who gets them"),
                None => "no signature decides: they count for nobody".to_owned(),
            };
            let count = counted(attempts.len(), "attempt");
            format!(
                "{}: {count} under these names, {whose}: {}",
                names.join(" and "),
                some.join(", ")
            )
        }));
        told
    }
}
