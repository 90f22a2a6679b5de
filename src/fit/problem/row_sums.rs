//! The part of the normal equations that the rows of one capture give: summed by component, then spread over the unknowns.

use crate::fit::model::{Component, Prediction};
use crate::fit::solve::NormalEquations;

const COMPONENTS: usize = Component::COUNT;

/// What one capture's rows give by component.
struct ComponentEquations {
    cost: f64,
    gradient: [f64; COMPONENTS],
    /// Lower half; what stands above the diagonal is not to be read.
    normal: [[f64; COMPONENTS]; COMPONENTS],
}

/// Sums `weight · g gᵀ` and `weight · g r` over the rows.
// Indices are components, over half of a symmetric matrix.
#[allow(clippy::needless_range_loop)]
fn sums(prediction: &Prediction, deviations: &[f64]) -> ComponentEquations {
    /// Components that are summed together: most captures leave whole blocks of them at zero.
    const WIDTH: usize = 4;
    let mut out = ComponentEquations {
        cost: 0.0,
        gradient: [0.0; COMPONENTS],
        normal: [[0.0; COMPONENTS]; COMPONENTS],
    };
    for (row, sd) in prediction.rows.iter().zip(deviations) {
        let weight = 1.0 / (sd * sd);
        let residual = row.predicted.value - row.recorded;
        out.cost += 0.5 * weight * residual * residual;
        let g = &row.predicted.gradient;
        let used: [bool; COMPONENTS / WIDTH] = std::array::from_fn(|block| {
            let slopes = &g[block * WIDTH..(block + 1) * WIDTH];
            slopes.iter().any(|slope| *slope != 0.0)
        });
        for a in (0..COMPONENTS).filter(|a| used[a / WIDTH]) {
            let scaled = weight * g[a];
            if scaled != 0.0 {
                out.gradient[a] += scaled * residual;
                for block in (0..=a / WIDTH).filter(|block| used[*block]) {
                    for b in block * WIDTH..(block + 1) * WIDTH {
                        out.normal[a][b] += scaled * g[b];
                    }
                }
            }
        }
    }
    out
}

/// Adds what one capture's rows give to the global equations.
pub fn scatter(prediction: &Prediction, deviations: &[f64], out: &mut NormalEquations) {
    let components = sums(prediction, deviations);
    out.cost += components.cost;
    for (a, of_a) in prediction.slopes.each().enumerate() {
        for &(entry_a, factor_a) in of_a {
            out.gradient[entry_a] += factor_a * components.gradient[a];
            for (b, of_b) in prediction.slopes.each().enumerate() {
                let value = components.normal[a.max(b)][a.min(b)];
                if value != 0.0 {
                    for &(entry_b, factor_b) in of_b {
                        out.normal[entry_a.with(entry_b)] += factor_a * factor_b * value;
                    }
                }
            }
        }
    }
}
