//! Writes a folder of hand-ins for `benches/class.sh`: so many attempts of so many steps by
//! invented trainees, on three systems. Somebody who measures more than they move, and who is
//! right half of the time; every attempt has a seed of its own. Arguments: the folder, attempts,
//! steps. Without a folder (as when all benches are run) it does nothing.

use std::fs::{self, File};
use std::io::BufWriter;
use std::path::PathBuf;

use rayon::prelude::*;

use halfsplit::chance::Chance;
use halfsplit::drill::command::steps_here;
use halfsplit::drill::{Action, Rules, Session};
use halfsplit::faults::Cause;
use halfsplit::logbook::{Attempt, Recipe, deeds_as_moves, handin};
use halfsplit::observation::{Act, Step};

/// Attempts in one file.
const A_FILE: u64 = 100;

/// How readily somebody takes a step, against the others that they could take there.
fn liking(step: Step) -> f64 {
    match step {
        Step::Probe(_) => 1.0,
        Step::Act(Act::Set { .. } | Act::Hold { .. }) => 0.6,
        Step::LookAround => 2.0,
        Step::Go(_) => 3.0,
        Step::Act(Act::Pull(_) | Act::Refit(_) | Act::PushIn(_)) => 0.3,
        Step::Act(Act::Replace(_) | Act::FitSpare(_)) => 0.05,
    }
}

/// One attempt, from its seed.
fn attempt(seed: u64, steps: usize) -> Attempt {
    // Two of three on the flagship and its direct current, as in a class that has got that far.
    let system = ["t4-ac", "t4-dc", "bench"][(seed % 3) as usize];
    let recipe = Recipe::new(system, Rules::default(), seed).expect("it comes along");
    let mut session = recipe.begin().expect("it begins");
    let mut chance = Chance::stream(seed, "trainee");
    for _ in 0..steps {
        let doable = steps_here(&session);
        let weights: Vec<f64> = doable.iter().map(|one| liking(one.0)).collect();
        let Some(at) = chance.weighted(&weights) else { break };
        session.apply(Action::Step(doable[at].0));
    }
    let called = called(&mut session, &mut chance);
    session.apply(Action::Call(called));
    let at = format!("2026-{:02}-{:02}T12:00:00Z", 1 + seed % 11, 1 + seed / 11 % 26);
    let mut attempt = Attempt::new(format!("{seed:032x}"), at.clone(), recipe);
    attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), &at);
    attempt
}

/// What is hidden, or the likeliest of what is left.
fn called(session: &mut Session, chance: &mut Chance) -> Cause {
    let truth = session.truth().clone();
    if chance.unit() < 0.5 {
        return truth;
    }
    let belief = session.belief().expect("it can be worked out");
    belief.likeliest().map_or(truth, |(likeliest, _)| likeliest.cause.clone())
}

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|text| !text.starts_with("--"));
    let Some(folder) = arguments.next().map(PathBuf::from) else { return };
    let mut number =
        |usual: u64| arguments.next().map_or(usual, |text| text.parse().expect("a number"));
    let (attempts, steps) = (number(10_000), number(30) as usize);
    fs::create_dir_all(&folder).expect("a folder");
    (0..attempts.div_ceil(A_FILE)).into_par_iter().for_each(|file| {
        let seeds = file * A_FILE..attempts.min((file + 1) * A_FILE);
        let all: Vec<Attempt> = seeds.into_par_iter().map(|seed| attempt(seed, steps)).collect();
        let path = folder.join(format!("{file:04}.jsonl"));
        let out = BufWriter::new(File::create(path).expect("a file"));
        let name = format!("trainee {}", file % 25);
        handin::write(out, (&name, "2026-11-26T12:00:00Z"), &all, None).expect("it is written");
    });
}
