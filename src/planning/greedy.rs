//! The strategy that always makes the test that tells most about the repair group per minute.

use super::field::{Field, Spot, for_each};
use super::small::Small;

/// Below this many members the best strategy is looked for instead.
pub(super) const FINISH: usize = 5;

/// x log2 x from a table-free approximation: only the order of tests hangs on it, and plain
/// arithmetic gives the same order on every machine.
fn x_log_x(x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    let bits = x.to_bits();
    let exponent = (bits >> 52) as f64 - 1023.0;
    let f = f64::from_bits(bits & ((1 << 52) - 1) | 1023 << 52);
    // A cubic through log2 on [1, 2], within 0.001 of it.
    x * (exponent + (f - 1.0) * (1.4249 + (f - 1.0) * (-0.5829 + (f - 1.0) * 0.158)))
}

/// Ratings of the tests that split what is left: gain in bits times weight per tick, times
/// what the caller makes of it; calls with every test and its rating.
fn rate(field: &Field, spot: &Spot, work: &mut u64, mut call: impl FnMut(usize, f64)) {
    let members = &spot.members;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let mut from = 0;
    for at in 1..=members.len() {
        if at == members.len()
            || field.label[members[at] as usize] != field.label[members[from] as usize]
        {
            runs.push((from, at));
            from = at;
        }
    }
    let mass = field.mass(members);
    let whole = x_log_x(mass);
    let run_parts: Vec<f64> =
        runs.iter().map(|(a, b)| x_log_x(field.mass(&members[*a..*b]))).collect();
    let mut all: Vec<f64> = Vec::new();
    let mut own: Vec<f64> = Vec::new();
    for_each(&field.useful(members), |t| {
        *work += members.len() as u64;
        let kinds = field.outcomes[t] as usize;
        all.clear();
        all.resize(kinds, 0.0);
        let row = &field.shown[t * field.n..(t + 1) * field.n];
        let mut gain = whole;
        for ((from, to), part) in runs.iter().zip(&run_parts) {
            if to - from == 1 {
                let i = members[*from] as usize;
                all[row[i] as usize] += field.weight[i];
                continue;
            }
            own.clear();
            own.resize(kinds, 0.0);
            for i in &members[*from..*to] {
                own[row[*i as usize] as usize] += field.weight[*i as usize];
            }
            gain -= part;
            for (sum, x) in all.iter_mut().zip(&own) {
                *sum += x;
                gain += x_log_x(*x);
            }
        }
        for x in &all {
            gain -= x_log_x(*x);
        }
        // Free tests come first, and among them those that tell most.
        call(t, gain / field.price(t, spot.open, spot.config).max(0.1));
    });
}

/// The test with the best rating; the lowest number among equals.
pub(super) fn choose(field: &Field, spot: &Spot, work: &mut u64) -> usize {
    let mut best = (f64::NEG_INFINITY, usize::MAX);
    rate(field, spot, work, |t, rating| {
        if rating > best.0 {
            best = (rating, t);
        }
    });
    best.1
}

/// Ticks times weight of going on like this, small sets done best.
pub(super) fn cost(field: &Field, small: &mut Small, spot: &Spot, work: &mut u64) -> f64 {
    if spot.members.len() <= FINISH {
        return small.solve(field, &spot.members, spot.open, spot.config).0;
    }
    if field.settled(&spot.members) {
        return 0.0;
    }
    let test = choose(field, spot, work);
    let mut sum = field.price(test, spot.open, spot.config) * field.mass(&spot.members);
    let (open, config) = field.setup_after(test, spot.open, spot.config);
    for (_, members) in field.parts(&spot.members, test) {
        sum += cost(field, small, &Spot { members, open, config }, work);
    }
    sum
}
