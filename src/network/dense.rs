//! Small dense systems: what a few changed places add to a network already solved.

use super::sparse::Scalar;

/// The smallest pivot, relative to what its row started with, that is accepted. One
/// this small has lost five of sixteen digits, which still leaves eleven.
const LEAST_PIVOT: f64 = 1e-5;

/// A dense matrix in factors, rows exchanged for the largest pivots.
#[derive(Debug)]
pub(super) struct Dense<T> {
    size: usize,
    /// Row by row; below the diagonal the multipliers, on it the inverse pivots.
    factors: Vec<T>,
    /// By place: the row that was moved there.
    rows: Vec<u32>,
}

impl<T: Scalar> Dense<T> {
    /// Factors a matrix given row by row; `None` when that would lose so many digits
    /// that a fresh solution of the whole network is called for.
    pub(super) fn factor(size: usize, matrix: Vec<T>) -> Option<Self> {
        let mut a = matrix;
        let largest = |row: &[T]| row.iter().map(|y| y.size()).fold(1.0, f64::max);
        let mut scales: Vec<f64> = a.chunks_exact(size.max(1)).map(largest).collect();
        let mut rows: Vec<u32> = (0..size as u32).collect();
        for pivot in 0..size {
            let column = |row: usize, a: &[T]| a[row * size + pivot].size();
            let mut best = pivot;
            for row in pivot + 1..size {
                if column(row, &a) > column(best, &a) {
                    best = row;
                }
            }
            if best != pivot {
                for at in 0..size {
                    a.swap(pivot * size + at, best * size + at);
                }
                rows.swap(pivot, best);
                scales.swap(pivot, best);
            }
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
                for at in pivot + 1..size {
                    let taken = times * a[pivot * size + at];
                    a[row * size + at] -= taken;
                }
            }
        }
        Some(Self { size, factors: a, rows })
    }

    /// Solves for one right-hand side.
    pub(super) fn solve(&self, right: &[T]) -> Vec<T> {
        let mut x: Vec<T> = self.rows.iter().map(|row| right[*row as usize]).collect();
        for row in 1..self.size {
            for at in 0..row {
                let taken = self.factors[row * self.size + at] * x[at];
                x[row] -= taken;
            }
        }
        for row in (0..self.size).rev() {
            for at in row + 1..self.size {
                let taken = self.factors[row * self.size + at] * x[at];
                x[row] -= taken;
            }
            x[row] *= self.factors[row * self.size + row];
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    #[test]
    fn a_solution_put_back_gives_the_right_hand_side() {
        let mut chance = Chance::new(3);
        for size in 0..9 {
            let matrix: Vec<f64> = (0..size * size).map(|_| chance.fraction() - 0.5).collect();
            let right: Vec<f64> = (0..size).map(|_| chance.fraction()).collect();
            let dense = Dense::factor(size, matrix.clone()).expect("it is well behaved");
            let x = dense.solve(&right);
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
