//! What the fit is held against: the bins of the captures, and readings and speed references.

pub mod data;
pub mod references;
