//! The sums: trainees, faults, tests and habits.

use std::collections::BTreeMap;

use serde::Serialize;

use super::Judged;
use crate::score::HabitKind;
use crate::units::counted;

/// Habits that are named at the most, of a trainee and of the whole class.
const MOST_HABITS: usize = 3;

/// One trainee.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct TraineeLine {
    /// Drills that were called.
    pub drills: u32,
    /// Of these, those whose call was right and proven.
    pub proven: u32,
    /// Of these, those whose call was right and not proven.
    pub unproven: u32,
    /// Of these, those in which the wrong part was called.
    pub wrong: u32,
    /// Drills that were left without a call.
    pub left_open: u32,
    /// Attempts that were handed in and count for nothing.
    pub refused: u32,
    /// Minutes at the aircraft that count, in drills that were called.
    pub minutes: f64,
    /// What these are held against.
    pub par_minutes: f64,
    /// Minutes over what they are held against: the median of the drills that were proven.
    pub times_par: Option<f64>,
    /// Bits that tests promised less than the best step of their moment.
    pub wasted_bits: f64,
    /// Cautions gone against.
    pub cautions: u32,
    /// Points, drill after drill in the order in which they were begun.
    pub points: Vec<f64>,
    /// Habits, by what they are called.
    pub habits: BTreeMap<String, HabitLine>,
    /// Minutes over par of each drill that was proven, in ascending order.
    #[serde(skip)]
    ratios: Vec<f64>,
}

/// A habit of a trainee.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct HabitLine {
    /// Drills that showed it.
    pub drills: u32,
    /// What it would have cost by itself, drill by drill, in points.
    pub points: f64,
}

/// One fault.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FaultLine {
    /// How often it was hidden.
    pub hidden: u32,
    /// How often the right part was called and proven.
    pub proven: u32,
    /// How often the right part was called without a proof.
    pub unproven: u32,
    /// How often another part was called.
    pub wrong: u32,
    /// How often no call was made.
    pub left_open: u32,
    /// What was called instead, and how often.
    pub called_as: BTreeMap<String, u32>,
}

/// What a class has done.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Class {
    /// Attempts that count.
    pub attempts: u32,
    /// Attempts that were handed in under several names of which no signature decides: they
    /// count for nobody.
    pub disputed: usize,
    /// Lines and files that cannot be read.
    pub unreadable: usize,
    /// Trainees by name.
    pub trainees: BTreeMap<String, TraineeLine>,
    /// Faults, by drill's system and code.
    pub faults: BTreeMap<String, FaultLine>,
    /// Habits, and in how many drills of the class each showed.
    pub habits: BTreeMap<String, u32>,
    /// Tests that were made when they could tell nothing, and how often.
    pub useless_tests: BTreeMap<String, u32>,
    /// What was handed in more than once: the signed one counts, or else the longest; of two
    /// trainees neither where no signature decides.
    pub again: Vec<String>,
    /// What does not count: file and line, whose it is, and why.
    pub refused: Vec<String>,
}

impl Class {
    /// Adds an attempt that counts.
    pub(super) fn add(&mut self, one: &Judged) {
        self.attempts += 1;
        let line = self.trainees.entry(one.trainee.to_string()).or_default();
        let fault = self.faults.entry(format!("{} {}", one.system, one.hidden)).or_default();
        fault.hidden += 1;
        if one.called.is_empty() {
            line.left_open += 1;
            fault.left_open += 1;
            return;
        }
        line.drills += 1;
        line.minutes += one.minutes;
        line.par_minutes += one.par_minutes;
        line.wasted_bits += one.wasted_bits;
        line.cautions += u32::try_from(one.cautions).unwrap_or(u32::MAX);
        line.points.push(one.points);
        if one.is_proven() {
            line.proven += 1;
            fault.proven += 1;
            line.proven_in(one.times_par());
        } else if one.right {
            line.unproven += 1;
            fault.unproven += 1;
        } else {
            line.wrong += 1;
            fault.wrong += 1;
            *fault.called_as.entry(one.called.to_string()).or_default() += 1;
        }
        for (kind, points) in &one.habits {
            let habit = line.habits.entry(kind.title().to_owned()).or_default();
            habit.drills += 1;
            habit.points += points;
            *self.habits.entry(kind.title().to_owned()).or_default() += 1;
        }
        for test in &one.useless {
            *self.useless_tests.entry(format!("{}: {test}", one.system)).or_default() += 1;
        }
    }

    /// Adds an attempt of a trainee that counts for nothing.
    pub(super) fn refuse(&mut self, trainee: &str) {
        self.trainees.entry(trainee.to_owned()).or_default().refused += 1;
    }

