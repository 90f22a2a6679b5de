//! What a column of samples shows of the instrument: code step, samples at the end of the range, noise.

mod codes;
mod levels;
mod noise;

pub use codes::{Codes, clipped, codes, codes_and_noise, quantisation_step};
pub use noise::noise;
