//! What everything shows in a setup, sound and with each fault.

use rayon::prelude::*;

use super::Examiner;
use super::draft::pick;
use crate::chance::Chance;
use crate::circuit::{Kind, PartId};
use crate::dictionary::{Case, Page, Setup, Shown};
use crate::faults::Left;
use crate::network::{Event, PartState, StopReason};
use crate::observation::{Percept, Rig, What};

/// A setup in which faults strike.
#[derive(Debug)]
pub(super) struct Scene {
    pub(super) setup: Setup,
    /// How a question begins that is asked in it.
    pub(super) given: String,
    /// The sound aircraft in it.
    pub(super) rig: Rig,
    pub(super) page: Page,
    /// By observation, what the sound aircraft shows.
    pub(super) usual: Vec<Shown>,
    /// By fault, what each observation is then; faults without a solution are left out.
    pub(super) struck: Vec<(u32, Vec<Shown>)>,
}

/// What the sound aircraft shows in a setup.
#[derive(Debug)]
pub(super) struct View {
    /// How a question begins that is asked in it.
    pub(super) given: String,
    /// The control that is moved, or what is pulled.
    pub(super) moved: PartId,
    pub(super) shown: Vec<Shown>,
    /// What happens on the way there.
    pub(super) events: Vec<Event>,
    pub(super) page: Page,
}

/// How two showings of one thing compare.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Alike {
    /// They are the same.
    Same,
    /// They differ by less than the instrument's error leaves for certain.
    Nearly,
    /// They are told apart without doubt.
    Apart,
}

/// Events that a reason tells, with every breaker and fuse that opens.
const EVENTS: usize = 5;

/// Part of a reading of the hand meter by which two of them must differ to be told apart.
const APART: f64 = 0.1;

impl Examiner {
    /// A setup in which faults strike, by chance; the normal one as often as all others.
    pub(super) fn some_scene(&self, chance: &mut Chance) -> Option<&Scene> {
        let at = if chance.unit() < 0.5 { 0 } else { pick(self.scenes.len(), chance) };
        self.scene(at)
    }

    pub(super) fn scene(&self, at: usize) -> Option<&Scene> {
        let (setup, made) = self.scenes.get(at)?;
        made.get_or_init(|| self.made(setup)).as_ref()
    }

    fn made(&self, setup: &Setup) -> Option<Scene> {
        let left: Vec<(PartId, Left)> =
            setup.sets.iter().map(|(part, at)| (*part, Left::At(*at))).collect();
        let rig = Rig::normal(self.circuit.clone()).ok()?.with_cause(&[], &left).ok()?;
        let page = self.dictionary.settle(setup).ok()?;
        let shown = |case| {
            let entry = self.dictionary.entry(&page, case).ok()?;
            Some(entry.shown().to_vec())
        };
        let usual = shown(Case::Sound)?;
        // Where something flashes or chatters, what a needle shows depends on the instant.
        if rig.settled().stop != StopReason::Steady {
            return None;
        }
        let is_steady = |at: u32| {
            let (fault, mode) = &self.dictionary.faults()[at as usize];
            let rig = rig.with_failed(fault.part, mode.faulted.clone());
            rig.is_ok_and(|rig| rig.settled().stop == StopReason::Steady)
        };
        let faults = 0..self.dictionary.faults().len() as u32;
        let struck = faults
            .into_par_iter()
            .filter(|at| is_steady(*at))
            .filter_map(|at| Some((at, shown(Case::One(at))?)))
            .collect();
        let given = self.given(setup);
        Some(Scene { setup: setup.clone(), given, rig, page, usual, struck })
    }

    pub(super) fn view(&self, at: usize) -> Option<(&Setup, &View)> {
        let (setup, made) = self.views.get(at)?;
        let view = made.get_or_init(|| {
            let moved = setup.sets.first().map(|(part, _)| *part);
            let moved = moved.or(setup.pulled.first().copied())?;
            let page = self.dictionary.settle(setup).ok()?;
            if page.settled().stop != StopReason::Steady {
                return None;
            }
            let shown = self.dictionary.entry(&page, Case::Sound).ok()?.shown().to_vec();
            let events = page.settled().events.clone();
            Some(View { given: self.given(setup), moved, shown, events, page })
        });
        view.as_ref().map(|view| (setup, view))
    }

    /// A setup that differs in this part, or in any, by chance.
    pub(super) fn some_view(
        &self,
        subject: Option<&str>,
        chance: &mut Chance,
    ) -> Option<(&Setup, &View)> {
        let fit: Vec<usize> = (0..self.views.len())
            .filter(|at| {
                let setup = &self.views[*at].0;
                let moved = setup.sets.first().map(|(part, _)| *part);
                let moved = moved.or(setup.pulled.first().copied());
                let id = moved.map(|part| self.circuit.part(part).id.as_str());
                subject.is_none_or(|subject| id == Some(subject))
            })
            .collect();
        self.view(*fit.get(pick(fit.len(), chance))?)
    }

    /// The head of a question in a setup.
    fn given(&self, setup: &Setup) -> String {
        match (setup.sets.first(), setup.pulled.first()) {
            (Some((control, position)), _) => {
                let of = self.circuit.part(*control).kind.control();
                let name = of.and_then(|of| of.positions.get(usize::from(*position)).copied());
                format!("With {} at {}", self.part_name(*control), name.unwrap_or("?"))
            }
            (None, Some(part)) => format!("With {} pulled", self.part_name(*part)),
            (None, None) => "In the normal setup".to_owned(),
        }
    }