    /// How many attempts count and how many do not, in words.
    pub(super) fn counted(&self) -> String {
        let count = counted(self.attempts as usize, "attempt");
        let not: Vec<String> = [
            (self.refused.len() - self.unreadable, "refused"),
            (self.disputed, "under several names"),
            (self.unreadable, "unreadable"),
        ]
        .into_iter()
        .filter(|(many, _)| *many > 0)
        .map(|(many, why)| format!("{many} {why}"))
        .collect();
        let not = match not.as_slice() {
            [] => String::new(),
            not => format!(" Not counted: {}.", not.join(", ")),
        };
        format!("Counted: {count} of {}.{not}", counted(self.trainees.len(), "trainee"))
    }

    /// Trainees, whoever needs help most first: those of whom nothing counts, then by their
    /// mean points, a drill without a call taken for none, then by name.
    pub(super) fn neediest_first(&self) -> Vec<(&str, &TraineeLine)> {
        let mut lines: Vec<(&str, &TraineeLine)> =
            self.trainees.iter().map(|(name, line)| (name.as_str(), line)).collect();
        // Names are in order already, and a stable sort leaves them so.
        lines.sort_by(|a, b| a.1.standing().total_cmp(&b.1.standing()));
        lines
    }

    /// Faults, those that were missed most often first, then by name.
    pub(super) fn hardest_first(&self) -> Vec<(&str, &FaultLine)> {
        let mut lines: Vec<(&str, &FaultLine)> =
            self.faults.iter().map(|(fault, line)| (fault.as_str(), line)).collect();
        lines.sort_by_key(|(_, line)| std::cmp::Reverse((line.wrong, line.unproven)));
        lines
    }

    /// The habits that most drills of the class showed.
    pub(super) fn commonest_habits(&self) -> Vec<(&str, u32)> {
        most_frequent(&self.habits).into_iter().take(MOST_HABITS).collect()
    }

    /// What the commonest habits stand under.
    pub(super) fn habits_title(&self) -> String {
        let called: u32 = self.trainees.values().map(|line| line.drills).sum();
        format!("Habits seen most often, in {} with a call", counted(called as usize, "drill"))
    }

    /// Tests that told nothing, the most frequent first.
    pub(super) fn useless_sorted(&self) -> Vec<(&str, u32)> {
        most_frequent(&self.useless_tests)
    }
}

/// What was counted, the most frequent first, then by name.
fn most_frequent(counts: &BTreeMap<String, u32>) -> Vec<(&str, u32)> {
    let mut all: Vec<(&str, u32)> =
        counts.iter().map(|(what, times)| (what.as_str(), *times)).collect();
    all.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    all
}

impl TraineeLine {
    /// Takes in how long a drill that was proven took beside par.
    fn proven_in(&mut self, ratio: f64) {
        let at = self.ratios.partition_point(|other| *other < ratio);
        self.ratios.insert(at, ratio);
        let middle = self.ratios.len() / 2;
        self.times_par = Some(if self.ratios.len() % 2 == 1 {
            self.ratios[middle]
        } else {
            f64::midpoint(self.ratios[middle - 1], self.ratios[middle])
        });
    }

    /// Points a drill; `None` where none was called.
    pub fn mean_points(&self) -> Option<f64> {
        let sum: f64 = self.points.iter().sum();
        (!self.points.is_empty()).then(|| sum / self.points.len() as f64)
    }

    /// Points a drill where one that was left without a call has none; below nought where
    /// nothing counts.
    fn standing(&self) -> f64 {
        let drills = f64::from(self.drills + self.left_open);
        if drills == 0.0 { -1.0 } else { self.points.iter().sum::<f64>() / drills }
    }

    /// The habits to work on: cautions gone against, and the three others that most drills
    /// showed, of equals those that cost more.
    pub(super) fn worst_habits(&self) -> Vec<(&str, HabitLine)> {
        let mut habits: Vec<(&str, HabitLine)> =
            self.habits.iter().map(|(habit, line)| (habit.as_str(), *line)).collect();
        let cautions = |habit: &str| habit == HabitKind::AgainstCautions.title();
        habits.sort_by(|a, b| {
            (cautions(b.0).cmp(&cautions(a.0)))
                .then(b.1.drills.cmp(&a.1.drills))
                .then(b.1.points.total_cmp(&a.1.points))
                .then(a.0.cmp(b.0))
        });
        let most =
            MOST_HABITS + usize::from(habits.first().is_some_and(|(habit, _)| cautions(habit)));
        habits.truncate(most);
        habits
    }
}
