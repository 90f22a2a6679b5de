//! Stated accuracies and stated quantities, as typed and as standard uncertainties.
//!
//! A data sheet states an accuracy in one of three ways, and each key of an accuracy table begins with the way:
//!
//! * `limit_`: bounds that are about two standard deviations, *u* = *a*/2 (how hobby and service instruments are
//!   usually specified; the default reading of a stated accuracy);
//! * `standard_`: a standard uncertainty, *u* = *a*;
//! * `half_width_`: a rectangular distribution of half width *a*, *u* = *a*/√3 (JCGM 100:2008, 4.3.7).
//!
//! The key ends with the unit: `percent` or `ppm` of reading, `divisions` of the screen, or the quantity's own unit.
//! Parts stated the same way add up as a data sheet's `± (1 % + 2 digits)` does, except standard uncertainties, which
//! add in squares; parts stated in different ways add in squares.

use super::error::{BenchError, Place};
use super::setup::Stated;
use super::sheet::Table;
use crate::quantity::units::{Quantity as Kind, factor};

/// Bounds given as a limit are this many standard deviations wide.
const LIMIT_SIGMAS: f64 = 2.0;

/// A kind of quantity with the units it may be typed in, and the factor of each to SI.
#[derive(Clone, Copy, Debug)]
pub(super) struct Units {
    pub quantity: Kind,
    /// Key of a value and its factor to SI.
    pub values: &'static [(&'static str, f64)],
    /// Unit part of an accuracy key and its factor to SI.
    pub differences: &'static [(&'static str, f64)],
}

/// The keys of one kind of quantity, each with its unit in the table of units.
macro_rules! units {
    ($name:ident, $quantity:ident, [$(($key:literal, $unit:literal)),+]) => {
        pub(super) const $name: Units = {
            const UNITS: &[(&str, f64)] = &[$(($key, factor(Kind::$quantity, $unit))),+];
            Units {
                quantity: Kind::$quantity,
                values: UNITS,
                differences: UNITS,
            }
        };
    };
}

units!(VOLTAGE, Voltage, [("v", "V"), ("mv", "mV")]);
units!(CURRENT, Current, [("a", "A"), ("ma", "mA")]);
units!(RESISTANCE, Resistance, [("ohm", "Ω"), ("milliohm", "mΩ")]);
units!(
    INDUCTANCE,
    Inductance,
    [("h", "H"), ("mh", "mH"), ("uh", "µH")]
);
units!(SPEED, Speed, [("rpm", "rpm"), ("rad_s", "rad/s")]);
units!(INERTIA, Inertia, [("kg_m2", "kg·m²"), ("g_cm2", "g·cm²")]);
units!(TORQUE, Torque, [("n_m", "N·m"), ("mn_m", "mN·m")]);
pub(super) const TEMPERATURE: Units = Units {
    quantity: Kind::Temperature,
    values: &[("c", 1.0)],
    differences: &[("k", 1.0)],
};
/// For gains: only `percent` and `ppm` can be meant.
pub(super) const RATIO: Units = Units {
    quantity: Kind::Ratio,
    values: &[],
    differences: &[],
};

/// The parts of an accuracy that were stated in one way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Parts {
    /// Of the reading.
    relative: f64,
    /// In the SI unit of the quantity.
    absolute: f64,
    divisions: f64,
}

/// An accuracy as stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Accuracy {
    limit: Parts,
    standard: Parts,
    half_width: Parts,
}

