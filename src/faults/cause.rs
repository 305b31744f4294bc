//! What may be wrong with an aircraft: a fault, two of them, a control left in the wrong
//! place, or nothing.

use std::fmt::Write as _;

use super::{Exposure, Fault, FaultError, FaultMode, all, malformed, modes};
use crate::circuit::{Circuit, Kind, Part, PartId};

/// The mode of a breaker that was pulled and not pushed in again.
const LEFT_OUT: &str = "left-out";
/// The modes of a control: this, and the position.
const LEFT_AT: &str = "left-at-";

/// How a cause with nothing in it is typed.
const NOTHING: &str = "nothing";

/// How a sound part stands that was left in the wrong place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Left {
    /// A control, at this position, by its place among the control's positions.
    At(u8),
    /// A breaker, out.
    Out,
}

/// What is wrong: no fault, one, or two of two parts, in part order.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cause {
    faults: Vec<Fault>,
}

impl From<Fault> for Cause {
    fn from(fault: Fault) -> Self {
        Self { faults: vec![fault] }
    }
}

impl Cause {
    /// Nothing is wrong.
    pub fn nothing() -> Self {
        Self::default()
    }

    /// Two faults at once.
    pub fn pair(first: Fault, second: Fault) -> Self {
        let mut faults = vec![first, second];
        faults.sort();
        Self { faults }
    }

    /// The faults, in part order.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// Whether a part is among those that are not as they should be.
    pub fn concerns(&self, part: PartId) -> bool {
        self.faults.iter().any(|fault| fault.part == part)
    }

    /// Whether it comes and goes.
    pub fn is_intermittent(&self, circuit: &Circuit) -> bool {
        self.faults.iter().any(|fault| {
            mode_of(circuit.part(fault.part), &fault.mode).is_some_and(|mode| mode.under.is_some())
        })
    }

    /// The parts that exchanging would help, in order: not those that were only left in
    /// the wrong place.
    pub fn failed_parts<'a>(&'a self, circuit: &'a Circuit) -> impl Iterator<Item = PartId> + 'a {
        self.faults.iter().filter(|fault| !fault.is_left(circuit)).map(|fault| fault.part)
    }

    /// As it is typed: `W3:open`, `W3:open + K1:welded`, `nothing`.
    pub fn code(&self, circuit: &Circuit) -> String {
        if self.faults.is_empty() {
            return NOTHING.to_owned();
        }
        let codes: Vec<String> = self.faults.iter().map(|fault| fault.code(circuit)).collect();
        codes.join(" + ")
    }

    /// What is wrong, as a sentence without its stop: `W3 is broken, and K1 has welded`.
    pub fn told(&self, circuit: &Circuit) -> String {
        let mut text = String::new();
        for fault in &self.faults {
            let part = circuit.part(fault.part);
            let and = if text.is_empty() { "" } else { ", and " };
            let what = mode_of(part, &fault.mode).map_or_else(|| fault.mode.clone(), |m| m.text);
            let _ = write!(text, "{and}{} {what}", part.id);
        }
        if text.is_empty() { "nothing is wrong".to_owned() } else { text }
    }

    /// What has to be done about it: the repair groups of its parts, and the controls to be
    /// put right. Causes with the same name are mended alike.
    pub fn repair_group(&self, circuit: &Circuit) -> String {
        if self.faults.is_empty() {
            return NOTHING.to_owned();
        }
        let mut groups: Vec<String> = self
            .faults
            .iter()
            .map(|fault| {
                let part = circuit.part(fault.part);
                if fault.is_left(circuit) {
                    format!("{} put right", part.id)
                } else {
                    part.group.clone()
                }
            })
            .collect();
        groups.sort();
        groups.dedup();
        groups.join(" and ")
    }
}

impl Fault {
    /// Whether it is a control or breaker left in the wrong place and no failure.
    pub fn is_left(&self, circuit: &Circuit) -> bool {
        left(circuit.part(self.part)).iter().any(|mode| mode.name == self.mode)
    }
}

/// What a drill may hide besides a single fault, which it always may.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "each sort may be hidden or not, by itself")]
pub struct Scope {
    /// Two faults at once.
    pub pairs: bool,
    /// A control or breaker left in the wrong place.
    pub controls: bool,
    /// Nothing.
    pub nothing: bool,
    /// A fault that is there only with vibration or heat. The circuit needs a control for
    /// that, [`Circuit::with_conditions`].
    pub intermittent: bool,
}

impl Scope {
    /// Single faults only.
    pub const SINGLE: Self =
        Self { pairs: false, controls: false, nothing: false, intermittent: false };

