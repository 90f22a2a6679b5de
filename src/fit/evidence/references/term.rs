//! One residual of the least squares beside those of the rows.

use crate::fit::unknowns::Entry;
use nalgebra::DVector;

/// One residual in units of its standard deviation, with its derivatives.
pub struct Term {
    pub residual: f64,
    pub gradient: Vec<(Entry, f64)>,
}

impl Term {
    /// The same with what entries add to the logarithm of which it is the residual, of standard deviation `sd`.
    pub fn shifted(
        mut self,
        x: &DVector<f64>,
        by: impl IntoIterator<Item = (Entry, f64)>,
        sd: f64,
    ) -> Self {
        for (entry, factor) in by {
            self.residual += factor * x[entry] / sd;
            self.gradient.push((entry, factor / sd));
        }
        self
    }

    /// Its derivatives over all `n` unknowns.
    pub fn gradient_vector(&self, n: usize) -> DVector<f64> {
        let mut out = DVector::zeros(n);
        for &(entry, by) in &self.gradient {
            out[entry] += by;
        }
        out
    }
}

/// A speed against the back-EMF of its state: ln ω + ln K − ln e, given e (V) with its derivatives.
pub fn of_speed(
    log_constant: f64,
    constant: Entry,
    rad_s: f64,
    relative_sd: f64,
    (emf, by_entry): (f64, impl IntoIterator<Item = (Entry, f64)>),
) -> Option<Term> {
    if emf == 0.0 {
        return None;
    }
    let mut gradient = vec![(constant, 1.0 / relative_sd)];
    let by_entry = by_entry.into_iter();
    gradient.extend(by_entry.map(|(entry, by)| (entry, -by / (emf * relative_sd))));
    Some(Term {
        residual: (log_constant + rad_s.ln() - emf.abs().ln()) / relative_sd,
        gradient,
    })
}
