//! Columns of a table with a row a motor: their headings, and cells of which the unknown ones are empty.

use crate::motor_file::{MotorFile, Parameter, ParameterName, Thermal, ThermalName};
use polars::prelude::*;

/// A column of text.
pub fn text<T: AsRef<str>>(name: &str, cells: impl Iterator<Item = Option<T>>) -> Column {
    StringChunked::from_iter_options(name.into(), cells).into_column()
}

/// A column of numbers.
pub fn number(name: &str, cells: impl Iterator<Item = Option<f64>>) -> Column {
    Float64Chunked::from_iter_options(name.into(), cells).into_column()
}

/// A column of counts.
pub fn count(name: &str, cells: impl Iterator<Item = Option<u64>>) -> Column {
    UInt64Chunked::from_iter_options(name.into(), cells).into_column()
}

/// Heading of a parameter's value, with its unit; it begins those of uncertainty and bounds.
pub fn heading(name: ParameterName) -> String {
    let unit = match name {
        ParameterName::TerminalResistance => "ohm",
        ParameterName::ArmatureInductance => "h",
        ParameterName::BackEmfConstant => "v_s_per_rad",
        ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => "nm",
        ParameterName::ViscousFriction => "nm_s_per_rad",
        ParameterName::Windage => "nm_s2_per_rad2",
        ParameterName::RotorInertia => "kg_m2",
        ParameterName::BrushDrop => "v",
        ParameterName::InertiaCapacitance => "f",
        ParameterName::FrictionCurrent | ParameterName::FrictionCurrentAtSpeed => "a",
        ParameterName::ViscousConductance => "siemens",
        ParameterName::ElectricalTimeConstant | ParameterName::MechanicalTimeConstant => "s",
    };
    format!("{}_{unit}", name.key())
}

/// One parameter of the motor of each row, where the row has it.
pub struct ParameterColumns<'a> {
    name: ParameterName,
    parameters: Vec<Option<&'a Parameter>>,
}

impl<'a> ParameterColumns<'a> {
    /// The parameter `name` of each file.
    pub fn new(
        name: ParameterName,
        files: impl Iterator<Item = Option<&'a MotorFile>>,
    ) -> ParameterColumns<'a> {
        let parameters = files.map(|file| file?.parameters.get(&name)).collect();
        ParameterColumns { name, parameters }
    }

    /// The value as the file has it.
    pub fn value(&self) -> Column {
        self.number(&heading(self.name), |parameter| parameter.value)
    }

    /// Standard uncertainty, bounds of the interval, temperature.
    pub fn uncertainty(&self) -> [Column; 4] {
        let stem = heading(self.name);
        [
            self.number(&format!("{stem}_standard_uncertainty"), |p| {
                p.standard_uncertainty
            }),
            self.number(&format!("{stem}_lower"), |p| p.lower),
            self.number(&format!("{stem}_upper"), |p| p.upper),
            self.number(&format!("{}_temperature_c", self.name.key()), |p| {
                p.temperature_c
            }),
        ]
    }

    /// The value at 25 °C and its standard uncertainty.
    pub fn at_25_c(&self) -> [Column; 2] {
        let stem = heading(self.name);
        [
            self.number(&format!("{stem}_at_25_c"), |p| {
                Some(p.at_25_c.as_ref()?.value)
            }),
            self.number(&format!("{stem}_at_25_c_standard_uncertainty"), |p| {
                Some(p.at_25_c.as_ref()?.standard_uncertainty)
            }),
        ]
    }

    /// Measured, from a prior, or another status.
    pub fn status(&self) -> Column {
        let cells = self.parameters.iter().map(|p| Some((*p)?.status.label()));
        text(&format!("{}_status", self.name.key()), cells)
    }

    fn number(&self, name: &str, of: impl Fn(&Parameter) -> Option<f64>) -> Column {
        number(name, self.parameters.iter().map(|p| of((*p)?)))
    }
}

/// The thermal model of the motor of each row: value with its unit in the heading, uncertainty, bounds and status of each quantity.
pub fn thermal<'a>(files: impl Iterator<Item = Option<&'a MotorFile>>) -> Vec<Column> {
    let models: Vec<Option<&Thermal>> = files.map(|file| file?.thermal.as_ref()).collect();
    let quantity = |name: ThermalName| {
        let of = |model: &Option<&'a Thermal>| (*model)?.parameters.get(&name);
        let key = name.key();
        let unit = match name.ucum() {
            "K/W" => "k_per_w",
            "J/K" => "j_per_k",
            other => other,
        };
        let real = |suffix: &str, cell: fn(&Parameter) -> Option<f64>| {
            let cells = models.iter().map(|model| cell(of(model)?));
            number(&format!("{key}_{unit}{suffix}"), cells)
        };
        let status = models.iter().map(|model| Some(of(model)?.status.label()));
        [
            real("", |p| p.value),
            real("_standard_uncertainty", |p| p.standard_uncertainty),
            real("_lower", |p| p.lower),
            real("_upper", |p| p.upper),
            text(&format!("{key}_status"), status),
        ]
    };
    ThermalName::all().flat_map(quantity).collect()
}
