//! Rows and columns of everything: columns of shapes line up with what they are joined
//! to, channels are as wide as their lines need.

use std::collections::BTreeMap;

use super::bundle::Net;
use super::channel::{End, Routed, route};
use super::order::{Content, Sheet};
use super::shape::{Shape, Side};
use super::{Area, Cell, Line, Piece};

/// Sweeps that move whole columns to where their lines come from.
const SWEEPS: usize = 24;
/// Sweeps that then line up single items where there is room.
const SNAPS: usize = 6;
/// Free rows above the picture.
const MARGIN_ROWS: i32 = 1;
/// Columns between two trunks, and between a trunk and a column.
const TRACK: i32 = 2;
/// Columns beside a shape for pins, and for the tick of a bundle.
const PIN: i32 = 1;
const TICK: i32 = 3;

/// Places shapes and draws the lines; returns them with the size of the picture.
pub(super) fn place(shapes: &mut [Shape], nets: &[Net], mut sheet: Sheet) -> (Vec<Line>, i32, i32) {
    for sweep in 0..SWEEPS {
        let count = sheet.columns.len();
        for at in 0..count {
            level(&mut sheet, if sweep % 2 == 0 { at } else { count - 1 - at }, nets);
        }
    }
    for sweep in 0..SNAPS {
        let count = sheet.columns.len();
        for at in 0..count {
            snap(&mut sheet, if sweep % 2 == 0 { at } else { count - 1 - at }, nets);
        }
    }
    let top = sheet.items.iter().map(|item| item.top).min().unwrap_or(0);
    for item in &mut sheet.items {
        item.top += MARGIN_ROWS - top;
    }
    draw(shapes, nets, &sheet)
}

/// How much it matters that the ends of a net are on one row.
fn weight(net: &Net, passes: bool) -> f64 {
    match (passes, net.pins.len()) {
        (true, 2) => 8.0,
        (true, _) | (false, 2) => 4.0,
        (false, _) => 1.0,
    }
}

/// The rows where an item would like its top to be, each with its weight.
fn wishes(sheet: &Sheet, column: usize, nets: &[Net]) -> Vec<Vec<(i32, f64)>> {
    let mut wishes = vec![Vec::new(); sheet.columns[column].len()];
    for (channel, side) in [(column, Side::Left), (column + 1, Side::Right)] {
        let mut ends = sheet.ends(channel);
        ends.sort_by_key(|(net, ..)| *net);
        for (at, item) in sheet.columns[column].iter().enumerate() {
            let of = &sheet.items[*item];
            let passing = matches!(of.content, Content::Pass(_));
            for port in of.ports.iter().filter(|port| port.side == side) {
                let from = ends.partition_point(|(net, ..)| *net < port.net);
                let others: Vec<i32> = ends[from..]
                    .iter()
                    .take_while(|(net, ..)| *net == port.net)
                    .filter(|(_, other, ..)| other != item)
                    .map(|(_, _, row, _)| row - port.row)
                    .collect();
                let weight = weight(&nets[port.net], passing) / others.len().max(1) as f64;
                wishes[at].extend(others.into_iter().map(|row| (row, weight)));
            }
        }
    }
    wishes
}

/// Moves the items of a column as near to their wishes as their order and their gaps
/// allow: least squares under these, by pooling neighbours that push at one another.
fn level(sheet: &mut Sheet, column: usize, nets: &[Net]) {
    struct Block {
        /// Sum of weighted wishes for the block's top, and of weights.
        sum: f64,
        weight: f64,
        first: usize,
    }
    let wishes = wishes(sheet, column, nets);
    let items = sheet.columns[column].clone();
    // Rows from the top of the column's first item, with everything pushed together.
    let mut offsets = vec![0; items.len()];
    for at in 1..items.len() {
        let above = items[at - 1];
        offsets[at] = offsets[at - 1] + sheet.items[above].rows + sheet.gap(above, items[at]);
    }
    let mut blocks: Vec<Block> = Vec::new();
    for (at, wish) in wishes.iter().enumerate() {
        // What nothing pulls stays where it is, but gives way.
        let stays = [(sheet.items[items[at]].top, 0.01)];
        let wish = if wish.is_empty() { &stays[..] } else { &wish[..] };
        let weight: f64 = wish.iter().map(|(_, weight)| weight).sum();
        let sum: f64 = wish.iter().map(|(row, w)| f64::from(row - offsets[at]) * w).sum();
        blocks.push(Block { sum, weight, first: at });
        while let [.., above, below] = &blocks[..] {
            if above.sum / above.weight <= below.sum / below.weight {
                break;
            }
            let (sum, weight) = (below.sum, below.weight);
            blocks.pop();
            let above = blocks.last_mut().expect("there were two");
            above.sum += sum;
            above.weight += weight;
        }
    }
    for (number, block) in blocks.iter().enumerate() {
        let last = blocks.get(number + 1).map_or(items.len(), |next| next.first);
        let top = (block.sum / block.weight).round() as i32;
        for at in block.first..last {
            sheet.items[items[at]].top = top + offsets[at];
        }
    }
}

