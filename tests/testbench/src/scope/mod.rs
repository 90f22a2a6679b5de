//! Oscilloscope and meters: settings, errors, and what they show.

mod channels;
mod instruments;
mod meters;
mod screen;

pub(crate) use channels::Screens;
pub use instruments::{ErrorLaw, InstrumentErrors, Instruments};
pub(crate) use meters::{driven_reading, meter_readings};
pub use screen::Vertical;
