//! What something shows: with a fault, in a setup, as a figure; and which lamps are alight.

use super::draft::{Draft, Form, by_length, one_of, shuffle};
use super::scene::{Alike, Scene};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{Kind, Meter, PartId};
use crate::dictionary::Shown;
use crate::observation::{Look as Seen, Percept, What, scale_fraction};
use crate::oral::question::{Asked, Claim, Look};

/// Lamps that one question is about.
const LAMPS: usize = 5;

impl Examiner {
    /// Other things that an observation may show, from other faults and setups, none like the
    /// right one or like each other. `first` comes before the rest.
    fn other_showings(
        &self,
        scene: &Scene,
        (at, right): (usize, Shown),
        first: &[Shown],
        chance: &mut Chance,
    ) -> Vec<Shown> {
        let mut rest: Vec<Shown> = scene.struck.iter().map(|(_, shown)| shown[at]).collect();
        rest.push(scene.usual[at]);
        rest.extend(
            self.views
                .iter()
                .filter_map(|(_, made)| made.get()?.as_ref())
                .map(|view| view.shown[at]),
        );
        shuffle(&mut rest, chance);
        by_length(&mut rest, &self.told(at, right), |shown| self.told(at, *shown));
        let mut other: Vec<Shown> = Vec::new();
        for shown in first.iter().copied().chain(rest) {
            let apart = |from: Shown| self.alike(at, shown, from) == Alike::Apart;
            if apart(right) && other.iter().all(|known| apart(*known)) {
                other.push(shown);
            }
            if other.len() == ALTERNATIVES - 1 {
                break;
            }
        }
        other
    }

    /// The draft of a question for what is shown, once it is known where.
    fn showing(
        &self,
        scene: &Scene,
        (at, right): (usize, Shown),
        first: &[Shown],
        claim: impl Fn(Percept) -> Claim,
        chance: &mut Chance,
    ) -> Form {
        let choice = |shown: Shown| (self.told(at, shown), claim(shown.percept));
        let wrong = self.other_showings(scene, (at, right), first, chance);
        Form::One(choice(right), wrong.into_iter().map(choice).collect())
    }

    pub(super) fn shows(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let own = What::Face(self.dictionary.faults()[fault as usize].0.part);
        let sought = sought(chance);
        let changed: Vec<usize> = (0..shown.len())
            .filter(|at| self.what(*at) != own)
            .filter(|at| self.alike(*at, shown[*at], scene.usual[*at]) == sought)
            .collect();
        let at = *one_of(&changed, chance)?;
        let claim = |percept| {
            Claim::Shows(scene.setup.clone(), vec![self.code(fault)], self.what(at), percept)
        };
        let form = self.showing(scene, (at, shown[at]), &[], claim, chance);
        let (mut reasons, difficulty) = self.story(scene, fault);
        let failed = self.dictionary.faults()[fault as usize].0.part;
        reasons.extend(self.lies_on_way(self.what(at), failed));
        reasons.extend(self.stands_on(self.what(at)));
        reasons.push(format!("The sound aircraft shows {}.", self.told(at, scene.usual[at])));
        Some(Draft {
            asked: Asked::Shows,
            subject: self.part_of(fault).to_owned(),
            text: format!("{}, {}. {}", scene.given, self.fault_words(fault), self.what_shows(at)),
            form,
            reasons,
            difficulty,
            look: self.needle_at(at, shown[at]),
        })
    }

    pub(super) fn in_setup(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let normal = self.scene(0)?;
        let (setup, view) = self.some_view(subject, chance)?;
        let sought = sought(chance);
        let changed: Vec<usize> = (0..view.shown.len())
            .filter(|at| self.what(*at) != What::Face(view.moved))
            .filter(|at| self.alike(*at, view.shown[*at], normal.usual[*at]) == sought)
            .collect();
        let at = *one_of(&changed, chance)?;
        let claim = |percept| Claim::Shows(setup.clone(), Vec::new(), self.what(at), percept);
        let form = self.showing(normal, (at, view.shown[at]), &[normal.usual[at]], claim, chance);
        let mut reasons: Vec<String> =
            view.events.iter().take(4).map(|event| event.told(&self.circuit)).collect();
        let usual = self.told(at, normal.usual[at]);
        reasons.push(format!("In the normal setup it shows {usual}."));
        Some(Draft {
            asked: Asked::InSetup,
            subject: self.circuit.part(view.moved).id.clone(),
            text: format!(
                "{} and all else normal and sound, {}",
                view.given,
                self.what_shows(at).replacen('W', "w", 1)
            ),
            form,
            reasons,
            difficulty: view.events.len() as u32 + 1,
            look: self.needle_at(at, view.shown[at]),
        })
    }