/// Lines up single items exactly where there is room between their neighbours.
fn snap(sheet: &mut Sheet, column: usize, nets: &[Net]) {
    for (at, wishes) in wishes(sheet, column, nets).into_iter().enumerate() {
        let items = &sheet.columns[column];
        let item = items[at];
        let low = at.checked_sub(1).map_or(i32::MIN / 2, |above| {
            let above = items[above];
            sheet.items[above].top + sheet.items[above].rows + sheet.gap(above, item)
        });
        let high = items.get(at + 1).map_or(i32::MAX / 2, |below| {
            sheet.items[*below].top - sheet.gap(item, *below) - sheet.items[item].rows
        });
        let met = |top: i32| -> f64 {
            wishes.iter().filter(|(row, _)| *row == top).map(|(_, weight)| weight).sum()
        };
        let now = sheet.items[item].top;
        let mut best = (met(now), now);
        for (row, _) in &wishes {
            if (low..=high).contains(row) && met(*row) > best.0 {
                best = (met(*row), *row);
            }
        }
        sheet.items[item].top = best.1;
    }
}

/// Gives columns and channels their widths and turns routes into pieces.
fn draw(shapes: &mut [Shape], nets: &[Net], sheet: &Sheet) -> (Vec<Line>, i32, i32) {
    let count = sheet.columns.len();
    let routes: Vec<Routed> = (0..=count)
        .map(|channel| {
            let ends: Vec<End> = sheet
                .ends(channel)
                .into_iter()
                .map(|(net, _, row, left)| End { net, left, row })
                .collect();
            route(&ends)
        })
        .collect();
    // The first column of every channel's first track, and where each column begins.
    let mut x = 0;
    let mut tracks = Vec::with_capacity(count + 1);
    let mut lefts = Vec::with_capacity(count);
    for (channel, routed) in routes.iter().enumerate() {
        tracks.push(x + i32::from(channel > 0));
        if routed.tracks > 0 || channel > 0 {
            x += TRACK * routed.tracks as i32 + 1;
        }
        if channel == count {
            break;
        }
        let inside = |side: Side| {
            let pins =
                sheet.columns[channel].iter().filter_map(|item| match sheet.items[*item].content {
                    Content::Shape(shape) => Some(&shapes[shape].pins),
                    Content::Pass(_) => None,
                });
            let bundled = pins.flatten().any(|pin| pin.side == side && pin.nets.len() > 1);
            if bundled { TICK } else { PIN }
        };
        x += inside(Side::Left);
        lefts.push(x);
        let widest = sheet.columns[channel].iter().map(|item| match sheet.items[*item].content {
            Content::Shape(shape) => shapes[shape].area.columns,
            Content::Pass(_) => 1,
        });
        x += widest.max().unwrap_or(0) + inside(Side::Right);
    }
    for (column, items) in sheet.columns.iter().enumerate() {
        for item in items {
            if let Content::Shape(shape) = sheet.items[*item].content {
                shapes[shape].move_to(lefts[column], sheet.items[*item].top);
            }
        }
    }
    let mut lines: Vec<Line> = nets
        .iter()
        .map(|net| Line { nets: net.nets.clone(), pieces: Vec::new(), dots: Vec::new() })
        .collect();
    // Where a line comes to the edge of a channel: a pin, or the edge of a column that it
    // passes.
    for (channel, routed) in routes.iter().enumerate() {
        let track = |number: usize| tracks[channel] + TRACK * number as i32;
        let edge = |end: &End| end_column(shapes, nets, sheet, (channel, &lefts), end);
        for (net, row) in &routed.straight {
            let [from, to] = [true, false].map(|left| edge(&End { net: *net, left, row: *row }));
            lines[*net].pieces.push(level_piece(*row, from, to));
        }
        for trunk in &routed.trunks {
            let column = track(trunk.track);
            let pieces = &mut lines[trunk.net].pieces;
            pieces.push(Piece {
                from: Cell { column, row: trunk.rows.0 },
                to: Cell { column, row: trunk.rows.1 },
            });
            for end in &trunk.ends {
                pieces.push(level_piece(end.row, edge(end), column));
            }
        }
        for (at, trunk) in routed.trunks.iter().enumerate() {
            let Some(row) = trunk.joined else { continue };
            let other = routed.trunks.get(at + 1).filter(|other| other.net == trunk.net);
            if let Some(other) = other {
                let piece = level_piece(row, track(trunk.track), track(other.track));
                lines[trunk.net].pieces.push(piece);
            }
        }
    }
    for (column, items) in sheet.columns.iter().enumerate() {
        for item in items {
            if let Content::Pass(net) = sheet.items[*item].content {
                let row = sheet.items[*item].top;
                let [from, to] = [(column, false), (column + 1, true)].map(|(channel, left)| {
                    end_column(shapes, nets, sheet, (channel, &lefts), &End { net, left, row })
                });
                lines[net].pieces.push(level_piece(row, from, to));
            }
        }
    }
    for line in &mut lines {
        tidy(line);
    }
    let rows = |area: Area| area.bottom();
    let below = lines.iter().flat_map(|line| &line.pieces).map(|piece| piece.to.row + 1);
    let bottom = below.chain(shapes.iter().map(|shape| rows(shape.area))).max().unwrap_or(0);
    (lines, x + 1, bottom + 1)
}

