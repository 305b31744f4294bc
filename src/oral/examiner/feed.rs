//! What the current to a part goes through, in which order, and what protects it.

use super::draft::{Draft, Form, by_length, one_of, shuffle};
use super::scene::Scene;
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{AIRFRAME, Circuit, Kind, PartId, Resistor};
use crate::diagram::trace;
use crate::observation::What;
use crate::oral::question::{Asked, Claim};

/// Volts from which a part counts as fed.
const FED_VOLTS: f64 = 3.0;

/// The part of its voltage below which a part counts as cut off, and above which as untouched.
const CUT: f64 = 0.3;
const UNTOUCHED: f64 = 0.97;

impl Examiner {
    /// A part that is fed in a scene, and what all its current goes through, nearest first.
    fn fed_part(
        &self,
        subject: Option<&str>,
        chance: &mut Chance,
    ) -> Option<(&Scene, PartId, Vec<PartId>)> {
        let scene = self.some_scene(chance)?;
        let loads: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .filter(|(_, part)| subject.is_none_or(|subject| part.id == subject))
            .filter(|(_, part)| {
                matches!(
                    part.kind,
                    Kind::Load(_)
                        | Kind::Load3(_)
                        | Kind::Lamp(_)
                        | Kind::Gyro(_)
                        | Kind::Motor(_)
                        | Kind::Horn(_)
                )
            })
            .map(|(id, _)| id)
            .filter(|id| self.volts_at(&scene.rig, *id) > FED_VOLTS)
            .collect();
        let load = *one_of(&loads, chance)?;
        Some((scene, load, self.way_to(load)))
    }

    /// Whether some failure of a part cuts the other off.
    fn cuts(&self, scene: &Scene, load: PartId, part: PartId) -> bool {
        self.kept_without(scene, load, part).0 < CUT
    }

    /// The first of these parts without which the other keeps its voltage whatever happens to
    /// them.
    fn idle(&self, scene: &Scene, load: PartId, from: Vec<PartId>) -> Vec<PartId> {
        from.into_iter()
            .filter(|part| {
                let (least, most) = self.kept_without(scene, load, *part);
                least.is_finite() && least > UNTOUCHED && most < 1.0 / UNTOUCHED
            })
            .take(ALTERNATIVES - 1)
            .collect()
    }

    /// The question for one of the parts on the way, the wrong ones of the same kind.
    fn on_way(
        &self,
        (scene, load): (&Scene, PartId),
        right: PartId,
        chance: &mut Chance,
    ) -> Option<Form> {
        if !self.cuts(scene, load, right) {
            return None;
        }
        // A placard that repeats the name of what it feeds would give it away, unless the wrong
        // ones do so too.
        let repeats = self.shares_a_word(right, load);
        let all = feeders(&self.circuit, load);
        let sort = |part: PartId| match self.circuit.part(part).kind {
            Kind::Breaker(_) | Kind::Fuse(_) => None,
            ref kind => Some(std::mem::discriminant(kind)),
        };
        let off = self.circuit.parts_with_ids().map(|(id, _)| id);
        let mut off: Vec<PartId> = off
            .filter(|id| *id != load && !all.contains(id) && sort(*id) == sort(right))
            .filter(|id| !repeats || self.shares_a_word(*id, load))
            .collect();
        shuffle(&mut off, chance);
        by_length(&mut off, &self.part_name(right), |part| self.part_name(*part));
        let choice =
            |part: PartId| (self.part_name(part), Claim::Feeds(scene.setup.clone(), part, load));
        let wrong = self.idle(scene, load, off).into_iter().map(choice).collect();
        Some(Form::One(choice(right), wrong))
    }

    /// Whether two placards or ids have a word in common.
    fn shares_a_word(&self, one: PartId, other: PartId) -> bool {
        let words = |part: PartId| {
            let part = self.circuit.part(part);
            let both = format!("{} {}", part.label, part.id).to_uppercase();
            let words: Vec<String> = both
                .split(|c: char| !c.is_alphanumeric())
                .filter(|word| word.len() > 1)
                .map(str::to_owned)
                .collect();
            words
        };
        let known = words(other);
        words(one).iter().any(|word| known.contains(word))
    }

    /// The way from the source, by ids.
    pub(super) fn way_told(&self, way: &[PartId]) -> String {
        let ids: Vec<&str> =
            way.iter().rev().map(|part| self.circuit.part(*part).id.as_str()).collect();
        ids.join(", ")
    }

    /// What all current to a part goes through, nearest first: from the source, or from what
    /// makes this current out of another.
    pub(super) fn way_to(&self, load: PartId) -> Vec<PartId> {
        let makes = self.near_ways[load.index()].get_or_init(|| {
            let mut way = feeders(&self.circuit, load);
            way.retain(|part| self.is_named(*part) && is_needed(&self.circuit, load, *part, true));
            way
        });
        makes.clone()
    }

    /// In one sentence, that a part lies on the way of all current to what shows something.
    pub(super) fn lies_on_way(&self, what: What, part: PartId) -> Option<String> {
        let What::Face(load) = what else { return None };
        let whole = self.whole_way_to(load);
        (load != part && whole.contains(&part)).then(|| {
            let id = |part: PartId| &self.circuit.part(part).id;
            format!(
                "{} lies on the way of all current to {}: {}.",
                id(part),
                id(load),
                self.way_told(whole)
            )
        })
    }