    /// Whether a cause is one that may be hidden.
    pub fn holds(self, circuit: &Circuit, cause: &Cause) -> bool {
        let left = cause.faults.iter().any(|fault| fault.is_left(circuit));
        match cause.faults.len() {
            0 => self.nothing,
            1 => (!left || self.controls) && (!cause.is_intermittent(circuit) || self.intermittent),
            _ => self.pairs && !left,
        }
    }

    /// The smallest that holds a cause.
    pub fn of(circuit: &Circuit, cause: &Cause) -> Self {
        Self {
            pairs: cause.faults.len() > 1,
            controls: cause.faults.iter().any(|fault| fault.is_left(circuit)),
            nothing: cause.faults.is_empty(),
            intermittent: cause.is_intermittent(circuit),
        }
    }

    /// What either may hide.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            pairs: self.pairs || other.pairs,
            controls: self.controls || other.controls,
            nothing: self.nothing || other.nothing,
            intermittent: self.intermittent || other.intermittent,
        }
    }
}

/// The causes that may be hidden, with what each does to the aircraft.
#[derive(Clone, Debug)]
pub struct Causes {
    library: Vec<(Fault, FaultMode)>,
    /// Places in the library, and the weight.
    listed: Vec<(Vec<usize>, f64)>,
}

impl Causes {
    /// Every cause in a scope: single faults first, in part order, then controls, pairs,
    /// faults that come and go, and nothing.
    ///
    /// Single faults weigh what their rates say. Whatever else is in the scope is drawn as
    /// often as single faults are in all: a drill that may hide two faults does so every
    /// second time. Among pairs, the product of the rates decides; controls are all alike.
    pub fn within(circuit: &Circuit, scope: Scope) -> Self {
        let mut library = all(circuit);
        let singles = library.len();
        let mut listed: Vec<(Vec<usize>, f64)> =
            library.iter().enumerate().map(|(at, (_, mode))| (vec![at], mode.rate)).collect();
        let rates: Vec<f64> = listed.iter().map(|(_, weight)| *weight).collect();
        let total: f64 = rates.iter().sum();
        if scope.controls {
            let conditions = circuit.conditions;
            for (id, part) in circuit.parts_with_ids().filter(|(id, _)| Some(*id) != conditions) {
                library.extend(
                    left(part).into_iter().map(|m| (Fault { part: id, mode: m.name.clone() }, m)),
                );
            }
            let count = library.len() - singles;
            let weight = total / count.max(1) as f64;
            listed.extend((singles..library.len()).map(|at| (vec![at], weight)));
        }
        if scope.pairs {
            let two = |a: usize, b: usize| library[a].0.part != library[b].0.part;
            let pairs: Vec<(usize, usize)> = (0..singles)
                .flat_map(|a| (a + 1..singles).map(move |b| (a, b)))
                .filter(|(a, b)| two(*a, *b))
                .collect();
            let all_pairs: f64 = pairs.iter().map(|(a, b)| rates[*a] * rates[*b]).sum();
            let share = if all_pairs > 0.0 { total / all_pairs } else { 0.0 };
            listed
                .extend(pairs.into_iter().map(|(a, b)| (vec![a, b], rates[a] * rates[b] * share)));
        }
        if scope.intermittent && circuit.conditions.is_some() {
            let first = library.len();
            for (id, part) in circuit.parts_with_ids() {
                let modes = intermittent(part).into_iter();
                library.extend(modes.map(|m| (Fault { part: id, mode: m.name.clone() }, m)));
            }
            let sum: f64 = library[first..].iter().map(|(_, mode)| mode.rate).sum();
            let share = if sum > 0.0 { total / sum } else { 0.0 };
            listed.extend((first..library.len()).map(|at| (vec![at], library[at].1.rate * share)));
        }
        if scope.nothing {
            listed.push((Vec::new(), total));
        }
        Self { library, listed }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.listed.len()
    }

    /// Whether there is none: no part can fail.
    pub fn is_empty(&self) -> bool {
        self.listed.is_empty()
    }

    /// How often one is drawn, relative to the others.
    pub fn weight(&self, at: usize) -> f64 {
        self.listed[at].1
    }

    /// One of them.
    pub fn cause(&self, at: usize) -> Cause {
        let faults = self.listed[at].0.iter().map(|fault| self.library[*fault].0.clone());
        Cause { faults: faults.collect() }
    }

    /// The parts that it changes, and into what.
    pub fn failures(&self, at: usize) -> Vec<(PartId, Kind)> {
        let faults = self.listed[at].0.iter().map(|fault| &self.library[*fault]);
        let failures = faults.filter(|(_, mode)| mode.left.is_none() && mode.under.is_none());
        failures.map(|(fault, mode)| (fault.part, mode.faulted.clone())).collect()
    }

