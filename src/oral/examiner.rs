//! Making questions.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::question::{Answer, Asked, Claim, Look, Question};
use crate::chance::Chance;
use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::diagram::trace;
use crate::dictionary::{Case, Dictionary, Page, Setup};
use crate::network::SolveError;
use crate::observation::{Percept, Rig, What};
use crate::units::quantity;

/// Alternatives of a question, one of them right (Part-66, Appendix II 1).
pub const ALTERNATIVES: usize = 3;

/// Makes questions about one build of a system.
#[derive(Debug)]
pub struct Examiner {
    circuit: Arc<Circuit>,
    dictionary: Dictionary,
    rig: Rig,
    normal: Page,
    /// By observation, what the sound aircraft shows.
    usual: Vec<Percept>,
    /// By fault and observation, what is shown in the normal setup; faults without a solution
    /// are left out.
    shown: Vec<(u32, Vec<Percept>)>,
    /// Other setups, their controls and pulled parts.
    setups: Vec<Setup>,
    /// Parts that each mod brings, by the mod's name: what is on the build with it and not
    /// without.
    mods: Vec<(String, Vec<String>)>,
}

/// Tries before it is taken that there is no further question of a kind.
const TRIES: usize = 60;

/// A question that is being made.
struct Draft {
    asked: Asked,
    subject: String,
    text: String,
    right: (String, Claim),
    wrong: Vec<(String, Claim)>,
    reasons: Vec<String>,
    difficulty: u32,
}

impl Examiner {
    /// Makes ready to ask about a build. `mods` are the parts that each mod brings.
    ///
    /// # Errors
    /// [`SolveError`] when the sound aircraft has no solution.
    pub fn new(
        circuit: Arc<Circuit>,
        mods: Vec<(String, Vec<String>)>,
    ) -> Result<Self, SolveError> {
        let dictionary = Dictionary::new(Arc::clone(&circuit))?;
        let rig = Rig::normal(Arc::clone(&circuit))?;
        let normal = dictionary.settle(&Setup::normal())?;
        let percepts = |case| {
            let entry = dictionary.entry(&normal, case).ok()?;
            Some(entry.shown().iter().map(|shown| shown.percept).collect::<Vec<_>>())
        };
        let usual = percepts(Case::Sound).unwrap_or_default();
        let faults = 0..dictionary.faults().len() as u32;
        let shown = faults.filter_map(|at| Some((at, percepts(Case::One(at))?))).collect();
        let setups = Setup::single(&circuit).into_iter().skip(1).collect();
        Ok(Self { circuit, dictionary, rig, normal, usual, shown, setups, mods })
    }

    /// The sound aircraft as it usually stands.
    pub fn sound(&self) -> &Rig {
        &self.rig
    }

    /// The build.
    pub fn circuit(&self) -> &Arc<Circuit> {
        &self.circuit
    }

    /// So many questions drawn by a seed, no two alike; fewer where there are no more. Of the
    /// kinds each is asked in turn.
    pub fn questions(&self, count: usize, seed: u64) -> Vec<Question> {
        let mut chance = Chance::stream(seed, "oral");
        let mut asked = Vec::new();
        let mut seen = BTreeSet::new();
        let mut kinds: Vec<Asked> = Asked::ALL.to_vec();
        let mut turn = 0;
        while asked.len() < count && !kinds.is_empty() {
            let at = turn % kinds.len();
            let kind = kinds[at];
            let fresh = (0..TRIES).find_map(|_| {
                let question = self.draft(kind, None, &mut chance)?;
                let key = (question.text.clone(), question.right.0.clone());
                seen.insert(key).then_some(question)
            });
            match fresh {
                Some(draft) => {
                    asked.push(self.finished(draft, &mut chance));
                    turn += 1;
                }
                None => {
                    kinds.remove(at);
                }
            }
        }
        asked
    }

