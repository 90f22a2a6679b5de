//! Many motors: a shelf or a production lot, each motor on its own, then what they say together.
//!
//! * [`Manifest`]: which motors, from a folder tree or a table.
//! * [`run()`]: every motor fitted or taken over as it stands, failures kept apart; [`Store`] holds the results on disk.
//! * [`gather()`]: one pass over the results: the tables, and the numbers for the statistics.
//! * [`summarise`]: spread between motors, outliers, drift in order of measurement.
//! * [`text`], [`page`]: that summary for people.
//!
//! Statistics are in [`random_effects`], [`false_discovery`] and the files named for what they find; they know no files.

mod drift;
mod entry;
mod error;
pub mod false_discovery;
mod fingerprint;
mod gather;
mod guarded;
mod manifest;
mod outliers;
pub mod page;
mod picture;
pub mod random_effects;
mod record;
mod run;
mod spread;
mod store;
mod summary;
pub mod text;
mod walk;

pub use drift::Drift;
pub use entry::{Entry, Work};
pub use error::LotError;
pub use gather::{Gathered, Series, gather};
pub use manifest::Manifest;
pub use outliers::{Finding, Outlier};
pub use record::{MotorRecord, Outcome};
pub use run::{Counts, RunOptions, Step, run};
pub use spread::Spread;
pub use store::Store;
pub use summary::{ParameterSummary, Summary, summarise};
