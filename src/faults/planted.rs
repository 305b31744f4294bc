//! Faults as they are planted: how bad, and under which conditions they are there.
//!
//! Typed as `PART:MODE[@OHMS][~CONDITION]...`. A fault mode that is a resistance can be
//! given other ohms than its usual ones. A fault with conditions is intermittent: it
//! is there only while all of them hold, and the circuit is sound otherwise.

use super::{Fault, FaultError, FaultMode, mode_at, modes};
use crate::circuit::{Circuit, Part, PartId};
use crate::diagnostic::did_you_mean;
use crate::units::significant;

/// What the aircraft is exposed to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exposure {
    /// It shakes, as in flight or on a rough runway.
    Vibration,
    /// It is hot, as after an hour of running.
    Heat,
}

impl Exposure {
    /// All of them.
    pub const ALL: [Exposure; 2] = [Self::Vibration, Self::Heat];

    /// Its name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Vibration => "vibration",
            Self::Heat => "heat",
        }
    }

    /// The position of the control for conditions that stands for it.
    pub fn position(self) -> u8 {
        match self {
            Self::Vibration => 1,
            Self::Heat => 2,
        }
    }

    /// The exposure of this name, compared without case.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|exposure| exposure.name().eq_ignore_ascii_case(name))
    }
}

/// What must hold for an intermittent fault to be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Condition {
    /// The aircraft is exposed to this.
    Under(Exposure),
    /// A control stands so.
    At {
        /// The control.
        control: PartId,
        /// The position, by its place among the control's positions.
        position: u8,
    },
}

/// A fault put into a circuit: which, how bad, and when it is there.
#[derive(Clone, Debug, PartialEq)]
pub struct Planted {
    /// The part and the name of its mode.
    pub fault: Fault,
    /// What the part is like while the fault is there.
    pub mode: FaultMode,
    /// Ohms, where others than the usual ones of the mode were asked for.
    pub ohms: Option<f64>,
    /// All must hold for the fault to be there; empty for one that always is.
    pub conditions: Vec<Condition>,
}

impl Planted {
    /// A fault of the library: always there, with its usual ohms.
    pub fn always(fault: Fault, mode: FaultMode) -> Self {
        Self { fault, mode, ohms: None, conditions: Vec::new() }
    }

    /// Whether it comes and goes.
    pub fn is_intermittent(&self) -> bool {
        !self.conditions.is_empty()
    }

    /// Whether it is there. A control that `positions` leaves out stands where it does
    /// in the normal setup.
    pub fn is_present(
        &self,
        circuit: &Circuit,
        positions: &[(PartId, u8)],
        under: &[Exposure],
    ) -> bool {
        self.conditions.iter().all(|condition| match *condition {
            Condition::Under(exposure) => under.contains(&exposure),
            Condition::At { control, position } => {
                let set = positions.iter().rev().find(|(part, _)| *part == control);
                set.map_or_else(|| start(circuit.part(control)), |(_, at)| Some(*at))
                    == Some(position)
            }
        })
    }

    /// As it is typed: `W3:high-resistance@40~vibration`.
    pub fn code(&self, circuit: &Circuit) -> String {
        let mut pieces = vec![match self.ohms {
            Some(ohms) => format!("{}@{ohms}", self.fault.code(circuit)),
            None => self.fault.code(circuit),
        }];
        pieces.extend(self.conditions.iter().map(|condition| match *condition {
            Condition::Under(exposure) => exposure.name().to_owned(),
            Condition::At { control, position } => {
                let control = circuit.part(control);
                format!("{}={}", control.id, position_name(control, position))
            }
        }));
        pieces.join("~")
    }

    /// What has happened: `W3 is broken, only with vibration`.
    pub fn told(&self, circuit: &Circuit) -> String {
        let conditions: Vec<String> = self
            .conditions
            .iter()
            .map(|condition| match *condition {
                Condition::Under(exposure) => format!("with {}", exposure.name()),
                Condition::At { control, position } => {
                    let control = circuit.part(control);
                    format!("while {} is at {}", control.id, position_name(control, position))
                }
            })
            .collect();
        let told = format!("{} {}", circuit.part(self.fault.part).id, self.mode.text);
        if conditions.is_empty() {
            told
        } else {
            format!("{told}, only {}", conditions.join(" and "))
        }
    }
}

/// The positions of a control; `None` for a part that is none.
fn positions(part: &Part) -> Option<Vec<&str>> {
    part.kind.control().map(|control| control.positions)
}

/// Where a control stands in the normal setup.
fn start(part: &Part) -> Option<u8> {
    part.kind.control().map(|control| control.start)
}

fn position_name(control: &Part, position: u8) -> &str {
    positions(control)
        .and_then(|names| names.get(usize::from(position)).copied())
        .unwrap_or("no position")
}

