//! Speed from ripple on simulated run-downs, against the truth they were made from.
//!
//! `RUNDOWN_RIPPLE_STUDY=<directory>` runs the long study and writes its tables there; see `scripts/ripple_study`.

mod bad_input;
mod bench;
mod currents;
mod fixtures;
mod outside;
mod run_downs;
mod study;