    /// Whether what is seen in a setup is as it should be. What is seen is as often the right
    /// value as each of two wrong ones.
    pub(super) fn is_normal(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let normal = self.scene(0)?;
        let (setup, view) = self.some_view(subject, chance)?;
        let own = What::Face(view.moved);
        let fit: Vec<usize> = (0..view.shown.len()).filter(|at| self.what(*at) != own).collect();
        let at = *one_of(&fit, chance)?;
        let right = view.shown[at];
        let wrong = self.other_showings(normal, (at, right), &[normal.usual[at]], chance);
        if wrong.len() < ALTERNATIVES - 1 {
            return None;
        }
        let all: Vec<Shown> = std::iter::once(right).chain(wrong).collect();
        let seen = *one_of(&all, chance)?;
        let choice = |shown: Shown| {
            let verdict = if shown == seen { "Yes" } else { "No" };
            let claim = Claim::Shows(setup.clone(), Vec::new(), self.what(at), shown.percept);
            (format!("{verdict}, it should be {}", self.told(at, shown)), claim)
        };
        let mut reasons: Vec<String> =
            view.events.iter().take(4).map(|event| event.told(&self.circuit)).collect();
        reasons.push(format!("The sound aircraft shows {} there.", self.told(at, right)));
        Some(Draft {
            asked: Asked::Normal,
            subject: self.circuit.part(view.moved).id.clone(),
            text: format!(
                "{} and all else in the normal setup, you find {}: {}. Is that as it should be?",
                view.given,
                self.name(at),
                self.told(at, seen)
            ),
            form: Form::One(choice(right), all[1..].iter().map(|shown| choice(*shown)).collect()),
            reasons,
            difficulty: view.events.len() as u32 + 2,
            look: self.needle_at(at, right),
        })
    }

    /// What a pointer stands at, as a figure.
    pub(super) fn needle(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let meters: Vec<usize> = self
            .faces()
            .into_iter()
            .filter(|at| {
                let id = self.meter(*at).map(|(part, _)| self.circuit.part(part).id.as_str());
                id.is_some_and(|id| subject.is_none_or(|subject| subject == id))
            })
            .collect();
        let at = *one_of(&meters, chance)?;
        let (dial, meter) = self.meter(at)?;
        // A fault that moves the pointer, or none.
        let moves: Vec<&(u32, Vec<Shown>)> = scene
            .struck
            .iter()
            .filter(|(_, shown)| self.alike(at, shown[at], scene.usual[at]) == Alike::Apart)
            .collect();
        let fault = if chance.unit() < 0.2 { None } else { one_of(&moves, chance) };
        let shown = fault.map_or(scene.usual[at], |(_, shown)| shown[at]);
        let value = shown.value?;
        let tolerance = readable(meter, value)?;
        let codes = fault.iter().map(|(fault, _)| self.code(*fault)).collect();
        let what = fault.map_or_else(
            || "nothing having failed".to_owned(),
            |(fault, _)| self.fault_words(*fault),
        );
        let (mut reasons, difficulty) =
            fault.map_or_else(|| (Vec::new(), 1), |(fault, _)| self.story(scene, *fault));
        reasons.push(format!("The pointer stands {}.", self.told(at, shown)));
        Some(Draft {
            asked: Asked::Needle,
            subject: self.circuit.part(dial).id.clone(),
            text: format!(
                "{}, {what}. What does {} indicate, in {}?",
                scene.given,
                self.name(at),
                meter.unit
            ),
            form: Form::Number {
                value,
                unit: meter.unit.clone(),
                tolerance,
                claim: Claim::Indicates(scene.setup.clone(), codes, dial, value),
            },
            reasons,
            difficulty: difficulty + 1,
            look: self.needle_at(at, shown),
        })
    }

    fn meter(&self, at: usize) -> Option<(PartId, &Meter)> {
        match self.what(at) {
            What::Face(part) => Some((part, self.circuit.part(part).kind.meter()?)),
            _ => None,
        }
    }

    /// Where one would look for this: at the pointer, if it is one.
    fn needle_at(&self, at: usize, shown: Shown) -> Option<Look> {
        match self.what(at) {
            What::Face(part) if self.meter(at).is_some() => {
                Some(Look::Needle { dial: part, volts_or_value: shown.value? })
            }
            What::Face(part) => Some(Look::Diagram(part)),
            _ => None,
        }
    }

