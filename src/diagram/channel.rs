//! One channel between two columns: every net in it gets an upright trunk of its own, and
//! its ends on either side run straight to that trunk.
//!
//! Two nets that have ends on one row, from left and from right, must not meet there: the
//! one from the left has its trunk farther left. Where such demands form a ring one net is
//! split into two trunks joined along a row that nothing else uses, so a channel can
//! always be routed.

/// An end of a net at the edge of a channel.
#[derive(Clone, Copy, Debug)]
pub(super) struct End {
    /// The net.
    pub(super) net: usize,
    /// Whether it comes in from the left edge.
    pub(super) left: bool,
    /// On which row.
    pub(super) row: i32,
}

/// An upright piece.
#[derive(Clone, Debug)]
pub(super) struct Trunk {
    /// Its net.
    pub(super) net: usize,
    /// Its place, from the left.
    pub(super) track: usize,
    /// Its rows, both included.
    pub(super) rows: (i32, i32),
    /// The ends that run to it.
    pub(super) ends: Vec<End>,
    /// The row on which it is joined to the other half of its net, if it is a half.
    pub(super) joined: Option<i32>,
}

/// A channel routed.
#[derive(Clone, Debug, Default)]
pub(super) struct Routed {
    /// How many places for trunks there are.
    pub(super) tracks: usize,
    /// The trunks; the two halves of a net follow one another.
    pub(super) trunks: Vec<Trunk>,
    /// Nets that cross on a row of their own, without a trunk: net and row.
    pub(super) straight: Vec<(usize, i32)>,
}

/// Routes a channel.
pub(super) fn route(ends: &[End]) -> Routed {
    let mut nets: Vec<(usize, Vec<End>)> = Vec::new();
    let mut sorted = ends.to_vec();
    sorted.sort_by_key(|end| (end.net, end.row, !end.left));
    for end in sorted {
        match nets.last_mut().filter(|(net, _)| *net == end.net) {
            Some((_, ends)) => ends.push(end),
            None => nets.push((end.net, vec![end])),
        }
    }
    let mut routed = Routed::default();
    nets.retain(|(net, ends)| {
        let straight = ends.iter().all(|end| end.row == ends[0].row);
        if straight && ends.len() > 1 {
            routed.straight.push((*net, ends[0].row));
        }
        !straight
    });
    let mut split: Vec<(usize, i32)> = Vec::new();
    loop {
        let mut trunks = trunks(&nets, &split);
        match sequence(&trunks) {
            Ok(sequence) => {
                routed.tracks = assign(&mut trunks, &sequence);
                routed.trunks = trunks;
                return routed;
            }
            Err(net) => {
                let row = free_row(ends, &split, net);
                split.push((net, row));
            }
        }
    }
}

fn trunks(nets: &[(usize, Vec<End>)], split: &[(usize, i32)]) -> Vec<Trunk> {
    let trunk = |net: usize, ends: Vec<End>, joined: Option<i32>| {
        let rows = ends.iter().map(|end| end.row).chain(joined);
        let rows = (rows.clone().min().unwrap_or(0), rows.max().unwrap_or(0));
        Trunk { net, track: 0, rows, ends, joined }
    };
    let mut trunks = Vec::new();
    for (net, ends) in nets {
        match split.iter().find(|(split, _)| split == net) {
            Some((_, row)) => {
                for left in [true, false] {
                    let ends = ends.iter().filter(|end| end.left == left).copied().collect();
                    trunks.push(trunk(*net, ends, Some(*row)));
                }
            }
            None => trunks.push(trunk(*net, ends.clone(), None)),
        }
    }
    trunks
}

/// The row nearest to the middle of a net on which nothing ends and nothing is joined.
fn free_row(ends: &[End], split: &[(usize, i32)], net: usize) -> i32 {
    let rows: Vec<i32> = ends.iter().filter(|end| end.net == net).map(|end| end.row).collect();
    let middle = (rows.iter().min().unwrap_or(&0) + rows.iter().max().unwrap_or(&0)) / 2;
    let free = |row: &i32| {
        *row >= 0
            && ends.iter().all(|end| end.row != *row)
            && split.iter().all(|(_, taken)| taken != row)
    };
    // Below everything that ends here there is always one.
    let last = ends.iter().map(|end| end.row).max().unwrap_or(0) + split.len() as i32 + 1;
    (0..=last).flat_map(|off| [middle + off, middle - off]).find(free).unwrap_or(last)
}

fn overlap(a: &Trunk, b: &Trunk) -> bool {
    a.rows.0 <= b.rows.1 + 1 && b.rows.0 <= a.rows.1 + 1
}

