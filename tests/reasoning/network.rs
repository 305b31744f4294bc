//! The posterior against a general-purpose library for Bayesian networks.
//!
//! Twenty drills are handed to pgmpy as networks: the fault as one node, every instrument's
//! lasting error as a hidden node, everything that was seen as a node below them. What it
//! answers is kept in `posterior.json`; `tests/reasoning/live.sh` asks it again.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use halfsplit::chance::Chance;
use halfsplit::circuit::Circuit;
use halfsplit::drill::Session;
use halfsplit::faults;
use halfsplit::observation::{
    Act, Dial, Instrument, Percept, Reading, Rig, Showing, Sight, Step, What,
};

use super::play::{any_fault, any_step, shipped};

const CASES: u64 = 20;
const KEPT: &str = include_str!("posterior.json");

/// The drill of a case and what was done, in words.
fn case(circuits: &[std::sync::Arc<Circuit>], number: u64) -> (Session, String) {
    let circuit = &circuits[number as usize % circuits.len()];
    let mut chance = Chance::stream(number, "network");
    let fault = any_fault(circuit, &mut chance);
    let mut name = format!("{} {}", circuit.id, fault.code(circuit));
    let mut session =
        Session::planted(std::sync::Arc::clone(circuit), fault, number).expect("it settles");
    for _ in 0..3 + number % 5 {
        let step = any_step(&mut session, &mut chance);
        name.push_str("; ");
        name.push_str(&step.told(circuit));
    }
    (session, name)
}

/// Something seen: through whose error, what, and what each candidate would show.
struct Seen {
    instrument: Option<String>,
    percept: Percept,
    shows: Vec<Option<Showing>>,
}

/// All that was seen in a drill, beside what fresh aircraft with each fault would show.
fn seen(session: &Session) -> Vec<Seen> {
    let circuit = session.circuit();
    let mut rigs: Vec<Option<Rig>> = faults::all(circuit)
        .into_iter()
        .map(|(fault, mode)| session.normal().with_failed(fault.part, mode.faulted).ok())
        .collect();
    // A meter that is exchanged brings an error of its own.
    let mut renewals: BTreeMap<Instrument, u32> = BTreeMap::new();
    let mut all = Vec::new();
    let told = session.write_up().observations.iter();
    for observation in told.chain(session.log().iter().map(|entry| &entry.observation)) {
        if let Step::Act(Act::Replace(part)) = observation.step {
            *renewals.entry(Instrument::Meter(part)).or_default() += 1;
        }
        let sights: Vec<Option<Vec<Sight>>> = rigs
            .iter_mut()
            .map(|rig| {
                let done =
                    rig.as_mut()?.perform(observation.step, observation.station, &mut Vec::new());
                if done.is_err() {
                    *rig = None;
                }
                done.ok()
            })
            .collect();
        for (at, (what, percept)) in observation.percepts.iter().enumerate() {
            let showing = |sights: &Option<Vec<Sight>>| sights.as_ref().map(|s| s[at].showing);
            let shows: Vec<_> = sights.iter().map(showing).collect();
            let instrument = match percept {
                Percept::Look(_) if shows.iter().all(|s| !matches!(s, Some(Showing::Dial(_)))) => {
                    None
                }
                _ => instrument_name(*what, &renewals),
            };
            all.push(Seen { instrument, percept: *percept, shows });
        }
    }
    all
}

fn instrument_name(what: What, renewals: &BTreeMap<Instrument, u32>) -> Option<String> {
    let instrument = what.instrument()?;
    Some(format!("{instrument:?} {}", renewals.get(&instrument).copied().unwrap_or(0)))
}

fn showing_json(showing: Option<Showing>) -> Value {
    match showing {
        None => Value::Null,
        Some(Showing::Look(look)) => json!({ "word": look.word() }),
        Some(Showing::Position(at)) => json!({ "position": at }),
        Some(Showing::Dial(Dial { exact, error, step, last, range })) => {
            json!({ "exact": exact, "error": error, "step": step, "last": last, "range": range })
        }
    }
}

/// A case as the script reads it.
fn export(session: &Session, name: &str) -> Value {
    let circuit = session.circuit();
    let candidates: Vec<Value> = faults::all(circuit)
        .iter()
        .map(|(fault, mode)| json!({ "fault": fault.code(circuit), "rate": mode.rate }))
        .collect();
    let seen: Vec<Value> = seen(session)
        .into_iter()
        .map(|one| {
            let mut distinct: Vec<Option<Showing>> = Vec::new();
            let shows: Vec<usize> = one
                .shows
                .iter()
                .map(|showing| {
                    distinct.iter().position(|d| d == showing).unwrap_or_else(|| {
                        distinct.push(*showing);
                        distinct.len() - 1
                    })
                })
                .collect();
            let distinct: Vec<Value> = distinct.into_iter().map(showing_json).collect();
            let percept = match one.percept {
                Percept::Look(look) => json!({ "word": look.word() }),
                Percept::Position(at) => json!({ "position": at }),
                Percept::Reading(Reading { range, mark }) => {
                    json!({ "range": range, "mark": mark })
                }
            };
            let instrument = one.instrument;
            json!({ "instrument": instrument, "seen": percept, "distinct": distinct, "shows": shows })
        })
        .collect();
    json!({ "case": name, "candidates": candidates, "seen": seen })
}

#[test]
fn the_posterior_is_that_of_a_library_for_bayesian_networks() {
    let circuits = shipped();
    let cases: Vec<_> = (0..CASES).map(|number| case(&circuits, number)).collect();
    if let Ok(path) = std::env::var("HALFSPLIT_NETWORKS") {
        let cases: Vec<Value> = cases.iter().map(|(session, name)| export(session, name)).collect();
        std::fs::write(path, json!(cases).to_string()).expect("it can be written");
        return;
    }
    let kept: Vec<Value> = serde_json::from_str(KEPT).expect("it was written by the script");
    assert_eq!(kept.len(), cases.len());
    let (mut compared, mut lasting) = (0, 0);
    for ((mut session, name), kept) in cases.into_iter().zip(kept) {
        let again = "where a system has changed, run tests/reasoning/live.sh";
        assert_eq!(kept["case"], json!(name), "{again}");
        let circuit = std::sync::Arc::clone(session.circuit());
        let belief = session.belief().expect("it can be worked out");
        for (candidate, ours) in belief.candidates().iter().zip(belief.posterior()) {
            let code = candidate.cause.code(&circuit);
            let theirs = kept["posterior"][&code].as_f64().unwrap_or(0.0);
            assert!((ours - theirs).abs() < 1e-9, "{name}: {code}: {ours}, {theirs}; {again}");
            compared += usize::from(theirs > 0.0);
        }
        lasting += usize::from(kept["hidden"].as_u64().expect("a number") > 0);
    }
    assert!(compared > 100, "{compared}");
    assert!(lasting >= 10, "only {lasting} cases read an instrument more than once");
}
