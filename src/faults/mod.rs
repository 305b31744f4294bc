//! What can fail, how often, and what the part is like once it has.
//!
//! A fault mode is the part as it is when it has failed: the same kind with other
//! values. Putting a fault in is exchanging the part; the rest of the program sees
//! a circuit like any other.

mod cause;
mod library;
mod planted;

pub use cause::{Cause, Causes, Left, Scope, intermittent, left, mode_of, parse_cause};
pub use library::{FaultMode, OVER_RATED, OhmsRange, UNDER_RATED, mode_at, modes, ohms_range};
pub use planted::{Condition, Exposure, Planted, build, compatible, parse_planted};

use crate::circuit::{Circuit, Part, PartId};
use crate::diagnostic::did_you_mean;

/// One fault: a part and the name of the mode in which it has failed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// The part.
    pub part: PartId,
    /// The mode, one of [`modes`] of that part.
    pub mode: String,
}

impl Fault {
    /// `PART:MODE`, as typed on the command line.
    pub fn code(&self, circuit: &Circuit) -> String {
        format!("{}:{}", circuit.part(self.part).id, self.mode)
    }
}

/// A fault that the circuit does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FaultError {
    /// Not of the form `PART:MODE`.
    #[error("`{typed}` is not a fault: write PART:MODE, such as `{example}`")]
    Malformed {
        /// What was given.
        typed: String,
        /// One that exists.
        example: String,
    },
    /// No part of that name.
    #[error("no part `{typed}` in this system{}", suggest(suggestion.as_deref()))]
    UnknownPart {
        /// What was given.
        typed: String,
        /// Perhaps meant.
        suggestion: Option<String>,
    },
    /// The part does not fail so.
    #[error("part `{part}` has no fault mode `{typed}`; {}", known_modes(known))]
    UnknownMode {
        /// The part.
        part: String,
        /// What was given.
        typed: String,
        /// The modes it has.
        known: Vec<String>,
    },
    /// The mode is not a matter of ohms.
    #[error("`{part}:{mode}` takes no ohms{}", takers(ranged))]
    TakesNoOhms {
        /// The part.
        part: String,
        /// The mode.
        mode: String,
        /// Modes of the part that do.
        ranged: Vec<String>,
    },
    /// Not a number of ohms that the mode can have.
    #[error("`{fault}` takes {least} to {most} ohm after the @, not `{typed}`")]
    OhmsOutOfRange {
        /// The fault.
        fault: String,
        /// What was given.
        typed: String,
        /// The least, ohm.
        least: String,
        /// The most, ohm.
        most: String,
    },
    /// No such condition.
    #[error(
        "`{typed}` is no condition: write vibration, heat, or CONTROL=POSITION{}",
        suggest(suggestion.as_deref())
    )]
    UnknownCondition {
        /// What was given.
        typed: String,
        /// Perhaps meant.
        suggestion: Option<String>,
    },
    /// The part has no positions.
    #[error("`{part}` is not a control; a fault cannot depend on its position")]
    NotAControl {
        /// The part.
        part: String,
    },
    /// The control has no such position.
    #[error("`{control}` has no position `{typed}`; it has {}", known.join(", "))]
    UnknownPosition {
        /// The control.
        control: String,
        /// What was given.
        typed: String,
        /// The positions it has.
        known: Vec<String>,
    },
    /// The conditions can never hold together.
    #[error("`{control}` cannot stand in two positions at once; the fault would never be there")]
    NeverPresent {
        /// The control.
        control: String,
    },
    /// More than a cause holds.
    #[error("{count} faults at once are too many: a drill hides two at the most")]
    TooMany {
        /// How many were given.
        count: usize,
    },
    /// Two faults of one part.
    #[error("`{part}` cannot fail in two ways at once: `{first}` and `{second}`")]
    TwoModes {
        /// The part.
        part: String,
        /// The first fault.
        first: String,
        /// The second fault.
        second: String,
    },
}

fn takers(ranged: &[String]) -> String {
    if ranged.is_empty() { String::new() } else { format!("; {} does", ranged.join(" or ")) }
}

fn known_modes(known: &[String]) -> String {
    if known.is_empty() {
        "it has none".to_owned()
    } else {
        format!("it has: {}", known.join(", "))
    }
}

fn suggest(suggestion: Option<&str>) -> String {
    suggestion.map(|s| format!("; {s}")).unwrap_or_default()
}

/// Every single fault of a circuit with its mode, in part order.
pub fn all(circuit: &Circuit) -> Vec<(Fault, FaultMode)> {
    circuit
        .parts_with_ids()
        .flat_map(|(id, part)| {
            modes(part)
                .into_iter()
                .map(move |mode| (Fault { part: id, mode: mode.name.clone() }, mode))
        })
        .collect()
}

/// Reads `PART:MODE`, without regard to case.
///
/// # Errors
/// [`FaultError`] saying what is not there and what is.
pub fn parse(circuit: &Circuit, typed: &str) -> Result<(Fault, FaultMode), FaultError> {
    let Some((part_name, mode_name)) = typed.split_once(':') else {
        return Err(malformed(circuit, typed));
    };
    let id = find_part(circuit, part_name)?;
    let part = circuit.part(id);
    let mode = modes(part).into_iter().find(|mode| mode.name.eq_ignore_ascii_case(mode_name));
    let mode = mode.ok_or_else(|| unknown_mode(part, mode_name))?;
    Ok((Fault { part: id, mode: mode.name.clone() }, mode))
}

fn malformed(circuit: &Circuit, typed: &str) -> FaultError {
    let example = all(circuit).first().map(|(f, _)| f.code(circuit)).unwrap_or_default();
    FaultError::Malformed { typed: typed.to_owned(), example }
}

fn find_part(circuit: &Circuit, name: &str) -> Result<PartId, FaultError> {
    circuit.find_part(name).ok_or_else(|| FaultError::UnknownPart {
        typed: name.to_owned(),
        suggestion: did_you_mean(name, circuit.parts.iter().map(|p| p.id.as_str())),
    })
}

fn unknown_mode(part: &Part, typed: &str) -> FaultError {
    FaultError::UnknownMode {
        part: part.id.clone(),
        typed: typed.to_owned(),
        known: modes(part).into_iter().map(|mode| mode.name).collect(),
    }
}

/// The circuit with one part failed.
pub fn apply(circuit: &Circuit, fault: &Fault, mode: &FaultMode) -> Circuit {
    circuit.with_kind(fault.part, mode.faulted.clone())
}
