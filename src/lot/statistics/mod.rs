//! Statistics over the motors of a lot; they know no files.

mod drift;
pub mod false_discovery;
mod outliers;
pub mod random_effects;
mod series;
mod spread;

pub use drift::Drift;
pub(crate) use drift::drift;
pub use outliers::Finding;
pub(crate) use outliers::{RATE, outliers};
pub use series::Series;
pub(crate) use series::by_parameter;
pub use spread::Spread;
pub(crate) use spread::spread;
