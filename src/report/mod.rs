//! The report: one HTML page that opens from disk, or the same data as JSON.
//!
//! * `context`: everything the page shows, as plain data.
//! * [`gather()`]: from the fit's results to that data.
//! * [`page`]: template, style and scripts put together; what came from a file is escaped, and the page may run nothing
//!   but its own code.
//!
//! The charts are drawn in the reader's browser by the plotting library in `page/vendor/`, which `scripts/vendor_plotting`
//! brings there with its licence.

mod answer;
mod captures;
mod cautions;
pub(crate) mod context;
mod error;
mod gather;
pub(crate) mod operating;
pub mod page;
mod provenance;
mod uncertainty;
mod write;

pub use context::Report;
pub use error::ReportError;
pub use gather::{Answer, answer_of, capture_view, capture_views, from_file, gather, level};
pub use page::render;
pub use write::{Target, check_target, to_json, write};
