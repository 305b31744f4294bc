//! How near the bounds on the best strategy come to each other, and how soon: for networks of
//! several sizes the gap, in hundredths of the upper bound, after given amounts of work.
//! Not a matter of averaging runs, hence a plain table.

#![allow(clippy::print_stdout)]

use std::time::Instant;

use halfsplit::planning::{Problem, advise};

#[path = "../tests/planning/family.rs"]
mod family;

/// Candidates, tests, whether there are set-ups, how many seeds.
const ROWS: [(usize, usize, bool, u64); 8] = [
    (60, 30, false, 10),
    (60, 30, true, 10),
    (150, 60, false, 10),
    (150, 60, true, 10),
    (300, 120, false, 5),
    (300, 120, true, 5),
    (1000, 400, false, 2),
    (1000, 400, true, 2),
];

/// Amounts of work: an instant, a moment, about a second, about ten.
const WORK: [u64; 4] = [0, 10_000_000, 90_000_000, 900_000_000];

fn main() {
    println!("candidates/tests, m0 plain, m2 access and configurations; mean over seeds");
    for (count, tests, setup, seeds) in ROWS {
        print!("{count}/{tests} m{}", 2 * u8::from(setup));
        for work in WORK {
            let (mut seconds, mut gap, mut worst, mut proven) = (0.0, 0.0, 0.0_f64, 0);
            for seed in 0..seeds {
                let table = family::network(seed, count, tests, setup);
                let problem = Problem::new(&table).expect("the generator keeps to the rules");
                let start = Instant::now();
                let advice = advise(&problem, work);
                seconds += start.elapsed().as_secs_f64() / seeds as f64;
                let part = 100.0 * (advice.upper - advice.lower) / advice.upper;
                gap += part / seeds as f64;
                worst = worst.max(part);
                proven += usize::from(advice.upper == advice.lower);
            }
            print!(" | {seconds:.2} s: {gap:.2} (worst {worst:.2}), {proven}/{seeds} proven");
        }
        println!();
    }
}
