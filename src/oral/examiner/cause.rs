//! What a fault takes away, and what could be the cause of signs.

use super::draft::{Draft, Form, by_length, distinct, one_of, shuffle};
use super::scene::{Alike, Scene};
use super::words::{bits, sentence};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::Kind;
use crate::dictionary::Shown;
use crate::observation::What;
use crate::oral::question::{Asked, Claim};

/// Signs that a question lists at the most.
pub(super) const SIGNS: usize = 4;

/// Choices of a question for all causes.
const CAUSES: usize = 5;

/// Choices of it that are right at the most.
const RIGHT_CAUSES: usize = 3;

/// Signs in a scene, and which faults they speak for and against.
struct Signs {
    places: Vec<usize>,
    /// Faults that show exactly these signs.
    all: Vec<u32>,
    /// Faults that differ from them beyond doubt, those with most of the signs first.
    not: Vec<u32>,
}

impl Examiner {
    pub(super) fn lost(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let own = What::Face(self.dictionary.faults()[fault as usize].0.part);
        let faces = || self.faces().into_iter().filter(|at| self.what(*at) != own);
        let alike = |at: usize| self.alike(at, shown[at], scene.usual[at]);
        let changed: Vec<usize> = faces().filter(|at| alike(*at) == Alike::Apart).collect();
        let at = *one_of(&changed, chance)?;
        let mut same: Vec<usize> = faces()
            .filter(|other| alike(*other) == Alike::Same && self.sort(*other) == self.sort(at))
            .collect();
        shuffle(&mut same, chance);
        by_length(&mut same, &self.name(at), |at| self.name(*at));
        let code = self.code(fault);
        let choice = |at: usize| {
            (self.name(at), Claim::Unusual(scene.setup.clone(), code.clone(), self.what(at)))
        };
        let (mut reasons, difficulty) = self.story(scene, fault);
        reasons.push(format!(
            "{} shows {}, usually {}.",
            self.name(at),
            self.told(at, shown[at]),
            self.told(at, scene.usual[at])
        ));
        Some(Draft {
            asked: Asked::Lost,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, {}. Which of these no longer shows what it does on a sound aircraft?",
                scene.given,
                self.fault_words(fault)
            ),
            form: Form::One(
                choice(at),
                same.into_iter().take(ALTERNATIVES - 1).map(choice).collect(),
            ),
            reasons,
            difficulty,
            look: None,
        })
    }

    /// A number for the sort of thing that is observed, so that no choice stands out.
    fn sort(&self, at: usize) -> u8 {
        match self.what(at) {
            What::Face(part) => match self.circuit.part(part).kind {
                Kind::Breaker(_) => 1,
                Kind::Lamp(_) => 2,
                _ => 3,
            },
            _ => 4,
        }
    }

    /// The signs of a fault and what speaks for and against others; `None` where there are no
    /// signs, too many to list, or some that one may or may not see.
    fn signs_of(&self, scene: &Scene, shown: &[Shown]) -> Option<Signs> {
        let places = self.signs(scene, shown)?;
        if places.is_empty() || places.len() > SIGNS {
            return None;
        }
        let faces = self.faces();
        let (mut all, mut not) = (Vec::new(), Vec::new());
        for (other, theirs) in &scene.struck {
            let alike = |at: &usize| self.alike(*at, theirs[*at], shown[*at]);
            if faces.iter().all(|at| alike(at) == Alike::Same) {
                all.push(*other);
            } else if faces.iter().any(|at| alike(at) == Alike::Apart) {
                let theirs_seen = faces
                    .iter()
                    .filter(|at| self.alike(**at, theirs[**at], scene.usual[**at]) == Alike::Apart);
                let (mut shared, mut extra) = (0, 0);
                for at in theirs_seen {
                    if places.contains(at) {
                        shared += 1;
                    } else {
                        extra += 1;
                    }
                }
                // One that shows nothing explains nothing: nobody would choose it.
                if shared + extra > 0 {
                    not.push((usize::MAX - shared, extra, *other));
                }
            }
        }
        not.sort_unstable();
        Some(Signs { places, all, not: not.into_iter().map(|(_, _, other)| other).collect() })
    }

    /// Wrong causes, the nearest first, some of equal standing exchanged by chance.
    fn near(signs: &Signs, most: usize, chance: &mut Chance) -> Vec<u32> {
        let mut near: Vec<u32> = signs.not.iter().take(3 * most).copied().collect();
        shuffle(&mut near, chance);
        near
    }

    pub(super) fn cause(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let signs = self.signs_of(scene, shown)?;
        let choice =
            |other: u32| (self.fault_words(other), self.explains(scene, other, &signs, shown));
        let near = Self::near(&signs, ALTERNATIVES - 1, chance);
        let right = choice(fault);
        let wrong = distinct(near.iter().map(|at| choice(*at)), &[&right.0], ALTERNATIVES - 1);
        let (mut reasons, difficulty) = self.story(scene, fault);
        for (told, _) in &wrong {
            let other = near.iter().find(|at| self.fault_words(**at) == *told);
            reasons.extend(other.and_then(|at| self.other_signs(scene, *at)));
        }
        Some(Draft {
            asked: Asked::Cause,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{} this is unusual and nothing else: {}. Which of these explains all of it?",
                scene.given,
                self.signs_told(&signs.places, shown)
            ),
            form: Form::One(right, wrong),
            reasons,
            difficulty: difficulty + 1 + bits(signs.all.len()),
            look: None,
        })
    }

    /// All causes of signs among five: at least one explains them and at least one does not.
    pub(super) fn causes(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let signs = self.signs_of(scene, shown)?;
        let choice = |other: u32| (self.fault_words(other), other);
        let mut others: Vec<u32> =
            signs.all.iter().copied().filter(|other| *other != fault).collect();
        shuffle(&mut others, chance);
        let count = 1 + super::draft::pick(RIGHT_CAUSES, chance);
        let own = choice(fault);
        let mut right = distinct(others.into_iter().map(choice), &[&own.0], count - 1);
        right.push(own);
        let told: Vec<&str> = right.iter().map(|(told, _)| told.as_str()).collect();
        let near = Self::near(&signs, CAUSES - right.len(), chance);
        let wrong = distinct(near.into_iter().map(choice), &told, CAUSES - right.len());
        let (mut reasons, difficulty) = self.story(scene, fault);
        reasons.extend(wrong.iter().filter_map(|(_, other)| self.other_signs(scene, *other)));
        let all: Vec<(String, bool, Claim)> = right
            .into_iter()
            .map(|one| (one, true))
            .chain(wrong.into_iter().map(|one| (one, false)))
            .map(|((told, other), right)| (told, right, self.explains(scene, other, &signs, shown)))
            .collect();
        Some(Draft {
            asked: Asked::Causes,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{} this is unusual and nothing else: {}. Which of these could be the cause? Mark all.",
                scene.given,
                self.signs_told(&signs.places, shown)
            ),
            form: Form::All(all),
            reasons,
            difficulty: difficulty + 2 + bits(signs.all.len()),
            look: None,
        })
    }

    fn explains(&self, scene: &Scene, fault: u32, signs: &Signs, shown: &[Shown]) -> Claim {
        let pattern = signs.places.iter().map(|at| (self.what(*at), shown[*at].percept)).collect();
        Claim::Explains(scene.setup.clone(), self.code(fault), pattern)
    }

    /// What a fault shows instead.
    fn other_signs(&self, scene: &Scene, fault: u32) -> Option<String> {
        let (_, shown) = scene.struck.iter().find(|(at, _)| *at == fault)?;
        let mut seen: Vec<usize> = self
            .faces()
            .into_iter()
            .filter(|at| self.alike(*at, shown[*at], scene.usual[*at]) == Alike::Apart)
            .collect();
        let more = if seen.len() > SIGNS { "; and more" } else { "" };
        seen.truncate(SIGNS);
        Some(format!(
            "{} shows {}{more}.",
            sentence(&self.fault_words(fault)),
            self.signs_told(&seen, shown)
        ))
    }
}
