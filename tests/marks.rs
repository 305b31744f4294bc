//! Par, marks and rehearsal: that marks rank people by skill, that par is proved, and that
//! both hold for drills in the real aircraft and not only on a table.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::program::run;

use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Advice, Outcome, PROVEN, Session, Thoughts};
use halfsplit::isolation::{Isolation, Trial, Trying};
use halfsplit::library;
use halfsplit::observation::{Act, Function, Probe, Step, Touch, Whereabouts};
use halfsplit::planning;
use halfsplit::rehearsal::{Ground, Habit, Run, area_under_curve, quantile, rehearse};
use halfsplit::score::{Debrief, Ending, HabitKind, Record, Rubric, Verdict, debrief};

/// Systems whose drills take reasoning; on the bench one look leaves one thing to try.
const SYSTEMS: [&str; 4] = ["t4-ac", "t4-dc", "t4-surfaces", "power-cart"];

fn system(name: &str) -> Arc<Circuit> {
    Arc::new(library::load(name).expect("it comes with the program"))
}

fn table(circuit: &Arc<Circuit>) -> Isolation {
    Isolation::of_system(circuit).expect("faults settle")
}

fn totals(runs: &[Run]) -> Vec<f64> {
    runs.iter().map(|run| run.score.total).collect()
}

#[test]
fn marks_rank_habits_by_skill() {
    for name in SYSTEMS {
        let circuit = system(name);
        let isolation = table(&circuit);
        let (deck, _) = circuit.stations_with_ids().find(|(_, s)| s.crew).expect("a deck");
        let ground = Ground::new(&isolation, deck);
        let runs = |habit| rehearse(&ground, habit, 500, 1);
        let median = |habit| quantile(&totals(&runs(habit)), 0.5);
        let (best, half) = (median(Habit::BestStep), runs(Habit::HalfSplitter));
        assert!(best >= 90.0, "{name}: best step {best}");
        let swapper = runs(Habit::PartsSwapper);
        for (habit, median) in [
            (Habit::PartsSwapper, quantile(&totals(&swapper), 0.5)),
            (Habit::Random, median(Habit::Random)),
            (Habit::LuckyGuesser, median(Habit::LuckyGuesser)),
        ] {
            assert!(median <= 40.0, "{name}: {} {median}", habit.name());
        }
        let area = area_under_curve(&totals(&half), &totals(&swapper));
        assert!(area >= 0.98, "{name}: {area}");
        for run in half.iter().chain(&swapper).chain(&runs(Habit::MisreadsTheNeedle)) {
            assert!(run.record.ending != Ending::Wrong || run.score.total <= 30.0, "{name}");
        }
    }
}

#[test]
fn a_rehearsal_depends_on_its_seed_alone() {
    let circuit = system("t4-dc");
    let isolation = table(&circuit);
    let (deck, _) = circuit.stations_with_ids().find(|(_, s)| s.crew).expect("a deck");
    let scores = |jobs: usize, seed: u64| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(jobs).build().expect("threads");
        pool.install(|| {
            let ground = Ground::new(&isolation, deck);
            totals(&rehearse(&ground, Habit::Forgetful, 40, seed))
        })
    };
    assert_eq!(scores(1, 5), scores(2, 5));
    assert_ne!(scores(2, 5), scores(2, 6));
}

#[test]
fn par_of_every_system_is_proved_and_the_proof_passes_the_checker() {
    for name in library::NAMES {
        let isolation = table(&system(name));
        let (problem, _) = isolation.problem(&isolation.start()).expect("something can fail");
        let plan = planning::plan(&problem, 100_000_000);
        assert!(plan.lower >= 0.995 * plan.upper, "{name}: {} {}", plan.lower, plan.upper);
        let verified = planning::verify(&plan.certificate).expect("the proof holds");
        assert_eq!((verified.lower, verified.upper), (plan.lower, plan.upper), "{name}");
    }
}

