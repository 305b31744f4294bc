//! What can fail, how often, and what the part is like once it has.
//!
//! A fault mode is the part as it is when it has failed: the same kind with other
//! values. Putting a fault in is exchanging the part; the rest of the program sees
//! a circuit like any other.

mod library;

pub use library::{FaultMode, modes};

use crate::circuit::{Circuit, PartId};
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
    #[error("part `{part}` has no fault mode `{typed}`; it has: {}", known.join(", "))]
    UnknownMode {
        /// The part.
        part: String,
        /// What was given.
        typed: String,
        /// The modes it has.
        known: Vec<String>,
    },
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
        let example = all(circuit).first().map(|(f, _)| f.code(circuit)).unwrap_or_default();
        return Err(FaultError::Malformed { typed: typed.to_owned(), example });
    };
    let id = circuit.find_part(part_name).ok_or_else(|| FaultError::UnknownPart {
        typed: part_name.to_owned(),
        suggestion: did_you_mean(part_name, circuit.parts.iter().map(|p| p.id.as_str())),
    })?;
    let part = circuit.part(id);
    let known = modes(part);
    match known.iter().find(|mode| mode.name.eq_ignore_ascii_case(mode_name)) {
        Some(mode) => Ok((Fault { part: id, mode: mode.name.clone() }, mode.clone())),
        None => Err(FaultError::UnknownMode {
            part: part.id.clone(),
            typed: mode_name.to_owned(),
            known: known.into_iter().map(|mode| mode.name).collect(),
        }),
    }
}

/// The circuit with one part failed.
pub fn apply(circuit: &Circuit, fault: &Fault, mode: &FaultMode) -> Circuit {
    circuit.with_kind(fault.part, mode.faulted.clone())
}
