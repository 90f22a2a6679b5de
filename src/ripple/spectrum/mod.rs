//! Power spectra of unevenly placed samples, their windows and noise floor.

pub(crate) mod domain;
pub(crate) mod noise_floor;
pub(crate) mod power_spectrum;
pub(crate) mod transform;
pub(crate) mod window;
