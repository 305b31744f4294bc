//! Rehearsal: simulated trainees of stated habits work a system's drills, to see whether
//! the marks rank them by skill, and how hard the drills are.
//!
//! They work on the isolation table of the system ([`crate::isolation`]): a fault that the
//! crew would notice is drawn by its rate, the flight deck is looked at, and from there
//! each goes on as is their habit until they call. Their records are marked by the same
//! rubric as those of real drills.

mod figures;
mod ground;
mod habit;

pub use figures::{Figures, NoFigures, figures, ground_of};
pub use ground::Ground;
pub use habit::Habit;

use rayon::prelude::*;

use crate::chance::Chance;
use crate::score::{Ending, Record, Rubric, Score};

/// One drill of one simulated trainee.
#[derive(Clone, Debug)]
pub struct Run {
    /// What was done.
    pub record: Record,
    /// How it was marked.
    pub score: Score,
    /// Parts exchanged.
    pub parts: u32,
}

/// Lets a habit work so many drills. The same seed gives the same runs, on any number of
/// processors; run `n` of every habit has the same fault.
pub fn rehearse(ground: &Ground<'_>, habit: Habit, runs: u32, seed: u64) -> Vec<Run> {
    let rubric = Rubric::shipped();
    (0..runs)
        .into_par_iter()
        .map(|run| {
            let mut faults = Chance::stream(seed, &format!("rehearsal fault {run}"));
            let own = format!("rehearsal {} {run}", habit.name());
            let mut chance = Chance::stream(seed, &own);
            let (record, parts) = habit.work(ground, ground.draw(&mut faults), &mut chance);
            let score = record.marked(rubric);
            Run { record, score, parts }
        })
        .collect()
}

/// How hard drills are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difficulty {
    /// Minutes of a middling trainee over those of one who always makes the best step, on the
    /// same drills.
    pub over_best: f64,
    /// How often the middling trainee calls the wrong thing.
    pub wrong: f64,
}

impl Difficulty {
    /// Of the runs of [`Habit::BestStep`], and of those of a middling trainee, who knows what
    /// to do next but now and then misreads an instrument ([`Habit::MisreadsTheNeedle`]).
    pub fn of(best: &[Run], middling: &[Run]) -> Self {
        let minutes = |runs: &[Run]| runs.iter().map(|run| run.record.minutes).sum::<f64>();
        let wrong = middling.iter().filter(|run| run.record.ending == Ending::Wrong).count();
        Self {
            over_best: minutes(middling) / minutes(best).max(0.1),
            wrong: wrong as f64 / middling.len().max(1) as f64,
        }
    }
}

/// The area under the receiver operating characteristic between two lists of scores: how
/// often one of the first beats one of the second, a tie counting half (Hanley and
/// `McNeil` 1982, from memory).
pub fn area_under_curve(better: &[f64], worse: &[f64]) -> f64 {
    let mut wins = 0.0;
    for a in better {
        for b in worse {
            wins += match a.total_cmp(b) {
                std::cmp::Ordering::Greater => 1.0,
                std::cmp::Ordering::Equal => 0.5,
                std::cmp::Ordering::Less => 0.0,
            };
        }
    }
    wins / (better.len() as f64 * worse.len() as f64)
}

/// The value below which a fraction of a list lies: the nearest rank.
pub fn quantile(values: &[f64], fraction: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = libm::ceil(fraction * sorted.len() as f64) as usize;
    sorted.get(rank.saturating_sub(1)).copied().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_is_a_value_of_the_list_and_the_area_counts_pairs() {
        let values = [5.0, 1.0, 3.0, 4.0, 2.0];
        assert_eq!(quantile(&values, 0.5), 3.0);
        assert_eq!(quantile(&values, 0.1), 1.0);
        assert_eq!(quantile(&values, 0.9), 5.0);
        assert_eq!(area_under_curve(&[2.0, 3.0], &[1.0, 2.0]), 3.5 / 4.0);
    }
}
