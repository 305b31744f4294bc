//! The chart in the DOT language of Graphviz.

use std::fmt::Write as _;

use super::text::{leads_to, percent};
use super::{Chart, Node};
use crate::diagnostic::plain;
use crate::units::minutes;

/// A text as a quoted DOT string.
fn quoted(text: &str) -> String {
    format!("\"{}\"", plain(text).replace('\\', "\\\\").replace('"', "\\\""))
}

/// The chart as a directed graph.
pub fn dot(chart: &Chart) -> String {
    let mut out = format!(
        "digraph isolation {{\n  label={};\n  rankdir=TB;\n  node [shape=box];\n",
        quoted(&format!("{} - for training only", chart.title))
    );
    for (at, node) in chart.nodes.iter().enumerate() {
        match node {
            Node::Step(step) => {
                let told = format!(
                    "{}. {} ({})",
                    step.number,
                    step.acts.join(", then "),
                    minutes(step.minutes)
                );
                let _ = writeln!(out, "  n{at} [label={}];", quoted(&told));
                for branch in &step.branches {
                    let told = format!("{} ({})", branch.shows, percent(branch.share));
                    let _ = writeln!(out, "  n{at} -> n{} [label={}];", branch.to, quoted(&told));
                }
            }
            Node::Leaf(_) => {
                let told = leads_to(chart, at);
                let _ = writeln!(out, "  n{at} [style=rounded, label={}];", quoted(&told));
            }
        }
    }
    out.push_str("}\n");
    out
}