/// How often the lines of two nets cross when `a` has its trunk to the left of `b`'s.
fn crossings(a: &Trunk, b: &Trunk) -> i32 {
    let within = |row: i32, of: &Trunk| (of.rows.0..=of.rows.1).contains(&row);
    let from_left = b.ends.iter().filter(|end| end.left && within(end.row, a)).count();
    let to_right = a.ends.iter().filter(|end| !end.left && within(end.row, b)).count();
    (from_left + to_right) as i32
}

/// Trunks from left to right, or the net that has to be split first.
fn sequence(trunks: &[Trunk]) -> Result<Vec<usize>, usize> {
    let count = trunks.len();
    // Whether one must stand to the left of another.
    let must = |a: &Trunk, b: &Trunk| {
        let halves = a.net == b.net && a.joined.is_some() && a.ends.iter().any(|end| end.left);
        let meet = a.net != b.net
            && a.ends.iter().any(|x| x.left && b.ends.iter().any(|y| !y.left && y.row == x.row));
        halves || meet
    };
    let mut waits: Vec<usize> = vec![0; count];
    let mut frees: Vec<Vec<usize>> = vec![Vec::new(); count];
    let mut price = vec![0; count];
    let mut gain = vec![Vec::new(); count];
    for a in 0..count {
        for b in 0..count {
            if a == b || !overlap(&trunks[a], &trunks[b]) {
                continue;
            }
            if must(&trunks[a], &trunks[b]) {
                waits[b] += 1;
                frees[a].push(b);
            }
            let dearer = crossings(&trunks[a], &trunks[b]) - crossings(&trunks[b], &trunks[a]);
            price[a] += dearer;
            gain[b].push((a, dearer));
        }
    }
    let mut placed = vec![false; count];
    let mut sequence = Vec::with_capacity(count);
    while sequence.len() < count {
        let next = (0..count).filter(|t| !placed[*t] && waits[*t] == 0).min_by_key(|t| price[*t]);
        let Some(next) = next else {
            // Of those that both wait and are waited for, the one that waits least.
            let ring = (0..count)
                .filter(|t| !placed[*t] && trunks[*t].joined.is_none())
                .filter(|t| trunks[*t].ends.iter().any(|end| end.left))
                .filter(|t| trunks[*t].ends.iter().any(|end| !end.left))
                .min_by_key(|t| (waits[*t], *t))
                .expect("halves wait for nothing or let nothing wait, so a ring has a whole net");
            return Err(trunks[ring].net);
        };
        placed[next] = true;
        sequence.push(next);
        for freed in &frees[next] {
            waits[*freed] -= 1;
        }
        for (other, dearer) in &gain[next] {
            price[*other] -= dearer;
        }
    }
    Ok(sequence)
}

/// Gives every trunk the first place that its forerunners leave; returns how many there are.
fn assign(trunks: &mut [Trunk], sequence: &[usize]) -> usize {
    let mut tracks = 0;
    for (at, trunk) in sequence.iter().enumerate() {
        let behind = sequence[..at]
            .iter()
            .filter(|before| overlap(&trunks[**before], &trunks[*trunk]))
            .map(|before| trunks[*before].track + 1);
        let track = behind.max().unwrap_or(0);
        trunks[*trunk].track = track;
        tracks = tracks.max(track + 1);
    }
    tracks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(net: usize, left: bool, row: i32) -> End {
        End { net, left, row }
    }

    #[test]
    fn a_net_with_both_ends_on_a_row_needs_no_trunk() {
        let routed = route(&[end(0, true, 3), end(0, false, 3)]);
        assert_eq!((routed.straight.len(), routed.trunks.len()), (1, 0));
    }

    #[test]
    fn two_nets_that_change_places_are_split_rather_than_joined() {
        let ends = [end(0, true, 1), end(0, false, 5), end(1, true, 5), end(1, false, 1)];
        let routed = route(&ends);
        assert_eq!(routed.trunks.len(), 3);
        let track = |net: usize, left: bool| {
            let trunk = routed
                .trunks
                .iter()
                .find(|trunk| trunk.net == net && trunk.ends.iter().any(|end| end.left == left));
            trunk.expect("every end has a trunk").track
        };
        assert!(track(0, true) < track(1, false));
        assert!(track(1, true) < track(0, false));
    }

    #[test]
    fn trunks_are_ordered_so_that_lines_going_down_do_not_cross() {
        let ends = [end(0, true, 1), end(0, false, 6), end(1, true, 2), end(1, false, 8)];
        let routed = route(&ends);
        assert!(routed.trunks[1].track < routed.trunks[0].track);
    }
}
