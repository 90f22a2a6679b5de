//! A set of lines fitted at the phase of an earlier fit.

use super::refine::Harmonics;
use crate::ripple::numerics::least_squares::{Normal, gram_from, gram_of, project};
use crate::ripple::numerics::smooth::{basis, combine};
use crate::ripple::numerics::turn::turn;
use nalgebra::DMatrix;
use rayon::prelude::*;

/// Amplitudes of a set of lines at the phase of a fit, with the smooth part free: linear.
pub(crate) struct LineSet {
    /// Relative amplitude of each line.
    pub amplitudes: Vec<f64>,
    pub residual_v: Vec<f64>,
    pub noise_v: f64,
}

impl LineSet {
    /// The lines of the fit as it left them.
    pub fn of(fit: &Harmonics) -> LineSet {
        LineSet {
            amplitudes: (0..fit.fit.ratios.len())
                .map(|l| fit.fit.amplitude(l))
                .collect(),
            residual_v: fit.residual_v.clone(),
            noise_v: fit.fit.noise_v,
        }
    }
}

/// The columns of such a fit and their products, kept while lines are added.
pub(crate) struct LineColumns<'a> {
    fit: &'a Harmonics,
    columns: Vec<Vec<f64>>,
    gram: DMatrix<f64>,
    right: Vec<f64>,
    /// Number of the smooth columns.
    terms: usize,
}

impl<'a> LineColumns<'a> {
    /// The smooth part alone.
    pub fn of(fit: &'a Harmonics) -> Self {
        let columns = basis(&fit.x_v_s, fit.x_v_s[0], fit.x_v_s[fit.x_v_s.len() - 1], 6);
        LineColumns {
            terms: columns.len(),
            gram: gram_of(&columns),
            right: project(&columns, &fit.rough_v),
            columns,
            fit,
        }
    }

    /// The lines at `ratios` to the base line, of which those of the call before come first. Where they cannot be distinguished the fit's own
    /// residual is returned with no amplitudes.
    pub fn with(&mut self, ratios: &[f64]) -> LineSet {
        self.add(&ratios[(self.columns.len() - self.terms) / 2..]);
        let (fit, n) = (self.fit, self.fit.emf_v.len());
        let Some(normal) = Normal::of(self.gram.clone(), &[]) else {
            return LineSet {
                amplitudes: Vec::new(),
                ..LineSet::of(fit)
            };
        };
        let solved = normal.solve(&self.right);
        let model = combine(&self.columns, &solved);
        let residual_v: Vec<f64> = fit.rough_v.iter().zip(&model).map(|(v, m)| v - m).collect();
        let squares: f64 = residual_v.iter().map(|r| r * r).sum();
        LineSet {
            amplitudes: solved[self.terms..]
                .chunks_exact(2)
                .map(|a| a[0].hypot(a[1]))
                .collect(),
            noise_v: (squares / n.saturating_sub(self.columns.len()).max(1) as f64)
                .sqrt()
                .max(f64::MIN_POSITIVE),
            residual_v,
        }
    }

    fn add(&mut self, ratios: &[f64]) {
        let (fit, n, before) = (self.fit, self.fit.emf_v.len(), self.columns.len());
        let pairs = ratios.par_iter().flat_map_iter(|ratio| {
            let turns = fit.fit.frequency * ratio;
            let (mut cos, mut sin) = (vec![0.0; n], vec![0.0; n]);
            for i in 0..n {
                let (c, s) = turn(turns * fit.x_v_s[i]);
                cos[i] = fit.emf_v[i] * c;
                sin[i] = fit.emf_v[i] * s;
            }
            [cos, sin]
        });
        self.columns.par_extend(pairs);
        let new = &self.columns[before..];
        self.right.extend(project(new, &fit.rough_v));
        // Products come by two rows: the last of an odd number of them is made once more.
        let first = before / 2 * 2;
        let mut gram = gram_from(&self.columns, first);
        let known = self.gram.view((0, 0), (first, first));
        gram.view_mut((0, 0), (first, first)).copy_from(&known);
        self.gram = gram;
    }
}
