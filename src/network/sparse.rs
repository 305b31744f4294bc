//! Sparse LU on a fixed pattern: the elimination is planned once and replayed
//! with other values as often as the state of the circuit changes, and only for the
//! nodes that a change can reach: those it touches and those eliminated after them
//! that hang on them (their ancestors in the elimination tree; T. A. Davis, *Direct
//! Methods for Sparse Linear Systems*, from memory).
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

/// One product that is taken off an entry: `target -= lower * upper`.
#[derive(Clone, Copy, Debug)]
struct Product {
    target: u32,
    lower: u32,
    upper: u32,
}

/// The elimination of one node.
#[derive(Clone, Copy, Debug)]
struct Step {
    pivot: u32,
    /// The next step that this one changes, if any.
    parent: Option<u32>,
    /// Its range in `neighbours`.
    neighbours: (u32, u32),
    /// Its range in `products`: what earlier steps take off its row and column.
    products: (u32, u32),
}

/// The elimination plan for one pattern of nonzeros, symmetric in structure.
#[derive(Debug)]
pub(super) struct Plan {
    nodes: usize,
    steps: Vec<Step>,
    neighbours: Vec<Neighbour>,
    products: Vec<Product>,
    /// By slot: the step that makes it final.
    owner: Vec<u32>,
    /// By row: where its entries off the diagonal start in `entries`.
    rows: Vec<u32>,
    /// Column and slot of each entry named to [`Plan::new`], by row, columns rising.
    entries: Vec<(u32, u32)>,
}

/// A matrix and its factors, brought up to date as the matrix changes.
#[derive(Debug)]
pub(super) struct Factored<T> {
    matrix: Vec<T>,
    /// Below the diagonal the multipliers, on it the inverse pivots.
    factors: Vec<T>,
    /// By step: whether its factors are out of date.
    reached: Vec<bool>,
    /// No step before this one is out of date.
    first: usize,
}

