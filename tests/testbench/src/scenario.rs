//! A motor on a bench and what is to be captured of it.

use super::error::{DrawError, Part};
use super::motor::Machine;
use super::record::{Shot, ShotKind};
use super::rig::Rig;
use super::scope::Instruments;

/// Brush material, as the sheet names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Brushes {
    Carbon,
    MetalCarbon,
    Metal,
}

/// Magnet material, as the sheet names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Magnets {
    Ferrite,
    Neodymium,
    SamariumCobalt,
}

/// What the person knows of the motor before any capture.
#[derive(Clone, Debug, PartialEq)]
pub struct MotorFacts {
    pub name: String,
    pub commutator_segments: Option<u32>,
    pub poles: Option<u32>,
    pub brushes: Brushes,
    pub magnets: Magnets,
}

/// A motor on a bench and what is to be captured of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    pub machine: Machine,
    pub rig: Rig,
    pub instruments: Instruments,
    pub plan: Vec<Shot>,
    pub facts: MotorFacts,
}

impl Scenario {
    /// The same bench as the plain model has it, for studies against the Cramér-Rao bound: no ripple, one make, no error of
    /// gain, zero, time or temperature; white noise only. Captures that need a diode or chopper stay as they are.
    pub fn clean(&self) -> Scenario {
        Scenario {
            machine: self.machine.plain(),
            rig: self.rig.clean(),
            instruments: self.instruments.clean(),
            plan: self.plan.clone(),
            facts: self.facts.clone(),
        }
    }

    /// The same bench with another plan.
    pub fn with_plan(&self, kinds: &[(&str, ShotKind)]) -> Scenario {
        Scenario {
            plan: Shot::plan(kinds),
            ..self.clone()
        }
    }

    /// Checks that all parts describe something real.
    ///
    /// # Errors
    /// Names the first part that does not.
    pub fn validate(&self) -> Result<(), DrawError> {
        self.machine.validate()?;
        self.rig.validate()?;
        self.instruments.validate()?;
        if self.plan.is_empty() {
            return Err(DrawError::NoCaptures);
        }
        for (index, shot) in self.plan.iter().enumerate() {
            let name = shot.name.clone();
            if self.plan[..index].iter().any(|s| s.name == name) {
                return Err(DrawError::SameName { name });
            }
            let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_');
            if name.trim().is_empty() || !name.chars().all(plain) {
                return Err(DrawError::BadName { name });
            }
            if shot.rows < 100 || !(shot.span > 0.0 && shot.span.is_finite()) {
                let rows = shot.rows as f64;
                Part("plan").fault("rows", rows, "at least 100, over a positive span")?;
            }
        }
        Ok(())
    }
}
