//! Sparse LU on a fixed pattern: the elimination is planned once and replayed
//! with other values as often as the state of the circuit changes.
//!
//! Nodal matrices of passive networks need no pivoting for stability: their
//! Hermitian part is positive (semi-)definite, which bounds the growth of the
//! factors (Golub and Van Loan, *Matrix Computations*, section on positive
//! definite systems that need not be symmetric; from memory). So the order is
//! chosen for sparsity alone, by minimum degree.

use num_complex::Complex64;
use num_traits::NumAssign;
use std::collections::{BTreeMap, BTreeSet};

/// A number the solver works in: real for direct current, complex for phasors.
pub(super) trait Scalar:
    Copy + NumAssign + PartialEq + From<f64> + std::ops::Neg<Output = Self>
{
    /// Its magnitude, or a figure not far from it that is cheap to work out.
    fn size(self) -> f64;
    /// One over it.
    fn inverse(self) -> Self;
}

impl Scalar for f64 {
    fn size(self) -> f64 {
        self.abs()
    }

    fn inverse(self) -> Self {
        1.0 / self
    }
}

impl Scalar for Complex64 {
    fn size(self) -> f64 {
        self.re.abs() + self.im.abs()
    }

    fn inverse(self) -> Self {
        let scale = 1.0 / self.norm_sqr();
        Self::new(self.re * scale, -self.im * scale)
    }
}

/// Where a pivot's elimination touches one other row and column.
#[derive(Clone, Copy, Debug)]
struct Neighbour {
    node: u32,
    /// Slot of (this row, pivot column).
    lower: u32,
    /// Slot of (pivot row, this column).
    upper: u32,
}

/// The elimination plan for one pattern of nonzeros, symmetric in structure.
#[derive(Debug)]
pub(super) struct Plan {
    nodes: usize,
    slots: usize,
    order: Vec<u32>,
    /// For each pivot in order, its range in `neighbours` and where its targets start.
    steps: Vec<(u32, u32, u32)>,
    neighbours: Vec<Neighbour>,
    targets: Vec<u32>,
    /// By row: where its entries off the diagonal start in `entries`.
    rows: Vec<u32>,
    /// Column and slot of each entry named to [`Plan::new`], by row, columns rising.
    entries: Vec<(u32, u32)>,
}

/// A pivot vanished: the named node hangs in the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Singular {
    /// The node whose pivot vanished.
    pub node: u32,
}

impl Plan {
    /// Plans the elimination of a matrix over `nodes` unknowns with these
    /// off-diagonal pairs (each stands for both triangles).
    pub(super) fn new(nodes: usize, pairs: impl IntoIterator<Item = (u32, u32)>) -> Self {
        let mut near: Vec<BTreeSet<u32>> = vec![BTreeSet::new(); nodes];
        for (a, b) in pairs {
            if a != b {
                near[a as usize].insert(b);
                near[b as usize].insert(a);
            }
        }
        let mut places = BTreeMap::new();
        let mut slots = nodes as u32;
        let (mut rows, mut entries) = (Vec::with_capacity(nodes + 1), Vec::new());
        for (a, set) in near.iter().enumerate() {
            rows.push(entries.len() as u32);
            for &b in set {
                places.insert((a as u32, b), slots);
                entries.push((b, slots));
                slots += 1;
            }
        }
        rows.push(entries.len() as u32);
        let mut plan = Self {
            nodes,
            slots: 0,
            order: Vec::with_capacity(nodes),
            steps: Vec::with_capacity(nodes),
            neighbours: Vec::new(),
            targets: Vec::new(),
            rows,
            entries,
        };
        let mut queue: BTreeSet<(usize, u32)> =
            near.iter().enumerate().map(|(node, set)| (set.len(), node as u32)).collect();
        while let Some((_, pivot)) = queue.pop_first() {
            let around: Vec<u32> = std::mem::take(&mut near[pivot as usize]).into_iter().collect();
            for &node in &around {
                queue.remove(&(near[node as usize].len(), node));
                near[node as usize].remove(&pivot);
            }
            let first = plan.neighbours.len() as u32;
            let first_target = plan.targets.len() as u32;
            for &row in &around {
                plan.neighbours.push(Neighbour {
                    node: row,
                    lower: places[&(row, pivot)],
                    upper: places[&(pivot, row)],
                });
                for &column in &around {
                    let slot = if row == column {
                        row
                    } else {
                        near[row as usize].insert(column);
                        *places.entry((row, column)).or_insert_with(|| {
                            slots += 1;
                            slots - 1
                        })
                    };
                    plan.targets.push(slot);
                }
            }
            for &node in &around {
                queue.insert((near[node as usize].len(), node));
            }
            plan.order.push(pivot);
            plan.steps.push((first, plan.neighbours.len() as u32, first_target));
        }
        plan.slots = slots as usize;
        plan
    }

    /// Unknowns.
    pub(super) fn nodes(&self) -> usize {
        self.nodes
    }

    /// How many values a matrix of this pattern holds, fill included.
    pub(super) fn slots(&self) -> usize {
        self.slots
    }

