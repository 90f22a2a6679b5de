//! Many motors: a shelf or a production lot, each motor on its own, then what they say together.
//!
//! * [`Manifest`]: which motors, from a folder tree or a table.
//! * [`run()`]: every motor fitted or taken over as it stands, failures kept apart; [`Store`] holds the results on disk.
//! * [`gather()`]: one pass over the results: the tables, and the numbers for the statistics.
//! * [`summarise`]: spread between motors, outliers, drift in order of measurement.
//! * [`text`], [`page`]: that summary for people.
//!
//! Statistics are in `statistics`; they know no files.

mod error;
mod manifest;
mod motors;
mod results;
mod run;
mod statistics;
mod summary;

pub use error::LotError;
pub use manifest::{Manifest, Part};
pub use motors::{Instruments, gather};
pub use results::{Outcome, Store};
pub use run::{RunOptions, Step, run, usable_threads};
pub use summary::{page, summarise, text};

use manifest::{Entry, Work};
use results::MotorRecord;
use statistics::{Series, Spread};
use summary::Outlier;
