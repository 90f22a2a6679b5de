//! Correlation, and normal vectors of a given covariance.

use super::StatsError;
use nalgebra::{Cholesky, DMatrix, DVector, SymmetricEigen};
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};

/// Correlation matrix of a covariance: each entry divided by the two standard deviations. A quantity without variance
/// correlates with nothing; its row is zero but for the 1 on the diagonal.
pub fn to_correlation(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let n = covariance.nrows();
    let deviation: Vec<f64> = (0..n).map(|i| covariance[(i, i)].max(0.0).sqrt()).collect();
    DMatrix::from_fn(n, n, |i, j| {
        if i == j {
            1.0
        } else if deviation[i] > 0.0 && deviation[j] > 0.0 {
            (covariance[(i, j)] / deviation[i] / deviation[j]).clamp(-1.0, 1.0)
        } else {
            0.0
        }
    })
}

/// Draws vectors from a normal distribution of given mean and covariance.
#[derive(Debug, Clone)]
pub struct NormalVectors {
    mean: DVector<f64>,
    /// A with A Aᵀ = covariance.
    factor: DMatrix<f64>,
    /// Whether nothing stands above its diagonal.
    lower: bool,
}

/// An eigenvalue of a correlation matrix this little below zero is rounding.
const ROUNDING: f64 = 1e-9;

impl NormalVectors {
    /// Mean of length n, covariance n × n, semidefinite allowed: a variance of zero gives a constant, a correlation
    /// of one gives quantities that move together.
    ///
    /// # Errors
    /// When shapes differ, an entry is not finite, or the covariance has a negative direction beyond rounding.
    pub fn new(mean: DVector<f64>, covariance: &DMatrix<f64>) -> Result<Self, StatsError> {
        let n = mean.len();
        if covariance.shape() != (n, n) {
            return Err(StatsError::Dimension {
                what: "the covariance matrix",
                found: covariance.len(),
                expected: n * n,
            });
        }
        super::all_finite("mean", mean.as_slice())?;
        super::all_finite("covariance", covariance.as_slice())?;
        if let Some(index) = (0..n).find(|&i| covariance[(i, i)] < 0.0) {
            return Err(StatsError::NotPositiveSemidefinite {
                eigenvalue: covariance[(index, index)],
            });
        }
        // Factored as a correlation, so that farads and ohms do not spoil the condition.
        let correlation = to_correlation(covariance);
        let cholesky = Cholesky::new(correlation.clone());
        let lower = cholesky.is_some();
        let mut factor = match cholesky {
            Some(cholesky) => cholesky.l(),
            None => {
                let eigen = SymmetricEigen::new(correlation);
                let least = eigen.eigenvalues.min();
                if least < -ROUNDING {
                    return Err(StatsError::NotPositiveSemidefinite { eigenvalue: least });
                }
                let mut vectors = eigen.eigenvectors;
                for (mut column, value) in vectors.column_iter_mut().zip(eigen.eigenvalues.iter()) {
                    column *= value.max(0.0).sqrt();
                }
                vectors
            }
        };
        for i in 0..n {
            let deviation = covariance[(i, i)].sqrt();
            factor.row_mut(i).scale_mut(deviation);
        }
        Ok(NormalVectors {
            mean,
            factor,
            lower,
        })
    }

    /// One vector, length n.
    pub fn draw(&self, random: &mut impl Rng) -> DVector<f64> {
        let mut out = DVector::zeros(self.mean.len());
        self.draw_into(random, &mut out.clone(), &mut out);
        out
    }

    /// The same into `out`, by way of `white`, both of length n.
    pub fn draw_into(
        &self,
        random: &mut impl Rng,
        white: &mut DVector<f64>,
        out: &mut DVector<f64>,
    ) {
        white
            .iter_mut()
            .for_each(|w| *w = StandardNormal.sample(random));
        out.fill(0.0);
        for (k, (column, white)) in self.factor.column_iter().zip(white.iter()).enumerate() {
            let first = if self.lower { k } else { 0 };
            let below = out.as_mut_slice()[first..].iter_mut();
            for (sum, factor) in below.zip(&column.as_slice()[first..]) {
                *sum += factor * white;
            }
        }
        *out += &self.mean;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;
    use rand::rngs::StdRng;

    fn drawn_covariance(covariance: &DMatrix<f64>, trials: usize) -> DMatrix<f64> {
        let n = covariance.nrows();
        let vectors = NormalVectors::new(DVector::from_element(n, 3.0), covariance).unwrap();
        let mut random = StdRng::seed_from_u64(2);
        let rows: Vec<DVector<f64>> = (0..trials).map(|_| vectors.draw(&mut random)).collect();
        let deviations = DMatrix::from_fn(trials, n, |i, j| rows[i][j] - 3.0);
        assert_relative_eq!(deviations.column(0).mean(), 0.0, epsilon = 0.1);
        deviations.transpose() * &deviations / trials as f64
    }

    #[test]
    fn drawn_vectors_have_the_covariance_asked_for_whatever_the_units() {
        let wanted = DMatrix::from_row_slice(2, 2, &[4.0, -1.2e-6, -1.2e-6, 1e-12]);
        let found = drawn_covariance(&wanted, 20_000);
        for (a, b) in found.iter().zip(wanted.iter()) {
            assert_relative_eq!(*a, *b, max_relative = 0.05);
        }
        assert_relative_eq!(to_correlation(&wanted)[(0, 1)], -0.6, max_relative = 1e-12);
    }

    #[test]
    fn a_singular_covariance_is_drawn_from_and_an_impossible_one_is_refused() {
        // The second moves with the first, the third is fixed.
        let singular =
            DMatrix::from_row_slice(3, 3, &[1.0, 2.0, 0.0, 2.0, 4.0, 0.0, 0.0, 0.0, 0.0]);
        let vectors = NormalVectors::new(DVector::zeros(3), &singular).unwrap();
        let drawn = vectors.draw(&mut StdRng::seed_from_u64(4));
        assert_relative_eq!(drawn[1], 2.0 * drawn[0], max_relative = 1e-6);
        assert_eq!(drawn[2], 0.0);
        let mut impossible =
            DMatrix::from_row_slice(3, 3, &[1.0, 0.9, -0.9, 0.9, 1.0, 0.9, -0.9, 0.9, 1.0]);
        assert!(matches!(
            NormalVectors::new(DVector::zeros(3), &impossible),
            Err(StatsError::NotPositiveSemidefinite { eigenvalue }) if (eigenvalue + 0.8).abs() < 1e-12
        ));
        impossible[(0, 0)] = f64::NAN;
        assert!(NormalVectors::new(DVector::zeros(3), &impossible).is_err());
        assert!(NormalVectors::new(DVector::zeros(2), &singular).is_err());
    }

    #[test]
    fn a_fixed_quantity_correlates_with_nothing() {
        let correlation = to_correlation(&DMatrix::from_row_slice(2, 2, &[0.0, 0.0, 0.0, 9.0]));
        assert_eq!(correlation, DMatrix::identity(2, 2));
    }
}
