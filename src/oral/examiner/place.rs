//! Where things are, what to mind there, and what a mod brings.

use super::draft::{Draft, Form, one_of, shuffle};
use super::words::sentence;
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{PartId, StationId};
use crate::oral::question::{Asked, Claim};

impl Examiner {
    pub(super) fn place(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        // The station first, so that none is right more often for having more parts.
        let stations: Vec<StationId> = self.circuit.stations_with_ids().map(|(id, _)| id).collect();
        let drawn = *one_of(&stations, chance)?;
        let parts: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .filter(|(id, _)| self.is_named(*id))
            .filter(|(_, part)| subject.map_or(part.station == drawn, |subject| part.id == subject))
            .map(|(id, _)| id)
            .collect();
        let part = *one_of(&parts, chance)?;
        let at = self.circuit.part(part).station;
        let mut others: Vec<StationId> = stations.into_iter().filter(|id| *id != at).collect();
        shuffle(&mut others, chance);
        let choice = |station: StationId| {
            (self.circuit.station(station).title.clone(), Claim::Stands(part, station))
        };
        let kind = self.circuit.part(part).kind.id().spec().purpose;
        Some(Draft {
            asked: Asked::Where,
            subject: self.circuit.part(part).id.clone(),
            text: format!("Where is {} worked on?", self.part_name(part)),
            form: Form::One(
                choice(at),
                others.into_iter().take(ALTERNATIVES - 1).map(choice).collect(),
            ),
            reasons: vec![format!("{}.", sentence(kind.split(';').next().unwrap_or(kind)))],
            difficulty: 1,
            look: None,
        })
    }

    pub(super) fn caution(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let stations: Vec<StationId> = self
            .circuit
            .stations_with_ids()
            .filter(|(_, station)| subject.is_none_or(|subject| station.id == subject))
            .map(|(id, _)| id)
            .collect();
        let at = *one_of(&stations, chance)?;
        let own = &self.circuit.station(at).cautions;
        let right = one_of(own, chance)?.clone();
        let mut others: Vec<String> = self
            .circuit
            .stations
            .iter()
            .flat_map(|station| &station.cautions)
            .filter(|caution| !own.contains(caution))
            .cloned()
            .collect();
        others.sort();
        others.dedup();
        shuffle(&mut others, chance);
        let wrong = others
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|caution| (caution.clone(), Claim::Warns(at, caution)))
            .collect();
        Some(Draft {
            asked: Asked::Caution,
            subject: self.circuit.station(at).id.clone(),
            text: format!(
                "Before you work at {}: which caution holds there?",
                self.circuit.station(at).title
            ),
            form: Form::One((right.clone(), Claim::Warns(at, right)), wrong),
            reasons: vec!["The others are cautions of other stations.".to_owned()],
            difficulty: 1,
            look: None,
        })
    }

    pub(super) fn brings(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let fit: Vec<&(String, Vec<String>)> = self
            .mods
            .iter()
            .filter(|(id, _)| subject.is_none_or(|subject| id == subject))
            .collect();
        let (id, brought) = one_of(&fit, chance)?;
        let named: Vec<PartId> = brought
            .iter()
            .filter_map(|part| self.circuit.find_part(part))
            .filter(|part| self.is_named(*part))
            .collect();
        let choice = |part: PartId| {
            let id = id.clone();
            (self.part_name(part), Claim::Brings(id, self.circuit.part(part).id.clone()))
        };
        let right = *one_of(&named, chance)?;
        let mut others: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .filter(|(part, p)| self.is_named(*part) && !brought.contains(&p.id))
            .map(|(part, _)| part)
            .collect();
        shuffle(&mut others, chance);
        let all: Vec<String> = named.iter().map(|part| self.part_name(*part)).collect();
        Some(Draft {
            asked: Asked::Mod,
            subject: id.clone(),
            text: format!("Which of these comes with mod {id}?"),
            form: Form::One(
                choice(right),
                others.into_iter().take(ALTERNATIVES - 1).map(choice).collect(),
            ),
            reasons: vec![format!("Mod {id} brings {}.", all.join(", "))],
            difficulty: 1,
            look: None,
        })
    }
}
