//! What a written drill asks of whoever works it: par, the advised way, and how hard it is.

use thiserror::Error;

use super::{Difficulty, Ground, Habit, rehearse};
use crate::isolation::{Isolation, crew_stations};
use crate::network::SolveError;
use crate::planning::{self, ProblemError};
use crate::scenario::{Ready, advised};

/// The figures of one drill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Expected minutes of the best strategy known from the write-up on.
    pub par_minutes: f64,
    /// No strategy takes fewer.
    pub least_minutes: f64,
    /// Minutes of somebody who follows the advice, the mean over everything it may hide.
    pub advised_minutes: f64,
    /// Whether that leads to a proven call whatever it hides.
    pub proven: bool,
    /// How hard it is.
    pub difficulty: Difficulty,
}

/// Why a drill has no figures.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum NoFigures {
    /// Its circuit has no solution.
    #[error(transparent)]
    Unsolved(#[from] SolveError),
    /// There is nothing to isolate.
    #[error(transparent)]
    Nothing(#[from] ProblemError),
    /// The crew see no station.
    #[error("no station of this system is the crew's, so nobody writes anything up")]
    NoCrew,
    /// What it hides is so unlikely that the table leaves it out.
    #[error("what it hides is not among the likeliest, which alone are planned for")]
    TooUnlikely,
}

/// The table of a drill as its write-up leaves it, and which of its candidates may be hidden,
/// with how often.
///
/// # Errors
/// [`NoFigures`] when it cannot be worked out.
pub fn ground_of(ready: &Ready, seed: u64) -> Result<(Isolation, Vec<(usize, f64)>), NoFigures> {
    let mut session = ready.begin(seed)?;
    let (circuit, start) = (session.circuit().clone(), session.start().clone());
    let isolation = Isolation::new(session.belief()?, &circuit, &start);
    let place = |cause| isolation.causes().iter().position(|other| other == cause);
    let hidden: Vec<(usize, f64)> =
        ready.hidden.iter().filter_map(|(cause, weight)| Some((place(cause)?, *weight))).collect();
    if hidden.is_empty() { Err(NoFigures::TooUnlikely) } else { Ok((isolation, hidden)) }
}

/// Works a drill out: `work` is spent on par, and so many simulated trainees work it.
///
/// # Errors
/// [`NoFigures`] when it cannot be worked out.
pub fn figures(ready: &Ready, work: u64, runs: u32) -> Result<Figures, NoFigures> {
    let (isolation, hidden) = ground_of(ready, 1)?;
    let (problem, _) = isolation.problem(&isolation.start())?;
    let plan = planning::plan(&problem, work);
    let deck = crew_stations(&ready.circuit).next().ok_or(NoFigures::NoCrew)?;
    let ground = Ground::of_drill(&isolation, deck, &hidden);
    let of = |habit| rehearse(&ground, habit, runs, 1);
    let difficulty = Difficulty::of(&of(Habit::BestStep), &of(Habit::MisreadsTheNeedle));
    let (mut minutes, mut weights, mut proven) = (0.0, 0.0, true);
    for (cause, weight) in &ready.hidden {
        let way = advised(ready, cause, 1)?;
        proven &= way.is_some_and(|way| way.right);
        minutes += way.map_or(0.0, |way| way.minutes) * weight;
        weights += weight;
    }
    Ok(Figures {
        par_minutes: plan.upper,
        least_minutes: plan.lower,
        advised_minutes: minutes / weights,
        proven,
        difficulty,
    })
}
