//! Advice by the planner and by bits a minute alone: every fault that the crew of a system
//! would notice is worked both ways to the call. Printed are the mean minutes, by rate and
//! plain, and how long a piece of advice takes. Not a matter of averaging runs, hence a plain
//! table.

#![allow(clippy::print_stdout)]

use std::sync::Arc;
use std::time::Instant;

use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Advice, Rests, Session, advise};
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
            Some(advisor) => advisor.advise(belief, circuit, &place),
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

fn main() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let all = faults::all(&circuit);
    let first = Session::planted(Arc::clone(&circuit), all[0].0.clone(), 1).expect("it settles");
    let normal = first.normal();
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
        told.seconds.sort_by(f64::total_cmp);
        told.tables.sort_by(f64::total_cmp);
        let at = |times: &[f64], share: f64| times[(share * (times.len() - 1) as f64) as usize];
        println!(
            "{}: {count} faults, {:.3} min by rate, {:.3} plain; {} of {} by the plan, {} calls \
             unproven; advice {:.1} ms median, {:.1} ms of 99 %, {:.1} ms at most; table {:.1} ms \
             median, {:.1} ms at most",
            if planned { "planner" } else { "bits a minute" },
            sum / rates,
            plain / f64::from(count),
            told.planned,
            told.seconds.len(),
            told.unproven,
            1e3 * at(&told.seconds, 0.5),
            1e3 * at(&told.seconds, 0.99),
            1e3 * at(&told.seconds, 1.0),
            1e3 * at(&told.tables, 0.5),
            1e3 * at(&told.tables, 1.0)
        );
    }
}
