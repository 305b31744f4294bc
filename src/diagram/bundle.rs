//! What is drawn as one line: a net with all its pins, or the lines of several phases
//! between the same places.

use std::collections::BTreeMap;

use super::shape::{Figure, Pin, Shape, Side};
use crate::circuit::{AIRFRAME, Circuit, NetId};

/// What becomes one line.
#[derive(Clone, Debug)]
pub(super) struct Net {
    /// The nets in it.
    pub(super) nets: Vec<NetId>,
    /// Its pins: shape, and pin of the shape.
    pub(super) pins: Vec<(usize, usize)>,
}

/// The most conductors in a bundle.
const PHASES: usize = 3;

/// Bundles what runs side by side, gives every shape its size, and tells which lines
/// there are to draw: those of two pins and more.
pub(super) fn bundle(circuit: &Circuit, shapes: &mut Vec<Shape>) -> Vec<Net> {
    let mut ends = ends(circuit, shapes);
    let mut gone = vec![false; shapes.len()];
    for group in wire_groups(circuit, shapes) {
        let sides = [Side::Left, Side::Right].map(|side| {
            let nets: Vec<NetId> = group.iter().map(|at| on_side(&shapes[*at], side)).collect();
            alike(&nets, &ends, shapes, &group)
        });
        if sides == [false, false] {
            continue;
        }
        let cable = cable(shapes, &group, sides);
        shapes[group[0]] = cable;
        for at in &group[1..] {
            gone[*at] = true;
        }
    }
    let mut kept = gone.iter().map(|gone| !gone);
    shapes.retain(|_| kept.next().unwrap_or(true));
    ends = self::ends(circuit, shapes);
    let mut bundled = vec![false; circuit.nets.len()];
    let mut bundles: Vec<Vec<NetId>> = Vec::new();
    for first in 1..circuit.nets.len() {
        if bundled[first] {
            continue;
        }
        let first = NetId(first as u32);
        let mut nets = vec![first];
        for other in first.index() + 1..circuit.nets.len() {
            let other = NetId(other as u32);
            let fits = nets.len() < PHASES
                && !bundled[other.index()]
                && siblings(circuit.net_name(first), circuit.net_name(other))
                && alike(&[first, other], &ends, shapes, &[])
                && ends[first.index()].len() > 1;
            if fits {
                nets.push(other);
            }
        }
        if nets.len() > 1 {
            for net in &nets {
                bundled[net.index()] = true;
            }
            bundles.push(nets);
        }
    }
    for nets in &bundles {
        for (shape, _) in &ends[nets[0].index()] {
            gather(&mut shapes[*shape], nets);
        }
    }
    for shape in shapes.iter_mut() {
        shape.sized();
    }
    lines(shapes)
}

/// The pins on every net: shape and pin.
fn ends(circuit: &Circuit, shapes: &[Shape]) -> Vec<Vec<(usize, usize)>> {
    let mut ends = vec![Vec::new(); circuit.nets.len()];
    for (at, shape) in shapes.iter().enumerate() {
        for (pin, of) in shape.pins.iter().enumerate() {
            for net in &of.nets {
                ends[net.index()].push((at, pin));
            }
        }
    }
    ends
}

fn on_side(shape: &Shape, side: Side) -> NetId {
    let pin = shape.pins.iter().find(|pin| pin.side == side);
    pin.map_or(AIRFRAME, |pin| pin.nets[0])
}

/// Whether two names are the same but for one letter, A to C in both.
pub(super) fn siblings(a: &str, b: &str) -> bool {
    let phase = |c: char| ('A'..='C').contains(&c);
    let mut differ = a.chars().zip(b.chars()).filter(|(a, b)| a != b);
    a.chars().count() == b.chars().count()
        && differ.next().is_some_and(|(a, b)| phase(a) && phase(b))
        && differ.next().is_none()
}

/// Wires that run side by side: from one station, their nets named alike at either end.
fn wire_groups(circuit: &Circuit, shapes: &[Shape]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (at, shape) in shapes.iter().enumerate() {
        if shape.figure != Figure::Wire {
            continue;
        }
        let station = |at: usize| circuit.part(shapes[at].parts[0]).station;
        let ends = |at: usize| {
            [Side::Left, Side::Right].map(|side| circuit.net_name(on_side(&shapes[at], side)))
        };
        let group = groups.iter_mut().find(|group| {
            let first = group[0];
            let names = ends(first).into_iter().zip(ends(at));
            group.len() < PHASES
                && station(first) == station(at)
                && names.into_iter().all(|(a, b)| siblings(a, b))
        });
        match group {
            Some(group) => group.push(at),
            None => groups.push(vec![at]),
        }
    }
    groups.retain(|group| group.len() > 1);
    groups
}

