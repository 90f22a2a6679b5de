//! Each capture as the page shows it: record and model, ripple, speed over time; tables beside the model.

mod capture;
pub(super) mod heat;
pub(super) mod motion;
pub(super) mod ripple;
pub(super) mod shaft;
pub(super) mod tables;
mod traces;

pub(super) use capture::{Points, view};
