//! What can be found out about a scenario only by working it out: whether the write-up gives
//! it away, whether anybody could prove it, whether it is what its author thinks.

use super::Ready;
use super::file::{Scenario, Tells};
use crate::diagnostic::{Diagnostic, Severity};
use crate::drill::{Action, Advice, Outcome, PROVEN, Session, Terms};
use crate::faults::Cause;
use crate::network::SolveError;

/// Steps after which following the advice is given up.
const MOST_STEPS: usize = 200;

/// Warnings about a scenario that fits its system, for each thing it may hide; an error where
/// its circuit has no solution.
pub fn advice(scenario: &Scenario, ready: &Ready) -> Vec<Diagnostic> {
    worked_out(scenario, ready).unwrap_or_else(|error| {
        let message = format!("this drill cannot be worked out: {error}");
        vec![scenario.finding(Severity::Error, "id", "no-solution", message, None)]
    })
}

fn worked_out(scenario: &Scenario, ready: &Ready) -> Result<Vec<Diagnostic>, SolveError> {
    let mut found = Vec::new();
    let field = if scenario.sealed.is_some() { "sealed" } else { "hidden" };
    let mut warn = |field: &str, code, message: String| {
        found.push(scenario.finding(Severity::Warning, field, code, message, None));
    };
    for (at, (cause, _)) in ready.hidden.iter().enumerate() {
        let (circuit, scope) = (ready.circuit.clone(), ready.scope);
        // How long it takes is told with the limit, so nothing is cut off here.
        let terms = Terms { most_minutes: None, ..ready.terms.clone() };
        let seed = ready.seed.unwrap_or(1);
        let mut session = Session::planted_on(circuit, cause.clone(), scope, terms, seed)?;
        // A sealed drill keeps its secret here too.
        let which = match (ready.hidden.len(), scenario.sealed.is_some()) {
            (1, _) => "what it hides".to_owned(),
            (_, true) => format!("number {} of what it may hide", at + 1),
            (_, false) => format!("`{}`", cause.code(&ready.circuit)),
        };
        let circuit = session.circuit().clone();
        if session.belief()?.group_probability(&circuit, cause) >= PROVEN {
            warn("write_up", "given-away", format!("the write-up alone proves {which}"));
            continue;
        }
        let tells_nothing = session.write_up().symptoms.is_empty() && !cause.faults().is_empty();
        if tells_nothing && matches!(scenario.write_up.tells, Tells::Misleading) {
            let message = "there is nothing unusual to mislead with: the crew see no difference";
            warn("write_up", "nothing-to-tell", message.to_owned());
        }
        match follow(&mut session, cause) {
            Some(Advised { right: true, minutes }) => {
                if let Some(most) = scenario.minutes.filter(|most| minutes > *most) {
                    let message = format!(
                        "{which} takes {} as advised, more than the {} there are",
                        crate::units::minutes(minutes),
                        crate::units::minutes(most)
                    );
                    warn("minutes", "too-short", message);
                }
            }
            Some(Advised { right: false, .. }) => {
                let message = format!("following the advice does not prove {which}");
                warn(field, "not-provable", message);
            }
            None => {
                warn(field, "not-provable", format!("no allowed step leads on to {which}"));
            }
        }
    }
    Ok(found)
}

/// Where following the advice has led.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advised {
    /// Whether what was hidden was called, and proven by then.
    pub right: bool,
    /// Minutes at the call.
    pub minutes: f64,
}

/// Works a drill as advised where it hides this, whatever help its rules allow and however
/// long that takes; `None` where the advice leads nowhere.
///
/// # Errors
/// [`SolveError`] when the circuit or the faulted circuit has no solution.
pub fn advised(ready: &Ready, cause: &Cause, seed: u64) -> Result<Option<Advised>, SolveError> {
    let (circuit, scope) = (ready.circuit.clone(), ready.scope);
    // How long it takes is told with the limit, so nothing is cut off here.
    let terms = Terms { most_minutes: None, ..ready.terms.clone() };
    let seed = ready.seed.unwrap_or(seed);
    let mut session = Session::planted_on(circuit, cause.clone(), scope, terms, seed)?;
    Ok(follow(&mut session, cause))
}

/// Works a drill as advised, whatever help its own rules allow.
fn follow(session: &mut Session, planted: &Cause) -> Option<Advised> {
    for _ in 0..MOST_STEPS {
        match session.apply(Action::Advise) {
            Outcome::Advised(Advice::Call { cause, group_probability }) => {
                let circuit = session.circuit();
                let group = cause.repair_group(circuit);
                let right = group == planted.repair_group(circuit) && group_probability >= PROVEN;
                return Some(Advised { right, minutes: session.minutes() });
            }
            Outcome::Advised(Advice::Do { prospect, .. }) => {
                for step in prospect.path() {
                    if !matches!(session.apply(Action::Step(step)), Outcome::Done(_)) {
                        return None;
                    }
                }
            }
            _ => return None,
        }
    }
    None
}
