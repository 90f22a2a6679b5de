//! What is wrong with the content of a file, and where.

/// A fault of content: place (keys joined by dots), found, expected.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::motor_file) struct Fault {
    pub place: String,
    pub found: String,
    pub expected: String,
}

pub(super) type Checked = Result<(), Fault>;

pub(super) fn fault(
    place: impl Into<String>,
    found: impl ToString,
    expected: impl Into<String>,
) -> Checked {
    Err(Fault {
        place: place.into(),
        found: found.to_string(),
        expected: expected.into(),
    })
}

/// A number for a message, without rows of zeros.
pub(super) fn shown(number: f64) -> String {
    if number == 0.0 || (1e-4..1e7).contains(&number.abs()) || !number.is_finite() {
        number.to_string()
    } else {
        format!("{number:e}")
    }
}
