//! Small random planning problems, for comparison with exhaustive search.

use halfsplit::chance::Chance;
use halfsplit::planning::{Candidate, Configuration, Table, Test};

use super::family::{between, pick};

/// The shapes of small problems.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Shape {
    /// Tests cost what they cost.
    Plain,
    /// Places are opened once.
    Access,
    /// And configurations change.
    Configured,
    /// And some candidates come as variants of one fault.
    Variants,
    /// Configurations are brought about at places.
    Placed,
}

/// A small random problem: at most 13 candidates and 7 tests.
pub(crate) fn small(seed: u64, shape: Shape) -> Table {
    let mut chance = Chance::stream(seed, &format!("{shape:?}"));
    let c = &mut chance;
    let count = 3 + pick(c, 11);
    let groups = 2 + pick(c, count - 1);
    let whole = c.unit() < 0.3;
    let mut candidates: Vec<Candidate> = (0..count)
        .map(|_| {
            let weight = if whole { 1.0 + pick(c, 9) as f64 } else { libm::exp(4.0 * c.unit()) };
            Candidate { weight, group: pick(c, groups) as u32 }
        })
        .collect();
    let places = if shape == Shape::Plain { 0 } else { 1 + pick(c, 3) };
    let configs = if matches!(shape, Shape::Plain | Shape::Access) { 0 } else { 1 + pick(c, 3) };
    let some = |c: &mut Chance, count: usize, share: f64| {
        (count > 0 && c.unit() < share).then(|| pick(c, count) as u32)
    };
    let tests: Vec<Test> = (0..3 + pick(c, 5))
        .map(|_| {
            let kinds = if c.unit() < 0.7 { 2 } else { 3 };
            let lean = 0.3 + 0.7 * c.unit();
            // Outcomes need not be numbered from zero.
            let first = 5 * pick(c, 3) as u16;
            let outcomes = (0..count)
                .map(|_| first + if c.unit() < lean { pick(c, kinds) as u16 } else { 0 })
                .collect();
            let minutes = if c.unit() < 0.05 { 0.0 } else { between(c, 0.2, 15.0) };
            Test { minutes, place: some(c, places, 0.7), needs: some(c, configs, 0.6), outcomes }
        })
        .collect();
    // Some are there at no cost.
    let minutes = |c: &mut Chance, low, high| {
        if shape == Shape::Placed && c.unit() < 0.1 { 0.0 } else { between(c, low, high) }
    };
    let mut table = Table {
        tests,
        places: (0..places).map(|_| minutes(c, 0.0, 6.0)).collect(),
        configurations: (0..configs)
            .map(|_| Configuration {
                minutes: minutes(c, 0.2, 2.0),
                places: if shape == Shape::Placed {
                    [some(c, places, 0.8), some(c, places, 0.3)]
                } else {
                    [None; 2]
                },
            })
            .collect(),
        start: some(c, configs, 0.7),
        open: some(c, places, 0.2).into_iter().collect(),
        ..Table::default()
    };
    if shape == Shape::Variants {
        // A marginal reading: the same fault once more, different in one test.
        for _ in 0..(1 + pick(c, 2)).min(13_usize.saturating_sub(count)) {
            let of = pick(c, count);
            candidates[of].weight *= 0.5;
            candidates.push(candidates[of]);
            let differs = pick(c, table.tests.len());
            for (t, test) in table.tests.iter_mut().enumerate() {
                let shows = test.outcomes[of];
                test.outcomes.push(if t == differs { shows + 1 } else { shows });
            }
        }
    }
    table.candidates = candidates;
    table
}
