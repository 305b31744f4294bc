//! How near the bounds on the best strategy come to each other, and how soon: for networks of
//! several sizes the gap, in hundredths of the upper bound, after given amounts of work.
//! Not a matter of averaging runs, hence a plain table.

#![allow(clippy::print_stdout)]

use std::time::Instant;

use halfsplit::planning::{Problem, advise};

#[path = "../tests/planning/family.rs"]
mod family;

/// What has to be set up before a test.
#[derive(Clone, Copy, PartialEq)]
enum Setups {
    /// Nothing.
    Plain,
    /// Places are opened, configurations brought about.
    Here,
    /// And some of those at a place of their own.
    Far,
}

/// Candidates, tests, what is to be set up, how many seeds.
const ROWS: [(usize, usize, Setups, u64); 11] = [
    (60, 30, Setups::Plain, 10),
    (60, 30, Setups::Here, 10),
    (60, 30, Setups::Far, 10),
    (150, 60, Setups::Plain, 10),
    (150, 60, Setups::Here, 10),
    (150, 60, Setups::Far, 10),
    (300, 120, Setups::Plain, 5),
    (300, 120, Setups::Here, 5),
    (300, 120, Setups::Far, 5),
    (1000, 400, Setups::Plain, 2),
    (1000, 400, Setups::Here, 2),
];

/// Amounts of work: an instant, a moment, about a second, about ten.
const WORK: [u64; 4] = [0, 10_000_000, 90_000_000, 900_000_000];

fn main() {
    println!(
        "candidates/tests, m0 plain, m2 access and configurations, m3 controls elsewhere too; mean \
         over seeds"
    );
    for (count, tests, setups, seeds) in ROWS {
        let mark = match setups {
            Setups::Plain => "m0",
            Setups::Here => "m2",
            Setups::Far => "m3",
        };
        print!("{count}/{tests} {mark}");
        for work in WORK {
            let (mut seconds, mut gap, mut worst, mut proven) = (0.0, 0.0, 0.0_f64, 0);
            for seed in 0..seeds {
                let mut table = family::network(seed, count, tests, setups != Setups::Plain);
                if setups == Setups::Far {
                    table = family::with_far_controls(seed, table);
                }
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
