//! What a column of samples shows of the instrument: code step, samples at the end of the range, noise.

mod clipping;
mod codes;
mod curvature;
mod levels;
mod noise;
mod step;

pub use clipping::rests_at_zero;
pub use codes::{Codes, clipped, codes};
pub use noise::{codes_and_noise, noise};
pub use step::quantisation_step;
