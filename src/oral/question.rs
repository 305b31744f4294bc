//! A question, how it is answered, and when an answer is right.

use super::Rating;
use crate::circuit::{PartId, StationId, TestPointId};
use crate::dictionary::Setup;
use crate::observation::{Percept, What};

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Asked {
    /// What a meter reads, or a lamp or an instrument shows, with a fault.
    Shows,
    /// What something shows in another setup, nothing having failed.
    InSetup,
    /// What a pointer stands at, as a figure.
    Needle,
    /// Whether what something shows in a setup is as it should be.
    Normal,
    /// Which lamps are alight.
    Lit,
    /// What is no longer as usual with a fault.
    Lost,
    /// What could cause something, one of three.
    Cause,
    /// What could cause something, all that could.
    Causes,
    /// What tells two faults apart.
    Apart,
    /// Which reading is worth taking first, given the signs.
    First,
    /// What something shows when a relay has not moved as it should have.
    Unmoved,
    /// What the current to a part goes through.
    Fed,
    /// In which order the current goes through three parts.
    Order,
    /// What protects a part.
    Protects,
    /// Where no ohmmeter may be put, or where it may.
    Live,
    /// At which value a part does something.
    Limit,
    /// Where a part is.
    Where,
    /// The rating of a breaker or a fuse.
    Rating,
    /// The caution of a station.
    Caution,
    /// What a mod brings.
    Mod,
    /// Why a fault shows itself as it does, spoken.
    Why,
    /// What the author of the system asks.
    Own,
}

impl Asked {
    /// All of them.
    pub const ALL: [Self; 22] = [
        Self::Shows,
        Self::InSetup,
        Self::Needle,
        Self::Normal,
        Self::Lit,
        Self::Lost,
        Self::Cause,
        Self::Causes,
        Self::Apart,
        Self::First,
        Self::Unmoved,
        Self::Fed,
        Self::Order,
        Self::Protects,
        Self::Live,
        Self::Limit,
        Self::Where,
        Self::Rating,
        Self::Caution,
        Self::Mod,
        Self::Why,
        Self::Own,
    ];

    /// Its name on cards.
    pub fn name(self) -> &'static str {
        match self {
            Self::Shows => "shows",
            Self::InSetup => "in-setup",
            Self::Needle => "needle",
            Self::Normal => "normal",
            Self::Lit => "lit",
            Self::Lost => "lost",
            Self::Cause => "cause",
            Self::Causes => "causes",
            Self::Apart => "apart",
            Self::First => "first",
            Self::Unmoved => "unmoved",
            Self::Fed => "fed",
            Self::Order => "order",
            Self::Protects => "protects",
            Self::Live => "live",
            Self::Limit => "limit",
            Self::Where => "where",
            Self::Rating => "rating",
            Self::Caution => "caution",
            Self::Mod => "mod",
            Self::Why => "why",
            Self::Own => "own",
        }
    }

    /// Whether it is answered by one of three, as a paper wants it.
    pub fn is_for_papers(self) -> bool {
        !matches!(self, Self::Needle | Self::Lit | Self::Causes | Self::Why)
    }
}

/// A question.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// What is asked.
    pub asked: Asked,
    /// What is remembered or forgotten with it: `SYSTEM KIND SUBJECT`.
    pub card: String,
    /// The question, one sentence or two.
    pub text: String,
    /// The form of the answer, and which is right.
    pub answer: Answer,
    /// Why, a sentence an element.
    pub reasons: Vec<String>,
    /// Steps of reasoning it takes, as the model counts them: what happens in the aircraft
    /// between the cause and what is asked for, and one more.
    pub difficulty: u32,
    /// Where one would look rather than read the answer.
    pub look: Option<Look>,
}

