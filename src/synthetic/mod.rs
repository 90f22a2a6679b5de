//! A simulated dirty bench: motor, rig and instruments with everything that spoils a real capture, and the truth behind it.
//!
//! It serves tests, the study of coverage and the demonstration. Its equations, its integrator and its random numbers are its
//! own: nothing is shared with the estimator's model, so that an error there is not repeated here.
//!
//! * [`Machine`]: the motor, with ripple, brushes, saturation, friction at standstill.
//! * [`Rig`]: supply, switches with bounce and arc, diode, shunt or clamp.
//! * [`Instruments`]: scope, probe, meters, and how their errors lie in their stated limits.
//! * [`Scenario`]: all of these and the plan of captures; [`draw`] makes one bench of it from a seed.
//! * [`write_folder`]: a bench as files, each capture in another layout, with its sheet and its truth.
//!
//! The same seed gives the same bench to the last bit on every machine: all elementary functions come from `libm`, never from
//! the system, and the generator is that of the locked `rand`.

mod chance;
mod channels;
mod commutation;
mod draw;
mod folder;
mod instruments;
mod layout;
mod machine;
mod plant;
pub mod presets;
mod readings;
mod rig;
mod run;
mod screen;
mod sheet;
mod shot;
mod steady;
mod take;
mod truth;
mod wiring;

#[cfg(test)]
mod tests;

pub use draw::{DrivenRecord, Scenario, SyntheticBench, draw};
pub use folder::{FolderError, write_folder};
pub use instruments::{DIVISIONS, ErrorLaw, InstrumentErrors, Instruments};
pub use layout::Layout;
pub use machine::{COPPER_PER_K_AT_25_C, Commutator, EddyBranch, Machine};
pub use rig::{Arc, Bounce, Chopper, CurrentSensor, Diode, Line, Rig, Temperature};
pub use screen::Vertical;
pub use shot::{Shot, ShotKind};
pub use truth::{CaptureTruth, Truth};

/// Why a bench cannot be simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SyntheticError {
    #[error("{part}: {field} is {value}; it must be {need}")]
    Field {
        part: &'static str,
        field: &'static str,
        value: f64,
        need: &'static str,
    },
    #[error(
        "capture \"{capture}\": the motor does not start: its stall torque does not exceed what holds it at rest. Raise the supply or lower the friction"
    )]
    NoStart { capture: String },
    #[error("the plan has no captures")]
    NoCaptures,
    #[error(
        "capture \"{name}\": a name becomes a file name, so letters, digits, space, '-' and '_' only"
    )]
    BadName { name: String },
    #[error("two captures of the plan are named \"{name}\"; names must differ")]
    SameName { name: String },
}

impl SyntheticError {
    fn rig(field: &'static str, value: f64, need: &'static str) -> Self {
        SyntheticError::Field {
            part: "rig",
            field,
            value,
            need,
        }
    }

    fn instruments(field: &'static str, value: f64, need: &'static str) -> Self {
        SyntheticError::Field {
            part: "instruments",
            field,
            value,
            need,
        }
    }
}
