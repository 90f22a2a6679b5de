//! A fault, and the checks that every part of a motor file shares.

/// A fault of content: place (keys joined by dots), found, expected.
#[derive(Debug, PartialEq, Eq)]
pub(in crate::motor_file) struct Fault {
    pub place: String,
    pub found: String,
    pub expected: String,
}

pub(in crate::motor_file) type Checked = Result<(), Fault>;

/// A fault unless `good`.
pub(super) fn ensure(
    good: bool,
    place: impl Into<String>,
    found: impl ToString,
    expected: impl Into<String>,
) -> Checked {
    match good {
        true => Ok(()),
        false => Err(Fault {
            place: place.into(),
            found: found.to_string(),
            expected: expected.into(),
        }),
    }
}

/// A number for a message, without rows of zeros.
pub(super) fn shown(number: f64) -> String {
    if number == 0.0 || (1e-4..1e7).contains(&number.abs()) {
        number.to_string()
    } else {
        format!("{number:e}")
    }
}

pub(super) fn check_unit(place: &str, found: &str, unit: &str) -> Checked {
    ensure(
        found == unit,
        format!("{place}.unit"),
        format!("{found:?}"),
        format!("{unit:?}"),
    )
}

pub(super) fn check_level(place: &str, level: f64) -> Checked {
    ensure(
        level > 0.0 && level < 1.0,
        format!("{place}.level"),
        level,
        "a probability between 0 and 1",
    )
}

pub(super) fn check_interval(place: &str, uncertainty: f64, [lower, upper]: [f64; 2]) -> Checked {
    ensure(
        uncertainty >= 0.0,
        format!("{place}.standard_uncertainty"),
        shown(uncertainty),
        "a number not below zero",
    )?;
    ensure(
        lower < upper,
        place,
        format!("{} to {}", shown(lower), shown(upper)),
        "an interval in rising order",
    )
}