/// The column at which a line comes to the edge of a channel.
fn end_column(
    shapes: &[Shape],
    nets: &[Net],
    sheet: &Sheet,
    (channel, lefts): (usize, &[i32]),
    end: &End,
) -> i32 {
    let side = if end.left { Side::Right } else { Side::Left };
    let column = if end.left { channel - 1 } else { channel };
    for (shape, pin) in &nets[end.net].pins {
        let pin = &shapes[*shape].pins[*pin];
        let here = sheet.columns[column]
            .iter()
            .any(|item| sheet.items[*item].content == Content::Shape(*shape));
        if here && pin.side == side && pin.at.row == end.row {
            return pin.at.column;
        }
    }
    // A net that passes is drawn through from the left edge of the column.
    lefts[column]
}

fn level_piece(row: i32, a: i32, b: i32) -> Piece {
    Piece { from: Cell { column: a.min(b), row }, to: Cell { column: a.max(b), row } }
}

/// Joins pieces that continue one another and finds the dots.
fn tidy(line: &mut Line) {
    let mut across: BTreeMap<i32, Vec<(i32, i32)>> = BTreeMap::new();
    let mut down: BTreeMap<i32, Vec<(i32, i32)>> = BTreeMap::new();
    for piece in &line.pieces {
        let (from, to) = (piece.from, piece.to);
        if from.row == to.row {
            across.entry(from.row).or_default().push((from.column, to.column));
        } else {
            down.entry(from.column).or_default().push((from.row, to.row));
        }
    }
    let merged = |spans: &mut Vec<(i32, i32)>| {
        spans.sort_unstable();
        let mut merged: Vec<(i32, i32)> = Vec::new();
        for (from, to) in spans.drain(..) {
            match merged.last_mut().filter(|last| from <= last.1) {
                Some(last) => last.1 = last.1.max(to),
                None => merged.push((from, to)),
            }
        }
        *spans = merged;
    };
    across.values_mut().for_each(merged);
    down.values_mut().for_each(merged);
    line.dots.clear();
    for (column, spans) in &down {
        for (top, bottom) in spans {
            for (row, levels) in across.range(top..=bottom) {
                for (left, right) in levels {
                    if !(left..=right).contains(&column) {
                        continue;
                    }
                    let arms = [left < column, right > column, top < row, bottom > row];
                    if arms.iter().filter(|arm| **arm).count() > 2 {
                        line.dots.push(Cell { column: *column, row: *row });
                    }
                }
            }
        }
    }
    line.dots.sort_unstable();
    line.pieces = across
        .into_iter()
        .flat_map(|(row, spans)| spans.into_iter().map(move |(a, b)| level_piece(row, a, b)))
        .filter(|piece| piece.from != piece.to)
        .collect();
    line.pieces.extend(down.into_iter().flat_map(|(column, spans)| {
        spans
            .into_iter()
            .map(move |(a, b)| Piece { from: Cell { column, row: a }, to: Cell { column, row: b } })
    }));
}
