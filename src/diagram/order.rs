//! In what order things stand in a column, so that lines cross little.

use super::bundle::Net;
use super::shape::{Build, Shape, Side};

/// What stands in a column: a shape, or a net on its way through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Content {
    /// A shape.
    Shape(usize),
    /// A net that goes through to the next channel.
    Pass(usize),
}

/// Where an item meets the channel on one of its sides.
#[derive(Clone, Copy, Debug)]
pub(super) struct Port {
    pub(super) net: usize,
    pub(super) side: Side,
    /// Rows below the top of its item.
    pub(super) row: i32,
}

/// One thing in a column.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) content: Content,
    pub(super) rows: i32,
    pub(super) ports: Vec<Port>,
    /// Its first row.
    pub(super) top: i32,
    /// Whether lines may run close above and below it.
    pub(super) slim: bool,
}

/// All columns, from the left; each has its items from the top.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    pub(super) items: Vec<Item>,
    pub(super) columns: Vec<Vec<usize>>,
}

/// Sweeps over all columns, there and back.
const SWEEPS: usize = 12;
/// Rounds of exchanging neighbours.
const EXCHANGES: usize = 4;

/// Puts shapes and passing nets into columns, in an order with few crossings.
pub(super) fn order(shapes: &[Shape], nets: &[Net], layers: &[usize]) -> Sheet {
    let mut sheet = gather(shapes, nets, layers);
    sheet.stack();
    let mut best = (sheet.crossings(), sheet.columns.clone());
    for sweep in 0..SWEEPS {
        let count = sheet.columns.len();
        for at in 0..count {
            let (column, side) =
                if sweep % 2 == 0 { (at, Side::Left) } else { (count - 1 - at, Side::Right) };
            sheet.sort(column, side);
        }
        for _ in 0..EXCHANGES {
            if !sheet.exchange() {
                break;
            }
        }
        let crossings = sheet.crossings();
        if crossings < best.0 {
            best = (crossings, sheet.columns.clone());
        }
    }
    sheet.columns = best.1;
    sheet.stack();
    sheet
}

fn gather(shapes: &[Shape], nets: &[Net], layers: &[usize]) -> Sheet {
    let count = layers.iter().max().map_or(0, |last| last + 1);
    let mut net_of_pin: Vec<Vec<Option<usize>>> =
        shapes.iter().map(|shape| vec![None; shape.pins.len()]).collect();
    for (at, net) in nets.iter().enumerate() {
        for (shape, pin) in &net.pins {
            net_of_pin[*shape][*pin] = Some(at);
        }
    }
    let mut items = Vec::new();
    let mut columns = vec![Vec::new(); count];
    for (at, shape) in shapes.iter().enumerate() {
        let ports = shape.pins.iter().zip(&net_of_pin[at]).filter_map(|(pin, net)| {
            Some(Port { net: (*net)?, side: pin.side, row: pin.at.row - shape.area.top })
        });
        let slim = shape.figure.build() == Build::InLine && shape.area.rows == 1;
        columns[layers[at]].push(items.len());
        items.push(Item {
            content: Content::Shape(at),
            rows: shape.area.rows,
            ports: ports.collect(),
            top: 0,
            slim,
        });
    }
    for (at, net) in nets.iter().enumerate() {
        let channels = net.pins.iter().map(|(shape, pin)| {
            layers[*shape] + usize::from(shapes[*shape].pins[*pin].side == Side::Right)
        });
        let (first, last) = (channels.clone().min().unwrap_or(0), channels.max().unwrap_or(0));
        for column in &mut columns[first..last.min(count)] {
            column.push(items.len());
            let port = |side| Port { net: at, side, row: 0 };
            items.push(Item {
                content: Content::Pass(at),
                rows: 1,
                ports: vec![port(Side::Left), port(Side::Right)],
                top: 0,
                slim: true,
            });
        }
    }
    Sheet { items, columns }
}

impl Sheet {
    /// Rows that stay free between two neighbours.
    pub(super) fn gap(&self, above: usize, below: usize) -> i32 {
        i32::from(!(self.items[above].slim && self.items[below].slim))
    }

    /// Puts every column's items below one another as close as they may stand.
    pub(super) fn stack(&mut self) {
        for column in 0..self.columns.len() {
            self.stack_column(column);
        }
    }

    fn stack_column(&mut self, column: usize) {
        let mut top = 0;
        let mut above: Option<usize> = None;
        for at in 0..self.columns[column].len() {
            let item = self.columns[column][at];
            if let Some(above) = above {
                top += self.gap(above, item);
            }
            self.items[item].top = top;
            top += self.items[item].rows;
            above = Some(item);
        }
    }

