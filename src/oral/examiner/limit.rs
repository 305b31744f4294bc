//! Ratings and limits.

use super::draft::{Draft, Form, by_length, distinct, one_of, shuffle};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{Kind, PartId, Senses};
use crate::oral::question::{Asked, Claim};
use crate::units::quantity;

/// A value at which a part does something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// What it does there, after `at how many …`.
    pub does: &'static str,
    /// The value.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
}

/// What a part's values say of it; empty for parts without limits of their own.
pub fn limits(kind: &Kind) -> Vec<Limit> {
    let volts = |does, value| Limit { does, value, unit: "V" };
    match kind {
        Kind::Relay(relay) | Kind::Contactor(relay) if relay.senses != Senses::Hertz => {
            vec![volts("operate", relay.pickup_volts), volts("release", relay.dropout_volts)]
        }
        Kind::Solenoid(solenoid) => {
            vec![volts("pull in", solenoid.pull_volts), volts("let go", solenoid.drop_volts)]
        }
        Kind::Motor(motor) => vec![
            volts("start", motor.start_volts),
            volts("stop", motor.run_volts),
            volts("run slow", motor.slow_volts),
        ],
        Kind::Converter(converter) => vec![
            volts("start", converter.start_volts),
            volts("stop", converter.run_volts),
            volts("leave its governed speed", converter.governed_volts),
        ],
        Kind::Vibrator(vibrator) => vec![volts("start", vibrator.start_volts)],
        Kind::Load(load) if !load.shows.is_empty() => vec![
            volts("no longer work normally", load.works_above * load.volts),
            volts("stop working at all", load.moves_above * load.volts),
        ],
        Kind::Load3(load) if !load.shows.is_empty() => vec![
            volts("no longer work normally", load.works_above * load.volts),
            volts("stop working at all", load.moves_above * load.volts),
        ],
        Kind::PhaseRelay(relay) => vec![
            volts("operate", relay.pickup * relay.volts),
            volts("release", relay.dropout * relay.volts),
        ],
        Kind::Horn(horn) => vec![volts("sound", horn.sounds_volts)],
        _ => Vec::new(),
    }
}

impl Examiner {
    /// At which voltage a part does something. Wrong are its own other limits first, then
    /// those of its neighbours.
    pub(super) fn limit(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let with: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .filter(|(_, part)| subject.is_none_or(|subject| part.id == subject))
            .filter(|(_, part)| !limits(&part.kind).is_empty())
            .map(|(id, _)| id)
            .collect();
        let part = *one_of(&with, chance)?;
        let own = limits(&self.circuit.part(part).kind);
        let asked = *one_of(&own, chance)?;
        let mut others: Vec<Limit> = self
            .circuit
            .parts_with_ids()
            .filter(|(id, _)| *id != part)
            .flat_map(|(_, p)| limits(&p.kind))
            .collect();
        // The same sort of limit first: what works on another voltage would stand out.
        shuffle(&mut others, chance);
        others.sort_by_key(|limit| {
            (limit.value.max(asked.value) / limit.value.min(asked.value)).min(1e6) as u32
        });
        let offered = own.iter().copied().chain(others).filter(|limit| limit.value > 0.0);
        let choice = |limit: Limit| {
            (quantity(limit.value, limit.unit), Claim::Limit(part, asked.does, limit.value))
        };
        let right = choice(asked);
        // Not so near that both could be meant.
        let far = |limit: &Limit| (limit.value - asked.value).abs() > 0.05 * asked.value;
        let wrong = distinct(offered.filter(far).map(choice), &[&right.0], ALTERNATIVES - 1);
        let own: Vec<String> = own
            .iter()
            .map(|limit| format!("{} at {}", limit.does, quantity(limit.value, limit.unit)))
            .collect();
        let given = match self.circuit.part(part).kind {
            Kind::Load3(_) | Kind::PhaseRelay(_) => "volts between lines",
            _ => "volts",
        };
        Some(Draft {
            asked: Asked::Limit,
            subject: self.circuit.part(part).id.clone(),
            text: format!("At how many {given} does {} {}?", self.part_name(part), asked.does),
            form: Form::One(right, wrong),
            reasons: vec![format!("{}: {}.", self.part_name(part), own.join(", "))],
            difficulty: 1,
            look: None,
        })
    }

    pub(super) fn rating(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let amps = |part: PartId| match &self.circuit.part(part).kind {
            Kind::Breaker(breaker) => Some(breaker.amps),
            Kind::Fuse(fuse) => Some(fuse.amps),
            _ => None,
        };
        let rated: Vec<(PartId, f64)> =
            self.circuit.parts_with_ids().filter_map(|(id, _)| Some((id, amps(id)?))).collect();
        let fit: Vec<&(PartId, f64)> = rated
            .iter()
            .filter(|(id, _)| subject.is_none_or(|subject| self.circuit.part(*id).id == subject))
            .collect();
        let (part, amps) = **one_of(&fit, chance)?;
        let choice = |amps: f64| (quantity(amps, "A"), Claim::Rated(part, amps));
        let mut others = rated.clone();
        let right = choice(amps);
        shuffle(&mut others, chance);
        by_length(&mut others, &right.0, |(_, amps)| quantity(*amps, "A"));
        let wrong = distinct(
            others.into_iter().map(|(_, amps)| choice(amps)),
            &[&right.0],
            ALTERNATIVES - 1,
        );
        Some(Draft {
            asked: Asked::Rating,
            subject: self.circuit.part(part).id.clone(),
            text: format!("What is the rating of {}?", self.part_name(part)),
            form: Form::One(right, wrong),
            reasons: vec![
                "The others are ratings of other breakers and fuses of the system.".to_owned(),
            ],
            difficulty: 1,
            look: None,
        })
    }
}
