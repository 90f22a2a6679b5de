//! A simulated motor bench for tests and studies: motor, rig and instruments with everything that spoils a real capture, and the
//! truth behind it. It knows nothing of the program it tests: what it draws it writes as files, as an oscilloscope and a person do.
//!
//! Its code, its integrator and its random numbers are its own, so that a slip there is not repeated here. The laws of the motor are those
//! of the estimator where a preset is drawn as it is; [`presets::Departure`] draws motors and instruments that follow others.
//!
//! * [`Machine`]: the motor, with ripple, brushes, saturation, friction at standstill.
//! * [`Rig`]: supply, switches with bounce and arc, diode, shunt or clamp.
//! * [`Instruments`]: scope, probe, meters, and how their errors lie in their stated limits.
//! * [`Scenario`]: all of these and the plan of captures; [`draw`] makes one [`DrawnBench`] of it from a seed.
//! * [`draw_current`]: a current by itself, without bench or sheet.
//! * [`write_folder`]: a bench as files, each capture in another [`Layout`], with its sheet and its truth.
//! * [`Extras`]: a sensor on the shaft, tables of readings and a start behind a coasting bridge beside them.
//! * [`presets`]: motors on benches, ready to be drawn.
//! * [`stats`]: statistics that only studies need.
//!
//! The same seed gives the same bench to the last bit on every machine: all elementary functions come from `libm`, never from
//! the system, and the generator is that of the locked `rand`.

mod bench;
mod chance;
mod current_alone;
mod draw;
mod error;
mod extras;
mod files;
mod motor;
pub mod presets;
mod record;
mod rig;
mod scenario;
mod scope;
mod series;
mod stated;
pub mod stats;
mod truth;

#[cfg(test)]
mod tests;

pub use bench::{Capture, DrawnBench, DrivenRecord, Reading, Trace, Waveform};
pub use current_alone::{Coupling, CurrentKind, CurrentRecord, draw_current};
pub use draw::draw;
pub use error::DrawError;
pub use extras::{CoastingStart, Extras, ShaftSensor, temporary_folder_with};
pub use files::{FolderError, Layout, temporary_folder, write_folder};
pub use motor::{COPPER_PER_K_AT_25_C, Commutator, ContactLaw, EddyBranch, Machine};
pub use record::{Shot, ShotKind};
pub use rig::{Arc, Bounce, Chopper, CurrentSensor, Diode, Line, Rig, Temperature};
pub use scenario::{Brushes, Magnets, MotorFacts, Scenario};
pub use scope::{ErrorLaw, InstrumentErrors, Instruments, Vertical};
pub use stated::Stated;
pub use truth::{CaptureTruth, Truth};