/// Works a drill as advised, without asking for advice, changes the part before the call
/// if it is to be mended, looks whether that has helped if it is to be checked, and returns
/// the debrief.
fn worked(mut session: Session, mend: bool, check: bool) -> Debrief {
    let circuit = Arc::clone(session.circuit());
    for _ in 0..60 {
        let place = session.place().clone();
        let advisor = session.advisor().expect("faults settle");
        let advice = advisor.advise(
            &Thoughts::default(),
            session.belief().expect("faults settle"),
            &circuit,
            &place,
        );
        match advice {
            Advice::Do { prospect, .. } => {
                for step in prospect.path() {
                    let outcome = session.apply(Action::Step(step));
                    assert!(matches!(outcome, Outcome::Done(_)), "{step:?}: {outcome:?}");
                }
            }
            Advice::Call { cause, .. } => {
                let failed = cause.failed_parts(&circuit).next().expect("one has failed");
                let part = circuit.part(failed);
                if mend && place.station == part.station {
                    session.apply(Action::Step(Step::Act(Act::Replace(failed))));
                } else if mend {
                    session.apply(Action::Step(Step::Go(part.station)));
                    session.apply(Action::Step(Step::Act(Act::Replace(failed))));
                }
                if check {
                    let deck = session.write_up().symptoms[0];
                    let look = if session.place().station == deck {
                        Step::LookAround
                    } else {
                        Step::Go(deck)
                    };
                    session.apply(Action::Step(look));
                }
                session.apply(Action::Call(cause));
                break;
            }
            Advice::Nothing => panic!("some fault explains what was seen"),
        }
    }
    debrief(&session).expect("faults settle")
}

#[test]
fn a_drill_worked_as_advised_is_marked_well() {
    for name in SYSTEMS {
        let mut scores = Vec::new();
        for seed in 0..12 {
            let session = Session::drawn(system(name), seed).expect("it settles");
            let told = worked(session, false, false);
            // A proof leaves one in twenty; where that one is hidden, the call is wrong.
            let Verdict { right_part, group_probability, ref sentence, .. } = told.verdict;
            let unlucky = (PROVEN..1.0).contains(&group_probability);
            assert!(right_part || unlucky, "{name} {seed}: {sentence}");
            if right_part {
                scores.push(told.score.total);
            }
        }
        assert!(scores.len() >= 10, "{name}: {scores:?}");
        let median = quantile(&scores, 0.5);
        assert!(median >= 90.0, "{name}: {scores:?}");
        // Whoever does as the program says is never marked down for it.
        assert!(scores.iter().all(|score| *score >= 80.0), "{name}: {scores:?}");
    }
}

#[test]
fn mending_what_has_been_isolated_costs_nothing_once_it_is_checked() {
    let (mut compared, mut unchecked) = (0, 0);
    for seed in 0..8 {
        let session = Session::drawn(system("t4-ac"), seed).expect("it settles");
        let told = worked(session.clone(), false, false);
        let mended = worked(session.clone(), true, true);
        let Ending::Proven = told.record.ending else { continue };
        if mended.cautions.len() > told.cautions.len() {
            // Changing a part with power on it costs something, and should.
            assert!(mended.score.practice < told.score.practice, "{seed}");
            continue;
        }
        compared += 1;
        assert!(mended.minutes > told.minutes, "{seed}: a part takes time to change");
        let off = mended.score.total - told.score.total;
        assert!(off.abs() < 1e-9, "{seed}: {:?} {:?}", mended.score, told.score);
        // A repair without a look at what it was to mend is no repair yet. Where the part sits
        // on the flight deck, one sees it at once.
        let blind = worked(session.clone(), true, false);
        let circuit = session.circuit();
        let failed = session.truth().failed_parts(circuit).next().expect("one has failed");
        let part = circuit.part(failed);
        let seen_at_once = session.write_up().symptoms.contains(&part.station);
        let lost = if seen_at_once { 0.0 } else { Rubric::shipped().unchecked };
        assert_eq!(blind.score.practice, mended.score.practice - lost, "{seed}");
        unchecked += usize::from(!seen_at_once);
    }
    assert!(compared >= 3, "{compared}");
    assert!(unchecked > 0, "no part was away from where the crew sit");
}

