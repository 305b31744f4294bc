//! Which reading tells faults apart: two of them, or all that show the same signs.

use std::cmp::Reverse;

use super::cause::SIGNS;
use super::draft::{Draft, Form, by_length, one_of, shuffle};
use super::scene::{Alike, Scene};
use super::words::bits;
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::dictionary::Shown;
use crate::observation::What;
use crate::oral::question::{Asked, Claim};

/// Faults with the same signs that a question is about at the most.
const SUSPECTS: usize = 40;

/// Outcomes of a reading that a reason lists.
const OUTCOMES: usize = 4;

impl Examiner {
    /// Faults that look the same as this one on every face, itself first; none where it shows
    /// nothing, or so little that one may or may not see it.
    fn look_alikes<'a>(
        &self,
        scene: &'a Scene,
        (fault, shown): (u32, &'a [Shown]),
    ) -> Vec<(u32, &'a [Shown])> {
        let Some(signs) = self.signs(scene, shown) else { return Vec::new() };
        if signs.is_empty() {
            return Vec::new();
        }
        let faces = self.faces();
        let same = |theirs: &[Shown]| {
            faces.iter().all(|at| self.alike(*at, theirs[*at], shown[*at]) == Alike::Same)
        };
        let others = scene.struck.iter().filter(|(other, theirs)| *other != fault && same(theirs));
        std::iter::once((fault, shown))
            .chain(others.map(|(other, theirs)| (*other, theirs.as_slice())))
            .collect()
    }

    /// A reading that is another with some two of these faults, and two that are the same with
    /// all of them, on the same function of the meter where there are such.
    fn telling_and_idle(
        &self,
        suspects: &[(u32, &[Shown])],
        chance: &mut Chance,
    ) -> Option<(usize, Vec<usize>)> {
        let (_, first) = suspects.first()?;
        let (mut telling, mut idle) = (Vec::new(), Vec::new());
        for at in self.displays() {
            let alike = |shown: &[Shown]| self.alike(at, shown[at], first[at]);
            if suspects.iter().any(|(_, shown)| alike(shown) == Alike::Apart) {
                telling.push(at);
            } else if suspects.iter().all(|(_, shown)| alike(shown) == Alike::Same) {
                idle.push(at);
            }
        }
        let at = *one_of(&telling, chance)?;
        shuffle(&mut idle, chance);
        let function = |at: usize| match self.what(at) {
            What::Display(probe) => Some(probe.function),
            _ => None,
        };
        idle.retain(|other| function(*other) == function(at));
        by_length(&mut idle, &self.name(at), |at| self.name(*at));
        idle.truncate(ALTERNATIVES - 1);
        Some((at, idle))
    }

    fn differ(&self, scene: &Scene, suspects: &[(u32, &[Shown])], at: usize) -> (String, Claim) {
        let codes = suspects.iter().map(|(fault, _)| self.code(*fault)).collect();
        (self.name(at), Claim::Differ(scene.setup.clone(), codes, self.what(at)))
    }

    pub(super) fn apart(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let one = self.some_fault(scene, subject, chance)?;
        let alike = self.look_alikes(scene, one);
        let other = alike.iter().filter(|(other, _)| self.part_of(*other) != self.part_of(one.0));
        let other = *one_of(&other.collect::<Vec<_>>(), chance)?;
        let mut two = [one, *other];
        // Whichever of them was drawn first, it is the same question.
        two.sort_by_key(|(fault, _)| *fault);
        let [one, other] = two;
        let (at, idle) = self.telling_and_idle(&two, chance)?;
        Some(Draft {
            asked: Asked::Apart,
            subject: self.part_of(one.0).to_owned(),
            text: format!(
                "{}, either {} or {}; every lamp and needle shows the same. Which reading tells the two apart?",
                scene.given,
                self.fault_words(one.0),
                self.fault_words(other.0)
            ),
            form: Form::One(
                self.differ(scene, &two, at),
                idle.into_iter().map(|at| self.differ(scene, &two, at)).collect(),
            ),
            reasons: vec![format!(
                "With the first it is {}, with the second {}.",
                self.told(at, one.1[at]),
                self.told(at, other.1[at])
            )],
            difficulty: 3,
            look: None,
        })
    }

    /// Which reading is worth taking first: one that is another with some of the faults that
    /// show these signs. The others would be the same whatever it is.
    pub(super) fn first(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let suspects = self.look_alikes(scene, (fault, shown));
        if suspects.len() < 2 || suspects.len() > SUSPECTS {
            return None;
        }
        let signs = self.signs(scene, shown)?;
        if signs.len() > SIGNS {
            return None;
        }
        let (at, idle) = self.telling_and_idle(&suspects, chance)?;
        let same = idle.first().map(|at| self.told(*at, shown[*at]));
        // What the meter's error leaves open counts as one.
        let mut outcomes: Vec<(Shown, usize)> = Vec::new();
        for (_, shown) in &suspects {
            let known = outcomes
                .iter_mut()
                .find(|(known, _)| self.alike(at, *known, shown[at]) != Alike::Apart);
            match known {
                Some((_, count)) => *count += 1,
                None => outcomes.push((shown[at], 1)),
            }
        }
        outcomes.sort_by_key(|(_, count)| Reverse(*count));
        let told: Vec<String> = outcomes
            .iter()
            .take(OUTCOMES)
            .map(|(shown, count)| format!("{} with {count}", self.told(at, *shown)))
            .collect();
        let mut reasons =
            vec![format!("{} faults show these signs; it is {}.", suspects.len(), told.join(", "))];
        reasons.extend(same.map(|same| format!("Another reading is {same} with all of them.")));
        Some(Draft {
            asked: Asked::First,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{} this is unusual and nothing else: {}. Which reading is worth taking first?",
                scene.given,
                self.signs_told(&signs, shown)
            ),
            form: Form::One(
                self.differ(scene, &suspects, at),
                idle.into_iter().map(|at| self.differ(scene, &suspects, at)).collect(),
            ),
            reasons,
            difficulty: 3 + bits(suspects.len()),
            look: None,
        })
    }
}
