//! One attempt: what the drill was made of, and what was done in it.

use serde::{Deserialize, Serialize};

use super::digest;
use super::recipe::{Recipe, RecipeError};
use crate::diagnostic::shortened;
use crate::drill::command::{Request, line_of, parse};
use crate::drill::{Deed, Outcome, Session};

/// Letters of a value that are told where it is otherwise than it should be: more than any line
/// and any reading has.
const TOLD: usize = 120;

/// Something that the trainee did, as it is kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Move {
    /// When, as RFC 3339 text in UTC.
    pub at: String,
    /// The line that does it.
    #[serde(rename = "do")]
    pub line: String,
    /// What it showed, as it was displayed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shown: Vec<String>,
    /// What everything up to here comes to: an edit anywhere before shows in it.
    pub seal: String,
}

/// An attempt at a drill.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Attempt {
    /// Its name among all attempts anywhere: 32 hexadecimal digits that were drawn.
    pub id: String,
    /// When it was begun, as RFC 3339 text in UTC.
    pub begun: String,
    /// What the drill is made of.
    pub recipe: Recipe,
    /// What was done, in order.
    pub moves: Vec<Move>,
}

/// Where an attempt and what comes of doing it again part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Difference {
    /// What the drill is made of, or when it was begun, has been edited.
    Beginning,
    /// A move has been edited since it was kept; by its number, from 1.
    Edited(usize, String),
    /// A move cannot be done any more: its number, its line, and why.
    Refused(usize, String, String),
    /// A move shows something else: its number, its line, what is kept and what is shown.
    Shows(usize, String, String, String),
}

impl Difference {
    /// In words; values out of a file are told by their beginnings.
    pub fn told(&self) -> String {
        let short = |text: &str| shortened(text, TOLD);
        match self {
            Self::Beginning => {
                "what the drill was made of (system, drill, seed, rules, time), or step 1, was edited"
                    .to_owned()
            }
            Self::Edited(number, line) => {
                format!("step {number}, `{}`, was edited", short(line))
            }
            Self::Refused(number, line, why) => {
                format!("step {number}, `{}`, cannot be done: {}", short(line), short(why))
            }
            Self::Shows(number, line, kept, shown) => {
                let [line, kept, shown] = [line, kept, shown].map(|text| short(text));
                format!("step {number}, `{line}`: handed in as `{kept}`, the model shows `{shown}`")
            }
        }
    }
}

/// An attempt that has been done again.
#[derive(Debug)]
pub struct Replayed {
    /// The drill as far as it could be done again.
    pub session: Session,
    /// Where it first differs; `None` where it does not.
    pub difference: Option<Difference>,
    /// What its sound aircraft depends on ([`Recipe::build`]).
    pub build: String,
}

/// What one deed showed, as it is kept: faces of the station, results of measurements.
fn shown(session: &Session, deed: &Deed) -> Vec<String> {
    let circuit = session.circuit();
    let Some(entry) = deed.entry.and_then(|at| session.log().get(at)) else { return Vec::new() };
    let percepts = entry.observation.percepts.iter();
    percepts
        .map(|(what, percept)| format!("{}: {}", what.told(circuit), percept.told(*what, circuit)))
        .collect()
}

/// The deeds of a drill from the `from`th on as moves, at this time; `seal` is that of the
/// move before them, or of the beginning.
pub fn deeds_as_moves(session: &Session, from: usize, seal: &str, at: &str) -> Vec<Move> {
    let mut seal = seal.to_owned();
    let deeds = session.deeds().iter().skip(from);
    deeds
        .map(|deed| {
            let mut done = Move {
                at: at.to_owned(),
                line: line_of(session.circuit(), &deed.action),
                shown: shown(session, deed),
                seal: String::new(),
            };
            done.seal = done.sealed(&seal);
            seal.clone_from(&done.seal);
            done
        })
        .collect()
}

impl Move {
    /// What it comes to after everything before it.
    fn sealed(&self, before: &str) -> String {
        let mut texts = vec![before, self.at.as_str(), self.line.as_str()];
        texts.extend(self.shown.iter().map(String::as_str));
        digest(&texts)
    }
}