/// Walks after the proof are free for a repair, and for nothing else.
#[test]
fn walks_after_the_proof_count_where_nothing_is_mended() {
    let mut walked = 0;
    for seed in 0..8 {
        let session = Session::drawn(system("t4-ac"), seed).expect("it settles");
        let called = worked(session.clone(), false, false);
        let idle = worked(session.clone(), false, true);
        // Some are worked by an exchange: the way back from that is free.
        let exchanged = called.record.steps.iter().any(|step| step.exchanged.is_some());
        let walks = idle.minutes > called.minutes;
        if called.record.ending != Ending::Proven || exchanged || !walks {
            continue;
        }
        walked += 1;
        let walk = idle.minutes - called.minutes;
        let counted = idle.record.minutes - called.record.minutes;
        assert!((counted - walk).abs() < 1e-9, "{seed}: {counted} of {walk}");
        let mended = worked(session, true, true);
        let own = mended.minutes - mended.record.minutes;
        assert!(own > 0.0, "{seed}: those for the repair do not");
    }
    assert!(walked >= 2, "{walked}");
}

#[test]
fn a_control_moved_on_top_of_another_is_no_test_of_the_table() {
    let circuit = system("t4-ac");
    let isolation = table(&circuit);
    let (start, mut place) = (Whereabouts::start(&circuit), Whereabouts::start(&circuit));
    let set = |control: &str, position| {
        let control = circuit.find_part(control).expect("a control");
        Step::Act(Act::Set { control, position })
    };
    let station = place.station;
    assert_eq!(isolation.setting(&start, &place), Some(0));
    let first = isolation.trial_of(set("VSEL", 1), station, Some(0)).expect("a test").0;
    place.after(&circuit, set("VSEL", 1));
    let now = isolation.setting(&start, &place);
    assert!(now.is_some_and(|now| now > 0));
    // The same look again where one stands; another position of the same control; another
    // control on top; and back to as it was found.
    assert_eq!(isolation.trial_of(Step::LookAround, station, now).expect("a test").0, first);
    assert_ne!(isolation.trial_of(set("VSEL", 2), station, now).expect("a test").0, first);
    assert_eq!(isolation.trial_of(set("SOURCE1", 0), station, now), None);
    let found = isolation.trial_of(Step::LookAround, station, Some(0));
    assert_eq!(isolation.trial_of(set("VSEL", 0), station, now), found);
    place.after(&circuit, set("SOURCE1", 0));
    assert_eq!(isolation.setting(&start, &place), None);
}

/// The faults that the crew's report leaves together, each with its weight and repair group.
fn after_the_write_up(isolation: &Isolation, circuit: &Circuit) -> Vec<Vec<(f64, u32)>> {
    let crew = |trial: &Trial| {
        trial.trying == Trying::Look
            && trial.setting.is_none()
            && circuit.station(trial.station).crew
    };
    let table = isolation.table();
    let looks: Vec<usize> =
        (0..table.tests.len()).filter(|at| crew(&isolation.trials()[*at])).collect();
    assert!(!looks.is_empty());
    let mut alike: BTreeMap<Vec<u16>, Vec<(f64, u32)>> = BTreeMap::new();
    for (at, candidate) in table.candidates.iter().enumerate() {
        let seen = looks.iter().map(|look| table.tests[*look].outcomes[at]).collect();
        alike.entry(seen).or_default().push((candidate.weight, candidate.group));
    }
    alike.into_values().collect()
}

