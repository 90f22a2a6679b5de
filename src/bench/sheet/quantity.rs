//! Stated quantities and accuracies of a sheet: `{ v = 24, limit_percent = 1 }`.

use super::table::Table;
use crate::bench::accuracy::{Accuracy, Parts, Stated};
use crate::bench::error::{BenchError, Place};
use crate::bench::remarks::{BenchRemark, BenchRemarkKind};
use crate::quantity::units::{Quantity as Kind, RPM, factor};

/// A kind of quantity with the units it may be typed in, and the factor of each to SI.
#[derive(Clone, Copy, Debug)]
pub struct Units {
    pub quantity: Kind,
    /// Key of a value and its factor to SI.
    pub values: &'static [(&'static str, f64)],
    /// Unit part of an accuracy key and its factor to SI.
    pub differences: &'static [(&'static str, f64)],
}

/// The keys of one kind of quantity, each with its unit in the table of units.
macro_rules! units {
    ($name:ident, $quantity:ident, [$(($key:literal, $unit:literal)),+]) => {
        pub const $name: Units = {
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
units!(FORCE, Force, [("n", "N"), ("mn", "mN"), ("gf", "gf")]);
units!(LENGTH, Length, [("m", "m"), ("mm", "mm")]);
units!(TIME, Time, [("s", "s"), ("ms", "ms"), ("us", "µs")]);
units!(
    MOTOR_CONSTANT,
    MotorConstant,
    [
        ("v_s_per_rad", "V·s/rad"),
        ("v_per_krpm", "V/krpm"),
        ("mv_per_rpm", "mV/rpm")
    ]
);
units!(FREQUENCY, Frequency, [("hz", "Hz"), ("khz", "kHz")]);
units!(
    CAPACITANCE,
    Capacitance,
    [("f", "F"), ("uf", "µF"), ("nf", "nF"), ("pf", "pF")]
);
units!(ANGLE, Angle, [("rad", "rad"), ("deg", "deg")]);
pub const TEMPERATURE: Units = Units {
    quantity: Kind::Temperature,
    values: &[("c", 1.0)],
    differences: &[("k", 1.0)],
};
/// For gains: only `percent` and `ppm` can be meant.
pub const RATIO: Units = Units {
    quantity: Kind::Ratio,
    values: &[],
    differences: &[],
};

/// Reads the accuracy keys of a table; other keys are left alone. `of_screen`: parts of a division, and of the full scale of the screen, are allowed.
pub fn read_accuracy(
    table: &Table<'_>,
    units: Units,
    of_screen: bool,
) -> Result<Accuracy, BenchError> {
    let mut accuracy = Accuracy::default();
    let of_way = |ways: &[&str]| -> Result<Parts, BenchError> {
        let part = |unit: &str, factor: f64| -> Result<f64, BenchError> {
            let stated = |way| stated_part(table, &format!("{way}_{unit}"), factor);
            ways.iter().map(stated).sum()
        };
        let mut parts = Parts {
            relative: part("percent", 1e-2)? + part("ppm", 1e-6)?,
            ..Parts::default()
        };
        for (unit, factor) in units.differences {
            parts.absolute += part(unit, *factor)?;
        }
        if of_screen {
            parts.divisions = part("divisions", 1.0)?;
        }
        parts.full_scale = part("full_scale_percent", 1e-2)?;
        Ok(parts)
    };
    accuracy.limit = of_way(&["limit", "half_width"])?;
    accuracy.coverage_95 = of_way(&["coverage_95"])?;
    accuracy.standard = of_way(&["standard"])?;
    let mut full_scale = None;
    for (unit, factor) in units.differences {
        let stated = table.positive(&format!("full_scale_{unit}"))?;
        full_scale = stated.map(|value| value * factor).or(full_scale);
    }
    let ways = [
        &mut accuracy.limit,
        &mut accuracy.coverage_95,
        &mut accuracy.standard,
    ];
    for parts in ways.into_iter().filter(|p| p.full_scale > 0.0) {
        match full_scale {
            Some(range) => parts.absolute += std::mem::take(&mut parts.full_scale) * range,
            None if of_screen => {}
            None => {
                let unit = units.differences.first().map_or("unit", |(unit, _)| unit);
                return Err(table.missing(
                    &format!("full_scale_{unit}"),
                    &format!("the full scale of the range that an accuracy of full scale belongs to, e.g. full_scale_{unit} = 20"),
                ));
            }
        }
    }
    Ok(accuracy)
}

/// The size of one key in SI; 0 where it is absent.
fn stated_part(table: &Table<'_>, key: &str, factor: f64) -> Result<f64, BenchError> {
    match table.number(key)? {
        Some(stated) if stated < 0.0 => table.invalid(
            key,
            format!(
                "`{key}` in {} is {stated}, but an accuracy cannot be negative; give its size",
                table.name
            ),
        ),
        Some(stated) => Ok(stated * factor),
        None => Ok(0.0),
    }
}

/// Reads a table that holds nothing but an accuracy.
pub fn accuracy_at(
    parent: &Table<'_>,
    key: &str,
    units: Units,
    of_screen: bool,
) -> Result<Option<Accuracy>, BenchError> {
    let Some(table) = parent.table(key)? else {
        return Ok(None);
    };
    let accuracy = read_accuracy(&table, units, of_screen)?;
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
    /// The stated value; an accuracy must have been typed.
    pub fn stated(&self, key: &str) -> Result<Stated, BenchError> {
        if self.accuracy.is_empty() {
            let text = format!(
                "`{key}` has a value but no accuracy; add e.g. limit_percent = … (a limit, rectangular), coverage_95_percent = … (two standard deviations) or standard_percent = …"
            );
            return Err(BenchError::at(&self.place, text));
        }
        Ok(self.accuracy.state(self.value))
    }

    /// With the accuracy typed, or `fallback` where none was typed.
    pub fn stated_or(&self, fallback: Accuracy) -> Stated {
        match self.accuracy.is_empty() {
            true => fallback.state(self.value),
            false => self.accuracy.state(self.value),
        }
    }
}

/// As [`Quantity::stated`], where the key is there.
pub fn stated(quantity: &Option<Quantity>, key: &str) -> Result<Option<Stated>, BenchError> {
    quantity.as_ref().map(|q| q.stated(key)).transpose()
}

/// Limit of a winding temperature that was stated without one, in K.
const ASSUMED_TEMPERATURE_LIMIT_K: f64 = 2.0;
/// Limits of a speed that was stated without one.
const ASSUMED_SPEED_LIMIT: f64 = 1e-3;

/// A winding temperature; without an accuracy one is assumed, with one warning for each place.
pub fn winding_temperature(
    quantity: &Quantity,
    warnings: &mut Vec<BenchRemark>,
) -> Result<Stated, BenchError> {
    if !(-60.0..=250.0).contains(&quantity.value) {
        let text = format!(
            "a winding temperature of {} °C cannot be meant; expected -60 to 250 °C",
            quantity.value
        );
        return Err(BenchError::at(&quantity.place, text));
    }
    if quantity.accuracy.is_empty() {
        let kind = BenchRemarkKind::TemperatureWithoutAccuracy {
            line: quantity.place.line,
            temperature_c: quantity.value,
            limit_k: ASSUMED_TEMPERATURE_LIMIT_K,
        };
        let warning = kind.of_sheet();
        if !warnings.contains(&warning) {
            warnings.push(warning);
        }
    }
    Ok(quantity.stated_or(Accuracy::limit_absolute(ASSUMED_TEMPERATURE_LIMIT_K)))
}

/// A speed with its own accuracy, that of the `tachometer` it was read with, or an assumed one. `line` is that of the sheet.
pub fn speed(
    speed: &Quantity,
    tachometer: Option<Accuracy>,
    line: u32,
    warnings: &mut Vec<BenchRemark>,
) -> Stated {
    if tachometer.is_none() && speed.accuracy.is_empty() {
        warnings.push(BenchRemarkKind::SpeedWithoutAccuracy { line }.of_sheet());
    }
    speed.stated_or(tachometer.unwrap_or_else(assumed_speed_accuracy))
}

/// 0.1 % and 1 rpm.
pub fn assumed_speed_accuracy() -> Accuracy {
    Accuracy::limit_relative(ASSUMED_SPEED_LIMIT).and_limit_absolute(RPM)
}

/// Reads `key = { UNIT = value, limit_… = … }`.
pub fn quantity_at(
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

/// As [`quantity_at`], for what has no sign: negative values are refused, and zero except for a resistance, which may be none.
pub fn size_at(
    parent: &Table<'_>,
    key: &str,
    units: Units,
) -> Result<Option<Quantity>, BenchError> {
    let quantity = quantity_at(parent, key, units)?;
    let Some(found) = &quantity else {
        return Ok(None);
    };
    let (is, do_this) = match found.value {
        v if v < 0.0 => ("negative", "give its size without the sign"),
        0.0 if !matches!(units.quantity, Kind::Resistance) => {
            ("zero", "leave the key out where there is none")
        }
        _ => return Ok(quantity),
    };
    parent.invalid(
        key,
        format!(
            "`{key}` in {} is {is}, expected a value above zero; {do_this}",
            parent.name
        ),
    )
}
