//! Handouts: the isolation chart of a system or a drill, for paper.
//!
//! A chart is the best strategy known, written so that somebody can work by it: what to do,
//! what it may show, where to go on. Every branch of it is what the aircraft of that branch
//! really show: they are taken through the very steps of the chart
//! ([`Chart::new`]), and a fault that would leave the chart is told as astray.

mod dot;
mod markdown;
mod picture;
mod text;
mod tree;

pub use dot::dot;
pub use markdown::markdown;
pub use picture::svg;
pub use text::text;
pub use tree::{Branch, Chart, Leaf, Node, Step};
