//! What a thing at the station is, and what can be done with it by one key.

use super::station::Item;
use crate::circuit::{Circuit, PartId};
use crate::drill::{Mark, Session, View};
use crate::observation::{Act, Function, Probe, Step, Touch};
use crate::units::quantity;

/// What pressing Enter on a thing leads to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Deed {
    /// A step at once.
    Step(Step),
    /// A hand on a control of several positions.
    Grip(PartId),
    /// A choice between putting the old fuse back and fitting a spare.
    Fuse(PartId),
    /// The hand meter, with its red lead on the point.
    Meter(Touch),
    /// Nothing: it is only looked at.
    Look,
}

/// A thing in words, and its deed with the price.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Offer {
    /// What it is and how it stands.
    pub(super) told: String,
    /// What Enter does.
    pub(super) verb: &'static str,
    /// Minutes it takes; `None` when it leads to a choice first.
    pub(super) minutes: Option<f64>,
    /// The deed.
    pub(super) deed: Deed,
}

/// What can be done with an item of the station; `None` when it is not there.
pub(super) fn offer(session: &Session, view: &View, item: Item) -> Option<Offer> {
    let circuit = session.circuit();
    match item {
        Item::Point(point) => {
            if !view.points.contains(&point) {
                return None;
            }
            let at = circuit.test_point(point);
            let touch = Touch::Point(point);
            let probe = Probe { function: Function::AcVolts, red: touch, black: Touch::Airframe };
            Some(Offer {
                told: format!("test point {} on net {}", at.id, circuit.net_name(at.net)),
                verb: "probe it",
                minutes: Some(session.place().minutes(circuit, Step::Probe(probe))),
                deed: Deed::Meter(touch),
            })
        }
        Item::Part(part) => part_offer(session, view, circuit, part),
    }
}

fn part_offer(session: &Session, view: &View, circuit: &Circuit, part: PartId) -> Option<Offer> {
    let (state, verb, deed) = state_and_deed(view, part)?;
    let id = &circuit.part(part).id;
    let label = &circuit.part(part).label;
    let mark = match session.marks().get(&part) {
        Some(Mark::Suspect) => "; you marked it suspect",
        Some(Mark::Cleared) => "; you marked it cleared",
        None => "",
    };
    let minutes = match deed {
        Deed::Step(step) => Some(session.place().minutes(circuit, step)),
        Deed::Grip(control) => {
            let step = Step::Act(Act::Set { control, position: 0 });
            Some(session.place().minutes(circuit, step))
        }
        Deed::Fuse(part) => Some(session.place().minutes(circuit, Step::Act(Act::Refit(part)))),
        Deed::Meter(_) | Deed::Look => None,
    };
    let name = if id == label { label.clone() } else { format!("{label} ({id})") };
    Some(Offer { told: format!("{name}{state}{mark}"), verb, minutes, deed })
}

fn state_and_deed(view: &View, part: PartId) -> Option<(String, &'static str, Deed)> {
    if let Some(control) = view.controls.iter().find(|c| c.part == part) {
        let at = &control.positions[control.at];
        let other = u8::try_from(1 - control.at.min(1)).unwrap_or(0);
        let guarded = control.guard;
        let guard = if guarded { ", guarded" } else { "" };
        let verb = |plain, lifted| if guarded { lifted } else { plain };
        return Some(if control.springs_back {
            let deed = Deed::Step(Step::Act(Act::Hold { control: part, position: other }));
            let verb = verb("press and look", "lift the guard, press and look");
            (format!(" springs back{guard}"), verb, deed)
        } else if control.positions.len() == 2 {
            let deed = Deed::Step(Step::Act(Act::Set { control: part, position: other }));
            (format!(" at {at}{guard}"), verb("throw it", "lift the guard and throw it"), deed)
        } else {
            let verb = verb("turn it", "lift the guard and turn it");
            (format!(" at {at}{guard}"), verb, Deed::Grip(part))
        });
    }
    if let Some(breaker) = view.breakers.iter().find(|b| b.part == part) {
        let rating = quantity(breaker.amps, "A");
        return Some(if breaker.out {
            (format!(", {rating}, out"), "push it in", Deed::Step(Step::Act(Act::PushIn(part))))
        } else {
            (format!(", {rating}, in"), "pull it", Deed::Step(Step::Act(Act::Pull(part))))
        });
    }
    if let Some(fuse) = view.fuses.iter().find(|f| f.part == part) {
        let rating = quantity(fuse.amps, "A");
        if fuse.seated {
            let deed = Deed::Step(Step::Act(Act::Pull(part)));
            return Some((format!(", {rating}, in its holder"), "pull and look", deed));
        }
        let word = fuse.in_hand_words().unwrap_or_default();
        let state = format!(" pulled, {word}; {} spares", fuse.spares);
        return Some((state, "fit one", Deed::Fuse(part)));
    }
    if let Some(needle) = view.needles.iter().find(|n| n.part == part) {
        return Some((format!(": {}", needle.words), "", Deed::Look));
    }
    if let Some(lamp) = view.annunciators.iter().find(|a| a.part == part) {
        return Some((format!(" lamp: {}", lamp.look.word()), "", Deed::Look));
    }
    let sign = view.life_signs.iter().chain(&view.machines).find(|s| s.part == part)?;
    Some((format!(", {}: {}", sign.shows, sign.look.word()), "", Deed::Look))
}

/// The positions of a control, where the part is one.
pub(super) fn positions(circuit: &Circuit, part: PartId) -> Vec<&str> {
    circuit.part(part).kind.control().map_or_else(Vec::new, |control| control.positions)
}
