//! Isolation charts: what they say is what the aircraft show.

use std::collections::BTreeMap;
use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::diagnosis::Belief;
use halfsplit::drill::{Action, Outcome, Session};
use halfsplit::faults::parse_cause;
use halfsplit::handout::{self, Chart, Node};
use halfsplit::isolation::Isolation;
use halfsplit::library;
use halfsplit::observation::{Act, Percept, Rig, Step, What, Whereabouts};

use crate::program::run;

fn chart(name: &str) -> (Arc<Circuit>, Chart) {
    let circuit = Arc::new(library::load(name).expect("it comes with the program"));
    let isolation = Isolation::of_system(&circuit).expect("it settles");
    let normal = Rig::normal(Arc::clone(&circuit)).expect("it settles");
    let belief = Belief::prior(&normal).expect("it settles");
    let start = Whereabouts::start(&circuit);
    let title = circuit.title.clone();
    let made = Chart::new(title, &circuit, (&belief, &isolation), &start, 20_000_000);
    (circuit, made.expect("there is something to isolate"))
}

/// The leaf of every fault, and the branches that lead to it.
fn ways(chart: &Chart) -> BTreeMap<String, Vec<(usize, usize)>> {
    let mut ways = BTreeMap::new();
    let mut open = vec![(0, Vec::new())];
    while let Some((at, way)) = open.pop() {
        match &chart.nodes[at] {
            Node::Leaf(leaf) => {
                for fault in leaf.groups.iter().flat_map(|(_, faults)| faults) {
                    let before = ways.insert(fault.clone(), way.clone());
                    assert_eq!(before, None, "{fault} has two leaves");
                }
            }
            Node::Step(step) => {
                assert!(step.branches.len() > 1, "step {} tells nothing", step.number);
                for (which, branch) in step.branches.iter().enumerate() {
                    let mut way = way.clone();
                    way.push((at, which));
                    open.push((branch.to, way));
                }
            }
        }
    }
    ways
}

/// The branch that a fault takes at a step, and what the step showed of it.
type Shown = (usize, Vec<(What, Percept)>);

/// Every fault is worked as a drill along its way; whoever is sent another way by a step has
/// been shown something else there. The drills know nothing of the chart's table.
fn every_branch_is_seen(name: &str) {
    let (circuit, chart) = chart(name);
    let ways = ways(&chart);
    assert_eq!(ways.len(), chart.faults);
    let mut seen: BTreeMap<usize, Vec<Shown>> = BTreeMap::new();
    for (fault, way) in ways.iter().filter(|(fault, _)| !chart.astray.contains(fault)) {
        let cause = parse_cause(&circuit, fault).expect("the chart names faults");
        let mut session = Session::planted(Arc::clone(&circuit), cause, 9).expect("it settles");
        'way: for (at, which) in way {
            let Node::Step(step) = &chart.nodes[*at] else { panic!("a way is of steps") };
            let mut shown = Vec::new();
            for step in &step.path {
                if matches!(step, Step::Act(Act::Replace(_) | Act::PushIn(_))) {
                    // What follows these depends on what they help.
                    break 'way;
                }
                let Outcome::Done(entry) = session.apply(Action::Step(*step)) else {
                    panic!("{fault}: {step:?}")
                };
                shown.clone_from(&session.log()[entry].observation.percepts);
            }
            seen.entry(*at).or_default().push((*which, shown));
        }
    }
    let mut steps = 0;
    for (at, shown) in &seen {
        for (one, first) in shown {
            for (other, second) in shown {
                assert!(one == other || first != second, "{name}: node {at} cannot be told");
            }
        }
        steps += 1;
    }
    assert!(steps > 5, "{name} is charted");
    // Few may be led astray by what the table leaves out.
    assert!(chart.astray.len() * 10 < chart.faults, "{name}: {:?}", chart.astray);
}

#[test]
fn every_branch_of_the_charts_is_what_the_aircraft_show() {
    every_branch_is_seen("t4-dc");
    every_branch_is_seen("t4-ac");
}

#[test]
fn shares_and_minutes_add_up() {
    let (_, chart) = chart("t4-dc");
    let leaves = || {
        chart.nodes.iter().filter_map(|node| match node {
            Node::Leaf(leaf) => Some(leaf),
            Node::Step(_) => None,
        })
    };
    let total: f64 = leaves().map(|leaf| leaf.share).sum();
    assert!((total - 1.0).abs() < 1e-9, "{total}");
    for node in &chart.nodes {
        if let Node::Step(step) = node {
            for branch in &step.branches {
                let below = match &chart.nodes[branch.to] {
                    Node::Leaf(leaf) => leaf.share,
                    Node::Step(step) => step.branches.iter().map(|branch| branch.share).sum(),
                };
                assert!((below - branch.share).abs() < 1e-9);
            }
        }
    }
    assert!(chart.least_minutes <= chart.minutes + 1e-9);
}

#[test]
fn a_chart_is_written_in_every_form() {
    let (_, chart) = chart("t4-dc");
    let steps = chart.nodes.iter().filter(|node| matches!(node, Node::Step(_))).count();
    let text = handout::text(&chart);
    assert_eq!(
        text.lines().filter(|l| l.chars().next().is_some_and(char::is_numeric)).count() - 1,
        steps
    );
    let markdown = handout::markdown(&chart);
    assert_eq!(markdown.matches("\n## ").count(), steps);
    let dot = handout::dot(&chart);
    assert_eq!(dot.matches(" [label=\"").count() - dot.matches(" -> ").count(), steps);
    assert_eq!(dot.matches('{').count(), dot.matches('}').count());
    let svg = handout::svg(&chart);
    let document = roxmltree::Document::parse(&svg).expect("it is XML");
    let boxes = document.descendants().filter(|n| n.has_tag_name("rect")).count();
    assert_eq!(boxes, chart.nodes.len() + 1, "a box for each node, and the paper");
    for form in [&text, &markdown, &svg] {
        assert!(form.contains("For training only"));
    }
}

#[test]
fn the_verb_charts_systems_and_drills() {
    let (code, said, _) = run(&["chart", "t4-ac/four-dials"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("Four dials of one kind") && said.contains("\n1. "), "{said}");
    let (code, _, complaint) = run(&["chart", "t4-ac/none"]);
    assert!(code == Some(2) && complaint.contains("has no drill `none`"), "{complaint}");
}