impl Accuracy {
    /// A limit relative to the reading, e.g. 0.02 for 2 %.
    pub fn limit_relative(relative: f64) -> Self {
        Accuracy {
            limit: Parts {
                relative,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// A limit in the SI unit of the quantity.
    pub fn limit_absolute(absolute: f64) -> Self {
        Accuracy {
            limit: Parts {
                absolute,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// A limit in divisions of the screen.
    pub fn limit_divisions(divisions: f64) -> Self {
        Accuracy {
            limit: Parts {
                divisions,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// With a further limit in the SI unit of the quantity.
    pub fn and_limit_absolute(mut self, absolute: f64) -> Self {
        self.limit.absolute += absolute;
        self
    }

    /// True when nothing was stated.
    pub fn is_empty(&self) -> bool {
        *self == Accuracy::default()
    }

    /// True when a part is stated in divisions, so that a vertical scale is needed.
    pub fn needs_scale(&self) -> bool {
        [self.limit, self.standard, self.half_width]
            .iter()
            .any(|p| p.divisions != 0.0)
    }

    /// Standard uncertainty of `reading`, in the SI unit of the quantity; `per_division` is the vertical scale.
    pub fn standard_uncertainty(&self, reading: f64, per_division: f64) -> f64 {
        let parts = |p: &Parts| {
            [
                p.relative * reading.abs(),
                p.absolute,
                p.divisions * per_division,
            ]
        };
        let linear = |p: &Parts| parts(p).iter().sum::<f64>();
        let squared: f64 = parts(&self.standard).iter().map(|u| u * u).sum();
        let limit = linear(&self.limit) / LIMIT_SIGMAS;
        let half_width = linear(&self.half_width) / 3f64.sqrt();
        (squared + limit * limit + half_width * half_width).sqrt()
    }

    /// The stated value of `reading`.
    pub fn state(&self, reading: f64) -> Stated {
        Stated {
            value: reading,
            standard_uncertainty: self.standard_uncertainty(reading, 0.0),
        }
    }
}

/// Reads the accuracy keys of a table; other keys are left alone.
pub(super) fn read_accuracy(
    table: &Table<'_>,
    units: Units,
    divisions_allowed: bool,
) -> Result<Accuracy, BenchError> {
    let mut accuracy = Accuracy::default();
    for (way, parts) in [
        ("limit", &mut accuracy.limit),
        ("standard", &mut accuracy.standard),
        ("half_width", &mut accuracy.half_width),
    ] {
        let part = |unit: &str, factor: f64| -> Result<f64, BenchError> {
            let key = format!("{way}_{unit}");
            match table.number(&key)? {
                Some(stated) if stated < 0.0 => table.invalid(
                    &key,
                    format!(
                        "`{key}` in {} is {stated}, but an accuracy cannot be negative; give its size",
                        table.name
                    ),
                ),
                Some(stated) => Ok(stated * factor),
                None => Ok(0.0),
            }
        };
        parts.relative = part("percent", 1e-2)? + part("ppm", 1e-6)?;
        for (unit, factor) in units.differences {
            parts.absolute += part(unit, *factor)?;
        }
        if divisions_allowed {
            parts.divisions = part("divisions", 1.0)?;
        }
    }
    Ok(accuracy)
}

/// Reads a table that holds nothing but an accuracy.
pub(super) fn accuracy_at(
    parent: &Table<'_>,
    key: &str,
    units: Units,
    divisions_allowed: bool,
) -> Result<Option<Accuracy>, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(None);
    };
    let accuracy = read_accuracy(&table, units, divisions_allowed)?;
    table.finish()?;
    if accuracy.is_empty() {
        return parent.invalid(
            key,
            format!("{} states no accuracy; give e.g. limit_percent", table.name),
        );
    }
    Ok(Some(accuracy))
}

/// A value in SI with its accuracy as typed; the accuracy may be empty.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    pub value: f64,
    pub accuracy: Accuracy,
    pub place: Place,
}

impl Quantity {
    /// With the accuracy typed, or `fallback` where none was typed.
    pub fn stated_or(&self, fallback: Accuracy) -> Stated {
        if self.accuracy.is_empty() {
            fallback.state(self.value)
        } else {
            self.accuracy.state(self.value)
        }
    }
}

/// Reads `key = { UNIT = value, limit_… = … }`.
pub(super) fn quantity_at(
    parent: &Table<'_>,
    key: &str,
    units: Units,
) -> Result<Option<Quantity>, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(None);
    };
    let mut value = None;
    let mut given = 0;
    for (unit, factor) in units.values {
        if let Some(number) = table.number(unit)? {
            value = Some(number * factor);
            given += 1;
        }
    }
    let accuracy = read_accuracy(&table, units, false)?;
    table.finish()?;
    let names: Vec<&str> = units.values.iter().map(|(name, _)| *name).collect();
    if given > 1 {
        return parent.invalid(
            key,
            format!(
                "{} gives its value {given} times; keep one of {}",
                table.name,
                names.join(", ")
            ),
        );
    }
    let value = table.require(
        names[0],
        value,
        &format!(
            "the {} needs a value under one of {}",
            units.quantity,
            names.join(", ")
        ),
    )?;
    Ok(Some(Quantity {
        value,
        accuracy,
        place: parent.place_of(key),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_limit_is_two_standard_deviations() {
        let gain = Accuracy::limit_relative(0.02);
        assert_relative_eq!(gain.standard_uncertainty(1.0, 0.0), 0.01);
        assert_relative_eq!(gain.standard_uncertainty(-50.0, 0.0), 0.5);
    }

    #[test]
    fn parts_of_one_data_sheet_limit_add_up_before_they_are_halved() {
        // ± (1 % + 0.02 Ω) at 10 Ω is ± 0.12 Ω.
        let meter = Accuracy::limit_relative(0.01).and_limit_absolute(0.02);
        assert_relative_eq!(meter.standard_uncertainty(10.0, 0.0), 0.06, epsilon = 1e-15);
    }

    /// JCGM 100:2008, 4.3.7: a rectangular distribution of half width a has u² = a²/3.
    #[test]
    fn val_a_rectangular_half_width_is_divided_by_root_three() {
        let mut accuracy = Accuracy::default();
        accuracy.half_width.absolute = 0.3;
        assert_relative_eq!(
            accuracy.standard_uncertainty(7.0, 0.0),
            0.3 / 3f64.sqrt(),
            epsilon = 1e-15
        );
    }

    #[test]
    fn divisions_take_the_vertical_scale() {
        let zero = Accuracy::limit_divisions(0.1);
        assert!(zero.needs_scale());
        assert_relative_eq!(zero.standard_uncertainty(0.0, 5.0), 0.25);
    }
}