    /// A fault of this part, or any, with what it shows.
    pub(super) fn some_fault<'a>(
        &self,
        scene: &'a Scene,
        subject: Option<&str>,
        chance: &mut Chance,
    ) -> Option<(u32, &'a [Shown])> {
        let fit: Vec<&(u32, Vec<Shown>)> = scene
            .struck
            .iter()
            .filter(|(at, _)| subject.is_none_or(|subject| self.part_of(*at) == subject))
            .collect();
        let (fault, shown) = fit.get(pick(fit.len(), chance))?;
        Some((*fault, shown))
    }

    pub(super) fn what(&self, at: usize) -> What {
        self.dictionary.observations()[at]
    }

    /// Places of observations that are faces.
    pub(super) fn faces(&self) -> Vec<usize> {
        let all = 0..self.dictionary.observations().len();
        all.filter(|at| matches!(self.what(*at), What::Face(_))).collect()
    }

    /// Places of observations that are measured.
    pub(super) fn displays(&self) -> Vec<usize> {
        let all = 0..self.dictionary.observations().len();
        all.filter(|at| matches!(self.what(*at), What::Display(_))).collect()
    }

    /// How two showings of one thing compare.
    pub(super) fn alike(&self, at: usize, one: Shown, other: Shown) -> Alike {
        let (Percept::Reading(a), Percept::Reading(b)) = (one.percept, other.percept) else {
            return if one.percept == other.percept { Alike::Same } else { Alike::Apart };
        };
        let (x, y) = (one.value.unwrap_or_default(), other.value.unwrap_or_default());
        let apart = match self.what(at) {
            What::Display(_) => (x - y).abs() > (APART * x.abs().max(y.abs())).max(1.0),
            What::Face(part) | What::WhileHeld(part) => {
                self.circuit.part(part).kind.meter().is_some_and(|meter| {
                    let step = crate::observation::readable_step(meter);
                    let marks = (a.mark - b.mark).abs() as f64;
                    marks * step > 2.0 * (meter.class_percent / 100.0 + step)
                })
            }
            What::InHand(_) | What::Standing(_) => false,
        };
        if apart {
            Alike::Apart
        } else if a == b && (x - y).abs() < 1e-6 {
            Alike::Same
        } else {
            Alike::Nearly
        }
    }

    /// The faces that a fault changes beyond doubt; `None` where some change so little that
    /// one may or may not see it.
    pub(super) fn signs(&self, scene: &Scene, shown: &[Shown]) -> Option<Vec<usize>> {
        let mut signs = Vec::new();
        for at in self.faces() {
            match self.alike(at, shown[at], scene.usual[at]) {
                Alike::Same => {}
                Alike::Nearly => return None,
                Alike::Apart => signs.push(at),
            }
        }
        Some(signs)
    }

    /// What happens in the aircraft when a fault strikes, and how many events that is.
    pub(super) fn story(&self, scene: &Scene, fault: u32) -> (Vec<String>, u32) {
        let events = self.events(scene, fault);
        // What opens is the heart of it; which way a battery happens to turn is not.
        let opens = |event: &Event| matches!(event, Event::Opens { .. });
        let mut room = EVENTS.saturating_sub(events.iter().filter(|event| opens(event)).count());
        let mut lines = Vec::new();
        for event in events.iter().filter(|event| !matches!(event, Event::Turns { .. })) {
            if opens(event) || room > 0 {
                room -= usize::from(!opens(event));
                lines.push(event.told(&self.circuit));
            }
        }
        (lines, events.len() as u32 + 1)
    }

    pub(super) fn events(&self, scene: &Scene, fault: u32) -> Vec<Event> {
        let (fault, mode) = &self.dictionary.faults()[fault as usize];
        let rig = scene.rig.with_failed(fault.part, mode.faulted.clone());
        rig.map_or_else(|_| Vec::new(), |rig| rig.settled().events.clone())
    }

    /// The highest voltage between any two ends of a part.
    pub(super) fn volts_at(&self, rig: &Rig, part: PartId) -> f64 {
        let mut nets = self.circuit.connections(part);
        if nets.len() == 1 {
            nets.push(crate::circuit::AIRFRAME);
        }
        let solution = &rig.settled().solution;
        let pairs = nets.iter().flat_map(|a| nets.iter().map(move |b| (*a, *b)));
        pairs.map(|(a, b)| solution.rms_between(a, b)).fold(0.0, f64::max)
    }

    /// The least and the largest part of its voltage that a part keeps, over everything that
    /// can be wrong with another one and that being pulled.
    pub(super) fn kept_without(&self, scene: &Scene, load: PartId, other: PartId) -> (f64, f64) {
        let usual = self.volts_at(&scene.rig, load);
        let modes = self.dictionary.faults().iter().filter(|(fault, _)| fault.part == other);
        let mut rigs: Vec<Rig> = modes
            .filter_map(|(_, mode)| scene.rig.with_failed(other, mode.faulted.clone()).ok())
            .collect();
        if matches!(scene.rig.settled().state.of(other), PartState::Breaker { .. }) {
            rigs.extend(scene.rig.with_cause(&[], &[(other, Left::Out)]).ok());
        }
        rigs.iter()
            .map(|rig| self.volts_at(rig, load) / usual)
            .fold((f64::INFINITY, 0.0), |(least, most), kept| (least.min(kept), most.max(kept)))
    }

    /// Whether a part is one that people name on a diagram: no wire, no ground.
    pub(super) fn is_named(&self, part: PartId) -> bool {
        !matches!(
            self.circuit.part(part).kind,
            Kind::Wire(_) | Kind::Ground(_) | Kind::Splice(_) | Kind::GroundStud(_)
        )
    }
}
