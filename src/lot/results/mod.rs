//! Results of a lot on disk: what is kept of a motor, and what tells that it is up to date.

mod fingerprint;
mod record;
mod store;

pub(crate) use fingerprint::of_files;
pub(crate) use record::FORMAT;
pub use record::{MotorRecord, Outcome};
pub(crate) use store::LOT_FORMAT;
pub use store::Store;