    /// A question of a card, its values drawn by a seed; `None` for a card of another system,
    /// or one that cannot be asked any more.
    pub fn again(&self, card: &str, seed: u64) -> Option<Question> {
        let mut parts = card.splitn(3, ' ');
        let (system, kind, subject) = (parts.next()?, parts.next()?, parts.next()?);
        let kind = Asked::ALL.into_iter().find(|asked| asked.name() == kind)?;
        if system != self.circuit.id {
            return None;
        }
        let mut chance = Chance::stream(seed, card);
        let draft = (0..TRIES).find_map(|_| self.draft(kind, Some(subject), &mut chance))?;
        Some(self.finished(draft, &mut chance))
    }

    /// Questions for a session, of every form; otherwise as [`Self::questions`].
    pub fn session_questions(&self, count: usize, seed: u64) -> Vec<Question> {
        self.questions(count, seed)
    }

    /// A question that digs where an answer was weak: of another kind about what the card of
    /// the question is about. `None` where there is none.
    pub fn follow_up(&self, question: &Question, seed: u64) -> Option<Question> {
        let subject = question.card.splitn(3, ' ').nth(2)?;
        let mut kinds: Vec<Asked> =
            Asked::ALL.into_iter().filter(|asked| *asked != question.asked).collect();
        shuffle(&mut kinds, &mut Chance::stream(seed, "follow-up"));
        kinds.into_iter().find_map(|asked| {
            self.again(&format!("{} {} {subject}", self.circuit.id, asked.name()), seed)
        })
    }

    /// Puts the choices into an order that chance decides.
    fn finished(&self, draft: Draft, chance: &mut Chance) -> Question {
        let right = pick(ALTERNATIVES, chance);
        let (mut choices, mut claims): (Vec<String>, Vec<Claim>) = draft.wrong.into_iter().unzip();
        choices.insert(right, draft.right.0);
        claims.insert(right, draft.right.1);
        Question {
            asked: draft.asked,
            card: format!("{} {} {}", self.circuit.id, draft.asked.name(), draft.subject),
            text: draft.text,
            answer: Answer::One { choices, right, claims },
            look: self.circuit.find_part(&draft.subject).map(Look::Diagram),
            reasons: draft.reasons,
            difficulty: draft.difficulty,
        }
    }

    fn draft(&self, asked: Asked, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        match asked {
            Asked::Shows => self.shows(subject, chance),
            Asked::InSetup => self.in_setup(subject, chance),
            Asked::Lost => self.lost(subject, chance),
            Asked::Cause => self.cause(subject, chance),
            Asked::Apart => self.apart(subject, chance),
            Asked::Fed => self.fed(subject, chance),
            Asked::Protects => self.protects(subject, chance),
            Asked::Where => self.place(subject, chance),
            Asked::Rating => self.rating(subject, chance),
            Asked::Caution => self.caution(subject, chance),
            Asked::Mod => self.brings(subject, chance),
        }
    }

    fn what(&self, at: usize) -> What {
        self.dictionary.observations()[at]
    }

    /// An observation by its place, as a technician names it.
    fn name(&self, at: usize) -> String {
        match self.what(at) {
            What::Face(part) => self.part_name(part),
            other => other.told(&self.circuit),
        }
    }

    /// A part by label and id: `ICE RADAR (RADAR)`.
    fn part_name(&self, part: PartId) -> String {
        let part = self.circuit.part(part);
        if part.label.is_empty() || part.label == part.id {
            part.id.clone()
        } else {
            format!("{} ({})", part.label, part.id)
        }
    }

    fn told(&self, at: usize, percept: Percept) -> String {
        percept.told(self.what(at), &self.circuit)
    }

    fn code(&self, fault: u32) -> String {
        self.dictionary.faults()[fault as usize].0.code(&self.circuit)
    }

    fn fault_words(&self, fault: u32) -> String {
        let (fault, mode) = &self.dictionary.faults()[fault as usize];
        format!("{} {}", self.part_name(fault.part), mode.text)
    }

    fn faces(&self) -> Vec<usize> {
        let all = 0..self.usual.len();
        all.filter(|at| matches!(self.what(*at), What::Face(_))).collect()
    }

    /// The faces that a fault makes unusual, its own breaker or fuse left out.
    fn unusual(&self, shown: &[Percept]) -> Vec<usize> {
        self.faces().into_iter().filter(|at| shown[*at] != self.usual[*at]).collect()
    }

