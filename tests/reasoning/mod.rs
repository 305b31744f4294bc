//! The reasoner against exact and published cases, and against brute force.

use std::collections::BTreeMap;
use std::sync::Arc;

use halfsplit::circuit::{Circuit, read_system};
use halfsplit::diagnosis::{Belief, NO_BITS, entropy_bits, prospects, value_of};
use halfsplit::drill::{Action, Advice, Outcome, Session};
use halfsplit::faults;
use halfsplit::library;
use halfsplit::observation::{Function, Percept, Probe, Step, Touch, What, Whereabouts};

mod brute;
mod causes;
mod debrief;
mod hidden;
mod moments;
mod network;
mod play;
mod published;

/// A supply, `n` equal wires in a row and a lamp, with a test point after each wire.
fn chain(n: usize) -> Circuit {
    let wire =
        |k: usize| format!("Wire(id: \"W{k}\", at: \"bench\", a: \"N{}\", b: \"N{k}\"),\n", k - 1);
    let point = |k: usize| format!("TestPoint(id: \"P{k}\", net: \"N{k}\", at: \"bench\"),\n");
    let nets: Vec<String> = (0..=n).map(|k| format!("\"N{k}\"")).collect();
    let points: Vec<String> = (1..=n).map(point).collect();
    let wires: Vec<String> = (1..=n).map(wire).collect();
    let parts = format!(
        "Supply(id: \"S\", at: \"bench\", plus: \"N0\", volts: 28),\n{}\
         Lamp(id: \"L\", at: \"bench\", a: \"N{n}\"),",
        wires.concat()
    );
    let points = points.concat();
    let text = format!(
        "System(id: \"chain\", title: \"Chain\", stations: [Station(id: \"bench\", title: \
         \"BENCH\", crew: true)], nets: [{}], parts: [{parts}], test_points: [{points}])",
        nets.join(", ")
    );
    let (circuit, findings) = read_system("chain.ron", &text);
    circuit.unwrap_or_else(|| panic!("{findings:?}"))
}

/// Entropy left after measuring behind each of `n` equally likely parts in a row but the
/// last: the fault is among the first `k` or among the others.
fn entropy_after_each(n: usize) -> Vec<f64> {
    let even = |count: usize| entropy_bits(&vec![1.0 / count as f64; count]);
    (1..n).map(|k| (k as f64 * even(k) + (n - k) as f64 * even(n - k)) / n as f64).collect()
}

#[test]
fn halving_a_chain_is_worth_one_bit() {
    // de Kleer and Williams 1987, chain of inverters, single-fault limit: for four the
    // expected entropy after the probes is 1.1887, 1.0000, 1.1887 bits; elementary.
    for (ours, published) in entropy_after_each(4).into_iter().zip([1.1887, 1.0, 1.1887]) {
        assert!((ours - published).abs() < 5e-5, "{ours}");
    }
    let circuit = Arc::new(chain(4));
    // The lamp is dark: an open wire, an open lamp or a dead supply.
    let (fault, _) = faults::parse(&circuit, "W3:open").expect("a fault");
    let mut session = Session::planted(Arc::clone(&circuit), fault, 1).expect("it settles");
    let belief = session.belief().expect("it can be worked out").clone();
    let place = Whereabouts::start(&circuit);
    for k in 1..=4 {
        let point = circuit.find_test_point(&format!("P{k}")).expect("a point");
        let probe =
            Probe { function: Function::DcVolts, red: Touch::Point(point), black: Touch::Airframe };
        let ours = value_of(&belief, &circuit, &place, Step::Probe(probe)).bits;
        assert!((ours - brute_force_gain(&belief, probe)).abs() < 2e-4, "P{k}: {ours}");
    }
}

/// The gain of a measurement by summing over every outcome that can be enumerated.
fn brute_force_gain(belief: &Belief, probe: Probe) -> f64 {
    let mut outcomes: BTreeMap<String, BTreeMap<usize, f64>> = BTreeMap::new();
    let posterior = belief.posterior();
    for ((candidate, p), group) in belief.candidates().iter().zip(&posterior).zip(belief.group_of())
    {
        if *p == 0.0 {
            continue;
        }
        match candidate.rig().expect("it is possible").probe(probe).expect("it can be measured") {
            halfsplit::observation::Showing::Look(look) => {
                *outcomes.entry(look.word().to_owned()).or_default().entry(*group).or_default() +=
                    p;
            }
            halfsplit::observation::Showing::Position(_) => panic!("a meter has no positions"),
            halfsplit::observation::Showing::Dial(dial) => {
                // A fine grid over the instrument's error, equally likely everywhere.
                let grid = 20_000;
                for n in 0..grid {
                    let error = -1.0 + (f64::from(n) + 0.5) * 2.0 / f64::from(grid);
                    let reading = format!("{:?}", dial.reading(error));
                    *outcomes.entry(reading).or_default().entry(*group).or_default() +=
                        p / f64::from(grid);
                    if dial.error == 0.0 {
                        let all = outcomes
                            .get_mut(&format!("{:?}", dial.reading(0.0)))
                            .expect("just entered");
                        *all.get_mut(group).expect("just entered") += p - p / f64::from(grid);
                        break;
                    }
                }
            }
        }
    }
    let after: f64 = outcomes
        .values()
        .map(|groups| {
            let total: f64 = groups.values().sum();
            let shares: Vec<f64> = groups.values().map(|p| p / total).collect();
            total * entropy_bits(&shares)
        })
        .sum();
    belief.group_entropy_bits() - after
}

