//! The harmonic pattern of the ripple: its lines fitted, and how many cycles make a revolution.

pub(crate) mod candidate;
pub(crate) mod cycles;
pub(crate) mod evidence;
pub(crate) mod line_set;
pub(crate) mod model;
pub(crate) mod pattern;
pub(crate) mod pick_lines;
pub(crate) mod refine;
pub(crate) mod spectral_lines;
pub(crate) mod stated_count;
