//! Why a bench cannot be simulated.

/// Why a bench cannot be simulated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DrawError {
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

/// Fields of one part of a scenario, checked one by one.
pub(crate) struct Part(pub &'static str);

impl Part {
    pub fn fault(
        &self,
        field: &'static str,
        value: f64,
        need: &'static str,
    ) -> Result<(), DrawError> {
        Err(DrawError::Field {
            part: self.0,
            field,
            value,
            need,
        })
    }

    pub fn positive(&self, fields: &[(&'static str, f64)]) -> Result<(), DrawError> {
        match fields.iter().find(|(_, v)| !(*v > 0.0 && v.is_finite())) {
            Some(&(field, value)) => self.fault(field, value, "a positive number"),
            None => Ok(()),
        }
    }

    pub fn not_negative(&self, fields: &[(&'static str, f64)]) -> Result<(), DrawError> {
        match fields.iter().find(|(_, v)| !(*v >= 0.0 && v.is_finite())) {
            Some(&(field, value)) => self.fault(field, value, "zero or a positive number"),
            None => Ok(()),
        }
    }
}