/// Some steps of an elimination and all that hang on them, so that a right-hand side
/// whose lower part has been dealt with can be solved for their nodes alone.
#[derive(Debug)]
pub(super) struct Top {
    /// The steps, in order.
    steps: Vec<u32>,
    /// All other steps, in order.
    others: Vec<u32>,
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
        let mut steps = Vec::with_capacity(nodes);
        let mut neighbours: Vec<Neighbour> = Vec::new();
        // Products in the order of the steps that make them, with row and column.
        let mut made: Vec<(Product, u32, u32)> = Vec::new();
        let mut turn = vec![0_u32; nodes];
        let mut queue: BTreeSet<(usize, u32)> =
            near.iter().enumerate().map(|(node, set)| (set.len(), node as u32)).collect();
        while let Some((_, pivot)) = queue.pop_first() {
            let around: Vec<u32> = std::mem::take(&mut near[pivot as usize]).into_iter().collect();
            for &node in &around {
                queue.remove(&(near[node as usize].len(), node));
                near[node as usize].remove(&pivot);
            }
            let first = neighbours.len();
            neighbours.extend(around.iter().map(|&node| Neighbour {
                node,
                lower: places[&(node, pivot)],
                upper: places[&(pivot, node)],
            }));
            for row in first..neighbours.len() {
                for column in first..neighbours.len() {
                    let (row, column) = (neighbours[row], neighbours[column]);
                    let target = if row.node == column.node {
                        row.node
                    } else {
                        near[row.node as usize].insert(column.node);
                        *places.entry((row.node, column.node)).or_insert_with(|| {
                            slots += 1;
                            slots - 1
                        })
                    };
                    let product = Product { target, lower: row.lower, upper: column.upper };
                    made.push((product, row.node, column.node));
                }
            }
            for &node in &around {
                queue.insert((near[node as usize].len(), node));
            }
            turn[pivot as usize] = steps.len() as u32;
            let neighbours = (first as u32, neighbours.len() as u32);
            steps.push(Step { pivot, parent: None, neighbours, products: (0, 0) });
        }
        // Each product is taken off just before its target is needed. Sorting is stable,
        // so each target sees its products in the order of elimination.
        let taken = |(_, row, column): &(Product, u32, u32)| {
            turn[*row as usize].min(turn[*column as usize])
        };
        made.sort_by_key(taken);
        let mut owner = vec![0; slots as usize];
        let mut done = 0;
        for at in 0..steps.len() as u32 {
            let step = &mut steps[at as usize];
            let first = done;
            done += made[first..].partition_point(|product| taken(product) <= at);
            step.products = (first as u32, done as u32);
            let around = &neighbours[step.neighbours.0 as usize..step.neighbours.1 as usize];
            step.parent = around.iter().map(|n| turn[n.node as usize]).min();
            owner[step.pivot as usize] = at;
            for n in around {
                owner[n.lower as usize] = at;
                owner[n.upper as usize] = at;
            }
        }
        let products = made.into_iter().map(|(product, ..)| product).collect();
        Self { nodes, steps, neighbours, products, owner, rows, entries }
    }

    /// Unknowns.
    pub(super) fn nodes(&self) -> usize {
        self.nodes
    }

    /// How many values a matrix of this pattern holds, fill included.
    pub(super) fn slots(&self) -> usize {
        self.owner.len()
    }

    /// The slot of an entry; the diagonal of node `i` is slot `i`.
    ///
    /// # Panics
    /// When the pair was not named to [`Plan::new`]: a bug in the caller.
    pub(super) fn slot(&self, row: u32, column: u32) -> u32 {
        self.known_slot(row, column).expect("the pair was named when the plan was made")
    }

    /// The same where such a pair need not have been named.
    pub(super) fn known_slot(&self, row: u32, column: u32) -> Option<u32> {
        if row == column {
            return Some(row);
        }
        let (first, last) = (self.rows[row as usize], self.rows[row as usize + 1]);
        let entries = &self.entries[first as usize..last as usize];
        entries.binary_search_by_key(&column, |(c, _)| *c).ok().map(|at| entries[at].1)
    }

    /// The steps of these nodes and all that a change to them can reach.
    pub(super) fn top(&self, nodes: impl IntoIterator<Item = u32>) -> Top {
        let mut inside = vec![false; self.nodes];
        for node in nodes {
            inside[self.owner[node as usize] as usize] = true;
        }
        for (at, step) in self.steps.iter().enumerate() {
            if let (true, Some(parent)) = (inside[at], step.parent) {
                inside[parent as usize] = true;
            }
        }
        let (steps, others) = (0..self.nodes as u32).partition(|at| inside[*at as usize]);
        Top { steps, others }
    }

    fn around(&self, step: &Step) -> &[Neighbour] {
        &self.neighbours[step.neighbours.0 as usize..step.neighbours.1 as usize]
    }

    /// Works out one step of the elimination from the matrix and the steps before it.
    fn eliminate<T: Scalar>(
        &self,
        step: &Step,
        matrix: &[T],
        factors: &mut [T],
    ) -> Result<(), Singular> {
        let pivot = step.pivot as usize;
        factors[pivot] = matrix[pivot];
        for n in self.around(step) {
            factors[n.lower as usize] = matrix[n.lower as usize];
            factors[n.upper as usize] = matrix[n.upper as usize];
        }
        for product in &self.products[step.products.0 as usize..step.products.1 as usize] {
            let taken = factors[product.lower as usize] * factors[product.upper as usize];
            factors[product.target as usize] -= taken;
        }
        let size = factors[pivot].size();
        // A pivot a million million times smaller than the row's own diagonal is
        // what rounding leaves of zero; insulation leakage stays well above it.
        // Written so that a pivot that is not a number is refused as well.
        if !(size > matrix[pivot].size() * 1e-13 && size.is_finite()) {
            return Err(Singular { node: step.pivot });
        }
        let inverse = factors[pivot].inverse();
        factors[pivot] = inverse;
        for n in self.around(step) {
            factors[n.lower as usize] *= inverse;
        }
        Ok(())
    }
}

