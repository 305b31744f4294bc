//! Making questions about one build of a system.

mod apart;
mod cause;
pub(super) mod draft;
mod feed;
mod follow;
mod limit;
mod live;
mod place;
mod scene;
mod showing;
mod spoken;
mod words;

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock};

use super::authored::Own;
use super::question::{Asked, Look, Question};
use crate::chance::Chance;
use crate::circuit::{Circuit, PartId};
use crate::dictionary::{Dictionary, Setup};
use crate::network::SolveError;
use draft::{Draft, pick};
pub use limit::{Limit, limits};
use scene::{Scene, View};

/// Alternatives of a question, one of them right (Part-66, Appendix II 1).
pub const ALTERNATIVES: usize = 3;

/// Tries before it is taken that there is no further question of a kind.
const TRIES: usize = 120;

/// Setups besides the normal one in which faults are let strike; those of a large system would
/// take longer than anybody waits.
const SCENES: usize = 4;

/// Fault modes, over all such setups, that are worked out at the most.
const SCENE_WORK: usize = 1500;

/// Makes questions about one build of a system.
#[derive(Debug)]
pub struct Examiner {
    circuit: Arc<Circuit>,
    dictionary: Dictionary,
    /// Setups in which faults strike, the normal one first.
    scenes: Vec<(Setup, OnceLock<Option<Scene>>)>,
    /// Every setup that differs from the normal one in one control or pulled part.
    views: Vec<(Setup, OnceLock<Option<View>>)>,
    /// By part, once asked for: what all current to it goes through, wires too, nearest first.
    ways: Vec<OnceLock<Vec<PartId>>>,
    /// The same without wires, from the nearest converter on.
    near_ways: Vec<OnceLock<Vec<PartId>>>,
    /// Parts that each mod brings, by the mod's name: what is on the build with it and not
    /// without.
    mods: Vec<(String, Vec<String>)>,
    /// What the author of the system asks.
    own: Vec<Own>,
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
        let views: Vec<Setup> = Setup::single(&circuit).into_iter().skip(1).collect();
        // Controls that stand otherwise, evenly from all there are.
        let moved: Vec<&Setup> = views.iter().filter(|setup| !setup.sets.is_empty()).collect();
        let faults = dictionary.faults().len().max(1);
        let most = SCENES.min(SCENE_WORK / faults).min(moved.len());
        let chosen = (0..most).map(|at| moved[at * moved.len() / most].clone());
        let normal = (Setup::normal(), OnceLock::new());
        let scenes =
            std::iter::once(normal).chain(chosen.map(|setup| (setup, OnceLock::new()))).collect();
        let views = views.into_iter().map(|setup| (setup, OnceLock::new())).collect();
        let unasked = || circuit.parts.iter().map(|_| OnceLock::new()).collect();
        let (ways, near_ways) = (unasked(), unasked());
        Ok(Self { circuit, dictionary, scenes, views, ways, near_ways, mods, own: Vec::new() })
    }

    /// The same with what the author of the system asks.
    #[must_use]
    pub fn with_own(mut self, own: Vec<Own>) -> Self {
        self.own = own;
        self
    }

    /// The build.
    pub fn circuit(&self) -> &Arc<Circuit> {
        &self.circuit
    }

    /// So many questions drawn by a seed for a paper, each of one right choice in three, no two
    /// alike; fewer where there are no more. Of the kinds each is asked in turn.
    pub fn questions(&self, count: usize, seed: u64) -> Vec<Question> {
        let kinds = Asked::ALL.into_iter().filter(|asked| asked.is_for_papers()).collect();
        self.drawn(kinds, count, seed)
    }

    /// The same of every form, for being asked.
    pub fn session_questions(&self, count: usize, seed: u64) -> Vec<Question> {
        self.drawn(Asked::ALL.to_vec(), count, seed)
    }

    fn drawn(&self, mut kinds: Vec<Asked>, count: usize, seed: u64) -> Vec<Question> {
        let mut chance = Chance::stream(seed, "oral");
        let mut asked = Vec::new();
        let mut seen = BTreeSet::new();
        let mut turn = 0;
        while asked.len() < count && !kinds.is_empty() {
            let at = turn % kinds.len();
            let fresh = (0..TRIES).find_map(|_| {
                let draft = self.draft(kinds[at], None, &mut chance)?;
                seen.insert(draft.text.clone()).then_some(draft)
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

    /// A question from a draft, its choices in an order that chance decides.
    fn finished(&self, draft: Draft, chance: &mut Chance) -> Question {
        Question {
            asked: draft.asked,
            card: format!("{} {} {}", self.circuit.id, draft.asked.name(), draft.subject),
            text: draft.text,
            answer: draft.form.into_answer(chance),
            look: draft.look.or_else(|| self.circuit.find_part(&draft.subject).map(Look::Diagram)),
            reasons: draft.reasons,
            difficulty: draft.difficulty,
        }
    }

    fn draft(&self, asked: Asked, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let draft = match asked {
            Asked::Shows => self.shows(subject, chance),
            Asked::InSetup => self.in_setup(subject, chance),
            Asked::Needle => self.needle(subject, chance),
            Asked::Normal => self.is_normal(subject, chance),
            Asked::Lit => self.lit(subject, chance),
            Asked::Lost => self.lost(subject, chance),
            Asked::Cause => self.cause(subject, chance),
            Asked::Causes => self.causes(subject, chance),
            Asked::Apart => self.apart(subject, chance),
            Asked::First => self.first(subject, chance),
            Asked::Unmoved => self.unmoved(subject, chance),
            Asked::Fed => self.fed(subject, chance),
            Asked::Order => self.order(subject, chance),
            Asked::Protects => self.protects(subject, chance),
            Asked::Live => self.live(subject, chance),
            Asked::Limit => self.limit(subject, chance),
            Asked::Where => self.place(subject, chance),
            Asked::Rating => self.rating(subject, chance),
            Asked::Caution => self.caution(subject, chance),
            Asked::Mod => self.brings(subject, chance),
            Asked::Why => self.why(subject, chance),
            Asked::Own => self.own(subject, chance),
        };
        draft.filter(Draft::is_askable)
    }

    fn own(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let fit: Vec<&Own> =
            self.own.iter().filter(|own| subject.is_none_or(|name| own.name() == name)).collect();
        let own = fit.get(pick(fit.len(), chance))?;
        Some(own.draft())
    }
}
