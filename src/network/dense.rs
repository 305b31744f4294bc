//! Small dense systems: what a few changed places add to a network already solved.

use super::sparse::Scalar;

/// The smallest pivot, relative to what its row started with, that is accepted. One
/// this small has lost five of sixteen digits, which still leaves eleven.
const LEAST_PIVOT: f64 = 1e-5;

/// A dense matrix in factors, rows exchanged for the pivots that are largest
/// relative to what their rows started with.
#[derive(Debug)]
pub(super) struct Dense<T> {
    size: usize,
    /// Row by row; below the diagonal the multipliers, on it the inverse pivots.
    factors: Vec<T>,
    /// By step: the row that its own was exchanged with.
    exchanged: Vec<u32>,
}

impl<T: Scalar> Dense<T> {
    /// Factors a matrix given row by row; `None` when that would lose so many digits
    /// that a fresh solution of the whole network is called for.
    pub(super) fn factor(size: usize, matrix: Vec<T>) -> Option<Self> {
        let mut a = matrix;
        let largest = |row: &[T]| row.iter().map(|y| y.size()).fold(1.0, f64::max);
        let mut scales: Vec<f64> = a.chunks_exact(size.max(1)).map(largest).collect();
        let mut exchanged = Vec::with_capacity(size);
        for pivot in 0..size {
            let column = |row: usize, a: &[T]| a[row * size + pivot].size();
            let mut best = pivot;
            for row in pivot + 1..size {
                if column(row, &a) * scales[best] > column(best, &a) * scales[row] {
                    best = row;
                }
            }
            if best != pivot {
                let (above, below) = a.split_at_mut(best * size);
                above[pivot * size..(pivot + 1) * size].swap_with_slice(&mut below[..size]);
                scales.swap(pivot, best);
            }
            exchanged.push(best as u32);
            // Written so that what is not a number is refused as well.
            let kept = column(pivot, &a) >= LEAST_PIVOT * scales[pivot];
            if !kept {
                return None;
            }
            let inverse = a[pivot * size + pivot].inverse();
            a[pivot * size + pivot] = inverse;
            for row in pivot + 1..size {
                let times = a[row * size + pivot] * inverse;
                a[row * size + pivot] = times;
                if times.is_zero() {
                    continue;
                }
                let (above, below) = a.split_at_mut(row * size);
                let from = &above[pivot * size + pivot + 1..(pivot + 1) * size];
                for (y, from) in below[pivot + 1..size].iter_mut().zip(from) {
                    *y -= times * *from;
                }
            }
        }
        Some(Self { size, factors: a, exchanged })
    }

    /// Solves for one right-hand side in place.
    pub(super) fn solve(&self, x: &mut [T]) {
        // What was exchanged while factoring is exchanged here in the same order.
        for (at, other) in self.exchanged.iter().enumerate() {
            x.swap(at, *other as usize);
        }
        for row in 1..self.size {
            let (above, below) = x.split_at_mut(row);
            let factors = &self.factors[row * self.size..row * self.size + row];
            for (factor, x) in factors.iter().zip(above) {
                below[0] -= *factor * *x;
            }
        }
        for row in (0..self.size).rev() {
            let (above, below) = x.split_at_mut(row + 1);
            let factors = &self.factors[row * self.size + row..(row + 1) * self.size];
            for (factor, x) in factors[1..].iter().zip(below) {
                above[row] -= *factor * *x;
            }
            above[row] *= factors[0];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    #[test]
    fn a_solution_put_back_gives_the_right_hand_side() {
        let mut chance = Chance::stream(3, "dense");
        for size in 0..9 {
            let matrix: Vec<f64> = (0..size * size).map(|_| chance.signed()).collect();
            let right: Vec<f64> = (0..size).map(|_| chance.unit()).collect();
            let dense = Dense::factor(size, matrix.clone()).expect("it is well behaved");
            let mut x = right.clone();
            dense.solve(&mut x);
            for row in 0..size {
                let sum: f64 = (0..size).map(|at| matrix[row * size + at] * x[at]).sum();
                assert!((sum - right[row]).abs() < 1e-9, "{size}");
            }
        }
    }

    #[test]
    fn a_matrix_that_has_lost_its_digits_is_refused() {
        assert!(Dense::factor(1, vec![1e-6]).is_none());
        assert!(Dense::factor(2, vec![1.0, 1.0, 1.0, 1.0 + 1e-9]).is_none());
        assert!(Dense::factor(2, vec![0.0, 1.0, 1.0, 0.0]).is_some());
        assert!(Dense::factor(1, vec![f64::NAN]).is_none());
    }
}
