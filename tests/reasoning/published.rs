//! Circuits and tables from the literature on diagnosis.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::sync::Arc;

use halfsplit::circuit::{Circuit, read_system};
use halfsplit::diagnosis::{best_prospect, entropy_bits, value_of};
use halfsplit::dictionary::{Case, Dictionary, Fingerprint, Groups, Setup};
use halfsplit::drill::{Action, Outcome, Session};
use halfsplit::faults;
use halfsplit::observation::{Function, Probe, Step, Touch};
use halfsplit::planning::{Candidate, Problem, Table, Test, advise, plan, regret, verify};

fn read(nets: &[String], parts: &str, points: &str) -> Arc<Circuit> {
    let nets: Vec<String> = nets.iter().map(|net| format!("\"{net}\"")).collect();
    let text = format!(
        "System(id: \"published\", title: \"Published\", stations: [Station(id: \"bench\", \
         title: \"BENCH\", crew: true)], nets: [{}], parts: [Supply(id: \"S\", at: \"bench\", \
         plus: \"HOT\", volts: 28, ohms: 0.000001), {parts}], test_points: [{points}])",
        nets.join(", ")
    );
    let (circuit, findings) = read_system("published.ron", &text);
    Arc::new(circuit.unwrap_or_else(|| panic!("{findings:?}")))
}

/// Relays in a row, each pulled in through the one before, with a test point behind each.
fn relay_chain(n: usize) -> Arc<Circuit> {
    let net = |k: usize| if k == 0 { "HOT".to_owned() } else { format!("N{k}") };
    let nets: Vec<String> = (0..=n).map(net).collect();
    let relay = |k: usize| {
        let (before, after) = (net(k - 1), net(k));
        format!(
            "Relay(id: \"K{k}\", at: \"bench\", x1: \"{before}\", contacts: [(com: \"HOT\", no: \
             \"{after}\")]), "
        )
    };
    let lamp = format!("Lamp(id: \"L\", at: \"bench\", a: \"{}\")", net(n));
    let parts: String = (1..=n).map(relay).chain([lamp]).collect();
    let point = |k: usize| format!("TestPoint(id: \"P{k}\", net: \"{}\", at: \"bench\"), ", net(k));
    read(&nets, &parts, &(0..=n).map(point).collect::<String>())
}

/// The chain of de Kleer and Williams, "Diagnosing multiple faults", Artificial Intelligence
/// 32 (1987), from memory, with one fault: the first input is right, the last output wrong.
/// Expected entropies after a probe behind each part: elementary, sum of k/n log2 k. Theirs
/// are inverters; a relay that passes its input on splits the suspects in the same way and
/// can fail alike at every place in the row.
#[test]
fn a_chain_is_best_probed_in_the_middle() {
    let four = [1.1887, 1.0, 1.1887];
    let eight = [2.4564, 2.1887, 2.0456, 2.0, 2.0456, 2.1887, 2.4564];
    for expected in [&four[..], &eight[..]] {
        let n = expected.len() + 1;
        let circuit = relay_chain(n);
        let volts_at = |k: usize| {
            let point = circuit.find_test_point(&format!("P{k}")).expect("a point");
            let (red, black) = (Touch::Point(point), Touch::Airframe);
            Step::Probe(Probe { function: Function::DcVolts, red, black })
        };
        for code in ["K1:coil-open", "K2:stuck-released", "K3:contact-open-1no"] {
            let (fault, _) = faults::parse(&circuit, code).expect("a fault");
            let mut session = Session::planted(Arc::clone(&circuit), fault, 1).expect("it settles");
            for step in [volts_at(0), volts_at(n)] {
                assert!(matches!(session.apply(Action::Step(step)), Outcome::Done(_)));
            }
            let place = session.place().clone();
            let belief = session.belief().expect("it can be worked out");
            // Supply and lamp are out, the relays equally likely.
            let mut shares = belief.group_posterior();
            shares.retain(|p| *p > 0.0);
            assert_eq!(shares.len(), n, "{shares:?}");
            assert!(shares.iter().all(|p| (p - 1.0 / n as f64).abs() < 1e-6), "{shares:?}");
            for (k, expected) in (1..n).zip(expected) {
                let value = value_of(belief, &circuit, &place, volts_at(k));
                let after = belief.group_entropy_bits() - value.bits;
                assert!((after - expected).abs() < 1e-4, "{n} relays, {k}: {after}");
            }
            let best = best_prospect(belief, &circuit, &place).expect("there is one");
            assert_eq!(best.step, volts_at(n / 2), "{}", best.step.told(&circuit));
        }
    }
}