#[test]
fn the_best_prospect_is_the_first_of_all_prospects() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    for code in ["F-F26-C:open", "F-TQ:open", "CB2A:trips-early", "K-SG:coil-open"] {
        let (fault, _) = faults::parse(&circuit, code).expect("a fault");
        let mut session = Session::planted(Arc::clone(&circuit), fault, 3).expect("it settles");
        let belief = session.belief().expect("it can be worked out").clone();
        let all = prospects(&belief, &circuit, session.place());
        let best = halfsplit::diagnosis::best_prospect(&belief, &circuit, session.place());
        let first = all.into_iter().find(|p| p.bits > NO_BITS);
        assert_eq!(best.map(|p| p.rate()), first.map(|p| p.rate()), "{code}");
    }
}

#[test]
fn the_planted_fault_is_never_excluded() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let all = faults::all(&circuit);
    for (fault, _) in all.iter().step_by(29) {
        let mut session =
            Session::planted(Arc::clone(&circuit), fault.clone(), 5).expect("it settles");
        for line in ["set VSEL C1 A", "set VSEL FLT C", "press TEST", "go relay", "dc TBR-15"] {
            let request = halfsplit::drill::command::parse(&circuit, line).expect("a command");
            let halfsplit::drill::command::Request::Do(action) = request else { continue };
            session.apply(action);
        }
        let belief = session.belief().expect("it can be worked out");
        let own = belief.candidate(&fault.clone().into()).expect("it is a candidate");
        assert!(own.excluded.is_none(), "{}: {:?}", fault.code(&circuit), own.excluded);
        let sum: f64 = belief.posterior().iter().sum();
        assert!((sum - 1.0).abs() < 1e-9);
    }
}

#[test]
fn advice_depends_on_what_was_seen_and_not_on_what_is_hidden() {
    // Two faults of one relay that look the same on the deck: the same advice.
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let advice = |code: &str| {
        let (fault, _) = faults::parse(&circuit, code).expect("a fault");
        let mut session = Session::planted(Arc::clone(&circuit), fault, 9).expect("it settles");
        let seen = session.write_up().clone();
        let Outcome::Advised(advice) = session.apply(Action::Advise) else { panic!("{code}") };
        (seen, advice)
    };
    let (seen, first) = advice("K-SG:coil-open");
    let (also_seen, second) = advice("K-SG:stuck-released");
    assert_eq!(seen, also_seen, "the crew sees the same");
    assert_eq!(first, second);
    assert!(matches!(first, Advice::Do { .. }));
}

#[test]
fn an_excluded_fault_says_what_it_would_have_shown() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let (fault, _) = faults::parse(&circuit, "F-FLT-C:open").expect("a fault");
    let mut session = Session::planted(Arc::clone(&circuit), fault, 2).expect("it settles");
    let normal = session.normal().clone();
    let belief = session.belief().expect("it can be worked out");
    let mut excluded = 0;
    for candidate in belief.candidates() {
        let Some(exclusion) = &candidate.excluded else { continue };
        excluded += 1;
        assert!(!exclusion.would.contains(&exclusion.seen), "{}", candidate.cause.code(&circuit));
        // Worked out again from the candidate's own aircraft before any step.
        if let (What::Face(part), Percept::Look(_)) = (exclusion.what, exclusion.seen) {
            let station = circuit.part(part).seen_at;
            let fault = &candidate.cause.faults()[0];
            let (_, mode) = faults::parse(&circuit, &fault.code(&circuit)).expect("a fault");
            let rig = normal.with_failed(fault.part, mode.faulted).expect("it settles");
            let shows = rig.faces(station).find(|(id, _)| *id == part);
            let Some((_, halfsplit::observation::Showing::Look(look))) = shows else {
                panic!("it has a face")
            };
            assert_eq!(exclusion.would, vec![Percept::Look(look)]);
        }
    }
    assert!(excluded > 300, "{excluded}");
}