impl Top {
    /// The nodes it can be solved for.
    pub(super) fn nodes<'a>(&'a self, plan: &'a Plan) -> impl Iterator<Item = u32> + 'a {
        self.steps.iter().map(|at| plan.steps[*at as usize].pivot)
    }
}

impl<T: Scalar> Factored<T> {
    /// A matrix of zeros, not factored yet.
    pub(super) fn new(plan: &Plan) -> Self {
        Self {
            matrix: vec![T::zero(); plan.slots()],
            factors: vec![T::zero(); plan.slots()],
            reached: vec![true; plan.nodes],
            first: 0,
        }
    }

    /// Sets one entry of the matrix.
    pub(super) fn set(&mut self, plan: &Plan, slot: u32, value: T) {
        let entry = &mut self.matrix[slot as usize];
        if *entry != value {
            *entry = value;
            let owner = plan.owner[slot as usize] as usize;
            self.reached[owner] = true;
            self.first = self.first.min(owner);
        }
    }

    /// Brings the factors up to date with the matrix; tells whether that changed any.
    ///
    /// # Errors
    /// [`Singular`] when a pivot is nothing beside what the node's row started with.
    pub(super) fn refactor(&mut self, plan: &Plan) -> Result<bool, Singular> {
        let mut differs = false;
        for at in self.first..plan.steps.len() {
            if !self.reached[at] {
                continue;
            }
            let step = &plan.steps[at];
            // What is left undone after an error is still marked as out of date.
            self.first = at;
            plan.eliminate(step, &self.matrix, &mut self.factors)?;
            self.reached[at] = false;
            if let Some(parent) = step.parent {
                self.reached[parent as usize] = true;
            }
            differs = true;
        }
        self.first = plan.steps.len();
        Ok(differs)
    }

    /// The product of one row of the matrix with a vector, the largest of its terms, and
    /// the size of the entry on the diagonal.
    pub(super) fn row_times(&self, plan: &Plan, row: u32, vector: &[T]) -> (T, f64, f64) {
        let diagonal = self.matrix[row as usize];
        let own = diagonal * vector[row as usize];
        let (first, last) = (plan.rows[row as usize], plan.rows[row as usize + 1]);
        let (mut sum, mut largest) = (own, own.size());
        for (column, slot) in &plan.entries[first as usize..last as usize] {
            let term = self.matrix[*slot as usize] * vector[*column as usize];
            sum += term;
            largest = largest.max(term.size());
        }
        (sum, largest, diagonal.size())
    }

    /// Solves for one right-hand side in place.
    pub(super) fn solve(&self, plan: &Plan, rhs: &mut [T]) {
        for step in &plan.steps {
            self.forward(plan, step, rhs);
        }
        for step in plan.steps.iter().rev() {
            self.backward(plan, step, rhs);
        }
    }

    /// The first part of a solution: deals with all that lies below a top. It stays
    /// good while only the matrix entries of the top change.
    pub(super) fn solve_below(&self, plan: &Plan, top: &Top, rhs: &mut [T]) {
        for at in &top.others {
            self.forward(plan, &plan.steps[*at as usize], rhs);
        }
    }

    /// The second part: the unknowns of the top.
    pub(super) fn solve_top(&self, plan: &Plan, top: &Top, rhs: &mut [T]) {
        for at in &top.steps {
            self.forward(plan, &plan.steps[*at as usize], rhs);
        }
        for at in top.steps.iter().rev() {
            self.backward(plan, &plan.steps[*at as usize], rhs);
        }
    }

    /// The last part: the unknowns below the top.
    pub(super) fn solve_rest(&self, plan: &Plan, top: &Top, rhs: &mut [T]) {
        for at in top.others.iter().rev() {
            self.backward(plan, &plan.steps[*at as usize], rhs);
        }
    }

    fn forward(&self, plan: &Plan, step: &Step, rhs: &mut [T]) {
        let here = rhs[step.pivot as usize];
        // Most of a right-hand side is zero: few nets are fed directly.
        if here.is_zero() {
            return;
        }
        for row in plan.around(step) {
            rhs[row.node as usize] -= self.factors[row.lower as usize] * here;
        }
    }

