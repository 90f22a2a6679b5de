//! Linear least squares over long columns, polynomials with their integrals, and fast sines.

pub(crate) mod least_squares;
pub(crate) mod smooth;
pub(crate) mod turn;
