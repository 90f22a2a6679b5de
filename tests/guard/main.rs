//! Nothing lost, nobody hurt: faults while writing, hostile inputs within bounds, trust, and the same bytes every time.
//!
//! `scripts/faults` does the same on a larger scale.

mod bench;
mod cautions;
mod corpora;
mod limits;
mod outputs;
mod roles;
mod same_bytes;
mod trust;