impl Attempt {
    /// An attempt in which nothing has been done yet.
    pub fn new(id: String, begun: String, recipe: Recipe) -> Self {
        Self { id, begun, recipe, moves: Vec::new() }
    }

    /// What the beginning comes to.
    pub fn first_seal(&self) -> String {
        let recipe = serde_json::to_string(&self.recipe).unwrap_or_default();
        digest(&["halfsplit attempt 1", &self.id, &self.begun, &recipe])
    }

    /// What the whole comes to: the seal of its last move, or of the beginning.
    pub fn last_seal(&self) -> String {
        self.moves.last().map_or_else(|| self.first_seal(), |last| last.seal.clone())
    }

    /// Whether the call has been made.
    pub fn is_closed(&self) -> bool {
        self.moves.last().is_some_and(|last| last.line.starts_with("call "))
    }

    /// Where the attempt was edited first after it had been kept.
    pub fn first_edit(&self) -> Option<Difference> {
        let mut before = self.first_seal();
        for (at, done) in self.moves.iter().enumerate() {
            if done.sealed(&before) != done.seal {
                // An edited beginning shows in the first move, whose own text may be whole.
                return Some(if at == 0 && self.next_fits() {
                    Difference::Beginning
                } else {
                    Difference::Edited(at + 1, done.line.clone())
                });
            }
            before.clone_from(&done.seal);
        }
        None
    }

    /// Whether the second move follows from the seal that the first one has: the first one
    /// is then as it was, and what stands before it is not. Where there is no second move
    /// nobody can tell, and the first is named.
    fn next_fits(&self) -> bool {
        match self.moves.as_slice() {
            [first, second, ..] => second.sealed(&first.seal) == second.seal,
            _ => false,
        }
    }

    /// Makes the drill anew and does every move again. It stops where something differs, save
    /// that an edit alone does not stop it.
    ///
    /// # Errors
    /// [`RecipeError`] when the drill cannot be made any more.
    pub fn replay(&self) -> Result<Replayed, RecipeError> {
        Ok(self.replay_in(self.recipe.begin()?, self.recipe.build()))
    }

    /// The same in a drill that has been made of the recipe already, on this
    /// [build](Recipe::build).
    pub fn replay_in(&self, mut session: Session, build: String) -> Replayed {
        let edited = self.first_edit();
        for (at, done) in self.moves.iter().enumerate() {
            let refused = |why: String| Difference::Refused(at + 1, done.line.clone(), why);
            let difference = match parse(session.circuit(), &done.line) {
                Ok(Request::Do(action)) => match session.repeat(action) {
                    Outcome::Refused(why) => Some(refused(why)),
                    _ => self.shows_otherwise(&session, at),
                },
                Ok(_) => Some(refused("it is nothing that is done".to_owned())),
                Err(why) => Some(refused(why)),
            };
            if let Some(found) = difference {
                let first = match edited {
                    Some(edit) if edit.number() <= found.number() => edit,
                    _ => found,
                };
                return Replayed { session, difference: Some(first), build };
            }
        }
        Replayed { session, difference: edited, build }
    }

    fn shows_otherwise(&self, session: &Session, at: usize) -> Option<Difference> {
        let done = &self.moves[at];
        let deed = session.deeds().last()?;
        let now = shown(session, deed);
        if now == done.shown {
            return None;
        }
        let nothing = || "nothing".to_owned();
        let unlike = (0..now.len().max(done.shown.len()))
            .find(|at| now.get(*at) != done.shown.get(*at))
            .unwrap_or(0);
        let kept = done.shown.get(unlike).cloned().unwrap_or_else(nothing);
        let shows = now.get(unlike).cloned().unwrap_or_else(nothing);
        Some(Difference::Shows(at + 1, done.line.clone(), kept, shows))
    }
}

impl Difference {
    /// The number of the step that it is about; 0 for the beginning.
    pub fn number(&self) -> usize {
        match self {
            Self::Beginning => 0,
            Self::Edited(number, _) | Self::Refused(number, ..) | Self::Shows(number, ..) => {
                *number
            }
        }
    }
}