    /// What happens in the aircraft when a fault strikes, and how many events that is.
    fn story(&self, fault: u32) -> (Vec<String>, u32) {
        let (fault, mode) = &self.dictionary.faults()[fault as usize];
        let Ok(rig) = self.rig.with_failed(fault.part, mode.faulted.clone()) else {
            return (Vec::new(), 1);
        };
        let events = &rig.settled().events;
        let told: Vec<String> =
            events.iter().take(4).map(|event| event.told(&self.circuit)).collect();
        (told, events.len() as u32 + 1)
    }

    /// A fault whose subject is this one, or any.
    fn some_fault(&self, subject: Option<&str>, chance: &mut Chance) -> Option<(u32, &[Percept])> {
        let of = |fault: u32| {
            let part = self.dictionary.faults()[fault as usize].0.part;
            subject.is_none_or(|subject| self.circuit.part(part).id == subject)
        };
        let fit: Vec<&(u32, Vec<Percept>)> = self.shown.iter().filter(|(at, _)| of(*at)).collect();
        let (fault, shown) = fit.get(pick(fit.len(), chance))?;
        Some((*fault, shown))
    }

    fn part_of(&self, fault: u32) -> &str {
        &self.circuit.part(self.dictionary.faults()[fault as usize].0.part).id
    }

    /// Other things that an observation may show, from other faults; each told otherwise than
    /// the right one.
    fn other_showings(&self, at: usize, right: &str, chance: &mut Chance) -> Vec<(String, Claim)> {
        let mut other: Vec<(String, Claim)> = Vec::new();
        let usual = self.usual[at];
        let sound = Claim::Shows(Setup::normal(), None, self.what(at), usual);
        let mut offer = |told: String, claim: Claim| {
            if is_apart(&told, right) && other.iter().all(|(known, _)| is_apart(&told, known)) {
                other.push((told, claim));
            }
        };
        offer(self.told(at, usual), sound);
        for (fault, shown) in &self.shown {
            let claim =
                Claim::Shows(Setup::normal(), Some(self.code(*fault)), self.what(at), shown[at]);
            offer(self.told(at, shown[at]), claim);
        }
        shuffle(&mut other, chance);
        other.truncate(ALTERNATIVES - 1);
        other
    }