/// Whether nets end at the same shapes, on the same sides, all at pins of machines or
/// cables, the wires themselves left out.
fn alike(
    nets: &[NetId],
    ends: &[Vec<(usize, usize)>],
    shapes: &[Shape],
    without: &[usize],
) -> bool {
    let places = |net: &NetId| -> Option<Vec<(usize, Side)>> {
        let pins = ends[net.index()].iter().filter(|(shape, _)| !without.contains(shape));
        let mut places = Vec::new();
        for (shape, pin) in pins {
            let of = &shapes[*shape].pins[*pin];
            let place = (*shape, of.side);
            if !of.phase || places.contains(&place) {
                return None;
            }
            places.push(place);
        }
        Some(places)
    };
    let first = nets.first().and_then(places).filter(|places| !places.is_empty());
    first.is_some() && !nets.contains(&AIRFRAME) && nets[1..].iter().all(|n| places(n) == first)
}

/// Several wires drawn as one: a single pin where they stay together, one for each where
/// they part.
fn cable(shapes: &[Shape], group: &[usize], together: [bool; 2]) -> Shape {
    let mut cable = shapes[group[0]].clone();
    cable.parts = group.iter().flat_map(|at| shapes[*at].parts.clone()).collect();
    let names: Vec<&str> = group.iter().map(|at| shapes[*at].name.as_str()).collect();
    cable.name = braced(&names);
    cable.label = group.iter().map(|at| shapes[*at].label.as_str()).collect::<Vec<_>>().join("; ");
    cable.pins.clear();
    for (side, together) in [Side::Left, Side::Right].into_iter().zip(together) {
        let nets: Vec<NetId> = group.iter().map(|at| on_side(&shapes[*at], side)).collect();
        let template =
            shapes[group[0]].pins.iter().find(|pin| pin.side == side).expect("a wire has two ends");
        let rows = if together { vec![nets] } else { nets.iter().map(|n| vec![*n]).collect() };
        for (row, nets) in rows.into_iter().enumerate() {
            let mut pin = Pin { nets, phase: together, ..template.clone() };
            pin.at.row = row as i32;
            cable.pins.push(pin);
        }
    }
    cable
}

/// Names that are the same but for a middle, written with the middles in braces.
pub(crate) fn braced(names: &[&str]) -> String {
    let letters: Vec<Vec<char>> = names.iter().map(|name| name.chars().collect()).collect();
    let shortest = letters.iter().map(Vec::len).min().unwrap_or(0);
    let same = |at: &dyn Fn(&Vec<char>) -> char| letters.iter().all(|l| at(l) == at(&letters[0]));
    let front = (0..shortest).take_while(|at| same(&|l| l[*at])).count();
    let back = (0..shortest - front).take_while(|at| same(&|l| l[l.len() - 1 - at])).count();
    let middles: Vec<String> =
        letters.iter().map(|l| l[front..l.len() - back].iter().collect()).collect();
    let text = |letters: &[char]| letters.iter().collect::<String>();
    let first = &letters[0];
    format!(
        "{}{{{}}}{}",
        text(&first[..front]),
        middles.join(","),
        text(&first[first.len() - back..])
    )
}

/// Makes one pin of those that a bundle has on a shape.
fn gather(shape: &mut Shape, nets: &[NetId]) {
    let members: Vec<usize> = (0..shape.pins.len())
        .filter(|pin| shape.pins[*pin].nets.iter().any(|net| nets.contains(net)))
        .collect();
    let Some((&first, others)) = members.split_first() else { return };
    if others.is_empty() {
        // A cable, whose wires were gathered in order.
        shape.pins[first].nets = nets.to_vec();
        return;
    }
    let names: Vec<&str> = members.iter().map(|pin| shape.pins[*pin].name.as_str()).collect();
    shape.pins[first].name = names.concat();
    shape.pins[first].nets = nets.to_vec();
    let (side, row) = (shape.pins[first].side, shape.pins[first].at.row);
    let mut places: BTreeMap<usize, usize> = BTreeMap::new();
    let old = std::mem::take(&mut shape.pins);
    let taken = others.len() as i32;
    for (at, mut pin) in old.into_iter().enumerate() {
        if others.contains(&at) {
            continue;
        }
        // Where nothing but phases stands on the side, the rows close up.
        if shape.joints.is_empty() && pin.side == side && pin.at.row > row {
            pin.at.row -= taken.min(pin.at.row - row - 1).max(0);
        }
        places.insert(at, shape.pins.len());
        shape.pins.push(pin);
    }
    for joint in &mut shape.joints {
        let new = |pin: usize| places.get(&pin).copied().unwrap_or(pin);
        joint.pins = (new(joint.pins.0), new(joint.pins.1));
    }
}

/// The lines to draw: nets and bundles with two pins or more, in order of their first net.
fn lines(shapes: &[Shape]) -> Vec<Net> {
    let mut lines: BTreeMap<NetId, Net> = BTreeMap::new();
    for (at, shape) in shapes.iter().enumerate() {
        for (pin, of) in shape.pins.iter().enumerate() {
            if !of.is_grounded() {
                let line = lines
                    .entry(of.nets[0])
                    .or_insert_with(|| Net { nets: of.nets.clone(), pins: Vec::new() });
                line.pins.push((at, pin));
            }
        }
    }
    lines.into_values().filter(|line| line.pins.len() > 1).collect()
}