    /// The ends in the channel to the left of a column (or right of the one before): net,
    /// item, row, and whether they come in from the left.
    pub(super) fn ends(&self, channel: usize) -> Vec<(usize, usize, i32, bool)> {
        let mut ends = Vec::new();
        let mut side = |column: Option<&Vec<usize>>, side: Side| {
            for item in column.into_iter().flatten() {
                for port in self.items[*item].ports.iter().filter(|port| port.side == side) {
                    let row = self.items[*item].top + port.row;
                    ends.push((port.net, *item, row, side == Side::Right));
                }
            }
        };
        side(channel.checked_sub(1).and_then(|c| self.columns.get(c)), Side::Right);
        side(self.columns.get(channel), Side::Left);
        ends
    }

    /// Sorts a column by where the lines on one side come from.
    fn sort(&mut self, column: usize, side: Side) {
        let channel = if side == Side::Left { column } else { column + 1 };
        let mut ends = self.ends(channel);
        ends.sort_by_key(|(net, ..)| *net);
        let count = self.columns[column].len();
        let mut keyed: Vec<(f64, usize, usize)> = Vec::with_capacity(count);
        for (at, item) in self.columns[column].iter().enumerate() {
            let of = &self.items[*item];
            let (mut sum, mut weight) = (0.0, 0.0);
            for port in of.ports.iter().filter(|port| port.side == side) {
                let from = ends.partition_point(|(net, ..)| *net < port.net);
                let others: Vec<&(usize, usize, i32, bool)> = ends[from..]
                    .iter()
                    .take_while(|(net, ..)| *net == port.net)
                    .filter(|(_, other, ..)| other != item)
                    .collect();
                // The far edge counts; other ends on the near one only where it has none.
                let far = others.iter().filter(|(.., left)| *left == (side == Side::Left));
                let rows: Vec<i32> = if far.clone().next().is_some() {
                    far.map(|(_, _, row, _)| *row).collect()
                } else {
                    others.iter().map(|(_, _, row, _)| *row).collect()
                };
                if !rows.is_empty() {
                    let mean = f64::from(rows.iter().sum::<i32>()) / rows.len() as f64;
                    sum += mean - f64::from(port.row);
                    weight += 1.0;
                }
            }
            let key = if weight > 0.0 { sum / weight } else { f64::from(of.top) };
            keyed.push((key, at, *item));
        }
        keyed.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        self.columns[column] = keyed.into_iter().map(|(_, _, item)| item).collect();
        self.stack_column(column);
    }

    /// Rows of the ends on the far edge of the channel beside an item, by port.
    fn far_rows(&self, column: usize) -> Vec<Vec<i32>> {
        let mut far = vec![Vec::new(); self.columns[column].len()];
        for (channel, side) in [(column, Side::Left), (column + 1, Side::Right)] {
            let mut ends = self.ends(channel);
            ends.retain(|(.., left)| *left == (side == Side::Left));
            ends.sort_by_key(|(net, ..)| *net);
            for (at, item) in self.columns[column].iter().enumerate() {
                for port in self.items[*item].ports.iter().filter(|port| port.side == side) {
                    let from = ends.partition_point(|(net, ..)| *net < port.net);
                    let rows = ends[from..].iter().take_while(|(net, ..)| *net == port.net);
                    // Rows of the two sides are kept apart by their sign.
                    far[at].extend(rows.map(
                        |(_, _, row, _)| {
                            if side == Side::Left { *row } else { -1 - *row }
                        },
                    ));
                }
            }
        }
        far
    }

    /// Exchanges neighbours where that takes crossings away; tells whether any was.
    fn exchange(&mut self) -> bool {
        let mut any = false;
        for column in 0..self.columns.len() {
            let mut far = self.far_rows(column);
            let count = far.len();
            for at in 1..count {
                let crossed = |upper: &[i32], lower: &[i32]| {
                    let pairs = upper.iter().flat_map(|u| lower.iter().map(move |l| (*u, *l)));
                    pairs
                        .filter(|(u, l)| match (*u >= 0, *l >= 0) {
                            (true, true) => u > l,
                            (false, false) => u < l,
                            _ => false,
                        })
                        .count()
                };
                if crossed(&far[at - 1], &far[at]) > crossed(&far[at], &far[at - 1]) {
                    far.swap(at - 1, at);
                    self.columns[column].swap(at - 1, at);
                    any = true;
                }
            }
            self.stack_column(column);
        }
        any
    }

    /// Crossings in all channels, pairs of ends taken as straight lines.
    fn crossings(&self) -> usize {
        let mut crossings = 0;
        for channel in 0..=self.columns.len() {
            let ends = self.ends(channel);
            let mut pairs: Vec<(i32, i32)> = Vec::new();
            for (net, _, from, left) in &ends {
                if *left {
                    let to = ends.iter().filter(|(other, _, _, left)| other == net && !left);
                    pairs.extend(to.map(|(_, _, to, _)| (*from, *to)));
                }
            }
            pairs.sort_unstable();
            for (at, (from, to)) in pairs.iter().enumerate() {
                crossings += pairs[..at].iter().filter(|(f, t)| f < from && t > to).count();
            }
        }
        crossings
    }
}