    fn shows(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (fault, shown) = self.some_fault(subject, chance)?;
        let changed: Vec<usize> = (0..shown.len())
            .filter(|at| is_apart(&self.told(*at, shown[*at]), &self.told(*at, self.usual[*at])))
            .collect();
        let at = *changed.get(pick(changed.len(), chance))?;
        let right = self.told(at, shown[at]);
        let wrong = self.other_showings(at, &right, chance);
        let (mut reasons, difficulty) = self.story(fault);
        reasons.push(format!("The sound aircraft shows {}.", self.told(at, self.usual[at])));
        let claim = Claim::Shows(Setup::normal(), Some(self.code(fault)), self.what(at), shown[at]);
        drafted(Draft {
            asked: Asked::Shows,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, everything else in the normal setup. What does {} show?",
                sentence(&self.fault_words(fault)),
                self.name(at)
            ),
            right: (right, claim),
            wrong,
            reasons,
            difficulty,
        })
    }

    fn in_setup(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let moved = |setup: &Setup| -> Option<PartId> {
            setup.sets.first().map(|(part, _)| *part).or(setup.pulled.first().copied())
        };
        let of = |setup: &&Setup| {
            let part = moved(setup).map(|part| self.circuit.part(part).id.as_str());
            subject.is_none_or(|subject| part == Some(subject))
        };
        let fit: Vec<&Setup> = self.setups.iter().filter(of).collect();
        let setup = *fit.get(pick(fit.len(), chance))?;
        let part = moved(setup)?;
        let page = self.dictionary.settle(setup).ok()?;
        let entry = self.dictionary.entry(&page, Case::Sound).ok()?;
        let shown: Vec<Percept> = entry.shown().iter().map(|shown| shown.percept).collect();
        let own = What::Face(part);
        let changed: Vec<usize> = (0..shown.len())
            .filter(|at| is_apart(&self.told(*at, shown[*at]), &self.told(*at, self.usual[*at])))
            .filter(|at| self.what(*at) != own)
            .collect();
        let at = *changed.get(pick(changed.len(), chance))?;
        let right = self.told(at, shown[at]);
        let wrong = self.other_showings(at, &right, chance);
        let how = match setup.sets.first() {
            Some((control, position)) => {
                let control_of = self.circuit.part(*control).kind.control()?;
                format!(
                    "{} is set to {}",
                    self.part_name(*control),
                    control_of.positions[usize::from(*position)]
                )
            }
            None => format!("{} is pulled", self.part_name(part)),
        };
        let events = &page.settled().events;
        let mut reasons: Vec<String> =
            events.iter().take(4).map(|event| event.told(&self.circuit)).collect();
        reasons.push(format!("In the normal setup it shows {}.", self.told(at, self.usual[at])));
        drafted(Draft {
            asked: Asked::InSetup,
            subject: self.circuit.part(part).id.clone(),
            text: format!(
                "{}, everything else in the normal setup and sound. What does {} show?",
                sentence(&how),
                self.name(at)
            ),
            right: (right, Claim::Shows(setup.clone(), None, self.what(at), shown[at])),
            wrong,
            reasons,
            difficulty: events.len() as u32 + 1,
        })
    }

    fn lost(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (fault, shown) = self.some_fault(subject, chance)?;
        let own = What::Face(self.dictionary.faults()[fault as usize].0.part);
        let changed = self.unusual(shown);
        let changed: Vec<usize> = changed.into_iter().filter(|at| self.what(*at) != own).collect();
        let at = *changed.get(pick(changed.len(), chance))?;
        let mut same: Vec<usize> = self
            .faces()
            .into_iter()
            .filter(|other| shown[*other] == self.usual[*other] && self.alike(*other, at))
            .collect();
        shuffle(&mut same, chance);
        let code = self.code(fault);
        let wrong = same
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|other| (self.name(other), Claim::Unusual(code.clone(), self.what(other))))
            .collect();
        let (mut reasons, difficulty) = self.story(fault);
        reasons.push(format!("{} shows {}.", self.name(at), self.told(at, shown[at])));
        drafted(Draft {
            asked: Asked::Lost,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "{}, everything else in the normal setup. Which of these no longer shows what it should?",
                sentence(&self.fault_words(fault))
            ),
            right: (self.name(at), Claim::Unusual(code, self.what(at))),
            wrong,
            reasons,
            difficulty,
        })
    }

    /// Whether two observations are of the same sort, so that neither stands out.
    fn alike(&self, one: usize, other: usize) -> bool {
        let sort = |at: usize| match self.what(at) {
            What::Face(part) => match self.circuit.part(part).kind {
                Kind::Breaker(_) => 1,
                Kind::Lamp(_) => 2,
                _ => 3,
            },
            _ => 4,
        };
        sort(one) == sort(other)
    }

    fn cause(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (fault, shown) = self.some_fault(subject, chance)?;
        let seen = self.unusual(shown);
        if seen.is_empty() || seen.len() > 4 {
            return None;
        }
        let pattern: Vec<(What, Percept)> =
            seen.iter().map(|at| (self.what(*at), shown[*at])).collect();
        // The nearest others: those whose own signs have most in common with these.
        let mut others: Vec<(usize, u32)> = self
            .shown
            .iter()
            .filter_map(|(other, theirs)| {
                let unlike =
                    self.faces().into_iter().filter(|at| theirs[*at] != shown[*at]).count();
                (unlike > 0 && self.part_of(*other) != self.part_of(fault))
                    .then_some((unlike, *other))
            })
            .collect();
        shuffle(&mut others, chance);
        others.sort_by_key(|(unlike, _)| *unlike);
        let explains = |fault: u32| Claim::Explains(self.code(fault), pattern.clone());
        let mut wrong: Vec<(String, Claim)> = Vec::new();
        for (_, other) in others.into_iter().take(12) {
            let words = self.fault_words(other);
            if wrong.iter().all(|(known, _)| *known != words) {
                wrong.push((words, explains(other)));
            }
        }
        shuffle(&mut wrong, chance);
        wrong.truncate(ALTERNATIVES - 1);
        let signs: Vec<String> = seen
            .iter()
            .map(|at| format!("{}: {}", self.name(*at), self.told(*at, shown[*at])))
            .collect();
        let (reasons, difficulty) = self.story(fault);
        drafted(Draft {
            asked: Asked::Cause,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "In the normal setup only this is unusual: {}. Which of these explains all of it?",
                signs.join("; ")
            ),
            right: (self.fault_words(fault), explains(fault)),
            wrong,
            reasons,
            difficulty: difficulty + 1,
        })
    }

    fn apart(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (fault, shown) = self.some_fault(subject, chance)?;
        // Another fault that looks the same on every face.
        let faces = self.faces();
        let same: Vec<&(u32, Vec<Percept>)> = self
            .shown
            .iter()
            .filter(|(other, theirs)| {
                self.part_of(*other) != self.part_of(fault)
                    && faces.iter().all(|at| theirs[*at] == shown[*at])
                    && faces.iter().any(|at| theirs[*at] != self.usual[*at])
            })
            .collect();
        let (other, theirs) = same.get(pick(same.len(), chance)).map(|one| (one.0, &one.1))?;
        let displays = (0..shown.len()).filter(|at| matches!(self.what(*at), What::Display(_)));
        let (mut telling, mut idle): (Vec<usize>, Vec<usize>) =
            displays.partition(|at| shown[*at] != theirs[*at]);
        shuffle(&mut telling, chance);
        shuffle(&mut idle, chance);
        telling.retain(|at| is_apart(&self.told(*at, shown[*at]), &self.told(*at, theirs[*at])));
        let at = *telling.first()?;
        let differ = |at: usize| Claim::Differ(self.code(fault), self.code(other), self.what(at));
        let wrong =
            idle.into_iter().take(ALTERNATIVES - 1).map(|at| (self.name(at), differ(at))).collect();
        drafted(Draft {
            asked: Asked::Apart,
            subject: self.part_of(fault).to_owned(),
            text: format!(
                "Either {} or {}; every lamp and needle shows the same. Which reading tells the two apart?",
                self.fault_words(fault),
                self.fault_words(other)
            ),
            right: (self.name(at), differ(at)),
            wrong,
            reasons: vec![format!(
                "With the first it is {}, with the second {}.",
                self.told(at, shown[at]),
                self.told(at, theirs[at])
            )],
            difficulty: 3,
        })
    }

    /// A part that is fed, with what its current passes on the way, nearest first.
    fn fed_part(
        &self,
        subject: Option<&str>,
        chance: &mut Chance,
    ) -> Option<(PartId, Vec<PartId>)> {
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
            .collect();
        let load = *loads.get(pick(loads.len(), chance))?;
        Some((load, self.feeders(load)))
    }

    /// What the current to a part passes, nearest first.
    fn feeders(&self, load: PartId) -> Vec<PartId> {
        let nets: Vec<_> = self.circuit.part(load).kind.nets();
        let from: Vec<_> =
            nets.into_iter().filter(|net| *net != crate::circuit::AIRFRAME).collect();
        let way = trace(&self.circuit, &from).feeding;
        way.into_iter().map(|(part, _)| part).filter(|part| *part != load).collect()
    }

    fn fed(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (load, way) = self.fed_part(subject, chance)?;
        let on_way = |part: &PartId| way.contains(part);
        let named = |part: &PartId| {
            !matches!(self.circuit.part(*part).kind, Kind::Wire(_) | Kind::Ground(_))
        };
        let mut on: Vec<PartId> = way.iter().copied().filter(named).collect();
        shuffle(&mut on, chance);
        let right = *on.first()?;
        let like = std::mem::discriminant(&self.circuit.part(right).kind);
        let mut off: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .map(|(id, _)| id)
            .filter(|id| !on_way(id) && *id != load)
            .filter(|id| std::mem::discriminant(&self.circuit.part(*id).kind) == like)
            .collect();
        shuffle(&mut off, chance);
        let wrong = off
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|part| (self.part_name(part), Claim::Feeds(part, load)))
            .collect();
        let order: Vec<String> = way
            .iter()
            .rev()
            .filter(|part| named(part))
            .map(|part| self.circuit.part(*part).id.clone())
            .collect();
        drafted(Draft {
            asked: Asked::Fed,
            subject: self.circuit.part(load).id.clone(),
            text: format!(
                "Which of these can the current to {} pass on its way?",
                self.part_name(load)
            ),
            right: (self.part_name(right), Claim::Feeds(right, load)),
            wrong,
            reasons: vec![format!("From the source on: {}.", order.join(", "))],
            difficulty: 2,
        })
    }

    fn protects(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (load, way) = self.fed_part(subject, chance)?;
        let protects = |part: &PartId| {
            matches!(self.circuit.part(*part).kind, Kind::Breaker(_) | Kind::Fuse(_))
        };
        let right = way.iter().copied().find(|part| protects(part))?;
        let mut off: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .map(|(id, _)| id)
            .filter(|id| protects(id) && !way.contains(id))
            .collect();
        shuffle(&mut off, chance);
        let wrong = off
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|part| (self.part_name(part), Claim::Feeds(part, load)))
            .collect();
        let at = &self.circuit.station(self.circuit.part(right).station).title;
        drafted(Draft {
            asked: Asked::Protects,
            subject: self.circuit.part(load).id.clone(),
            text: format!("Which breaker or fuse does {} hang on?", self.part_name(load)),
            right: (self.part_name(right), Claim::Feeds(right, load)),
            wrong,
            reasons: vec![format!("{} is in: {at}.", self.part_name(right))],
            difficulty: 2,
        })
    }

    fn some_part(&self, subject: Option<&str>, chance: &mut Chance) -> Option<PartId> {
        let fit: Vec<PartId> = self
            .circuit
            .parts_with_ids()
            .filter(|(_, part)| subject.is_none_or(|subject| part.id == subject))
            .map(|(id, _)| id)
            .collect();
        fit.get(pick(fit.len(), chance)).copied()
    }

    fn place(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let part = self.some_part(subject, chance)?;
        let at = self.circuit.part(part).station;
        let mut others: Vec<StationId> =
            self.circuit.stations_with_ids().map(|(id, _)| id).filter(|id| *id != at).collect();
        shuffle(&mut others, chance);
        let title = |station: StationId| self.circuit.station(station).title.clone();
        let wrong = others
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|station| (title(station), Claim::Stands(part, station)))
            .collect();
        let kind = self.circuit.part(part).kind.id().spec().purpose;
        drafted(Draft {
            asked: Asked::Where,
            subject: self.circuit.part(part).id.clone(),
            text: format!("Where is {}?", self.part_name(part)),
            right: (title(at), Claim::Stands(part, at)),
            wrong,
            reasons: vec![sentence(kind)],
            difficulty: 1,
        })
    }

    fn rating(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let amps = |part: PartId| match &self.circuit.part(part).kind {
            Kind::Breaker(breaker) => Some(breaker.amps),
            Kind::Fuse(fuse) => Some(fuse.amps),
            _ => None,
        };
        let part = self.some_part(subject, chance)?;
        let rated = amps(part)?;
        let mut others: Vec<(String, Claim)> = Vec::new();
        for (id, _) in self.circuit.parts_with_ids() {
            if let Some(other) = amps(id)
                && other != rated
            {
                let words = quantity(other, "A");
                if others.iter().all(|(known, _)| *known != words) {
                    others.push((words, Claim::Rated(part, other)));
                }
            }
        }
        shuffle(&mut others, chance);
        others.truncate(ALTERNATIVES - 1);
        let kind =
            if matches!(self.circuit.part(part).kind, Kind::Fuse(_)) { "fuse" } else { "breaker" };
        drafted(Draft {
            asked: Asked::Rating,
            subject: self.circuit.part(part).id.clone(),
            text: format!("What is the rating of the {kind} {}?", self.part_name(part)),
            right: (quantity(rated, "A"), Claim::Rated(part, rated)),
            wrong: others,
            reasons: vec![
                "The others are ratings of other breakers and fuses of the system.".to_owned(),
            ],
            difficulty: 1,
        })
    }

    fn caution(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let stations: Vec<StationId> = self
            .circuit
            .stations_with_ids()
            .filter(|(_, station)| subject.is_none_or(|subject| station.id == subject))
            .map(|(id, _)| id)
            .collect();
        let at = *stations.get(pick(stations.len(), chance))?;
        let own = &self.circuit.station(at).cautions;
        let right = own.get(pick(own.len(), chance))?.clone();
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
        // As near in length as there are, so that none stands out.
        others.sort_by_key(|caution| caution.len().abs_diff(right.len()) / 30);
        let wrong = others
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|caution| (caution.clone(), Claim::Warns(at, caution)))
            .collect();
        drafted(Draft {
            asked: Asked::Caution,
            subject: self.circuit.station(at).id.clone(),
            text: format!(
                "Before you work at {}: which caution holds there?",
                self.circuit.station(at).title
            ),
            right: (right.clone(), Claim::Warns(at, right)),
            wrong,
            reasons: vec!["The others are cautions of other stations.".to_owned()],
            difficulty: 1,
        })
    }

    fn brings(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let fit: Vec<&(String, Vec<String>)> = self
            .mods
            .iter()
            .filter(|(id, _)| subject.is_none_or(|subject| id == subject))
            .collect();
        let (id, brought) = fit.get(pick(fit.len(), chance))?;
        let right = brought.get(pick(brought.len(), chance))?.clone();
        let brings = |part: &str| Claim::Brings(id.clone(), part.to_owned());
        let mut others: Vec<String> = self
            .circuit
            .parts
            .iter()
            .filter(|part| {
                !brought
                    .iter()
                    .any(|known| known.ends_with(&format!("({})", part.id)) || *known == part.id)
            })
            .filter(|part| !matches!(part.kind, Kind::Wire(_) | Kind::Ground(_)))
            .map(|part| part.id.clone())
            .filter_map(|id| self.circuit.find_part(&id))
            .map(|part| self.part_name(part))
            .collect();
        shuffle(&mut others, chance);
        let wrong = others
            .into_iter()
            .take(ALTERNATIVES - 1)
            .map(|part| (part.clone(), brings(&part)))
            .collect();
        drafted(Draft {
            asked: Asked::Mod,
            subject: id.clone(),
            text: format!("Which of these comes with mod {id}?"),
            right: (right.clone(), brings(&right)),
            wrong,
            reasons: vec![format!("Mod {id} brings {}.", brought.join(", "))],
            difficulty: 1,
        })
    }

    /// How the normal setup stands, for looking where one is asked to look.
    pub fn normal(&self) -> &Page {
        &self.normal
    }
}

