//! First-order propagation of uncertainty with covariances, and effective degrees of freedom.

use super::StatsError;
use nalgebra::DMatrix;

/// Covariance m × m of `y = f(x)` from the covariance n × n of x and the sensitivities ∂y/∂x, m × n: `C V Cᵀ`
/// (JCGM 100:2008, 5.2.2 eq. 13 and H.2.3). Holds where f is straight over a few standard uncertainties.
///
/// # Errors
/// When the shapes do not fit.
pub fn propagate(
    sensitivities: &DMatrix<f64>,
    covariance: &DMatrix<f64>,
) -> Result<DMatrix<f64>, StatsError> {
    let n = covariance.nrows();
    for (what, found) in [
        ("a row of the sensitivities", sensitivities.ncols()),
        ("a row of the covariance", covariance.ncols()),
    ] {
        if found != n {
            return Err(StatsError::Dimension {
                what,
                found,
                expected: n,
            });
        }
    }
    Ok(sensitivities * covariance * sensitivities.transpose())
}

/// One independent part of a combined standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// `|c_i| u(x_i)`, in the unit of the result.
    pub standard_uncertainty: f64,
    /// Infinite where the uncertainty is taken as known.
    pub degrees_of_freedom: f64,
}

/// Effective degrees of freedom of the root sum of squares of independent parts:
/// `ν = (Σ u²)² / Σ (u⁴/ν_i)` (Welch 1947, Satterthwaite 1946; JCGM 100:2008, G.4.1), infinite when every part is.
/// G.4.1 truncates to the next lower integer before a table is entered; with real quantiles there is no need.
///
/// # Errors
/// For no parts, all of them zero, a negative or unknown part, or degrees of freedom that are not positive.
pub fn effective_degrees_of_freedom(components: &[Component]) -> Result<f64, StatsError> {
    let mut variance = 0.0;
    let mut weighted = 0.0;
    for component in components {
        let u = component.standard_uncertainty;
        if !(u.is_finite() && u >= 0.0) {
            return Err(StatsError::OutOfRange {
                what: "standard uncertainty",
                value: u,
                range: "at 0 or above and be finite",
            });
        }
        if component.degrees_of_freedom.is_nan() || component.degrees_of_freedom <= 0.0 {
            return Err(StatsError::OutOfRange {
                what: "degrees of freedom",
                value: component.degrees_of_freedom,
                range: "above 0",
            });
        }
        variance += u * u;
        weighted += u.powi(4) / component.degrees_of_freedom;
    }
    if variance <= 0.0 {
        return Err(StatsError::NoVariation {
            what: "effective degrees of freedom",
        });
    }
    if weighted == 0.0 {
        return Ok(f64::INFINITY);
    }
    Ok(variance * variance / weighted)
}