/// One way in which things can be as they were seen: who is faulty, what can be probed
/// then, and how probable that is.
struct Way {
    faulty: Vec<&'static str>,
    shows: [u16; 3],
    weight: f64,
}

/// Of all examples here: a part is faulty with this probability.
const FAULTY: f64 = 0.01;

/// What a part can give, with the weight of that: the right value, or any of so many when
/// it is faulty.
fn options(right: u16, values: u16) -> impl Iterator<Item = (u16, bool, f64)> {
    let any = (0..values).map(move |value| (value, true, FAULTY / f64::from(values)));
    std::iter::once((right, false, 1.0 - FAULTY)).chain(any)
}

fn named<const N: usize>(parts: [(&'static str, bool); N]) -> Vec<&'static str> {
    parts.into_iter().filter_map(|(id, faulty)| faulty.then_some(id)).collect()
}

/// Uncertainty about who is faulty, in bits, with the weight of it all.
fn uncertainty(ways: &[&Way]) -> (f64, f64) {
    let mut by_set: BTreeMap<&[&str], f64> = BTreeMap::new();
    for way in ways {
        *by_set.entry(&way.faulty).or_default() += way.weight;
    }
    let total: f64 = by_set.values().sum();
    (total, entropy_bits(&by_set.values().map(|w| w / total).collect::<Vec<_>>()))
}

/// Entropy now and expected after each of the three probes.
fn entropies(ways: &[Way]) -> [f64; 4] {
    let (total, now) = uncertainty(&ways.iter().collect::<Vec<_>>());
    let after = |at: usize| -> f64 {
        let mut values: Vec<u16> = ways.iter().map(|way| way.shows[at]).collect();
        values.sort_unstable();
        values.dedup();
        let left = values.into_iter().map(|value| {
            let same: Vec<&Way> = ways.iter().filter(|way| way.shows[at] == value).collect();
            let (mass, bits) = uncertainty(&same);
            mass / total * bits
        });
        left.sum()
    };
    [now, after(0), after(1), after(2)]
}

/// The same as a planning problem, up to two faults.
fn problem(ways: &[Way]) -> Problem {
    let few: Vec<&Way> = ways.iter().filter(|way| way.faulty.len() <= 2).collect();
    let mut sets: Vec<&[&str]> = few.iter().map(|way| way.faulty.as_slice()).collect();
    sets.sort_unstable();
    sets.dedup();
    let group = |way: &Way| sets.iter().position(|set| *set == way.faulty).expect("listed") as u32;
    let total: f64 = few.iter().map(|way| way.weight).sum();
    let probe = |at: usize| Test {
        minutes: 1.0,
        place: None,
        needs: None,
        outcomes: few.iter().map(|way| way.shows[at]).collect(),
    };
    let candidates =
        few.iter().map(|way| Candidate { weight: way.weight / total, group: group(way) });
    let table = Table {
        candidates: candidates.collect(),
        tests: (0..3).map(probe).collect(),
        ..Table::default()
    };
    Problem::new(&table).expect("it is a problem")
}

/// Plans, and returns the probe to make first with what it costs at least to make another.
fn first_of(problem: &Problem) -> (Option<u32>, [f64; 3]) {
    let work = 10_000_000;
    let done = plan(problem, work);
    assert!(done.proven);
    verify(&done.certificate).expect("the proof holds");
    let first = done.policy.first();
    assert_eq!(advise(problem, work).test, first);
    (first, [0, 1, 2].map(|test| regret(problem, test, work).expect("it is a test").least))
}

/// The two-fault example of the same paper: A=3, B=2, C=2, D=3, E=3, products X=AC, Y=BD
/// and Z=CE of M1 to M3, sums F=X+Y and G=Y+Z of A1 and A2; F is 10 and not 12, G is 12.
/// A faulty part gives any of 16 values.
fn multipliers_and_adders() -> Vec<Way> {
    let mut ways = Vec::new();
    for (x, m1, x_weight) in options(6, 16) {
        for (y, m2, y_weight) in options(6, 16) {
            for (z, m3, z_weight) in options(6, 16) {
                let sums = options(x + y, 16).filter(|(f, ..)| *f == 10);
                for (_, a1, f_weight) in sums {
                    let sums = options(y + z, 16).filter(|(g, ..)| *g == 12);
                    for (_, a2, g_weight) in sums {
                        let parts = [("M1", m1), ("M2", m2), ("M3", m3), ("A1", a1), ("A2", a2)];
                        let weight = x_weight * y_weight * z_weight * f_weight * g_weight;
                        ways.push(Way { faulty: named(parts), shows: [x, y, z], weight });
                    }
                }
            }
        }
    }
    ways
}

/// Best to probe is X (from memory); the entropies were computed apart from this program
/// with the same assumptions. With X known and right a look at Y is still needed, with it
/// wrong none is, so Y first costs half a probe more, and Z first a whole one.
#[test]
fn the_multipliers_and_adders_are_best_probed_at_x() {
    let ways = multipliers_and_adders();
    for (ours, expected) in entropies(&ways).into_iter().zip([1.0713, 0.0383, 1.0635, 1.0670]) {
        assert!((ours - expected).abs() < 5e-5, "{ours} {expected}");
    }
    let (first, dearer) = first_of(&problem(&ways));
    assert_eq!(first, Some(0));
    for (ours, expected) in dearer.into_iter().zip([0.0, 0.5, 1.0]) {
        assert!((ours - expected).abs() < 0.01, "{dearer:?}");
    }
}

/// The chain of four inverters of the same paper with any number of faults: a is 1, so b to
/// e should be 0, 1, 0, 1, and e is wrong; a faulty part gives either value. Best to probe
/// is c (from memory); the entropies were computed apart from this program.
#[test]
fn four_inverters_are_best_probed_in_the_middle() {
    let mut ways = Vec::new();
    for (b, a_faulty, b_weight) in options(0, 2) {
        for (c, b_faulty, c_weight) in options(1 - b, 2) {
            for (d, c_faulty, d_weight) in options(1 - c, 2) {
                for (_, d_faulty, e_weight) in options(1 - d, 2).filter(|(e, ..)| *e == 0) {
                    let parts =
                        [("A", a_faulty), ("B", b_faulty), ("C", c_faulty), ("D", d_faulty)];
                    let weight = b_weight * c_weight * d_weight * e_weight;
                    ways.push(Way { faulty: named(parts), shows: [b, c, d], weight });
                }
            }
        }
    }
    for (ours, expected) in entropies(&ways).into_iter().zip([2.1221, 1.3184, 1.1322, 1.3184]) {
        assert!((ours - expected).abs() < 5e-5, "{ours} {expected}");
    }
    let (first, dearer) = first_of(&problem(&ways));
    assert_eq!(first, Some(1));
    assert!(dearer[0] > 0.1 && dearer[2] > 0.1, "{dearer:?}");
}

/// Rates of s1 to s5 and which of t1 to t5 fail with each: the five-test example of
/// Pattipati and Alexandridis, IEEE Trans. SMC 20 (1990), from memory.
const RATES: [f64; 5] = [0.01, 0.02, 0.10, 0.05, 0.12];
const FAILS: [[bool; 5]; 5] = [
    [false, true, false, false, true],
    [false, false, true, true, false],
    [true, false, false, true, true],
    [true, true, false, false, false],
    [true, true, true, true, false],
];

/// The example as a circuit: a relay for each fault and a lamp for each test, fed through
/// a contact of every relay whose fault it shows.
fn lamps(tests: &[usize]) -> Arc<Circuit> {
    let mut nets = vec!["HOT".to_owned()];
    let mut contacts: Vec<Vec<String>> = Vec::new();
    for relay in 0..5 {
        // A relay that no lamp depends on has its contact all the same.
        nets.push(format!("SPARE{relay}"));
        contacts.push(vec![format!("(com: \"HOT\", no: \"SPARE{relay}\")")]);
    }
    let mut parts = String::new();
    for test in tests {
        let mut from = "HOT".to_owned();
        for relay in (0..5).filter(|relay| FAILS[*relay][*test]) {
            let to = format!("T{test}.{relay}");
            contacts[relay].push(format!("(com: \"{from}\", no: \"{to}\")"));
            nets.push(to.clone());
            from = to;
        }
        write!(parts, "Lamp(id: \"T{}\", at: \"bench\", a: \"{from}\"), ", test + 1)
            .expect("text takes anything");
    }
    for (relay, contacts) in contacts.iter().enumerate() {
        let contacts = contacts.join(", ");
        write!(
            parts,
            "Relay(id: \"K{}\", at: \"bench\", x1: \"HOT\", contacts: [{contacts}]), ",
            relay + 1
        )
        .expect("text takes anything");
    }
    read(&nets, &parts, "")
}

/// What a set of tests detects and isolates, as fractions of all rates: detected, isolated
/// to one, to two at most, and mean group sizes by rate and by group. Definitions as in
/// MIL-STD-2165 and IEEE 1522, from memory.
fn figures(alike: &[Vec<usize>]) -> [f64; 5] {
    let rate = |group: &[usize]| group.iter().map(|fault| RATES[*fault]).sum::<f64>();
    let detected: f64 = alike.iter().map(|group| rate(group)).sum();
    let up_to = |size: usize| {
        let small = alike.iter().filter(|group| group.len() <= size);
        small.map(|group| rate(group)).sum::<f64>() / detected
    };
    let by_rate = alike.iter().map(|group| group.len() as f64 * rate(group)).sum::<f64>();
    let plain = alike.iter().map(Vec::len).sum::<usize>() as f64 / alike.len() as f64;
    [detected / RATES.iter().sum::<f64>(), up_to(1), up_to(2), by_rate / detected, plain]
}

#[test]
fn what_tests_detect_and_isolate() {
    for (tests, groups, expected) in [
        (
            &[0, 1, 2, 3, 4][..],
            vec![vec![0], vec![1], vec![2], vec![3], vec![4]],
            [1.0, 1.0, 1.0, 1.0, 1.0],
        ),
        (&[1, 3], vec![vec![0, 3], vec![1, 2], vec![4]], [1.0, 0.4, 1.0, 1.6, 5.0 / 3.0]),
        (&[3], vec![vec![1, 2, 4]], [0.8, 0.0, 0.0, 3.0, 3.0]),
    ] {
        // By the dictionary of a circuit.
        let dictionary = Dictionary::new(lamps(tests)).expect("it settles");
        let page = dictionary.settle(&Setup::normal()).expect("it settles");
        let broken = (1..=5).map(|k| dictionary.case(&format!("K{k}:coil-open")).expect("a case"));
        let cases: Vec<Case> = std::iter::once(Case::Sound).chain(broken).collect();
        let print = |case: &Case| {
            let entry = dictionary.entry(&page, *case).expect("it settles");
            Fingerprint::default().with(&entry)
        };
        let prints: Vec<Fingerprint> = cases.iter().map(print).collect();
        let found = Groups::of(&cases, &prints, prints[0]);
        let fault = |case: &Case| cases.iter().position(|c| c == case).expect("one of them") - 1;
        let mut alike: Vec<Vec<usize>> =
            found.alike.iter().map(|group| group.iter().map(fault).collect()).collect();
        let in_company = |fault: &usize| alike.iter().flatten().any(|other| other == fault);
        let missed: Vec<usize> = found.nothing.iter().map(fault).collect();
        let alone: Vec<Vec<usize>> = (0..5)
            .filter(|fault| !in_company(fault) && !missed.contains(fault))
            .map(|fault| vec![fault])
            .collect();
        assert_eq!(alone.len(), found.apart);
        alike.extend(alone);
        alike.sort();
        assert_eq!(alike, groups, "{tests:?}");
        for (ours, expected) in figures(&alike).into_iter().zip(expected) {
            assert!((ours - expected).abs() < 1e-12, "{tests:?}: {ours} {expected}");
        }

        // By the classes of a planning problem, in which nothing at all is wrong is one.
        let shows = |test: &usize| {
            let fails = FAILS.iter().map(|fault| u16::from(fault[*test]));
            let outcomes = std::iter::once(0).chain(fails).collect();
            Test { minutes: 1.0, place: None, needs: None, outcomes }
        };
        let weights = std::iter::once(0.7).chain(RATES);
        let candidate = |(group, weight)| Candidate { weight, group };
        let table = Table {
            candidates: (0..).zip(weights).map(candidate).collect(),
            tests: tests.iter().map(shows).collect(),
            ..Table::default()
        };
        let problem = Problem::new(&table).expect("it is a problem");
        let mut classes: Vec<Vec<usize>> = problem
            .classes()
            .iter()
            .filter(|class| !class.candidates.contains(&0))
            .map(|class| class.candidates.iter().map(|at| *at as usize - 1).collect())
            .collect();
        classes.sort();
        assert_eq!(classes, groups, "{tests:?}");
    }
}
