//! A problem in other coordinates: some entries that are fitted in log are taken as they are. Where the least cost follows such an entry over a
//! factor of several, the valley is bent in its logarithm and next to straight in itself.

use super::{CostAndGradient, Linearised};
use crate::fit::solve::{LeastSquares, NormalEquations, Solution};
use nalgebra::{DMatrix, DVector};

/// Share of its value at the minimum below which a stretched entry is not followed.
const LEAST: f64 = 0.05;

/// The problem `of`, with `exp` of some entries in their place.
pub struct Stretched<'a, P> {
    of: &'a P,
    entries: Vec<usize>,
    lower: DVector<f64>,
    upper: DVector<f64>,
}

impl<'a, P: Linearised> Stretched<'a, P> {
    /// `at`: parameters of `of` at its minimum.
    pub fn new(of: &'a P, entries: Vec<usize>, at: &DVector<f64>) -> Self {
        let n = at.len();
        let bound = |found: Option<&DVector<f64>>, none: f64| {
            found.map_or_else(|| DVector::from_element(n, none), Clone::clone)
        };
        let mut lower = bound(of.lower_bounds(), f64::NEG_INFINITY);
        let mut upper = bound(of.upper_bounds(), f64::INFINITY);
        for &k in &entries {
            lower[k] = lower[k].exp().max(LEAST * at[k].exp());
            upper[k] = upper[k].exp();
        }
        Stretched {
            of,
            entries,
            lower,
            upper,
        }
    }

    /// Parameters here of those of the problem, and the other way round.
    pub fn here(&self, x: &DVector<f64>) -> DVector<f64> {
        let mut y = x.clone();
        self.entries.iter().for_each(|&k| y[k] = x[k].exp());
        y
    }

    /// See [`here`](Self::here).
    pub fn there(&self, y: &DVector<f64>) -> DVector<f64> {
        let mut x = y.clone();
        self.entries.iter().for_each(|&k| x[k] = y[k].ln());
        x
    }

    /// A derivative of the problem, as one by the parameters here.
    pub fn gradient(&self, y: &DVector<f64>, mut gradient: DVector<f64>) -> DVector<f64> {
        self.entries.iter().for_each(|&k| gradient[k] /= y[k]);
        gradient
    }

    /// The minimum here.
    pub fn solution(&self, of: &Solution) -> Solution {
        let x = self.here(&of.x);
        let equations = self.equations(&x, of.equations.clone());
        Solution {
            x,
            equations,
            ..of.clone()
        }
    }

    /// The covariance here, of that at the problem's minimum.
    pub fn covariance(&self, y: &DVector<f64>, mut covariance: DMatrix<f64>) -> DMatrix<f64> {
        for &k in &self.entries {
            covariance.row_mut(k).scale_mut(y[k]);
            covariance.column_mut(k).scale_mut(y[k]);
        }
        covariance
    }

    fn equations(&self, y: &DVector<f64>, of: NormalEquations) -> NormalEquations {
        let mut normal = of.normal;
        for &k in &self.entries {
            normal.row_mut(k).unscale_mut(y[k]);
            normal.column_mut(k).unscale_mut(y[k]);
        }
        NormalEquations {
            cost: of.cost,
            gradient: self.gradient(y, of.gradient),
            normal,
        }
    }
}

impl<P: Linearised> LeastSquares for Stretched<'_, P> {
    fn dimension(&self) -> usize {
        self.of.dimension()
    }

    fn cost(&self, y: &DVector<f64>) -> Option<f64> {
        self.of.cost(&self.there(y))
    }

    fn normal_equations(&self, y: &DVector<f64>) -> Option<NormalEquations> {
        let found = self.of.normal_equations(&self.there(y))?;
        Some(self.equations(y, found))
    }

    fn lower_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.lower)
    }

    fn upper_bounds(&self) -> Option<&DVector<f64>> {
        Some(&self.upper)
    }
}

impl<P: Linearised> Linearised for Stretched<'_, P> {
    type Derivatives = P::Derivatives;

    fn linearise(&self, y: &DVector<f64>) -> Option<(NormalEquations, P::Derivatives)> {
        let (equations, derivatives) = self.of.linearise(&self.there(y))?;
        Some((self.equations(y, equations), derivatives))
    }

    /// The other side is that of the problem's own coordinates.
    fn both_sides(
        &self,
        y: &DVector<f64>,
        step: &DVector<f64>,
        derivatives: &P::Derivatives,
    ) -> Option<[CostAndGradient; 2]> {
        let x = self.there(y);
        let change = self.there(&(y + step)) - &x;
        let sides = self.of.both_sides(&x, &change, derivatives)?;
        Some(sides.map(|side| CostAndGradient {
            gradient: self.gradient(y, side.gradient),
            ..side
        }))
    }
}