    /// The parts that it changes only while the aircraft is exposed to something, into what,
    /// and to what.
    pub fn latent(&self, at: usize) -> Vec<(PartId, Kind, Exposure)> {
        let faults = self.listed[at].0.iter().map(|fault| &self.library[*fault]);
        faults
            .filter_map(|(fault, mode)| Some((fault.part, mode.faulted.clone(), mode.under?)))
            .collect()
    }

    /// The controls that it leaves in the wrong place, and where.
    pub fn left(&self, at: usize) -> Vec<(PartId, Left)> {
        let faults = self.listed[at].0.iter().map(|fault| &self.library[*fault]);
        faults.filter_map(|(fault, mode)| Some((fault.part, mode.left?))).collect()
    }

    /// The place of a cause.
    pub fn position(&self, cause: &Cause) -> Option<usize> {
        self.listed.iter().position(|(places, _)| {
            let faults = places.iter().map(|place| &self.library[*place].0);
            faults.eq(&cause.faults)
        })
    }
}

/// The ways in which a part can have been left in the wrong place: a control that stays
/// where it is put in every position but its usual one, a breaker out.
pub fn left(part: &Part) -> Vec<FaultMode> {
    let mode = |name: String, text: String, left: Left| FaultMode {
        name,
        text,
        rate: 0.0,
        source: "an assumption: controls are forgotten as often as parts fail",
        faulted: part.kind.clone(),
        range: None,
        left: Some(left),
        under: None,
    };
    if let Kind::Breaker(_) = part.kind {
        return vec![mode(LEFT_OUT.to_owned(), "was left out".to_owned(), Left::Out)];
    }
    let Some(control) = part.kind.control().filter(|control| !control.springs_back) else {
        return Vec::new();
    };
    (0..)
        .zip(&control.positions)
        .filter(|(at, _)| *at != control.start)
        .map(|(at, position)| {
            mode(format!("{LEFT_AT}{position}"), format!("was left at {position}"), Left::At(at))
        })
        .collect()
}

/// What is said of a mode that a part has not; a call may name a wrong place too.
fn unknown_call(part: &Part, typed: &str) -> FaultError {
    let known = modes(part).into_iter().chain(left(part)).map(|mode| mode.name);
    FaultError::UnknownMode {
        part: part.id.clone(),
        typed: typed.to_owned(),
        known: known.collect(),
    }
}

/// The mode of this name of a part, without regard to case; a wrong place counts too, and a
/// fault that comes and goes.
pub fn mode_of(part: &Part, name: &str) -> Option<FaultMode> {
    let all = || modes(part).into_iter().chain(left(part)).chain(intermittent(part));
    all().find(|mode| mode.name.eq_ignore_ascii_case(name))
}

/// The ways in which a part can fail and come right again: what is a matter of contact, under
/// each exposure. Which of a system's modes those are is common practice, no published
/// source.
pub fn intermittent(part: &Part) -> Vec<FaultMode> {
    let loose = |mode: &FaultMode| {
        let name = mode.name.as_str();
        name.split('-').any(|word| word == "open" || word == "chafed")
            || name.contains("high-resistance")
            || name == "pulled-out"
    };
    let under = |mode: &FaultMode, exposure: Exposure| FaultMode {
        name: format!("{}~{}", mode.name, exposure.name()),
        text: format!("{}, only with {}", mode.text, exposure.name()),
        under: Some(exposure),
        ..mode.clone()
    };
    modes(part)
        .iter()
        .filter(|mode| loose(mode))
        .flat_map(|mode| Exposure::ALL.map(|exposure| under(mode, exposure)))
        .collect()
}

/// Reads `PART:MODE`, `PART:MODE + PART:MODE`, or `nothing`.
///
/// # Errors
/// [`FaultError`] saying what is not there and what is.
pub fn parse_cause(circuit: &Circuit, typed: &str) -> Result<Cause, FaultError> {
    if typed.trim().eq_ignore_ascii_case(NOTHING) {
        return Ok(Cause::nothing());
    }
    let mut faults: Vec<Fault> = Vec::new();
    for one in typed.split(" + ") {
        let Some((part_name, mode_name)) = one.trim().split_once(':') else {
            return Err(malformed(circuit, one));
        };
        let id = super::find_part(circuit, part_name)?;
        let part = circuit.part(id);
        let mode = mode_of(part, mode_name).ok_or_else(|| unknown_call(part, mode_name))?;
        let fault = Fault { part: id, mode: mode.name };
        if let Some(first) = faults.iter().find(|first| first.part == id) {
            return Err(FaultError::TwoModes {
                part: part.id.clone(),
                first: first.code(circuit),
                second: fault.code(circuit),
            });
        }
        faults.push(fault);
    }
    if faults.len() > 2 {
        return Err(FaultError::TooMany { count: faults.len() });
    }
    faults.sort();
    Ok(Cause { faults })
}
