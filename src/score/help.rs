//! Help during a drill, short of the best next step: what has been shown, and what the last
//! step was worth.

use super::debrief::debrief;
use super::reckon::wrong_marks;
use crate::drill::{Help, Session};
use crate::network::SolveError;
use crate::units::{bits, counted, minutes};

/// What help of this degree says, one sentence an element.
///
/// # Errors
/// [`SolveError`] when some fault leaves the circuit without a solution.
pub fn help_told(session: &mut Session, help: Help) -> Result<Vec<String>, SolveError> {
    match help {
        Help::None | Help::BestStep => Ok(Vec::new()),
        Help::Reminder => reminder(session),
        Help::LastStep => last_step(session),
    }
}

/// What the write-up and each step have excluded, and how much is left.
fn reminder(session: &mut Session) -> Result<Vec<String>, SolveError> {
    let from_write_up = session.write_up().observations.len();
    let belief = session.belief()?.clone();
    let circuit = session.circuit();
    let mut out_by = vec![0; session.log().len() + 1];
    for exclusion in belief.candidates().iter().filter_map(|c| c.excluded.as_ref()) {
        out_by[exclusion.at.checked_sub(from_write_up).map_or(0, |step| step + 1)] += 1;
    }
    let groups = belief.group_posterior().iter().filter(|p| **p > 0.0).count();
    let mut told = vec![format!(
        "{} left of {}, in {}: {} of doubt.",
        counted(belief.alive().count(), "fault"),
        belief.candidates().len(),
        counted(groups, "repair group"),
        bits(belief.group_entropy_bits())
    )];
    told.push(format!("The write-up excluded {}.", out_by[0]));
    for (number, (entry, out)) in (1..).zip(session.log().iter().zip(&out_by[1..])) {
        let step = entry.observation.step.told(circuit);
        told.push(match out {
            0 => format!("Step {number}, {step}: excluded nothing."),
            out => format!("Step {number}, {step}: excluded {out}."),
        });
    }
    let wrong = wrong_marks(session, &belief);
    if wrong > 0 {
        let marks = counted(wrong as usize, "mark");
        told.push(format!("What was seen contradicts {marks} on your board."));
    }
    Ok(told)
}

/// The judgement on the last step, as the debrief will have it.
fn last_step(session: &Session) -> Result<Vec<String>, SolveError> {
    let debrief = debrief(session)?;
    let Some(row) = debrief.rows.last() else { return Ok(Vec::new()) };
    let mut told = vec![format!(
        "Step {}, {}, {}: {}.",
        debrief.rows.len(),
        row.step,
        minutes(row.minutes),
        row.remark
    )];
    told.push(format!(
        "It could be expected to tell {} and told {}.",
        bits(row.expected_bits),
        bits(row.gained_bits)
    ));
    Ok(told)
}
