//! What the fit compares: records cut into segments of bins, the noise of their rows, and what they suggest in closed form.

mod bench_facts;
mod bin;
mod binning;
mod driving_voltage;
mod first_guess;
mod hints;
mod linear_form;
mod row;
mod row_noise;
mod sample_noise;
mod segments;

pub use bench_facts::{
    clock, inductance_seen, largest_voltage, peak_current, position_sd, reference_temperature,
    shows_inductance,
};
pub use bin::Bin;
pub use first_guess::{first_guess, further_guesses};
pub use hints::{Hints, least, middle, read_hints};
pub use linear_form::{LinearForm, linear_form, longest_closed};
pub use row::{Quantity, Row, zero_row};
pub use row_noise::{
    Departures, MODEL_SHARE, Scatter, deviations, first_deviations, groups, scatter_of_residuals,
};
pub use segments::{Segment, SegmentKind, segments};
