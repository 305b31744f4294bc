//! When a card is asked again: spaced repetition by FSRS-6, with the steps of a day before it.
//!
//! Stability, difficulty and intervals are worked out by the crate `fsrs` with its default
//! parameters of FSRS-6. Around it stand the usual learning steps: a new card is asked twice on
//! its first day before its interval counts in days, and one that was forgotten is asked again
//! on the same day.

use std::collections::BTreeMap;

use fsrs::{FSRS, MemoryState};

/// How well a card was remembered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rating {
    /// Not.
    Again,
    /// With much effort.
    Hard,
    /// As it should be.
    Good,
    /// At once.
    Easy,
}

impl Rating {
    /// The rating of this number, 1 to 4.
    pub fn of(number: u8) -> Option<Self> {
        match number {
            1 => Some(Self::Again),
            2 => Some(Self::Hard),
            3 => Some(Self::Good),
            4 => Some(Self::Easy),
            _ => None,
        }
    }

    /// Its number, 1 to 4.
    pub fn number(self) -> u8 {
        self as u8 + 1
    }
}

/// The probability of remembering at which a card is due.
const RETENTION: f32 = 0.9;

/// Steps within a day before a new card counts in days.
const LEARNING_STEPS: u8 = 2;

/// Where a card stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// New, at this step of its first day.
    Learning(u8),
    /// Asked at intervals of days.
    Review,
    /// Forgotten, to be asked again today.
    Relearning,
}

/// What is remembered of a card.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Memory {
    phase: Phase,
    /// Days in which the probability of remembering falls to 0.9.
    pub stability_days: f32,
    /// From 1, easy, to 10.
    pub difficulty: f32,
    /// The day of the last grade, counted from 1970-01-01.
    pub last_day: i64,
    /// The day on which it is due.
    pub due_day: i64,
}

fn fsrs() -> FSRS {
    FSRS::default()
}

impl Memory {
    /// What a card is remembered like after a grade on a day; `before` is `None` for a new one.
    pub fn after(before: Option<&Self>, rating: Rating, day: i64) -> Self {
        let fsrs = fsrs();
        let state = before.map(|memory| MemoryState {
            stability: memory.stability_days,
            difficulty: memory.difficulty,
        });
        let elapsed = before.map_or(0, |memory| (day - memory.last_day).max(0));
        let elapsed = u32::try_from(elapsed).unwrap_or(u32::MAX);
        let next = fsrs.next_states(state, RETENTION, elapsed).expect("the state is a valid one");
        let next = match rating {
            Rating::Again => next.again,
            Rating::Hard => next.hard,
            Rating::Good => next.good,
            Rating::Easy => next.easy,
        };
        let phase = match (before.map_or(Phase::Learning(0), |memory| memory.phase), rating) {
            (Phase::Learning(_), Rating::Again) => Phase::Learning(0),
            (Phase::Learning(step), Rating::Good) if step + 1 < LEARNING_STEPS => {
                Phase::Learning(step + 1)
            }
            (Phase::Review, Rating::Again) => Phase::Relearning,
            (same @ (Phase::Learning(_) | Phase::Relearning), Rating::Hard)
            | (same @ Phase::Relearning, Rating::Again) => same,
            _ => Phase::Review,
        };
        let days =
            if phase == Phase::Review { libm::roundf(next.interval).max(1.0) as i64 } else { 0 };
        Self {
            phase,
            stability_days: next.memory.stability,
            difficulty: next.memory.difficulty,
            last_day: day,
            due_day: day + days,
        }
    }

    /// The probability that it is remembered on a day.
    pub fn retrievability(&self, day: i64) -> f32 {
        let state = MemoryState { stability: self.stability_days, difficulty: self.difficulty };
        let days = (day - self.last_day).max(0) as f32;
        fsrs::current_retrievability(state, days, fsrs::FSRS6_DEFAULT_DECAY)
    }
}

/// Every card that has been graded.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Deck {
    /// The cards by name.
    pub cards: BTreeMap<String, Memory>,
    /// Days on which something was graded, and how often.
    pub days: BTreeMap<i64, u32>,
}

impl Deck {
    /// The deck after these grades, in their order: card, day, rating.
    pub fn of<'a>(grades: impl IntoIterator<Item = (&'a str, i64, Rating)>) -> Self {
        let mut deck = Self::default();
        for (card, day, rating) in grades {
            deck.grade(card, day, rating);
        }
        deck
    }

    /// Takes a grade.
    pub fn grade(&mut self, card: &str, day: i64, rating: Rating) {
        let memory = Memory::after(self.cards.get(card), rating, day);
        self.cards.insert(card.to_owned(), memory);
        *self.days.entry(day).or_default() += 1;
    }

    /// The cards that are due on a day, those least remembered first.
    pub fn due(&self, day: i64) -> Vec<&str> {
        let mut due: Vec<(&str, f32)> = self
            .cards
            .iter()
            .filter(|(_, memory)| memory.due_day <= day)
            .map(|(card, memory)| (card.as_str(), memory.retrievability(day)))
            .collect();
        due.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(b.0)));
        due.into_iter().map(|(card, _)| card).collect()
    }

    /// Days up to this one, without a gap, on which something was graded; a day that has only
    /// begun breaks no row.
    pub fn streak_days(&self, day: i64) -> u32 {
        let first = if self.days.contains_key(&day) { day } else { day - 1 };
        let row = (0..).map(|back| first - back).take_while(|day| self.days.contains_key(day));
        u32::try_from(row.count()).unwrap_or(u32::MAX)
    }

    /// How many cards fall due on each of so many days from this one on; what is overdue counts
    /// for the first.
    pub fn forecast(&self, day: i64, days: usize) -> Vec<u32> {
        let mut counts = vec![0; days];
        for memory in self.cards.values() {
            let at = usize::try_from((memory.due_day - day).max(0)).unwrap_or(usize::MAX);
            if let Some(count) = counts.get_mut(at) {
                *count += 1;
            }
        }
        counts
    }
}
