//! Small symmetric systems of equations.
//!
//! At most 20 by 20, for covariances of touchdown times and the 4 by 4 of a club's shape. A factorisation without
//! pivoting: n³ / 6 multiplications, as exact as the matrix is well conditioned. The covariances here have the
//! variance of a mark on the diagonal and so are positive definite.
//!
//! Worked: (4 2; 2 5) = L Lᵀ with L = (2 0; 1 2); for b = (8, 9) `whiten` gives (4, 2.5) and `solve` (1.375, 1.25).

/// The lower triangle L of a symmetric positive definite matrix, L Lᵀ.
#[derive(Debug)]
pub(super) struct Cholesky(Vec<Vec<f64>>);

impl Cholesky {
    /// Factors a matrix given by rows; none when it is not positive definite.
    ///
    /// Reads the lower triangle only. Not a number makes it none.
    pub(super) fn of(matrix: &[Vec<f64>]) -> Option<Self> {
        let mut lower: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
        for (i, wanted) in matrix.iter().enumerate() {
            let mut row = Vec::with_capacity(i + 1);
            for j in 0..i {
                let before: f64 = row.iter().zip(&lower[j]).map(|(a, b): (&f64, &f64)| a * b).sum();
                row.push((wanted[j] - before) / lower[j][j]);
            }
            let rest = wanted[i] - row.iter().map(|a| a * a).sum::<f64>();
            if rest.is_nan() || rest <= 0.0 {
                return None;
            }
            row.push(libm::sqrt(rest));
            lower.push(row);
        }
        Some(Self(lower))
    }

    /// L⁻¹ b: the errors made independent and of unit variance.
    ///
    /// The squared length of what it gives is bᵀ (L Lᵀ)⁻¹ b: the distance in standard deviations, squared.
    pub(super) fn whiten(&self, b: &[f64]) -> Vec<f64> {
        let mut found: Vec<f64> = Vec::with_capacity(b.len());
        for (row, b) in self.0.iter().zip(b) {
            let before: f64 = row.iter().zip(&found).map(|(a, x)| a * x).sum();
            found.push((b - before) / row[found.len()]);
        }
        found
    }

    /// The solution x of L Lᵀ x = b.
    ///
    /// Forward, then backward substitution; n² each.
    pub(super) fn solve(&self, b: &[f64]) -> Vec<f64> {
        let mut found = self.whiten(b);
        for i in (0..found.len()).rev() {
            let after: f64 = (i + 1..found.len()).map(|j| self.0[j][i] * found[j]).sum();
            found[i] = (found[i] - after) / self.0[i][i];
        }
        found
    }

    /// Natural logarithm of the determinant.
    ///
    /// Twice the sum of the logarithms of L's diagonal: no overflow where the determinant itself would.
    pub(super) fn log_determinant(&self) -> f64 {
        self.0.iter().enumerate().map(|(at, row)| 2.0 * libm::log(row[at])).sum()
    }
}

/// The sum of the products of two rows.
///
/// As long as the shorter.
pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_worked_by_hand_is_solved() {
        let matrix = [vec![4.0, 2.0, 0.0], vec![2.0, 5.0, 1.0], vec![0.0, 1.0, 3.0]];
        let factor = Cholesky::of(&matrix).unwrap();
        // 4 + 4 = 8, 2 + 10 + 3 = 15, 2 + 9 = 11; determinant 4 x 14 - 2 x 6 = 44.
        for (found, wanted) in factor.solve(&[8.0, 15.0, 11.0]).iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - wanted).abs() < 1e-12);
        }
        assert!((factor.log_determinant() - libm::log(44.0)).abs() < 1e-12);
        assert!(Cholesky::of(&[vec![1.0, 2.0], vec![2.0, 1.0]]).is_none());
    }
}
