//! The chart as plain text: numbered steps, each branch with where to go on.

use std::fmt::Write as _;

use super::{Chart, Node};
use crate::units::{minutes, significant};

/// What heads every handout.
pub(super) const TRAINING_ONLY: &str = "For training only: work on an aircraft follows the \
approved maintenance data, local rules and licensed staff.";

/// A share as people read it: `12 %`, `under 1 %`.
pub(super) fn percent(share: f64) -> String {
    if share < 0.01 {
        "under 1 %".to_owned()
    } else {
        format!("{} %", significant(100.0 * share, 2))
    }
}

/// What a chart isolates and how quickly, in one sentence.
pub(super) fn told(chart: &Chart) -> String {
    let least = if minutes(chart.minutes) == minutes(chart.least_minutes) {
        "and no chart takes less: proved".to_owned()
    } else {
        format!("no chart takes less than {}", minutes(chart.least_minutes))
    };
    format!(
        "{} faults in {} repair groups; {} on average, {least}.",
        chart.faults,
        chart.groups,
        minutes(chart.minutes)
    )
}

/// The faults that leave the chart, in one sentence; none where there are none.
pub(super) fn astray(chart: &Chart) -> Option<String> {
    (!chart.astray.is_empty()).then(|| {
        format!("Taken through the steps, these show something else: {}.", chart.astray.join(", "))
    })
}

/// Where a branch leads, in words.
pub(super) fn leads_to(chart: &Chart, to: usize) -> String {
    match chart.nodes.get(to) {
        Some(Node::Step(step)) => format!("go to {}", step.number),
        Some(Node::Leaf(leaf)) => {
            let groups: Vec<String> = leaf
                .groups
                .iter()
                .map(|(group, faults)| {
                    let named = chart
                        .labels
                        .get(group)
                        .map_or_else(|| group.clone(), |label| format!("{group} {label}"));
                    let modes: Vec<&str> = faults
                        .iter()
                        .filter_map(|fault| fault.split_once(':'))
                        .map(|f| f.1)
                        .collect();
                    if modes.len() == faults.len()
                        && faults.iter().all(|f| f.starts_with(&format!("{group}:")))
                    {
                        format!("{named} ({})", modes.join(", "))
                    } else {
                        format!("{named} ({})", faults.join(", "))
                    }
                })
                .collect();
            format!("repair {}", groups.join(", or "))
        }
        None => String::new(),
    }
}

/// The chart as text.
pub fn text(chart: &Chart) -> String {
    let mut out = format!("Isolation chart: {}\n{TRAINING_ONLY}\n{}\n", chart.title, told(chart));
    if let Some(astray) = astray(chart) {
        let _ = writeln!(out, "{astray}");
    }
    for line in &chart.begin {
        let _ = writeln!(out, "{line}.");
    }
    for node in &chart.nodes {
        let Node::Step(step) = node else { continue };
        let _ = writeln!(
            out,
            "\n{}. {} ({})",
            step.number,
            step.acts.join(", then "),
            minutes(step.minutes)
        );
        for branch in &step.branches {
            let _ = writeln!(
                out,
                "   {}: {} [{}]",
                branch.shows,
                leads_to(chart, branch.to),
                percent(branch.share)
            );
        }
    }
    if let [node @ Node::Leaf(_)] = &chart.nodes[..] {
        let _ = node;
        let _ = writeln!(out, "\nNothing tells these apart: {}.", leads_to(chart, 0));
    }
    out
}