    /// The slot of an entry; the diagonal of node `i` is slot `i`.
    ///
    /// # Panics
    /// When the pair was not named to [`Plan::new`]: a bug in the caller.
    pub(super) fn slot(&self, row: u32, column: u32) -> u32 {
        if row == column {
            return row;
        }
        let (first, last) = (self.rows[row as usize], self.rows[row as usize + 1]);
        let entries = &self.entries[first as usize..last as usize];
        let at = entries.binary_search_by_key(&column, |(c, _)| *c);
        entries[at.expect("the pair was named when the plan was made")].1
    }

    /// Factors `values` in place.
    ///
    /// # Errors
    /// [`Singular`] when a pivot is nothing beside what the node's row started with.
    pub(super) fn factor<T: Scalar>(&self, values: &mut [T]) -> Result<(), Singular> {
        let sizes: Vec<f64> = values[..self.nodes].iter().map(|d| d.size()).collect();
        for (&pivot, &(first, last, first_target)) in self.order.iter().zip(&self.steps) {
            let diagonal = values[pivot as usize];
            let size = diagonal.size();
            // A pivot a million million times smaller than the row's own diagonal is
            // what rounding leaves of zero; insulation leakage stays well above it.
            // Written so that a pivot that is not a number is refused as well.
            if !(size > sizes[pivot as usize] * 1e-13 && size.is_finite()) {
                return Err(Singular { node: pivot });
            }
            // The inverse is kept in place of the pivot, for the substitutions.
            let inverse = diagonal.inverse();
            values[pivot as usize] = inverse;
            let around = &self.neighbours[first as usize..last as usize];
            let targets = &self.targets[first_target as usize..][..around.len() * around.len()];
            for (row, targets) in around.iter().zip(targets.chunks_exact(around.len().max(1))) {
                let factor = values[row.lower as usize] * inverse;
                values[row.lower as usize] = factor;
                for (column, target) in around.iter().zip(targets) {
                    let upper = values[column.upper as usize];
                    values[*target as usize] -= factor * upper;
                }
            }
        }
        Ok(())
    }

    /// Solves for one right-hand side in place, `values` being factored.
    pub(super) fn solve<T: Scalar>(&self, values: &[T], rhs: &mut [T]) {
        for (&pivot, &(first, last, _)) in self.order.iter().zip(&self.steps) {
            let here = rhs[pivot as usize];
            // Most of a right-hand side is zero: few nets are fed directly.
            if here.is_zero() {
                continue;
            }
            for row in &self.neighbours[first as usize..last as usize] {
                rhs[row.node as usize] -= values[row.lower as usize] * here;
            }
        }
        for (&pivot, &(first, last, _)) in self.order.iter().zip(&self.steps).rev() {
            let mut sum = rhs[pivot as usize];
            for column in &self.neighbours[first as usize..last as usize] {
                sum -= values[column.upper as usize] * rhs[column.node as usize];
            }
            rhs[pivot as usize] = sum * values[pivot as usize];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    /// A random grounded network: solves and multiplies back.
    #[test]
    fn a_solved_system_multiplies_back_to_its_right_hand_side() {
        let mut chance = Chance::stream(3, "sparse");
        for round in 0..50 {
            let nodes = 2 + round;
            let mut pairs: Vec<(u32, u32)> =
                (1..nodes as u32).map(|n| (n, (chance.unit() * f64::from(n)) as u32)).collect();
            for _ in 0..nodes / 3 {
                let a = (chance.unit() * nodes as f64) as u32;
                pairs.push((a, (a + 1) % nodes as u32));
            }
            let plan = Plan::new(nodes, pairs.iter().copied());
            let mut values = vec![Complex64::ZERO; plan.slots()];
            for diagonal in &mut values[..nodes] {
                *diagonal += 1e-7;
            }
            for &(a, b) in pairs.iter().filter(|(a, b)| a != b) {
                let y = Complex64::new(0.01 + chance.unit(), chance.signed()).inverse();
                values[a as usize] += y;
                values[b as usize] += y;
                values[plan.slot(a, b) as usize] -= y;
                values[plan.slot(b, a) as usize] -= y;
            }
            let dense = values.clone();
            let mut x = vec![Complex64::ZERO; nodes];
            x[0] = Complex64::ONE;
            let rhs = x.clone();
            plan.factor(&mut values).expect("a grounded network is regular");
            plan.solve(&values, &mut x);
            for row in 0..nodes as u32 {
                let mut sum = dense[row as usize] * x[row as usize];
                let (first, last) = (plan.rows[row as usize], plan.rows[row as usize + 1]);
                for (column, slot) in &plan.entries[first as usize..last as usize] {
                    sum += dense[*slot as usize] * x[*column as usize];
                }
                let scale = x.iter().map(|v| v.size()).fold(1.0, f64::max);
                assert!((sum - rhs[row as usize]).size() < 1e-8 * scale, "round {round} row {row}");
            }
        }
    }

    #[test]
    fn a_node_in_the_air_is_named() {
        let plan = Plan::new(3, [(0, 1)]);
        let mut values = vec![0.0; plan.slots()];
        values[..2].fill(2.0);
        values[plan.slot(0, 1) as usize] = -1.0;
        values[plan.slot(1, 0) as usize] = -1.0;
        assert_eq!(plan.factor(&mut values), Err(Singular { node: 2 }));
    }
}
