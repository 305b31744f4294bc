//! How near the bounds of a strategy come to each other, and how soon.

use std::time::Instant;

use halfsplit::planning::{Problem, advise};

#[path = "../tests/planning/family.rs"]
mod family;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let rows = [
        (60, 30, false),
        (60, 30, true),
        (150, 60, true),
        (300, 120, false),
        (300, 120, true),
        (1000, 400, true),
    ];
    for (n, m, setup) in rows {
        if args.len() > 1 && args[1] != "--bench" && args[1] != format!("{n}") {
            continue;
        }
        let seeds = if n == 1000 { 1 } else { 4 };
        for seed in 0..seeds {
            let problem = Problem::new(&family::network(seed, n, m, setup)).unwrap();
            print!(
                "{n}/{m} m{} seed {seed}: {} classes {} groups",
                2 * u8::from(setup),
                problem.classes().len(),
                problem.groups()
            );
            for work in [0, 10_000_000, 60_000_000] {
                let start = Instant::now();
                let e = advise(&problem, work);
                print!(
                    " | {:.2} s {:.3}..{:.3} {:.2} %",
                    start.elapsed().as_secs_f64(),
                    e.lower,
                    e.upper,
                    100.0 * (e.upper - e.lower) / e.upper
                );
            }
            println!();
        }
    }
}