/// A draft that can be asked: as many wrong choices as there must be, no two alike, and none so
/// much shorter or longer than the right one that it gives it away.
fn drafted(draft: Draft) -> Option<Draft> {
    let whole = draft.wrong.len() == ALTERNATIVES - 1;
    let apart = draft.wrong.iter().all(|(words, _)| *words != draft.right.0)
        && draft.wrong.iter().map(|(words, _)| words).collect::<BTreeSet<_>>().len()
            == draft.wrong.len();
    (whole && apart).then_some(draft)
}

/// Part of a reading by which two of them must differ to be told apart: more than any
/// instrument's error here.
const APART: f64 = 0.1;

/// Whether two showings are told apart without doubt: other words, or numbers that lie far
/// enough from each other.
fn is_apart(one: &str, other: &str) -> bool {
    let number = |told: &str| told.split(' ').next().and_then(|word| word.parse::<f64>().ok());
    match (number(one), number(other)) {
        (Some(a), Some(b)) => (a - b).abs() > APART * a.abs().max(b.abs()).max(1.0),
        _ => one != other,
    }
}

/// A capital at the head.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let head: String =
        letters.next().map_or_else(String::new, |letter| letter.to_uppercase().collect());
    format!("{head}{}", letters.as_str())
}

/// A place among so many; any where there are none.
fn pick(count: usize, chance: &mut Chance) -> usize {
    ((chance.unit() * count as f64) as usize).min(count.saturating_sub(1))
}

/// Brings things into an order that chance decides (Fisher and Yates).
fn shuffle<T>(things: &mut [T], chance: &mut Chance) {
    for at in (1..things.len()).rev() {
        let other = pick(at + 1, chance);
        things.swap(at, other);
    }
}
