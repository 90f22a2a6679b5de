//! One recorded trace as the event finders see it: bridged, upright, with its levels, noise and saturated rows.

pub(crate) mod activity;
pub(crate) mod bands;
mod passes;
pub(crate) mod quantile;
mod saturation;
pub(crate) mod series;
pub(crate) mod shape;
pub(crate) mod view;