#[test]
fn calling_at_once_pays_for_no_fault_of_a_system() {
    let rubric = Rubric::shipped();
    let blind = |ending| Record {
        steps: Vec::new(),
        ending,
        minutes: 0.0,
        par_minutes: 5.0,
        // No step has been made: `a_guess_is_marked_as_one` holds real drills to that.
        cleared: 0.0,
        wrong_marks: 0,
        reminded: 0,
        judged: 0,
        unchecked: false,
    };
    for name in SYSTEMS {
        let circuit = system(name);
        let (mut asked, mut told) = (0, 0);
        for left in after_the_write_up(&table(&circuit), &circuit) {
            let all: f64 = left.iter().map(|(weight, _)| weight).sum();
            let mut groups: BTreeMap<u32, f64> = BTreeMap::new();
            for (weight, group) in &left {
                *groups.entry(*group).or_default() += weight / all;
            }
            // What the crew's report proves is no guess, and no drill is drawn of it.
            if groups.values().any(|share| *share >= PROVEN) {
                told += left.len();
                continue;
            }
            asked += left.len();
            for share in groups.into_values() {
                let right = blind(Ending::Unproven).marked(rubric).total;
                let wrong = blind(Ending::Wrong).marked(rubric).total;
                assert!(right <= 40.0, "{name}: a lucky guess gets {right}");
                let expected = share * right + (1.0 - share) * wrong;
                assert!(expected <= 40.0, "{name}: {expected} expected at {share}");
            }
        }
        assert!(asked > 3 * told, "{name}: {asked} {told}");
    }
}

#[test]
fn going_on_is_worth_more_than_a_guess_at_every_moment() {
    let rubric = Rubric::shipped();
    let mut moments = 0;
    for (name, seed) in [("t4-ac", 1), ("t4-ac", 5), ("t4-dc", 4)] {
        let mut session = Session::drawn(system(name), seed).expect("it settles");
        let reached = worked(session.clone(), false, false);
        assert_eq!(reached.record.ending, Ending::Proven, "{name} {seed}");
        let circuit = Arc::clone(session.circuit());
        loop {
            let place = session.place().clone();
            let advisor = session.advisor().expect("faults settle");
            let belief = session.belief().expect("faults settle");
            let cause = belief.likeliest().expect("one is left").0.cause.clone();
            let share = belief.group_probability(&circuit, &cause);
            let Advice::Do { prospect, .. } =
                advisor.advise(&Thoughts::default(), belief, &circuit, &place)
            else {
                break;
            };
            let mut guess = session.clone();
            guess.apply(Action::Call(cause));
            let record = debrief(&guess).expect("faults settle").record;
            let ends = |ending| Record { ending, ..record.clone() }.marked(rubric).total;
            let expected = share * ends(Ending::Unproven) + (1.0 - share) * ends(Ending::Wrong);
            assert!(expected < reached.score.total - 20.0, "{name} {seed}: {expected}");
            moments += 1;
            for step in prospect.path() {
                session.apply(Action::Step(step));
            }
        }
    }
    assert!(moments >= 8, "{moments}");
}

/// Works a drill as advised, measures the part about to be called so many times, and calls it.
/// `None` where it has no test point.
fn confirmed(mut session: Session, times: usize) -> Option<Debrief> {
    let circuit = Arc::clone(session.circuit());
    loop {
        let place = session.place().clone();
        let advisor = session.advisor().expect("faults settle");
        match advisor.advise(
            &Thoughts::default(),
            session.belief().expect("faults settle"),
            &circuit,
            &place,
        ) {
            Advice::Do { prospect, .. } => {
                for step in prospect.path() {
                    session.apply(Action::Step(step));
                }
            }
            Advice::Call { cause, .. } => {
                let part = cause.failed_parts(&circuit).next()?;
                let nets = circuit.part(part).kind.nets();
                let (point, at) = circuit
                    .test_points_with_ids()
                    .find(|(_, point)| nets.contains(&point.net))
                    .map(|(id, point)| (id, point.station))?;
                for _ in 0..times {
                    let (red, black) = (Touch::Point(point), Touch::Airframe);
                    let probe = Probe { function: Function::AcVolts, red, black };
                    session.apply(Action::Step(Step::Go(at)));
                    let outcome = session.apply(Action::Step(Step::Probe(probe)));
                    assert!(matches!(outcome, Outcome::Done(_)), "{outcome:?}");
                }
                session.apply(Action::Call(cause));
                return Some(debrief(&session).expect("faults settle"));
            }
            Advice::Nothing => return None,
        }
    }
}

