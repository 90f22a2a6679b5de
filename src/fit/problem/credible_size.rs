//! What a term may still be that was left out.

use crate::fit::unknowns::Entry;
use nalgebra::DVector;

/// A term held at zero and what it may still be.
#[derive(Clone, Debug)]
pub struct CredibleSize {
    /// The term.
    pub entry: Entry,
    /// Its most likely size, in its own unit.
    pub likeliest: f64,
    /// The standard deviation that the rise of the cost above it stands for.
    pub standard_deviation: f64,
    /// By how much every entry changes as the term grows by one unit; 0 for itself, so that its product with a pull is what the others do.
    pub course: DVector<f64>,
}