/// How a question is answered, and what is right.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// Exactly one choice of three.
    One {
        /// The alternatives.
        choices: Vec<String>,
        /// Which of them is right.
        right: usize,
        /// What each choice claims.
        claims: Vec<Claim>,
    },
    /// Every choice that is right, and no other.
    All {
        /// The alternatives.
        choices: Vec<String>,
        /// Whether each is right.
        right: Vec<bool>,
        /// What each choice claims.
        claims: Vec<Claim>,
    },
    /// A figure.
    Number {
        /// What is right.
        value: f64,
        /// Its unit.
        unit: String,
        /// How far off an answer may be: half a division of the scale at that place, which is
        /// what it can be read to.
        tolerance: f64,
        /// What the figure claims.
        claim: Claim,
    },
    /// Spoken; the trainee compares it with the model answer and grades it.
    Words {
        /// The model answer, a sentence an element.
        model: Vec<String>,
    },
}

/// An answer that was given.
#[derive(Clone, Debug, PartialEq)]
pub enum Given {
    /// The place of a choice.
    One(usize),
    /// By choice, whether it was marked.
    All(Vec<bool>),
    /// A figure, in the unit asked for.
    Number(f64),
    /// The trainee's own grade.
    Words(Rating),
}

/// Where one would look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Look {
    /// At a pointer.
    Needle {
        /// The instrument.
        dial: PartId,
        /// What it indicates, in the unit of its scale.
        volts_or_value: f64,
    },
    /// At a part in the diagram.
    Diagram(PartId),
}

/// What a choice claims, so that it can be checked by other means. Faults are named by their
/// codes; they strike once the setup has come to rest, all at once.
#[derive(Clone, Debug, PartialEq)]
pub enum Claim {
    /// This is shown with these faults in the setup.
    Shows(Setup, Vec<String>, What, Percept),
    /// A meter indicates this much with these faults in the setup.
    Indicates(Setup, Vec<String>, PartId, f64),
    /// The lamp gives light with these faults in the setup.
    Lit(Setup, Vec<String>, PartId),
    /// This is not as usual in the setup with that fault.
    Unusual(Setup, String, What),
    /// In the setup, with this fault, these and of all faces only these are not as usual.
    Explains(Setup, String, Vec<(What, Percept)>),
    /// Some two of these faults show different things there, in the setup.
    Differ(Setup, Vec<String>, What),
    /// In the setup the current to the second part goes through the first.
    Feeds(Setup, PartId, PartId),
    /// In the setup the current to the part goes through these in this order.
    InOrder(Setup, PartId, Vec<PartId>),
    /// In the setup the test point is live (or, with `false`, is not).
    Live(Setup, TestPointId, bool),
    /// The part does what the word says at this value.
    Limit(PartId, &'static str, f64),
    /// The part is at the station.
    Stands(PartId, StationId),
    /// The part has this rating.
    Rated(PartId, f64),
    /// The station has this caution.
    Warns(StationId, String),
    /// The part comes with the mod.
    Brings(String, String),
    /// The author of the system says so (or, with `false`, denies it).
    Said(bool),
}

impl Question {
    /// Whether an answer is right; `None` for one of another form than the question has.
    pub fn is_right(&self, given: &Given) -> Option<bool> {
        match (&self.answer, given) {
            (Answer::One { choices, right, .. }, Given::One(at)) => {
                (*at < choices.len()).then_some(at == right)
            }
            (Answer::All { right, .. }, Given::All(marked)) => {
                (marked.len() == right.len()).then(|| marked == right)
            }
            (Answer::Number { value, tolerance, .. }, Given::Number(figure)) => {
                Some((figure - value).abs() <= *tolerance)
            }
            (Answer::Words { .. }, Given::Words(rating)) => Some(*rating != Rating::Again),
            _ => None,
        }
    }

    /// How well the card counts as remembered after an answer; `None` for one of another form.
    pub fn rating(&self, given: &Given) -> Option<Rating> {
        let is_right = self.is_right(given)?;
        Some(match given {
            Given::Words(rating) => *rating,
            _ if is_right => Rating::Good,
            _ => Rating::Again,
        })
    }
}