    /// Which lamps are alight. One that only glimmers is left out: it is neither.
    pub(super) fn lit(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let mut lamps: Vec<(usize, PartId, bool)> = self
            .faces()
            .into_iter()
            .filter_map(|at| {
                let What::Face(part) = self.what(at) else { return None };
                let is_lamp = matches!(self.circuit.part(part).kind, Kind::Lamp(_));
                let lit = match shown[at].percept {
                    Percept::Look(Seen::Dark) => false,
                    Percept::Look(Seen::Dim | Seen::Bright) => true,
                    _ => return None,
                };
                is_lamp.then_some((at, part, lit))
            })
            .collect();
        shuffle(&mut lamps, chance);
        // What the fault has changed comes first: that is what is asked about.
        lamps.sort_by_key(|(at, _, _)| {
            self.alike(*at, shown[*at], scene.usual[*at]) != Alike::Apart
        });
        let changed = lamps
            .iter()
            .any(|(at, _, _)| self.alike(*at, shown[*at], scene.usual[*at]) == Alike::Apart);
        if !changed {
            return None;
        }
        // One of each at the least.
        let (lit, dark): (Vec<_>, Vec<_>) = lamps.into_iter().partition(|(_, _, lit)| *lit);
        let few = LAMPS / 2;
        let kept: Vec<(usize, PartId, bool)> = lit
            .iter()
            .take(LAMPS - few.min(dark.len()))
            .chain(dark.iter().take(LAMPS - few.min(lit.len())))
            .copied()
            .take(LAMPS)
            .collect();
        let code = self.code(fault);
        let choices = kept
            .iter()
            .map(|(_, part, lit)| {
                let claim = Claim::Lit(scene.setup.clone(), vec![code.clone()], *part);
                (self.part_name(*part), *lit, claim)
            })
            .collect();
        let (mut reasons, difficulty) = self.story(scene, fault);
        let places: Vec<usize> = kept.iter().map(|(at, _, _)| *at).collect();
        reasons.push(format!("{}.", self.signs_told(&places, shown)));
        Some(Draft {
            asked: Asked::Lit,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, {}. Which of these lamps are alight? Mark all.",
                scene.given,
                self.fault_words(fault)
            ),
            form: Form::All(choices),
            reasons,
            difficulty: difficulty + 1,
            look: None,
        })
    }

    /// What something shows when a fault strikes and a relay does not move as it should then.
    pub(super) fn unmoved(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, _) = self.some_fault(scene, subject, chance)?;
        self.unmoved_after(scene, fault, chance)
    }

    pub(super) fn unmoved_after(
        &self,
        scene: &Scene,
        fault: u32,
        chance: &mut Chance,
    ) -> Option<Draft> {
        use crate::dictionary::Case;
        use crate::network::Event;
        let (_, alone) = scene.struck.iter().find(|(at, _)| *at == fault)?;
        let events = self.events(scene, fault);
        let moved: Vec<PartId> = events
            .iter()
            .filter_map(|event| match event {
                Event::Operates { part, .. }
                | Event::Releases { part, .. }
                | Event::Slackens { part }
                | Event::PutsOn { part, .. }
                | Event::TakesOff { part, .. } => Some(*part),
                _ => None,
            })
            .filter(|part| self.circuit.part(*part).id != self.part_of(fault))
            .collect();
        let relay = *one_of(&moved, chance)?;
        let before = scene.page.settled().state.operated(relay);
        let sticks =
            self.dictionary.faults().iter().position(|(other, mode)| {
                other.part == relay && held(&mode.faulted) == Some(before)
            })? as u32;
        let case = Case::Two(fault.min(sticks), fault.max(sticks));
        let both = self.dictionary.entry(&scene.page, case).ok()?.shown().to_vec();
        let changed: Vec<usize> = (0..both.len())
            .filter(|at| self.what(*at) != What::Face(relay))
            .filter(|at| self.alike(*at, both[*at], alone[*at]) == Alike::Apart)
            .collect();
        let at = *one_of(&changed, chance)?;
        let codes = vec![self.code(fault), self.code(sticks)];
        let claim =
            |percept| Claim::Shows(scene.setup.clone(), codes.clone(), self.what(at), percept);
        let first = [alone[at], scene.usual[at]];
        let form = self.showing(scene, (at, both[at]), &first, claim, chance);
        let reasons = vec![
            format!("With the first failure alone it shows {}.", self.told(at, alone[at])),
            format!("The sound aircraft shows {}.", self.told(at, scene.usual[at])),
        ];
        Some(Draft {
            asked: Asked::Unmoved,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, {}, and {} sticks where it was. {}",
                scene.given,
                self.fault_words(fault),
                self.part_name(relay),
                self.what_shows(at)
            ),
            form,
            reasons,
            difficulty: events.len() as u32 + 2,
            look: self.needle_at(at, both[at]),
        })
    }
}

/// Whether something that has changed is asked for or something that has not: as often as it
/// would be by guessing, so that the usual showing can be right as well as wrong.
fn sought(chance: &mut Chance) -> Alike {
    if chance.unit() < 1.0 / ALTERNATIVES as f64 { Alike::Same } else { Alike::Apart }
}

/// In which state a failed relay is held, if it is.
fn held(kind: &Kind) -> Option<bool> {
    match kind {
        Kind::Relay(relay) | Kind::Contactor(relay) => relay.stuck,
        Kind::PhaseRelay(relay) => relay.stuck,
        Kind::ReverseCurrentRelay(relay) => relay.stuck,
        Kind::Solenoid(solenoid) => solenoid.stuck,
        _ => None,
    }
}

/// Half of the division of a scale in which a value stands; `None` off its ends, where a
/// pointer rests on its stop.
fn readable(meter: &Meter, value: f64) -> Option<f64> {
    let fraction = scale_fraction(&meter.scale, value);
    let end = meter.scale.last()?.1;
    if fraction <= 0.0 || fraction >= end {
        return None;
    }
    let pair = meter.divisions.windows(2).find(|pair| pair[0] <= value && value <= pair[1])?;
    Some((pair[1] - pair[0]) / 2.0)
}
