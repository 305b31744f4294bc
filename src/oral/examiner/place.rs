//! Where things are, what to mind there, and what a mod brings.

use super::draft::{Draft, Form, one_of, shuffle};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{Kind, PartId, StationId};
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
            // A lever or an engine is worked where it stands, and set from elsewhere.
            .filter(|(_, part)| !matches!(part.kind, Kind::Mechanism(_)))
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
        let joins: Vec<&str> = self
            .circuit
            .connections(part)
            .into_iter()
            .map(|net| self.circuit.net_name(net))
            .collect();
        Some(Draft {
            asked: Asked::Where,
            subject: self.circuit.part(part).id.clone(),
            text: format!("Where is {} worked on?", self.part_name(part)),
            form: Form::One(
                choice(at),
                others.into_iter().take(ALTERNATIVES - 1).map(choice).collect(),
            ),
            reasons: vec![format!(
                "{} stands in the wiring list with: {}.",
                self.circuit.part(part).id,
                joins.join(", ")
            )],
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
        let station = self.circuit.station(at);
        let title: Vec<String> = words_of(&station.title);
        // One that names its place would give itself away.
        let names_it = |caution: &String| words_of(caution).iter().any(|word| title.contains(word));
        let own = &station.cautions;
        let fit: Vec<&String> = own.iter().filter(|caution| !names_it(caution)).collect();
        let right = (*one_of(&fit, chance)?).clone();
        let mut others: Vec<String> = self
            .circuit
            .stations
            .iter()
            .flat_map(|station| &station.cautions)
            .filter(|caution| !own.contains(caution) && !names_it(caution))
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
            text: format!("Which of these cautions is posted at {}?", station.title),
            form: Form::One((right.clone(), Claim::Warns(at, right)), wrong),
            reasons: vec![format!("Posted there: {}", own.join(" "))],
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

/// The words of a text that mean something, in small letters.
fn words_of(text: &str) -> Vec<String> {
    let words = text.split(|letter: char| !letter.is_alphanumeric());
    words.filter(|word| word.len() > 3).map(str::to_lowercase).collect()
}
