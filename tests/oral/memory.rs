//! The memory of cards against published vectors of FSRS-6.

use halfsplit::oral::{Deck, Memory, Rating};

fn rated(ratings: &[u8], gaps: &[i64]) -> Memory {
    let mut memory: Option<Memory> = None;
    let mut day = 0;
    for (rating, gap) in ratings.iter().zip(gaps) {
        day += gap;
        let rating = Rating::of(*rating).expect("a rating");
        memory = Some(Memory::after(memory.as_ref(), rating, day));
    }
    memory.expect("graded")
}

/// FSRS-6 with its default parameters: ratings 1,3,3,3,3,3 after 0,0,1,3,8,21 days leave
/// S = 53.62691 and D = 6.3574867 (open-spaced-repetition/py-fsrs 6.3.1, `tests/test_basic.py`,
/// and fsrs-rs 6.6.1, `src/inference.rs`).
#[test]
fn memory_follows_the_published_vector() {
    let memory = rated(&[1, 3, 3, 3, 3, 3], &[0, 0, 1, 3, 8, 21]);
    assert!((memory.stability_days - 53.62691).abs() < 1e-3, "{}", memory.stability_days);
    assert!((memory.difficulty - 6.357_486_7).abs() < 1e-3, "{}", memory.difficulty);
}

/// Intervals when each card is asked on the day it is due: py-fsrs 6.3.1, `tests/test_basic.py`,
/// default parameters, learning steps as usual, no fuzz.
#[test]
fn intervals_follow_the_published_sequence() {
    let ratings = [3, 3, 3, 3, 3, 3, 1, 1, 3, 3, 3, 3, 3];
    let expected = [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21];
    let mut deck = Deck::default();
    let mut day = 0;
    let mut intervals = Vec::new();
    for rating in ratings {
        deck.grade("card", day, Rating::of(rating).expect("a rating"));
        let due = deck.cards["card"].due_day;
        intervals.push(due - day);
        day = due;
    }
    assert_eq!(intervals, expected);
}

/// The forgetting curve of FSRS-6 with its default decay, days 0 to 5 at stabilities
/// 1, 2, 3, 4, 4, 2: fsrs-rs 6.6.1, `src/model.rs`.
#[test]
fn remembering_follows_the_published_curve() {
    let expected = [1.0, 0.940_344_3, 0.925_378_6, 0.918_522_9, 0.9, 0.826_135_9];
    for ((day, stability), expected) in (0..).zip([1.0, 2.0, 3.0, 4.0, 4.0, 2.0]).zip(expected) {
        let mut memory = rated(&[3], &[0]);
        memory.stability_days = stability;
        let seen = memory.retrievability(day);
        assert!((seen - expected).abs() < 1e-5, "day {day}: {seen}");
    }
}

/// After stability has grown, a card falls due on the day on which the published curve passes
/// 0.9: at the stability itself, rounded (fsrs-rs 6.6.1, `src/model.rs`: the interval for a
/// retention of 0.9 is the stability).
#[test]
fn a_card_is_due_when_nine_in_ten_would_remember() {
    let memory = rated(&[1, 3, 3, 3, 3, 3], &[0, 0, 1, 3, 8, 21]);
    assert_eq!(memory.due_day - memory.last_day, 54);
    assert!(memory.retrievability(memory.due_day - 1) > 0.9);
    assert!(memory.retrievability(memory.due_day + 1) < 0.9);
}

/// The next difficulty from 5 by rating, after mean reversion: fsrs-rs 6.6.1, `src/model.rs`.
#[test]
fn difficulty_follows_the_published_step() {
    let expected = [8.341_763, 6.665_995_6, 4.990_228, 3.314_461_5];
    for (rating, expected) in (1..).zip(expected) {
        let mut before = rated(&[3, 3], &[0, 0]);
        (before.difficulty, before.stability_days) = (5.0, 5.0);
        let rating = Rating::of(rating).expect("a rating");
        let after = Memory::after(Some(&before), rating, before.last_day + 1);
        assert!((after.difficulty - expected).abs() < 1e-4, "{rating:?}: {}", after.difficulty);
    }
}

/// Stability after another grade on the same day, from 5, by rating: fsrs-rs 6.6.1,
/// `src/model.rs`.
#[test]
fn a_grade_on_the_same_day_follows_the_published_step() {
    for (rating, expected) in (1..).zip([1.596_818, 5.0, 5.0, 8.129_61]) {
        let mut before = rated(&[3, 3], &[0, 0]);
        (before.difficulty, before.stability_days) = (5.0, 5.0);
        let rating = Rating::of(rating).expect("a rating");
        let after = Memory::after(Some(&before), rating, before.last_day);
        let seen = after.stability_days;
        assert!((seen - expected).abs() < 1e-4, "{rating:?}: {seen}");
    }
}

/// Days in a row and the forecast follow from grades alone.
#[test]
fn the_deck_counts_days_and_what_is_to_come() {
    let grades = [("a", 10, Rating::Good), ("a", 11, Rating::Good), ("b", 12, Rating::Again)];
    let deck = Deck::of(grades);
    assert_eq!(deck.streak_days(12), 3);
    assert_eq!(deck.streak_days(13), 3, "a day that has only begun breaks no row");
    assert_eq!(deck.streak_days(14), 0);
    assert_eq!(deck.due(12), ["b"]);
    let forecast = deck.forecast(12, 30);
    assert_eq!(forecast.iter().sum::<u32>(), 2);
    assert_eq!(forecast[0], 1);
}