/// Reads `PART:MODE[@OHMS][~CONDITION]...`, without regard to case. A condition is
/// `vibration`, `heat`, or `CONTROL=POSITION`.
///
/// # Errors
/// [`FaultError`] saying what is not there and what is.
pub fn parse_planted(circuit: &Circuit, typed: &str) -> Result<Planted, FaultError> {
    let Some((part_name, rest)) = typed.split_once(':') else {
        return Err(super::malformed(circuit, typed));
    };
    let id = super::find_part(circuit, part_name)?;
    let part = circuit.part(id);
    let known = modes(part);
    // A mode may be named after a switch position, which may hold any sign; the longest
    // name that fits is meant.
    let fits = |mode: &&FaultMode| {
        let name = mode.name.as_str();
        rest.get(..name.len()).is_some_and(|start| start.eq_ignore_ascii_case(name))
            && matches!(rest[name.len()..].chars().next(), None | Some('@' | '~'))
    };
    let Some(mode) = known.iter().filter(fits).max_by_key(|mode| mode.name.len()) else {
        let name = rest.split(['@', '~']).next().unwrap_or_default();
        return Err(super::unknown_mode(part, name));
    };
    let mut pieces = rest[mode.name.len()..].split('~');
    let ohms = match pieces.next().and_then(|piece| piece.strip_prefix('@')) {
        Some(typed) => Some(in_range(part, mode, typed)?),
        None => None,
    };
    let mode = match ohms {
        Some(ohms) => mode_at(part, &mode.name, ohms).expect("the mode was found among these"),
        None => mode.clone(),
    };
    let mut conditions = Vec::new();
    for piece in pieces {
        let condition = condition(circuit, piece)?;
        if conditions.contains(&condition) {
            continue;
        }
        if let Condition::At { control, .. } = condition
            && conditions
                .iter()
                .any(|c| matches!(c, Condition::At { control: other, .. } if *other == control))
        {
            let control = circuit.part(control).id.clone();
            return Err(FaultError::NeverPresent { control });
        }
        conditions.push(condition);
    }
    let fault = Fault { part: id, mode: mode.name.clone() };
    Ok(Planted { fault, mode, ohms, conditions })
}

fn in_range(part: &Part, mode: &FaultMode, typed: &str) -> Result<f64, FaultError> {
    let Some(range) = mode.range else {
        let ranged = modes(part).into_iter().filter(|mode| mode.range.is_some());
        return Err(FaultError::TakesNoOhms {
            part: part.id.clone(),
            mode: mode.name.clone(),
            ranged: ranged.map(|mode| mode.name).collect(),
        });
    };
    match typed.parse::<f64>() {
        Ok(ohms) if (range.least..=range.most).contains(&ohms) => Ok(ohms),
        Ok(_) | Err(_) => Err(FaultError::OhmsOutOfRange {
            fault: format!("{}:{}", part.id, mode.name),
            typed: typed.to_owned(),
            least: significant(range.least, 6),
            most: significant(range.most, 6),
        }),
    }
}

fn condition(circuit: &Circuit, typed: &str) -> Result<Condition, FaultError> {
    if let Some(exposure) = Exposure::named(typed) {
        return Ok(Condition::Under(exposure));
    }
    let Some((control_name, position_name)) = typed.split_once('=') else {
        return Err(FaultError::UnknownCondition {
            typed: typed.to_owned(),
            suggestion: did_you_mean(typed, Exposure::ALL.map(Exposure::name)),
        });
    };
    let control = super::find_part(circuit, control_name)?;
    let part = circuit.part(control);
    let Some(names) = positions(part) else {
        return Err(FaultError::NotAControl { part: part.id.clone() });
    };
    match names.iter().position(|name| name.eq_ignore_ascii_case(position_name)) {
        // The file reader lets no switch have more than a hundred positions.
        Some(position) => Ok(Condition::At { control, position: position as u8 }),
        None => Err(FaultError::UnknownPosition {
            control: part.id.clone(),
            typed: position_name.to_owned(),
            known: names.into_iter().map(str::to_owned).collect(),
        }),
    }
}

/// Whether these faults can be in one aircraft together: no part fails in two ways.
///
/// # Errors
/// [`FaultError::TwoModes`] naming the first part that would.
pub fn compatible(circuit: &Circuit, planted: &[Planted]) -> Result<(), FaultError> {
    for (index, second) in planted.iter().enumerate() {
        if let Some(first) =
            planted[..index].iter().find(|first| first.fault.part == second.fault.part)
        {
            return Err(FaultError::TwoModes {
                part: circuit.part(second.fault.part).id.clone(),
                first: first.code(circuit),
                second: second.code(circuit),
            });
        }
    }
    Ok(())
}

/// The circuit with those of these faults that are there while the controls stand so
/// and the aircraft is exposed to this. A control left out stands where it does in the
/// normal setup.
///
/// # Errors
/// [`FaultError::TwoModes`] when one part would fail in two ways.
pub fn build(
    circuit: &Circuit,
    planted: &[Planted],
    positions: &[(PartId, u8)],
    under: &[Exposure],
) -> Result<Circuit, FaultError> {
    compatible(circuit, planted)?;
    let mut faulted = circuit.clone();
    for one in planted.iter().filter(|one| one.is_present(circuit, positions, under)) {
        faulted.parts[one.fault.part.index()].kind = one.mode.faulted.clone();
    }
    Ok(faulted)
}
