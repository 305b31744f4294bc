//! Which column each shape stands in: as far left as what feeds it allows.

use super::bundle::Net;
use super::shape::{Figure, Shape, Side};

/// The column of every shape, from nought.
pub(super) fn layers(shapes: &[Shape], nets: &[Net]) -> Vec<usize> {
    let (after, before) = arrows(shapes, nets);
    let forward = without_rings(&after, shapes);
    let mut layers = vec![0; shapes.len()];
    for &shape in &forward.order {
        for &next in &forward.after[shape] {
            layers[next] = layers[next].max(layers[shape] + 1);
        }
    }
    // What nothing feeds, and what only feeds one thing farther on, moves up to it.
    for &shape in forward.order.iter().rev() {
        let nearest = forward.after[shape].iter().map(|next| layers[*next]).min();
        let free = before[shape].is_empty();
        if let Some(nearest) = nearest
            && free
            && nearest > layers[shape] + 1
        {
            layers[shape] = nearest - 1;
        }
    }
    // Parts without a line (mechanisms) stand in the first columns.
    for (shape, layer) in shapes.iter().zip(&mut layers) {
        if shape.figure == Figure::Mechanism {
            *layer = 0;
        }
    }
    layers
}

type Arrows = Vec<Vec<usize>>;

/// For every shape those that it feeds, and those that feed it.
fn arrows(shapes: &[Shape], nets: &[Net]) -> (Arrows, Arrows) {
    let mut after = vec![Vec::new(); shapes.len()];
    let mut before = vec![Vec::new(); shapes.len()];
    for net in nets {
        let on = |side| {
            let pins = net.pins.iter().filter(move |(s, pin)| shapes[*s].pins[*pin].side == side);
            pins.map(|(shape, _)| *shape)
        };
        for from in on(Side::Right) {
            for to in on(Side::Left) {
                if from != to && !after[from].contains(&to) {
                    after[from].push(to);
                    before[to].push(from);
                }
            }
        }
    }
    (after, before)
}

struct Forward {
    /// The arrows that are left when those that close a ring are left out.
    after: Arrows,
    /// The shapes so that every arrow goes forward.
    order: Vec<usize>,
}

/// Leaves out the arrows that close rings, by a walk in depth from what nothing feeds
/// and then from whatever has not been reached, in file order.
fn without_rings(after: &Arrows, shapes: &[Shape]) -> Forward {
    #[derive(Clone, Copy, PartialEq)]
    enum Mark {
        New,
        Open,
        Done,
    }
    let mut fed = vec![false; shapes.len()];
    for next in after.iter().flatten() {
        fed[*next] = true;
    }
    let mut marks = vec![Mark::New; shapes.len()];
    let mut forward: Arrows = vec![Vec::new(); shapes.len()];
    let mut order = Vec::new();
    let starts = (0..shapes.len()).filter(|s| !fed[*s]).chain(0..shapes.len());
    for start in starts {
        if marks[start] != Mark::New {
            continue;
        }
        marks[start] = Mark::Open;
        // The shape, and which of its arrows comes next.
        let mut walk = vec![(start, 0)];
        while let Some((shape, at)) = walk.last_mut() {
            let shape = *shape;
            let Some(&next) = after[shape].get(*at) else {
                marks[shape] = Mark::Done;
                order.push(shape);
                walk.pop();
                continue;
            };
            *at += 1;
            if marks[next] == Mark::Open {
                continue;
            }
            forward[shape].push(next);
            if marks[next] == Mark::New {
                marks[next] = Mark::Open;
                walk.push((next, 0));
            }
        }
    }
    order.reverse();
    Forward { after: forward, order }
}