    /// What no current reaches a part without, wires and what lies before a converter too.
    fn whole_way_to(&self, load: PartId) -> &[PartId] {
        self.ways[load.index()].get_or_init(|| {
            let mut way = feeders(&self.circuit, load);
            way.retain(|part| is_needed(&self.circuit, load, *part, false));
            way
        })
    }

    pub(super) fn fed(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (scene, load, way) = self.fed_part(subject, chance)?;
        let right = *one_of(&way, chance)?;
        let form = self.on_way((scene, load), right, chance)?;
        Some(Draft {
            asked: Asked::Fed,
            subject: self.circuit.part(load).id.clone(),
            text: format!(
                "{}, which of these does the current to {} go through?",
                scene.given,
                self.part_name(load)
            ),
            form,
            reasons: vec![format!("On its way: {}.", self.way_told(&way))],
            difficulty: 2,
            look: None,
        })
    }

    pub(super) fn protects(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (scene, load, way) = self.fed_part(subject, chance)?;
        let right = way.iter().copied().find(|part| {
            matches!(self.circuit.part(*part).kind, Kind::Breaker(_) | Kind::Fuse(_))
        })?;
        let form = self.on_way((scene, load), right, chance)?;
        let at = &self.circuit.station(self.circuit.part(right).station).title;
        Some(Draft {
            asked: Asked::Protects,
            subject: self.circuit.part(load).id.clone(),
            text: format!(
                "{}, which breaker or fuse does {} depend on?",
                scene.given,
                self.part_name(load)
            ),
            form,
            reasons: vec![
                format!("{} is in: {at}.", self.part_name(right)),
                format!("On its way: {}.", self.way_told(&way)),
            ],
            difficulty: 2,
            look: None,
        })
    }

    /// Three parts that the current passes, in order. Only those that it enters and leaves are
    /// asked for: of a relay the coil hangs elsewhere.
    pub(super) fn order(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (scene, load, _) = self.fed_part(subject, chance)?;
        // Wires too: with a label they stand on every diagram.
        let way = self.whole_way_to(load);
        let mut at: Vec<usize> = (0..way.len())
            .filter(|at| {
                let kind = &self.circuit.part(way[*at]).kind;
                let is_plain = matches!(
                    kind,
                    Kind::Breaker(_)
                        | Kind::Fuse(_)
                        | Kind::Switch(_)
                        | Kind::Shunt(_)
                        | Kind::Wire(_)
                        | Kind::Connector(_)
                );
                (converts(kind) || is_plain && self.circuit.connections(way[*at]).len() == 2)
                    && self.cuts(scene, load, way[*at])
            })
            .collect();
        shuffle(&mut at, chance);
        at.truncate(3);
        // From the source on: the farthest first.
        at.sort_unstable_by(|a, b| b.cmp(a));
        let [a, b, c] = at.as_slice() else { return None };
        let [a, b, c] = [way[*a], way[*b], way[*c]];
        let choice = |order: [PartId; 3]| {
            let ids: Vec<&str> =
                order.iter().map(|part| self.circuit.part(*part).id.as_str()).collect();
            let claim = Claim::InOrder(scene.setup.clone(), load, order.to_vec());
            (ids.join(", then "), claim)
        };
        let mut others = vec![[a, c, b], [b, a, c], [b, c, a], [c, a, b], [c, b, a]];
        shuffle(&mut others, chance);
        others.truncate(ALTERNATIVES - 1);
        Some(Draft {
            asked: Asked::Order,
            subject: self.circuit.part(load).id.clone(),
            text: format!(
                "{}, in which order does the current pass these on its way from the source to {}?",
                scene.given,
                self.part_name(load)
            ),
            form: Form::One(choice([a, b, c]), others.into_iter().map(choice).collect()),
            reasons: vec![format!("On its way: {}.", self.way_told(way))],
            difficulty: 3,
            look: None,
        })
    }
}

/// What the current to a part may go through, nearest first.
fn feeders(circuit: &Circuit, load: PartId) -> Vec<PartId> {
    let nets: Vec<_> = circuit.part(load).kind.nets();
    let from: Vec<_> = nets.into_iter().filter(|net| *net != AIRFRAME).collect();
    let way = trace(circuit, &from).feeding;
    way.into_iter().map(|(part, _)| part).filter(|part| *part != load).collect()
}

/// Whether a part makes current of one sort out of another.
fn converts(kind: &Kind) -> bool {
    matches!(
        kind,
        Kind::Converter(_)
            | Kind::Vibrator(_)
            | Kind::Transformer(_)
            | Kind::TransformerRectifier(_)
    )
}

/// Whether no current reaches a part but through the other one; what makes current out of
/// another counts as a source where that is asked for.
fn is_needed(circuit: &Circuit, load: PartId, other: PartId, made: bool) -> bool {
    let nowhere = Resistor { a: AIRFRAME, b: AIRFRAME, ohms: 1.0 };
    let without = circuit.with_kind(other, Kind::Resistor(nowhere));
    let nets: Vec<_> = without.part(load).kind.nets();
    let from: Vec<_> = nets.into_iter().filter(|net| *net != AIRFRAME).collect();
    let feeding = trace(&without, &from).feeding;
    feeding
        .iter()
        .all(|(part, is_source)| !(*is_source || made && converts(&without.part(*part).kind)))
}
