//! Statistics over the motors of a lot; they know no files.

mod drift;
pub mod false_discovery;
mod outliers;
pub mod random_effects;
mod spread;

pub use drift::Drift;
pub(crate) use drift::drift;
pub use outliers::{Finding, Outlier};
pub(crate) use outliers::{RATE, outliers};
pub use spread::Spread;
pub(crate) use spread::spread;