#[test]
fn one_measurement_that_confirms_the_called_part_costs_nothing() {
    let mut compared = 0;
    for (name, seed) in [("t4-ac", 1), ("t4-ac", 2), ("t4-dc", 4), ("t4-dc", 5)] {
        let session = Session::drawn(system(name), seed).expect("it settles");
        let told = |times| confirmed(session.clone(), times);
        let (Some(none), Some(once), Some(thrice)) = (told(0), told(1), told(3)) else { continue };
        if none.record.ending != Ending::Proven {
            continue;
        }
        compared += 1;
        assert!(once.minutes > none.minutes, "{name} {seed}");
        assert_eq!(once.score, none.score, "{name} {seed}: {:#?}", once.rows.last());
        assert!(once.habits.is_empty(), "{name} {seed}: {:#?}", once.habits);
        assert!(thrice.score.total < none.score.total, "{name} {seed}: {:?}", thrice.score);
        assert_eq!(
            thrice.habits.first().map(|habit| habit.kind),
            Some(HabitKind::WentOnAfterProof),
            "{name} {seed}"
        );
    }
    assert!(compared >= 2, "{compared}");
}

#[test]
fn a_guess_is_marked_as_one() {
    let rubric = Rubric::shipped();
    for (name, seed) in (0..8).flat_map(|seed| SYSTEMS.map(|name| (name, seed))) {
        let mut session = Session::drawn(system(name), seed).expect("it settles");
        let cause = session.belief().expect("it settles").likeliest().expect("one").0.cause.clone();
        session.apply(Action::Call(cause));
        let told = debrief(&session).expect("faults settle");
        let ending = told.record.ending;
        assert!(matches!(ending, Ending::Wrong | Ending::Unproven), "{:?}", told.verdict);
        assert_eq!(told.record.cleared, 0.0);
        // What is left are the points for having broken nothing.
        assert_eq!(told.score.total, rubric.practice + rubric.belief, "{}", told.score_told());
    }
}

#[test]
fn par_rehearse_and_rubric_print_what_they_say() {
    let folder = tempfile::tempdir().expect("a folder");
    let proof = folder.path().join("proof.json");
    let proof = proof.to_string_lossy();
    let (code, out, error) = run(&["par", "bench", "--json", "--proof", &proof]);
    assert_eq!((code, error.as_str()), (Some(0), ""));
    let told: serde_json::Value = serde_json::from_str(&out).expect("an object");
    assert_eq!(told["proven"], true);
    for key in ["upper", "lower", "candidates", "groups", "tests", "work"] {
        assert!(told[key].is_number(), "{key}: {out}");
    }
    let (code, out, _) = run(&["par", "--verify", &proof]);
    assert!(code == Some(0) && out.starts_with("the proof holds"), "{out}");
    // A claim of fewer minutes than the strategy takes.
    let text = std::fs::read_to_string(&*proof).expect("it was written");
    let mut forged: serde_json::Value = serde_json::from_str(&text).expect("it reads");
    forged["upper"] = (forged["upper"].as_u64().expect("a number") - 1).into();
    std::fs::write(&*proof, forged.to_string()).expect("it can be written");
    let (code, out, _) = run(&["par", "--verify", &proof]);
    assert!(code == Some(1) && out.starts_with("the proof does not hold"), "{out}");
    std::fs::write(&*proof, "{}").expect("it can be written");
    assert_eq!(run(&["par", "--verify", &proof]).0, Some(2));
    assert_eq!(run(&["par"]).0, Some(2));
    assert_eq!(run(&["par", "t4-ac", "--fault", "NO:such"]).0, Some(2));
    let (code, out, _) = run(&["rehearse", "bench", "--runs", "20", "--seed", "4", "--json"]);
    assert_eq!(code, Some(0));
    let told: serde_json::Value = serde_json::from_str(&out).expect("an object");
    assert_eq!(told["runs"], 20);
    for habit in Habit::ALL {
        let told = &told["habits"][habit.name()];
        assert!(told["score"]["median"].is_number() && told["proven"].is_number(), "{out}");
    }
    let (code, out, _) = run(&["rubric"]);
    assert!(code == Some(0) && out.contains("Reasoning, 50 points"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 78), "{out}");
}
