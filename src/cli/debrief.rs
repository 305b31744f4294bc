//! The debrief as plain lines, every figure in words so that it can be spoken; and as a
//! file.

use std::io::Write;
use std::path::Path;

use anyhow::{Context, Result, bail};

use super::whole_file;
use crate::diagnostic::plain;
use crate::drill::Session;
use crate::report;
use crate::score::{Debrief, LEGEND, Point};
use crate::units::{counted, minutes, significant};

/// Refuses a file that could not be written in the end, before anybody has worked for it.
///
/// # Errors
/// When it is a folder, or lies in none.
pub(super) fn can_be_written(path: &Path) -> Result<()> {
    super::whole_file::is_no_logbook(path)?;
    let name = plain(&path.to_string_lossy());
    let folder = match path.parent() {
        Some(folder) if folder.as_os_str().is_empty() => Path::new("."),
        Some(folder) => folder,
        None => bail!("the report cannot be written to {name}: it is a folder"),
    };
    if path.is_dir() {
        bail!("the report cannot be written to {name}: it is a folder");
    }
    if !folder.is_dir() {
        bail!("the report cannot be written to {name}: there is no such folder");
    }
    Ok(())
}

/// Writes the report, whole or not at all; says so in one sentence.
///
/// # Errors
/// When it cannot be written.
pub(super) fn write_report(path: &Path, session: &Session, debrief: &Debrief) -> Result<String> {
    let page = report::html(session, debrief)?;
    whole_file::write(path, &page).context("no report was written")?;
    Ok(format!("The report is in {}.", plain(&path.to_string_lossy())))
}

/// Faults of one reason told by name. Single faults of a system are fewer; of pairs there
/// can be a hundred thousand.
const MOST_FAULTS: usize = 1000;

/// Prints the debrief.
///
/// # Errors
/// When it cannot be written.
pub(super) fn write(out: &mut impl Write, debrief: &Debrief) -> Result<()> {
    let verdict = &debrief.verdict;
    writeln!(out, "Debrief.")?;
    writeln!(out, "You called {}. {}", plain(&verdict.called), plain(&verdict.sentence))?;
    writeln!(out, "The fault was {}: {}.", plain(&verdict.planted), plain(&verdict.planted_text))?;
    writeln!(
        out,
        "{} in all, {} steps; the write-up left {} faults possible.",
        minutes(debrief.minutes),
        debrief.rows.len(),
        debrief.start_candidates
    )?;
    writeln!(out, "{}.", debrief.score_told())?;
    for line in &debrief.readings {
        writeln!(out, "Needles: {}.", plain(line))?;
    }
    writeln!(out, "Minutes: {}.", debrief.par_told())?;
    for (index, row) in debrief.rows.iter().enumerate() {
        writeln!(
            out,
            "{}. [{}] {}{}",
            index + 1,
            minutes(row.clock),
            plain(&row.step),
            if row.advice_taken { " (advised)" } else { "" }
        )?;
        writeln!(
            out,
            "   expected {} bits, gained {}, {}; {} in {} left",
            bits(row.expected_bits),
            bits(row.gained_bits),
            minutes(row.minutes),
            counted(row.candidates, "fault"),
            counted(row.groups, "group")
        )?;
        writeln!(out, "   {}.", plain(&row.remark))?;
        if let Some(loss) = row.loss_told() {
            writeln!(out, "   {loss}.")?;
        }
        if let Some(most) = row.most_told() {
            writeln!(out, "   {}.", plain(&most))?;
        }
    }
    writeln!(out, "What the figures mean:")?;
    for (term, meaning) in LEGEND.iter().filter(|(term, _)| term.len() > 1) {
        let term = if *term == "expect" { "expected" } else { *term };
        writeln!(out, "  {term}: {meaning}")?;
    }
    path(out, debrief)?;
    habits(out, debrief)?;
    known(out, debrief)?;
    for caution in &debrief.cautions {
        writeln!(out, "Against a caution: {}.", plain(caution))?;
    }
    if !debrief.parts_changed_good.is_empty() {
        writeln!(out, "Changed though good: {}.", plain(&debrief.parts_changed_good.join(", ")))?;
    }
    let left: Vec<String> = debrief
        .left
        .iter()
        .take(8)
        .map(|(fault, p)| format!("{} {} %", plain(fault), significant(100.0 * p, 3)))
        .collect();
    writeln!(out, "Still possible at the call: {}.", left.join(", "))?;
    if let Some(against) = &debrief.against {
        writeln!(out, "Of the wrong call: {}.", plain(against))?;
    }
    for still in &debrief.still {
        writeln!(out, "  {}: {}", plain(&still.fault), plain(&still.told))?;
    }
    if let Some(provable) = &debrief.provable {
        writeln!(out, "Proof: {}.", provable.told())?;
    }
    writeln!(out, "Why the others are out:")?;
    for reason in debrief.reasons() {
        let count = counted(reason.faults.len(), "fault");
        writeln!(out, "  {}, {count}: {}", reason.by(), plain(reason.why))?;
        writeln!(out, "    {}", plain(&reason.faults_told(Some(MOST_FAULTS))))?;
    }
    writeln!(out, "What happened inside:")?;
    for line in &debrief.story {
        writeln!(out, "  {}", plain(line))?;
    }
    Ok(())
}

/// What was left after every step, and along the best strategy known.
fn path(out: &mut impl Write, debrief: &Debrief) -> Result<()> {
    let path = &debrief.path;
    writeln!(out, "Your way, what was left after each step:")?;
    for (after, point) in path.own.iter().enumerate() {
        let what = match after {
            0 => "the write-up".to_owned(),
            step => format!("step {step}"),
        };
        writeln!(out, "  {}", left_after(&what, point))?;
    }
    if path.par.is_empty() {
        writeln!(out, "Par has no way of its own: the write-up settles this fault.")?;
    } else {
        writeln!(out, "Par's way to this fault:")?;
        for (number, step) in path.par.iter().enumerate() {
            let what = format!("test {}, {}", number + 1, plain(&step.step));
            writeln!(out, "  {}", left_after(&what, &step.point))?;
        }
    }
    writeln!(out, "Proof, yours and par's: {}.", path.proof_told())?;
    Ok(())
}

fn left_after(what: &str, point: &Point) -> String {
    format!("after {what}, at {}: {}", minutes(point.minutes), point.told())
}

fn habits(out: &mut impl Write, debrief: &Debrief) -> Result<()> {
    if debrief.habits.is_empty() {
        writeln!(out, "Habits to work on: none showed in this drill.")?;
        return Ok(());
    }
    writeln!(out, "Habits to work on, worst first:")?;
    for (number, habit) in debrief.habits.iter().enumerate() {
        writeln!(out, "{}. {}: {}.", number + 1, habit.kind.title(), habit.cost_told())?;
        writeln!(out, "   Seen: {}.", plain(&habit.evidence))?;
        writeln!(out, "   Instead: {}.", plain(&habit.instead))?;
    }
    Ok(())
}

/// What could have been known when, beside the marks that were made.
fn known(out: &mut impl Write, debrief: &Debrief) -> Result<()> {
    writeln!(out, "What you could have known, and what you had marked:")?;
    for (after, known) in debrief.known.iter().enumerate() {
        let what = match after {
            0 => "the write-up".to_owned(),
            step => format!("step {step}"),
        };
        writeln!(out, "  after {what}: {}", plain(&known.told()))?;
    }
    Ok(())
}

fn bits(value: f64) -> String {
    format!("{:.2}", if value.abs() < 0.005 { 0.0 } else { value })
}