    fn backward(&self, plan: &Plan, step: &Step, rhs: &mut [T]) {
        let mut sum = rhs[step.pivot as usize];
        for column in plan.around(step) {
            sum -= self.factors[column.upper as usize] * rhs[column.node as usize];
        }
        rhs[step.pivot as usize] = sum * self.factors[step.pivot as usize];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    fn of<T: Scalar>(plan: &Plan, values: &[T]) -> Factored<T> {
        let mut factored = Factored::new(plan);
        for (slot, value) in values.iter().enumerate() {
            factored.set(plan, slot as u32, *value);
        }
        factored
    }

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
            let mut factored = of(&plan, &values);
            assert!(factored.refactor(&plan).expect("a grounded network is regular"));
            factored.solve(&plan, &mut x);
            let top = plan.top([0, nodes as u32 / 2]);
            let mut parts = rhs.clone();
            factored.solve_below(&plan, &top, &mut parts);
            let below = parts.clone();
            for _ in 0..2 {
                parts.clone_from(&below);
                factored.solve_top(&plan, &top, &mut parts);
            }
            factored.solve_rest(&plan, &top, &mut parts);
            for row in 0..nodes as u32 {
                let mut sum = dense[row as usize] * x[row as usize];
                let (first, last) = (plan.rows[row as usize], plan.rows[row as usize + 1]);
                for (column, slot) in &plan.entries[first as usize..last as usize] {
                    sum += dense[*slot as usize] * x[*column as usize];
                }
                let scale = x.iter().map(|v| v.size()).fold(1.0, f64::max);
                assert!((sum - rhs[row as usize]).size() < 1e-8 * scale, "round {round} row {row}");
                let apart = (parts[row as usize] - x[row as usize]).size();
                assert!(apart < 1e-12 * scale, "round {round} row {row}");
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
        let mut factored = of(&plan, &values);
        assert_eq!(factored.refactor(&plan), Err(Singular { node: 2 }));
        assert_eq!(factored.refactor(&plan), Err(Singular { node: 2 }));
        // And once it is tied down all is well again.
        values[2] = 1.0;
        factored.set(&plan, 2, 1.0);
        assert_eq!(factored.refactor(&plan), Ok(true));
        let mut fresh = of(&plan, &values);
        assert_eq!(fresh.refactor(&plan), Ok(true));
        assert_eq!(factored.factors, fresh.factors);
    }

    #[test]
    fn factors_brought_up_to_date_are_those_made_afresh() {
        let mut chance = Chance::stream(5, "sparse");
        let nodes = 40_u32;
        let pairs: Vec<(u32, u32)> = (0..60)
            .map(|k| {
                let b = if k < nodes - 1 { k + 1 } else { (chance.unit() * 40.0) as u32 };
                ((chance.unit() * f64::from(b.max(1))) as u32, b)
            })
            .filter(|(a, b)| a != b)
            .collect();
        let plan = Plan::new(nodes as usize, pairs.iter().copied());
        let mut matrix = vec![0.0; plan.slots()];
        matrix[..nodes as usize].fill(1e-3);
        let mut kept = of(&plan, &matrix);
        for round in 0..200 {
            let (a, b) = pairs[(chance.unit() * pairs.len() as f64) as usize];
            let y = if round % 3 == 0 { 1e3 } else { chance.unit() };
            let mut add = |slot: u32, y: f64| matrix[slot as usize] += y;
            add(a, y);
            add(b, y);
            add(plan.slot(a, b), -y);
            add(plan.slot(b, a), -y);
            for (slot, value) in matrix.iter().enumerate() {
                kept.set(&plan, slot as u32, *value);
            }
            assert!(kept.refactor(&plan).expect("it is grounded"));
            assert!(!kept.refactor(&plan).expect("it is grounded"));
            let mut fresh = of(&plan, &matrix);
            assert!(fresh.refactor(&plan).expect("it is grounded"));
            assert_eq!(kept.factors, fresh.factors, "round {round}");
        }
    }
}
