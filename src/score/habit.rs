//! The habits that a drill can show, in words: what each is called, what it cost and what to
//! do instead.

use serde::{Deserialize, Serialize};

use crate::units::{counted, minutes};

/// Points, under the rubric and by itself, below which a habit is not worth a word.
pub(super) const LEAST_POINTS: f64 = 0.5;

/// What a habit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum HabitKind {
    /// Cautions gone against.
    AgainstCautions,
    /// Parts changed while a test could still have told something, or that were known good.
    ChangedBeforeTesting,
    /// A call that what was seen spoke against, or marks that it contradicts.
    MisreadTheEvidence,
    /// A call before its proof, though a step would have told.
    CalledUnproven,
    /// A lamp believed without the press that tests it.
    TrustedTheLamp,
    /// Tests whose outcome was known.
    RetestedTheKnown,
    /// Tests after a call was provable.
    WentOnAfterProof,
    /// Visits that could tell nothing, and walks back.
    WalkedForNothing,
    /// Walks and measurements while something quick at hand told more.
    LeftWhatWasAtHand,
    /// Steps that divided what was left badly.
    WeakSplits,
    /// A part exchanged and called without a look whether that had helped.
    NoFunctionCheck,
    /// Needles read wrong by more than half a division.
    MisreadTheNeedle,
    /// Questions for the best next step, and lesser help.
    AskedForAdvice,
}

impl HabitKind {
    /// The habit in a few words, as a heading.
    pub fn title(self) -> &'static str {
        match self {
            Self::AgainstCautions => "Went against cautions",
            Self::ChangedBeforeTesting => "Changed parts before testing",
            Self::MisreadTheEvidence => "Misread the evidence",
            Self::CalledUnproven => "Called before the proof",
            Self::TrustedTheLamp => "Trusted a lamp without pressing to test",
            Self::RetestedTheKnown => "Tested again what was known",
            Self::WentOnAfterProof => "Went on after the proof",
            Self::WalkedForNothing => "Walked back and forth",
            Self::LeftWhatWasAtHand => "Passed over what was at hand",
            Self::WeakSplits => "Weak splits",
            Self::NoFunctionCheck => "No check after the repair",
            Self::MisreadTheNeedle => "Misread the needle",
            Self::AskedForAdvice => "Leaned on advice",
        }
    }

    /// Whether it is one of thinking; the others are of care and of independence.
    pub fn is_reasoning(self) -> bool {
        match self {
            Self::AgainstCautions
            | Self::NoFunctionCheck
            | Self::MisreadTheNeedle
            | Self::AskedForAdvice => false,
            Self::ChangedBeforeTesting
            | Self::MisreadTheEvidence
            | Self::CalledUnproven
            | Self::TrustedTheLamp
            | Self::RetestedTheKnown
            | Self::WentOnAfterProof
            | Self::WalkedForNothing
            | Self::LeftWhatWasAtHand
            | Self::WeakSplits => true,
        }
    }

    /// What to do instead, where the record names nothing better.
    pub(super) fn remedy(self) -> &'static str {
        match self {
            Self::AgainstCautions => {
                "read the cautions of a place before the first step there; power off and proven \
                 dead before hands or ohms go in, one reset and one spare at most"
            }
            Self::ChangedBeforeTesting => {
                "look and measure first; change a part when what was seen has isolated it, or when \
                 nothing else can tell"
            }
            Self::MisreadTheEvidence => {
                "before clearing or calling a part, say what each of its faults would have shown \
                 and hold that against the notebook"
            }
            Self::CalledUnproven => {
                "before a call, name what else could show the same, and make the one step that \
                 tells it apart"
            }
            Self::TrustedTheLamp => {
                "a dark lamp says nothing until it has been pressed to test: press first, then \
                 believe it"
            }
            Self::RetestedTheKnown => {
                "before each test, ask what would be seen if it were the other fault; when \
                 everything left would show the same, do not make it"
            }
            Self::WentOnAfterProof => {
                "after each step, ask whether only one repair is left; when it is, call"
            }
            Self::WalkedForNothing => {
                "before walking, list what will be tested there, and finish at a place before \
                 leaving it"
            }
            Self::LeftWhatWasAtHand => {
                "before walking or opening anything, use what is in reach: controls, selectors, \
                 lamps cost next to nothing"
            }
            Self::WeakSplits => {
                "list what is still possible and choose the test that divides it about in half for \
                 the fewest minutes"
            }
            Self::NoFunctionCheck => {
                "after a repair, go back to where the crew saw the fault and look whether it has \
                 gone"
            }
            Self::MisreadTheNeedle => {
                "find the two figures beside the pointer and count divisions from the lower one; \
                 scales are seldom even"
            }
            Self::AskedForAdvice => {
                "decide on your own step first and say why; then compare it in the debrief"
            }
        }
    }
}

/// A habit to work on.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// Which.
    pub kind: HabitKind,
    /// The steps that show it, by their place in the log.
    pub steps: Vec<usize>,
    /// Minutes that it provably cost.
    pub minutes: f64,
    /// Points that it would cost by itself under the rubric.
    pub points: f64,
    /// What the record shows, in one sentence without its full stop.
    pub evidence: String,
    /// What to do instead, in one sentence without its full stop.
    pub instead: String,
}

impl Habit {
    /// The steps and what they cost: `steps 3 and 5; 4.2 min; 8 points by itself`.
    pub fn cost_told(&self) -> String {
        let mut told = Vec::new();
        if !self.steps.is_empty() {
            told.push(steps_told(&self.steps));
        }
        if self.minutes >= 0.05 {
            told.push(minutes(self.minutes));
        }
        if self.points >= LEAST_POINTS {
            let points = libm::round(self.points).max(1.0);
            told.push(format!("{} by itself", counted(points as usize, "point")));
        }
        told.join("; ")
    }
}

/// `step 3`, `steps 3, 5 and 8`.
pub(super) fn steps_told(steps: &[usize]) -> String {
    let numbers: Vec<String> = steps.iter().map(|step| (step + 1).to_string()).collect();
    match numbers.as_slice() {
        [] => "no step".to_owned(),
        [one] => format!("step {one}"),
        [most @ .., last] => format!("steps {} and {last}", most.join(", ")),
    }
}
