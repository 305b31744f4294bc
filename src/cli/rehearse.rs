//! `halfsplit rehearse`: simulated trainees, and how they are marked; `halfsplit rubric`:
//! the page that says how.

use std::io::Write;
use std::sync::Arc;

use anyhow::{Context, Result, bail};
use serde_json::{Map, Value, json};

use super::{Ended, args};
use crate::circuit::Circuit;
use crate::diagnostic::plain;
use crate::isolation::{Isolation, crew_stations};
use crate::library;
use crate::rehearsal::{
    Difficulty, Ground, Habit, Run, area_under_curve, ground_of, quantile, rehearse,
};
use crate::score::{Ending, Rubric};
use crate::screen::wrap;
use crate::units::significant;

/// Rehearses and prints.
pub(super) fn run(arguments: &args::Rehearse) -> Result<Ended> {
    let (circuit, isolation, hidden) = ground(arguments)?;
    let deck = crew_stations(&circuit)
        .next()
        .context("no station of this system is the crew's, so nobody writes anything up")?;
    let ground = match &hidden {
        Some(hidden) => Ground::of_drill(&isolation, deck, hidden),
        None => Ground::new(&isolation, deck),
    };
    let all: Vec<(Habit, Vec<Run>)> = Habit::ALL
        .into_iter()
        .map(|habit| (habit, rehearse(&ground, habit, arguments.runs, arguments.seed)))
        .collect();
    let mut out = std::io::stdout().lock();
    if arguments.json {
        writeln!(out, "{}", as_json(arguments.runs, &all))?;
    } else {
        writeln!(out, "{}", plain(&circuit.title_with_mods()))?;
        as_text(&mut out, arguments.runs, &all)?;
    }
    Ok(Ended::Well)
}

/// The table of a system, or of a drill with which of its candidates it may hide.
type Table = (Arc<Circuit>, Isolation, Option<Vec<(usize, f64)>>);

fn ground(arguments: &args::Rehearse) -> Result<Table> {
    if let (system, Some(drill)) = library::split_drill(&arguments.build.system) {
        if !arguments.build.mods.is_empty() {
            bail!("{system}/{drill} is a drill that says this itself: leave --mod out");
        }
        let ready = library::scenario(system, drill)?.ready;
        let (isolation, hidden) = ground_of(&ready, arguments.seed)?;
        return Ok((ready.circuit, isolation, Some(hidden)));
    }
    let circuit = Arc::new(arguments.build.load()?);
    let isolation = Isolation::of_system(&circuit)?;
    if isolation.candidates().is_empty() {
        bail!("the crew would notice no fault of this system");
    }
    Ok((circuit, isolation, None))
}

/// Prints the page on the rubric.
pub(super) fn rubric() -> Result<Ended> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "How a drill is marked, out of 100:\n")?;
    for paragraph in Rubric::shipped().explained() {
        writeln!(out, "{}\n", wrap(&paragraph, 78).join("\n"))?;
    }
    Ok(Ended::Well)
}

fn of(runs: &[Run], figure: impl Fn(&Run) -> f64) -> Vec<f64> {
    runs.iter().map(figure).collect()
}

fn fraction(runs: &[Run], counts: impl Fn(&Run) -> bool) -> f64 {
    runs.iter().filter(|run| counts(run)).count() as f64 / runs.len() as f64
}

fn proven(runs: &[Run]) -> f64 {
    fraction(runs, |run| run.record.ending == Ending::Proven)
}

fn wrong(runs: &[Run]) -> f64 {
    fraction(runs, |run| run.record.ending == Ending::Wrong)
}

/// How hard the drills are.
fn difficulty(all: &[(Habit, Vec<Run>)]) -> Difficulty {
    let of = |wanted: Habit| {
        all.iter().find(|(habit, _)| *habit == wanted).map_or(&[][..], |(_, runs)| &runs[..])
    };
    Difficulty::of(of(Habit::BestStep), of(Habit::MisreadsTheNeedle))
}

/// How surely the marks tell a half-splitter from a parts swapper.
fn separation(all: &[(Habit, Vec<Run>)]) -> f64 {
    let totals = |wanted: Habit| -> Vec<f64> {
        let runs = all.iter().find(|(habit, _)| *habit == wanted);
        runs.map_or(Vec::new(), |(_, runs)| of(runs, |run| run.score.total))
    };
    area_under_curve(&totals(Habit::HalfSplitter), &totals(Habit::PartsSwapper))
}

fn as_json(runs: u32, all: &[(Habit, Vec<Run>)]) -> Value {
    let spread = |values: &[f64]| {
        json!({
            "p10": quantile(values, 0.1),
            "median": quantile(values, 0.5),
            "p90": quantile(values, 0.9),
        })
    };
    let habits: Map<String, Value> = all
        .iter()
        .map(|(habit, runs)| {
            let told = json!({
                "score": spread(&of(runs, |run| run.score.total)),
                "minutes": spread(&of(runs, |run| run.record.minutes)),
                "parts": spread(&of(runs, |run| f64::from(run.parts))),
                "proven": proven(runs),
                "wrong": wrong(runs),
            });
            (habit.name().to_owned(), told)
        })
        .collect();
    let Difficulty { over_best, wrong: error_rate } = difficulty(all);
    json!({
        "runs": runs,
        "habits": habits,
        "separation": separation(all),
        "difficulty": { "minutes_over_best": over_best, "error_rate": error_rate },
    })
}

fn as_text(out: &mut impl Write, runs: u32, all: &[(Habit, Vec<Run>)]) -> Result<()> {
    writeln!(out, "{runs} drills for each habit")?;
    writeln!(out, "{:<20} {:>18}  {:>22}  {:>6} {:>6} {:>6}", "", "score", "minutes", "", "", "")?;
    writeln!(
        out,
        "{:<20} {:>5} {:>6} {:>5}  {:>6} {:>7} {:>7}  {:>6} {:>6} {:>6}",
        "habit", "p10", "median", "p90", "p10", "median", "p90", "parts", "proven", "wrong"
    )?;
    for (habit, runs) in all {
        let score = of(runs, |run| run.score.total);
        let minutes = of(runs, |run| run.record.minutes);
        writeln!(
            out,
            "{:<20} {:>5.0} {:>6.0} {:>5.0}  {:>6.1} {:>7.1} {:>7.1}  {:>6.1} {:>4.0} % {:>4.0} %",
            habit.name(),
            quantile(&score, 0.1),
            quantile(&score, 0.5),
            quantile(&score, 0.9),
            quantile(&minutes, 0.1),
            quantile(&minutes, 0.5),
            quantile(&minutes, 0.9),
            of(runs, |run| f64::from(run.parts)).iter().sum::<f64>() / runs.len() as f64,
            100.0 * proven(runs),
            100.0 * wrong(runs)
        )?;
    }
    writeln!(
        out,
        "A half-splitter is marked above a parts swapper {} % of the time.",
        significant(100.0 * separation(all), 4)
    )?;
    let Difficulty { over_best: over, wrong: errors } = difficulty(all);
    writeln!(
        out,
        "Difficulty: a middling trainee takes {} times the minutes of the best steps and calls {} % \
         wrong.",
        significant(over, 3),
        significant(100.0 * errors, 2)
    )?;
    Ok(())
}
