//! Advice by the planner and by bits a minute alone: every fault that the crew of a system
//! would notice is worked both ways to the call. Printed are the mean minutes, by rate and
//! plain, and how long a piece of advice takes; and the same from drills in which steps were
//! taken at random. Not a matter of averaging runs, hence a plain table.

#![allow(clippy::print_stdout)]

use std::sync::Arc;
use std::time::Instant;

use halfsplit::chance::Chance;
use halfsplit::circuit::Circuit;
use halfsplit::drill::command::steps_here;
use halfsplit::drill::{Action, Advice, Outcome, Rests, Session, Thoughts, advise};
use halfsplit::faults::{self, Fault};
use halfsplit::isolation::noticed;
use halfsplit::library;

/// Steps after which a drill should long be over.
const MOST: usize = 80;

#[derive(Default)]
struct Told {
    seconds: Vec<f64>,
    tables: Vec<f64>,
    planned: usize,
    unproven: usize,
}

/// Works a drill to the call and gives its minutes.
fn work(circuit: &Arc<Circuit>, fault: &Fault, planned: bool, told: &mut Told) -> f64 {
    let mut session = Session::planted(Arc::clone(circuit), fault.clone(), 1).expect("it settles");
    session.belief().expect("it can be worked out");
    let start = Instant::now();
    let advisor = planned.then(|| session.advisor().expect("it can be worked out"));
    told.tables.push(start.elapsed().as_secs_f64());
    for _ in 0..MOST {
        let place = session.place().clone();
        let belief = session.belief().expect("it can be worked out");
        let start = Instant::now();
        let advice = match &advisor {
            Some(advisor) => advisor.advise(&Thoughts::default(), belief, circuit, &place),
            None => advise(belief, circuit, &place),
        };
        told.seconds.push(start.elapsed().as_secs_f64());
        match advice {
            Advice::Do { prospect, rests, .. } => {
                told.planned += usize::from(matches!(rests, Rests::Plan(_)));
                for step in prospect.path() {
                    session.apply(Action::Step(step));
                }
            }
            Advice::Call { group_probability, .. } => {
                told.unproven += usize::from(group_probability < halfsplit::drill::PROVEN);
                return session.minutes();
            }
            Advice::Nothing => break,
        }
    }
    panic!("{} is never called", fault.code(circuit))
}

/// Drills worked at random, and the most steps taken in each.
const RANDOM: usize = 400;
const ASTRAY: usize = 8;

fn sorted(mut times: Vec<f64>) -> Vec<f64> {
    times.sort_by(f64::total_cmp);
    times
}

fn at(times: &[f64], share: f64) -> f64 {
    1e3 * times[(share * (times.len() - 1) as f64) as usize]
}

/// Advice in the middle of drills where nobody went by it: what it takes after the first one
/// of a drill, and that one with the start of the drill and its table.
fn astray(circuit: &Arc<Circuit>) {
    let (mut first, mut later) = (Vec::new(), Vec::new());
    let (mut worst, mut planned) = ((0.0, String::new()), 0);
    for drill in 0..RANDOM {
        let mut chance = Chance::stream(drill as u64, "astray");
        let pick = |chance: &mut Chance, count: usize| (chance.unit() * count as f64) as usize;
        let start = Instant::now();
        let mut session = Session::drawn(Arc::clone(circuit), drill as u64).expect("it settles");
        session.apply(Action::Advise);
        first.push(start.elapsed().as_secs_f64());
        let mut steps = Vec::new();
        for _ in 0..=pick(&mut chance, ASTRAY) {
            let here = steps_here(&session);
            let (step, _) = here[pick(&mut chance, here.len())];
            steps.push(step.told(circuit));
            session.apply(Action::Step(step));
        }
        // What was seen is taken in when it is; advice comes after that.
        session.belief().expect("it can be worked out");
        let start = Instant::now();
        let outcome = session.apply(Action::Advise);
        let seconds = start.elapsed().as_secs_f64();
        if let Outcome::Advised(Advice::Do { rests: Rests::Plan(_), .. }) = outcome {
            planned += 1;
        }
        if seconds > worst.0 {
            worst = (seconds, format!("drill {drill}: {}", steps.join("; ")));
        }
        later.push(seconds);
    }
    let (first, later) = (sorted(first), sorted(later));
    println!(
        "at random: {RANDOM} drills, {planned} by a plan; advice {:.1} ms median, {:.1} ms of \
         99 %, {:.1} ms at most ({}); the first with start and table {:.1} ms median, {:.1} ms at \
         most",
        at(&later, 0.5),
        at(&later, 0.99),
        at(&later, 1.0),
        worst.1,
        at(&first, 0.5),
        at(&first, 1.0),
    );
}

fn main() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let all = faults::all(&circuit);
    let first = Session::planted(Arc::clone(&circuit), all[0].0.clone(), 1).expect("it settles");
    let normal = first.normal();
    astray(&circuit);
    for planned in [true, false] {
        let mut told = Told::default();
        let (mut sum, mut rates, mut plain, mut count) = (0.0, 0.0, 0.0, 0);
        for (fault, mode) in &all {
            let rig = normal.with_failed(fault.part, mode.faulted.clone()).expect("it settles");
            if noticed(normal, &rig) {
                let minutes = work(&circuit, fault, planned, &mut told);
                sum += mode.rate * minutes;
                rates += mode.rate;
                plain += minutes;
                count += 1;
            }
        }
        let (seconds, tables) = (sorted(told.seconds), sorted(told.tables));
        println!(
            "{}: {count} faults, {:.3} min by rate, {:.3} plain; {} of {} by the plan, {} calls \
             unproven; advice {:.1} ms median, {:.1} ms of 99 %, {:.1} ms at most; table {:.1} ms \
             median, {:.1} ms at most",
            if planned { "planner" } else { "bits a minute" },
            sum / rates,
            plain / f64::from(count),
            told.planned,
            seconds.len(),
            told.unproven,
            at(&seconds, 0.5),
            at(&seconds, 0.99),
            at(&seconds, 1.0),
            at(&tables, 0.5),
            at(&tables, 1.0)
        );
    }
}
