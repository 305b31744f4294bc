//! Where the focus goes: to the nearest thing in a direction, or to the next one in
//! reading order.

use ratatui::layout::Rect;

use super::command::Command;
use super::station::{Item, Plan};

/// The item that lies beside another, in the direction of an arrow.
///
/// A row counts as two columns, as cells are twice as high as wide; what lies askew
/// counts as farther than it is.
pub(super) fn beside(plan: &Plan, from: Item, arrow: Command) -> Option<Item> {
    let here = plan.area_of(from)?;
    plan.items()
        .into_iter()
        .filter(|item| *item != from)
        .filter_map(|item| {
            let there = plan.area_of(item)?;
            distance(here, there, arrow).map(|d| (d, item))
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, item)| item)
}

fn distance(here: Rect, there: Rect, arrow: Command) -> Option<i32> {
    let left = |r: Rect| i32::from(r.left());
    let right = |r: Rect| i32::from(r.right());
    let top = |r: Rect| 2 * i32::from(r.top());
    let bottom = |r: Rect| 2 * i32::from(r.bottom());
    // Columns or half rows between two spans; zero where they overlap.
    let apart = |a0: i32, a1: i32, b0: i32, b1: i32| (b0 - a1).max(a0 - b1).max(-1) + 1;
    let across = apart(left(here), right(here), left(there), right(there));
    let along = apart(top(here), bottom(here), top(there), bottom(there));
    let (ahead, aside) = match arrow {
        Command::Left if right(there) <= left(here) => (left(here) - right(there), along),
        Command::Right if left(there) >= right(here) => (left(there) - right(here), along),
        Command::Up if bottom(there) <= top(here) => (top(here) - bottom(there), across),
        Command::Down if top(there) >= bottom(here) => (top(there) - bottom(here), across),
        _ => return None,
    };
    // Of two equally near ones, the one whose edge lines up.
    let edge = match arrow {
        Command::Up | Command::Down => (left(here) - left(there)).abs(),
        _ => (top(here) - top(there)).abs(),
    };
    Some(ahead * 8 + aside * 24 + edge.min(7))
}

/// The next or previous item, in reading order, that one can act on.
pub(super) fn next(plan: &Plan, from: Item, forward: bool) -> Option<Item> {
    let mut items = plan.items();
    if !forward {
        items.reverse();
    }
    let at = items.iter().position(|item| *item == from)?;
    let after = items[at + 1..].iter();
    after.chain(&items[..at]).copied().find(|item| plan.acts(*item))
}
