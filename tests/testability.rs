//! What can be told apart: figures, the matrix, the point that would help most.

use std::collections::BTreeMap;
use std::sync::Arc;

use halfsplit::circuit::{Circuit, TestPoint};
use halfsplit::dictionary::{Case, Dictionary, Setup, Testability};
use halfsplit::library;

use crate::program::run;

fn bench_without_points() -> Arc<Circuit> {
    let circuit = library::load("bench").expect("it comes along");
    Arc::new(Circuit { test_points: Vec::new(), ..circuit })
}

#[test]
fn the_best_point_is_the_best_of_all_points_tried_one_by_one() {
    let circuit = bench_without_points();
    let setups = Setup::single(&circuit);
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    let survey = dictionary.survey(&setups).expect("it settles");
    let best = survey.best.expect("a bench without points lacks one");
    // The long way: a circuit with that point, and its own dictionary.
    let doubt = |net| {
        let station = best.station;
        let point = TestPoint { id: "NEW".to_owned(), net, station };
        let with = Circuit { test_points: vec![point], ..(*circuit).clone() };
        let dictionary = Dictionary::new(Arc::new(with)).expect("it settles");
        dictionary.survey(&setups).expect("it settles").now.doubt_bits()
    };
    let nets: Vec<_> = (1..circuit.nets.len() as u32).map(halfsplit::circuit::NetId).collect();
    let least = nets.iter().map(|net| doubt(*net)).fold(f64::INFINITY, f64::min);
    assert!((best.with.doubt_bits() - least).abs() < 1e-12, "{} {least}", best.with.doubt_bits());
    assert!((doubt(best.net) - least).abs() < 1e-12);
    assert!(least < survey.now.doubt_bits());
}

#[test]
fn groups_are_what_two_faults_show_alike_in_every_setup() {
    let circuit = Arc::new(library::load("bench").expect("it comes along"));
    let setups = Setup::single(&circuit);
    let dictionary = Dictionary::new(Arc::clone(&circuit)).expect("it settles");
    let Testability { missed, groups, .. } = dictionary.survey(&setups).expect("it settles").now;
    let shown = |case| {
        let all = setups.iter().map(|setup| {
            let page = dictionary.settle(setup).expect("it settles");
            let entry = dictionary.entry(&page, case).expect("it settles");
            entry.shown().iter().map(|shown| format!("{:?}", shown.percept)).collect::<Vec<_>>()
        });
        all.collect::<Vec<_>>()
    };
    let mut expected: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for at in 0..dictionary.faults().len() {
        expected.entry(shown(Case::One(at as u32))).or_default().push(at);
    }
    assert_eq!(expected.remove(&shown(Case::Sound)).unwrap_or_default(), missed);
    let mut expected: Vec<Vec<usize>> = expected.into_values().collect();
    let mut groups = groups;
    expected.sort();
    groups.sort();
    assert_eq!(expected, groups);
}

#[test]
fn the_matrix_has_a_line_for_each_fault_and_a_column_for_each_test() {
    let (code, told, _) = run(&["dictionary", "bench", "--matrix", "--setups", "normal"]);
    assert_eq!(code, Some(0));
    let lines: Vec<Vec<&str>> = told.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(lines.len(), 12);
    assert!(lines.iter().all(|line| line.len() == 3 + 10), "{told}");
    // A broken first wire leaves TB1-1 as it is and takes the volts from TB1-2.
    let row = lines.iter().find(|line| line[0] == "W1:open").expect("a line");
    let at = |title: &str| lines[0].iter().position(|t| *t == title).expect("a column");
    assert_eq!(row[at("normal: DC volts TB1-1 to GND")], "0");
    assert_eq!(row[at("normal: DC volts TB1-2 to GND")], "1");
}

#[test]
fn groups_tell_figures_idle_tests_and_the_best_point() {
    let (code, told, _) = run(&["dictionary", "t4-dc", "--groups", "--setups", "normal"]);
    assert_eq!(code, Some(0), "{told}");
    for words in ["FFD", "FFI(2)", "never show anything", "the one test point that would help most"]
    {
        assert!(told.contains(words), "{words}: {told}");
    }
    let (_, again, _) =
        run(&["dictionary", "t4-dc", "--groups", "--setups", "normal", "--jobs", "1"]);
    assert_eq!(told, again, "the same bytes for any number of jobs");
}
