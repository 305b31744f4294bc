//! The chart as an SVG picture: steps from left to right, branches from top to bottom.

use std::fmt::Write as _;

use super::text::{TRAINING_ONLY, leads_to, percent, told};
use super::{Chart, Node};
use crate::diagnostic::escaped;
use crate::units::minutes;

/// Pixels of a box, and between boxes.
const BOX_WIDTH: usize = 250;
const GAP_X: usize = 190;
const GAP_Y: usize = 14;
/// Pixels of a line of text, and characters that fit a line of a box and of a branch.
const LINE: usize = 14;
const BOX_CHARS: usize = 38;
const BRANCH_CHARS: usize = 28;
const HEAD: usize = 64;
const MARGIN: usize = 16;

/// Words in lines of at most so many characters; a longer word has a line of its own.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// A box with its place.
struct Placed {
    node: usize,
    depth: usize,
    top: usize,
    height: usize,
    lines: Vec<String>,
}

/// The chart as a picture.
pub fn svg(chart: &Chart) -> String {
    let mut placed: Vec<Option<Placed>> = chart.nodes.iter().map(|_| None).collect();
    let mut below = HEAD;
    if !chart.nodes.is_empty() {
        place(chart, (0, 0), &mut below, &mut placed);
    }
    let placed: Vec<Placed> = placed.into_iter().flatten().collect();
    let depth = placed.iter().map(|one| one.depth).max().unwrap_or(0);
    let width = (MARGIN * 2 + (depth + 1) * BOX_WIDTH + depth * GAP_X).max(760);
    let height = below + MARGIN;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 \
         {width} {height}\" font-family=\"sans-serif\" font-size=\"11\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n\
         <text x=\"{MARGIN}\" y=\"20\" font-size=\"15\">Isolation chart: {}</text>\n\
         <text x=\"{MARGIN}\" y=\"36\">{}</text>\n\
         <text x=\"{MARGIN}\" y=\"51\">{}</text>\n",
        escaped(&chart.title),
        escaped(TRAINING_ONLY),
        escaped(&told(chart))
    );
    for one in &placed {
        let left = MARGIN + one.depth * (BOX_WIDTH + GAP_X);
        let step = matches!(chart.nodes[one.node], Node::Step(_));
        let (fill, round) = if step { ("#f4f4f0", 0) } else { ("#e6eef2", 8) };
        let _ = writeln!(
            out,
            "<rect x=\"{left}\" y=\"{}\" width=\"{BOX_WIDTH}\" height=\"{}\" rx=\"{round}\" \
             fill=\"{fill}\" stroke=\"#444444\"/>",
            one.top, one.height
        );
        for (line, text) in one.lines.iter().enumerate() {
            let y = one.top + (line + 1) * LINE;
            let _ = writeln!(out, "<text x=\"{}\" y=\"{y}\">{}</text>", left + 6, escaped(text));
        }
        let Node::Step(step) = &chart.nodes[one.node] else { continue };
        for branch in &step.branches {
            let Some(to) = placed.iter().find(|other| other.node == branch.to) else { continue };
            let (x1, y1) = (left + BOX_WIDTH, one.top + one.height / 2);
            let (x2, y2) = (x1 + GAP_X, to.top + to.height / 2);
            let _ = writeln!(
                out,
                "<path d=\"M{x1} {y1} H{} V{y2} H{x2}\" fill=\"none\" stroke=\"#444444\"/>",
                x1 + 10
            );
            let told = format!("{} ({})", branch.shows, percent(branch.share));
            let lines = wrapped(&told, BRANCH_CHARS);
            for (line, text) in lines.iter().enumerate() {
                // The words stand on their line and, where they are many, below it.
                let y = (y2 + line * LINE).saturating_sub(3);
                let _ = writeln!(
                    out,
                    "<text x=\"{}\" y=\"{y}\" fill=\"#333333\">{}</text>",
                    x1 + 14,
                    escaped(text)
                );
            }
        }
    }
    out.push_str("</svg>\n");
    out
}

/// Places a node and all that follow it; gives the middle of its box.
fn place(
    chart: &Chart,
    (node, depth): (usize, usize),
    below: &mut usize,
    placed: &mut Vec<Option<Placed>>,
) -> usize {
    let told = match &chart.nodes[node] {
        Node::Step(step) => {
            format!("{}. {} ({})", step.number, step.acts.join(", then "), minutes(step.minutes))
        }
        Node::Leaf(_) => leads_to(chart, node),
    };
    let lines = wrapped(&told, BOX_CHARS);
    let height = lines.len() * LINE + 8;
    let branches = match &chart.nodes[node] {
        Node::Step(step) => step.branches.clone(),
        Node::Leaf(_) => Vec::new(),
    };
    let mut middles = Vec::new();
    let first = *below;
    for branch in &branches {
        // A branch needs room for its own words too.
        let told = format!("{} ({})", branch.shows, percent(branch.share));
        let words = wrapped(&told, BRANCH_CHARS).len() * LINE;
        let before = *below;
        middles.push(place(chart, (branch.to, depth + 1), below, placed));
        let middle = *middles.last().expect("it was just put there");
        *below = (*below).max(middle + words + GAP_Y).max(before);
    }
    let middle = match (middles.first(), middles.last()) {
        (Some(first), Some(last)) => usize::midpoint(*first, *last),
        _ => first + height / 2,
    };
    let top = middle.saturating_sub(height / 2).max(first);
    *below = (*below).max(top + height + GAP_Y);
    placed[node] = Some(Placed { node, depth, top, height, lines });
    top + height / 2
}
