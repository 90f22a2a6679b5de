//! One recorded trace as the event finders see it: bridged, upright, with its levels, noise and saturated rows.

mod asked;
mod deviation;
pub(crate) mod saturation;
pub(crate) mod series;
pub(crate) mod shape;
pub(crate) mod view;
