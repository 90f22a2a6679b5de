//! A set of lines fitted at the phase of an earlier fit.

use super::refine::Harmonics;
use crate::ripple::numerics::least_squares::{Normal, project};
use crate::ripple::numerics::smooth::{basis, combine};
use crate::ripple::numerics::turn::turn;

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

    /// `ratios` to the base line of `fit`. Where the lines cannot be told apart the fit's own residual is returned with no amplitudes.
    pub fn at(fit: &Harmonics, ratios: &[f64]) -> LineSet {
        let n = fit.emf_v.len();
        let mut columns = basis(&fit.x_v_s, fit.x_v_s[0], fit.x_v_s[n - 1], 6);
        let terms = columns.len();
        for ratio in ratios {
            let turns = fit.fit.frequency * ratio;
            let (mut cos, mut sin) = (vec![0.0; n], vec![0.0; n]);
            for i in 0..n {
                let (c, s) = turn(turns * fit.x_v_s[i]);
                cos[i] = fit.emf_v[i] * c;
                sin[i] = fit.emf_v[i] * s;
            }
            columns.extend([cos, sin]);
        }
        let Some(normal) = Normal::new(&columns, &[]) else {
            return LineSet {
                amplitudes: Vec::new(),
                ..LineSet::of(fit)
            };
        };
        let solved = normal.solve(&project(&columns, &fit.rough_v));
        let model = combine(&columns, &solved);
        let residual_v: Vec<f64> = fit.rough_v.iter().zip(&model).map(|(v, m)| v - m).collect();
        let squares: f64 = residual_v.iter().map(|r| r * r).sum();
        LineSet {
            amplitudes: solved[terms..]
                .chunks_exact(2)
                .map(|a| a[0].hypot(a[1]))
                .collect(),
            noise_v: (squares / n.saturating_sub(columns.len()).max(1) as f64)
                .sqrt()
                .max(f64::MIN_POSITIVE),
            residual_v,
        }
    }
}
