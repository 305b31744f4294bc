//! Why a fault shows itself as it does, to be said in one's own words.

use super::Examiner;
use super::draft::{Draft, Form, one_of};
use super::scene::Alike;
use super::words::sentence;
use crate::chance::Chance;
use crate::observation::What;
use crate::oral::question::{Asked, Look};

impl Examiner {
    pub(super) fn why(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let scene = self.some_scene(chance)?;
        let (fault, shown) = self.some_fault(scene, subject, chance)?;
        let own = What::Face(self.dictionary.faults()[fault as usize].0.part);
        let changed: Vec<usize> = self
            .faces()
            .into_iter()
            .filter(|at| self.what(*at) != own)
            .filter(|at| self.alike(*at, shown[*at], scene.usual[*at]) == Alike::Apart)
            .collect();
        let at = *one_of(&changed, chance)?;
        let What::Face(face) = self.what(at) else { return None };
        let (events, difficulty) = self.story(scene, fault);
        let way = self.way_to(face);
        let mut model = Vec::new();
        if !way.is_empty() {
            model.push(format!(
                "The current to {} comes through {}.",
                self.part_name(face),
                self.way_told(&way)
            ));
        }
        model.push(format!("{}.", sentence(&self.fault_words(fault))));
        model.extend(events.iter().map(|event| format!("{event}.")));
        model.push(format!(
            "So {} shows {} where it usually shows {}.",
            self.name(at),
            self.told(at, shown[at]),
            self.told(at, scene.usual[at])
        ));
        Some(Draft {
            asked: Asked::Why,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, {}, and {} shows {}. Explain why.",
                scene.given,
                self.fault_words(fault),
                self.name(at),
                self.told(at, shown[at])
            ),
            form: Form::Words(model),
            reasons: Vec::new(),
            difficulty: difficulty + 2,
            look: Some(Look::Diagram(face)),
        })
    }
}
