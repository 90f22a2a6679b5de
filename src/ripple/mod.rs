//! Speed from commutation ripple, with no tachometer.
//!
//! While a motor runs down with open terminals its voltage is `e(t)·(1 + ripple(θ))`, `e = K ω` the back-EMF in V and θ the rotor
//! angle in rad. With `x = ∫ e dt` (V·s) the angle is `θ = x/K`: whatever the speed does, ripple of `N` cycles a revolution is
//! one stationary line at `N/(2π K)` cycles per V·s, and unevenness from segment to segment gives lines at multiples of `1/(2π K)`.
//!
//! Data flow: `run_down` prepares the record (polarity, standstill, smooth part), `spectrum` transforms it in x and sets the threshold at a
//! stated false-alarm rate, `lines` tells lines stationary in angle from lines stationary in time or in converter code, `harmonics` fits
//! the harmonic set by nonlinear least squares in time and weighs every number of cycles a revolution, `current` does the same from
//! current.
//!
//! Arrays in, results out: no file, no terminal, no clock. `K` is relative to the gain of the voltage channel: a channel that reads
//! 1 % high makes `K` 1 % high, and that gain's uncertainty is not in the numbers returned here.
//!
//! Method, equations, sources and measured performance: `docs/ripple.md`.

mod current;
mod error;
mod harmonics;
mod lines;
mod numerics;
mod options;
mod remarks;
mod result;
mod run_down;
mod samples;
mod spectrum;

pub use crate::ripple::harmonics::candidate::Candidate;
pub use current::analyse::analyse_current;
pub use current::current_ripple::CurrentRipple;
pub use current::remarks::CurrentRemark;
pub use current::speed_reference::{Foreseen, SpeedAnchor, speed_in_current};
pub use current::speed_shape::SpeedShape;
pub use error::Unreadable;
pub use harmonics::cycles::{Commutator, Counted, SEGMENTS, USUAL_POLES, segment_counts};
pub use harmonics::stated_count::{CountVerdict, StatedCount};
pub use lines::foreign::{ForeignLine, LineKind};
pub use options::RippleOptions;
pub use remarks::SampleRemark;
pub use result::{RippleLine, RippleResult, RippleSpectrum, SpeedPoint};
pub use run_down::analyse::analyse_run_down;
pub use run_down::remarks::RunDownRemark;
pub use spectrum::transform::transform;
