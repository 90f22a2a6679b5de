//! Currents and speeds. In closed form: [`chopper`] one period of PWM, [`clamp`] decay of the current at turn-off. By the program's own
//! simulation, with all finer terms of the model: [`start`] and [`brake`],
//! `L di/dt = v − R i − V_b tanh(i/I_b) − e`, `C_m de/dt = i − I_c sgn e − G_v e − W e|e|` (`docs/drive.md`, section 1).

mod brake;
pub mod chopper;
pub mod clamp;
mod numeric;
mod start;

pub use brake::{Stop, brake, still_s};
pub use numeric::{bisect, constants};
pub use start::{RUN_UP_SHARE, Start, start, start_at};
