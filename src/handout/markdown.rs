//! The chart as Markdown: a table a step.

use std::fmt::Write as _;

use super::text::{TRAINING_ONLY, astray, leads_to, percent, told};
use super::{Chart, Node};
use crate::diagnostic::escaped;
use crate::units::minutes;

/// A text that means nothing to Markdown.
fn bare(text: &str) -> String {
    let mut out = String::new();
    for c in escaped(text).chars() {
        if matches!(c, '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

/// The chart as Markdown.
pub fn markdown(chart: &Chart) -> String {
    let mut out = format!(
        "# Isolation chart: {}\n\n**{TRAINING_ONLY}**\n\n{}\n",
        bare(&chart.title),
        told(chart)
    );
    if let Some(astray) = astray(chart) {
        let _ = write!(out, "\n{}\n", bare(&astray));
    }
    out.push('\n');
    for line in &chart.begin {
        let _ = writeln!(out, "- {}", bare(line));
    }
    for node in &chart.nodes {
        let Node::Step(step) = node else { continue };
        let acts: Vec<String> = step.acts.iter().map(|act| bare(act)).collect();
        let _ = write!(
            out,
            "\n## {}\n\n{} ({})\n\n| shows | then | share |\n|---|---|---|\n",
            step.number,
            acts.join(", then "),
            minutes(step.minutes)
        );
        for branch in &step.branches {
            let _ = writeln!(
                out,
                "| {} | {} | {} |",
                bare(&branch.shows),
                bare(&leads_to(chart, branch.to)),
                percent(branch.share)
            );
        }
    }
    out
}
