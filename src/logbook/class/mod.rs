//! A class at a glance: what many attempts come to, for each trainee, fault and test.
//!
//! [`found`] does one line of a hand-in again and works it out; a [`Register`] keeps the few
//! numbers of each that are wanted, and sums them up as a [`Class`].

mod page;
mod register;
mod summary;
mod text;

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::handin::{self, Header, Sheet, Systems, Verdict};
use super::{Attempt, Replayed};
use crate::network::SolveError;
use crate::score::{Beginnings, HabitKind, glance};

pub use register::{Refusal, Register};
pub use summary::{Class, FaultLine, HabitLine, TraineeLine};
pub use text::cell;

/// What is worked out of one attempt. Texts are shared where a [`Register`] keeps many.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Judged {
    /// Its name among all attempts anywhere.
    pub id: String,
    /// The trainee.
    pub trainee: Arc<str>,
    /// Whether the trainee signed it.
    pub signed: bool,
    /// The system.
    pub system: Arc<str>,
    /// The drill, as it is named on the command line.
    pub drill: Arc<str>,
    /// When it was begun, as RFC 3339 text in UTC.
    pub begun: Arc<str>,
    /// When its last move was made.
    pub ended: Arc<str>,
    /// Moves that it has.
    pub moves: usize,
    /// What was called; empty where no call was made.
    pub called: Arc<str>,
    /// What was hidden.
    pub hidden: Arc<str>,
    /// The kinds of part that failed.
    pub kinds: Vec<Arc<str>>,
    /// Whether the right part was called.
    pub right: bool,
    /// Whether the call was proven.
    pub proven: bool,
    /// Minutes at the aircraft that count: those for mending what had been isolated do not.
    pub minutes: f64,
    /// What they are held against, as for the points: par, or what par's way takes to the
    /// fault that was hidden where that is more.
    pub par_minutes: f64,
    /// Bits that tests promised less than the best step of their moment; none for a test that
    /// would have been advised then.
    pub wasted_bits: f64,
    /// Cautions gone against.
    pub cautions: usize,
    /// Points out of 100.
    pub points: f64,
    /// Tests of which the debrief says that they could tell nothing, in words.
    pub useless: Vec<Arc<str>>,
    /// Habits, and what each would cost by itself, in points.
    pub habits: Vec<(HabitKind, f64)>,
}

impl Judged {
    /// Whether the right part was called and proven.
    pub fn is_proven(&self) -> bool {
        self.right && self.proven
    }

    /// Minutes over what they are held against.
    pub fn times_par(&self) -> f64 {
        self.minutes / self.par_minutes.max(1e-9)
    }
}

/// Works out an attempt that has been done again.
///
/// # Errors
/// [`SolveError`] when some fault leaves the circuit without a solution.
pub fn judged(
    trainee: &str,
    attempt: &Attempt,
    replayed: &Replayed,
    beginnings: &Beginnings,
) -> Result<Judged, SolveError> {
    let session = &replayed.session;
    let told = glance(session, &replayed.build, beginnings)?;
    let circuit = session.circuit();
    let kinds = session.truth().faults().iter();
    let kinds = kinds.map(|fault| circuit.part(fault.part).kind.id().spec().name.into()).collect();
    let steps = told.steps.iter().zip(session.log());
    let useless = steps
        .filter(|(step, _)| step.told_nothing)
        .map(|(_, entry)| entry.observation.step.told(circuit).into())
        .collect();
    Ok(Judged {
        id: attempt.id.clone(),
        trainee: trainee.into(),
        signed: false,
        system: attempt.recipe.system.as_str().into(),
        drill: attempt.recipe.name().into(),
        begun: attempt.begun.as_str().into(),
        ended: attempt.moves.last().map_or(&attempt.begun, |last| &last.at).as_str().into(),
        moves: attempt.moves.len(),
        called: told.called.as_str().into(),
        hidden: told.planted.as_str().into(),
        kinds,
        right: told.right_part,
        proven: told.proven,
        minutes: told.counted_minutes,
        par_minutes: told.allowed_minutes,
        wasted_bits: told.steps.iter().map(|step| step.wasted_bits).sum(),
        cautions: told.cautions,
        points: told.points,
        useless,
        habits: told.habits,
    })
}

/// What became of one line of a hand-in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Found {
    /// It counts.
    Counts(Box<Judged>),
    /// It counts for nothing.
    Refused(Refusal),
}

impl Found {
    /// The same where it stands in this file at this line.
    #[must_use]
    pub fn at(self, file: &str, line: u64) -> Self {
        match self {
            Self::Refused(refusal) => Self::Refused(Refusal { file: file.into(), line, ..refusal }),
            counts @ Self::Counts(_) => counts,
        }
    }
}

/// Does one attempt of a hand-in again and works it out.
pub fn found(file: &str, line: u64, header: &Header, sheet: &Sheet, systems: &Systems) -> Found {
    let refused = |why: String| {
        let trainee = Some(header.trainee.as_str().into());
        Found::Refused(Refusal { file: file.into(), line, trainee, why })
    };
    match handin::judge(header, sheet, systems) {
        Verdict::Reproduced(replayed, _) => {
            if !sheet.attempt.recipe.hidden.is_empty() {
                return refused("whoever worked it had named its fault".to_owned());
            }
            match judged(&header.trainee, &sheet.attempt, &replayed, &systems.beginnings) {
                Ok(judged) => {
                    let signed = sheet.signature.is_some();
                    Found::Counts(Box::new(Judged { signed, ..judged }))
                }
                Err(error) => refused(error.to_string()),
            }
        }
        other => refused(other.told()),
    }
}
