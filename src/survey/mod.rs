//! What an author wants to know of a system that reads without errors: what its own circuit
//! says when it is solved.
//!
//! Each finding is worked out from the model alone: from the normal setup, from each control
//! moved by itself, and from what the parts join. The rules come from published charts where
//! there are any, and each says which. The text of the file has been held against its own
//! rules by then (see [`crate::circuit`]).
//!
//! A survey is cheap: it looks at no more states than fit a fixed amount of work, so that an
//! author can have it after every change. What it did not look at it says nothing of.

mod hidden;
mod joints;
mod places;
mod protection;
mod states;
mod supply;

use std::sync::Arc;

use crate::circuit::{Circuit, Origins, PartId, Remark, Sources, Spot, check_builds_with};
use crate::diagnostic::{Diagnostic, Severity};

pub use protection::{ProtectorLimit, WIRE_PROTECTION};
pub use supply::{DROP_LIMITS, DropLimit};

/// How much is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// As much as fits a fixed amount of work.
    #[default]
    Quick,
    /// All of it, however long it takes.
    Thorough,
}

/// Reads a system in every build an author should look at, and surveys each.
///
/// As [`crate::circuit::check_builds`], with the findings of the model among the others.
///
/// ```
/// let text = r#"System(
///     id: "lamp", title: "A lamp",
///     stations: [Station(id: "desk", title: "DESK")],
///     nets: ["BAT", "SW"],
///     parts: [
///         Supply(id: "B1", at: "desk", plus: "BAT"),
///         Breaker(id: "CB1", at: "desk", line: "BAT", load: "SW", amps: 50),
///         Wire(id: "W1", at: "desk", a: "SW", b: "GND", gauge: 20, feet: 400),
///     ],
/// )"#;
/// let (_, findings) = halfsplit::survey::check("lamp.ron", text, Default::default());
/// assert!(findings.iter().any(|finding| finding.code == "protector-too-large"));
/// ```
pub fn check(file_name: &str, text: &str, effort: Effort) -> (Option<Circuit>, Vec<Diagnostic>) {
    check_sources(&Sources::single(file_name, text), effort)
}

/// As [`check`], of a system in one file or several.
pub fn check_sources(sources: &Sources, effort: Effort) -> (Option<Circuit>, Vec<Diagnostic>) {
    check_builds_with(sources, |circuit, origins| look(circuit, origins, effort))
}

/// Surveys one build.
pub fn look(circuit: &Circuit, origins: &Origins, effort: Effort) -> Vec<Remark> {
    let circuit = Arc::new(circuit.clone());
    let mut found = Found { origins, list: Vec::new() };
    places::empty_stations(&circuit, &mut found);
    protection::look(&circuit, &mut found);
    let states = match states::States::of(&circuit, effort) {
        Ok(states) => states,
        Err(why) => {
            let message = format!("the normal setup has no solution: {why}");
            found.add(Severity::Error, "no-solution", Spot::System, message, None);
            return found.list;
        }
    };
    states::look(&circuit, &states, &mut found);
    supply::look(&circuit, &states, &mut found);
    places::cautions(&circuit, &states, &mut found);
    hidden::look(&circuit, effort, &mut found);
    found.list
}

/// What has been found so far.
struct Found<'a> {
    origins: &'a Origins,
    list: Vec<Remark>,
}

impl Found<'_> {
    fn add(
        &mut self,
        severity: Severity,
        code: &'static str,
        spot: Spot,
        message: String,
        hint: Option<&str>,
    ) {
        let hint = hint.map(str::to_owned);
        self.list.push(Remark { severity, code, spot, message, hint });
    }

    fn warn(&mut self, code: &'static str, spot: Spot, message: String, hint: Option<&str>) {
        self.add(Severity::Warning, code, spot, message, hint);
    }

    /// A part as messages call it.
    fn who(&self, part: PartId) -> &str {
        self.origins.who(part)
    }
}
