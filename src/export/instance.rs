//! One concrete motor with the file that it comes from, as the formats write it.

use super::ExportError;
use crate::motor::temperature::copper_ratio;
use crate::motor::thermal::ThermalNetwork;
use crate::motor::{MechanicalParameters, TerminalParameters};
use crate::motor_file::draw::{DrawError, ParameterSet, Population, corner};
use crate::motor_file::{ModelTerms, MotorFile, ParameterName, Thermal};
use crate::quantity::rounding::percent;

pub use crate::motor_file::draw::{End, MODEL};

/// Concrete values with the file that they come from.
#[derive(Clone, Debug)]
pub struct Instance<'a> {
    /// Where the values come from.
    pub file: &'a MotorFile,
    parameters: ParameterSet,
    /// As the terminals see it.
    pub terminal: TerminalParameters,
    /// The mechanical side.
    pub mechanical: MechanicalParameters,
    /// Which motor of the file this is, in words.
    pub what: String,
    /// 1-based number of a drawn motor.
    pub sample: Option<usize>,
}

impl<'a> Instance<'a> {
    fn new(
        file: &'a MotorFile,
        format: &'static str,
        parameters: ParameterSet,
        what: String,
    ) -> Result<Self, ExportError> {
        let undetermined = |name| ExportError::Needs {
            format,
            source: DrawError::undetermined(file, name),
        };
        for name in MODEL {
            parameters.value(name).map_err(undetermined)?;
        }
        Ok(Instance {
            file,
            parameters,
            terminal: parameters.terminal().map_err(undetermined)?,
            mechanical: parameters.mechanical().map_err(undetermined)?,
            what,
            sample: None,
        })
    }

    /// The estimate itself.
    ///
    /// # Errors
    /// [`ExportError::Needs`]; `format` names the caller in the message.
    pub fn estimate(file: &'a MotorFile, format: &'static str) -> Result<Self, ExportError> {
        let parameters = ParameterSet::estimate(file);
        Instance::new(file, format, parameters, "the estimate".to_owned())
    }

    /// One parameter at an end of its interval, the others at their mean given that.
    ///
    /// # Errors
    /// [`ExportError::Needs`], [`ExportError::Corner`].
    pub fn corner(
        file: &'a MotorFile,
        format: &'static str,
        name: ParameterName,
        end: End,
    ) -> Result<Self, ExportError> {
        // What is not determined is told before what has no end.
        Instance::estimate(file, format)?;
        let side = match end {
            End::Low => "lower",
            End::High => "upper",
        };
        let what = format!(
            "the corner with {} at the {side} end of its interval, the others at their mean given that",
            name.key()
        );
        Instance::new(file, format, corner(file, name, end)?, what)
    }

    /// `count` motors drawn from the covariance; the same seed gives the same motors.
    ///
    /// # Errors
    /// [`ExportError::Needs`].
    pub fn samples(
        file: &'a MotorFile,
        format: &'static str,
        count: usize,
        seed: u64,
    ) -> Result<Vec<Self>, ExportError> {
        Instance::estimate(file, format)?;
        let needs = |source| ExportError::Needs { format, source };
        let motors = Population::new(file)
            .and_then(|population| population.draws(count, seed))
            .map_err(needs)?;
        (1..)
            .zip(motors)
            .map(|(number, parameters)| {
                let what = format!("drawn motor {number} of {count}, seed {seed}");
                Ok(Instance {
                    sample: Some(number),
                    ..Instance::new(file, format, parameters, what)?
                })
            })
            .collect()
    }

    /// Value of a parameter, SI; derived ones follow from this motor's own.
    pub fn value(&self, name: ParameterName) -> f64 {
        // Whatever follows from the parameters of the model is there, see [`Instance::new`].
        self.parameters.value(name).unwrap_or(f64::NAN)
    }

    /// Supply voltage: as given, else as the bench sheet told.
    ///
    /// # Errors
    /// [`ExportError::NoSupply`], [`ExportError::WouldNotTurn`].
    pub fn supply_v(&self, given_v: Option<f64>, format: &'static str) -> Result<f64, ExportError> {
        let supply_v = given_v
            .or_else(|| self.file.motor.as_ref()?.supply_v)
            .ok_or(ExportError::NoSupply { format })?;
        match self.terminal.no_load(supply_v) {
            Some(_) => Ok(supply_v),
            None => Err(ExportError::WouldNotTurn { supply_v }),
        }
    }

    /// Lines for the head of a text format, ASCII only: what it is, values with uncertainty, interval, status and
    /// temperature, and where they come from.
    pub fn head(&self) -> Vec<String> {
        let file = self.file;
        let mut lines = vec![
            format!(
                "Brushed permanent-magnet DC motor: {}",
                ascii(file.motor_name())
            ),
            format!("Values: {}.", self.what),
        ];
        for name in MODEL {
            let value = self.value(name);
            let mut line = format!(
                "{} {} = {value:e} {}",
                name.key(),
                name.symbol(),
                name.ucum()
            );
            match file.parameters.get(&name) {
                None => line.push_str(" (no part of the model that was kept)"),
                Some(parameter) => {
                    if let (Some(u), Some(lower), Some(upper), Some(level)) = (
                        parameter.standard_uncertainty,
                        parameter.lower,
                        parameter.upper,
                        parameter.level,
                    ) {
                        line.push_str(&format!(
                            ", standard uncertainty {u:.1e}, {} % interval {lower:.4e} to {upper:.4e}, {}",
                            percent(level),
                            parameter.status.label()
                        ));
                    }
                    if let Some(temperature_c) = parameter.temperature_c {
                        line.push_str(&format!(", at {temperature_c:.1} degC"));
                    }
                }
            }
            lines.push(line);
        }
        for (key, term) in file.model.iter().flat_map(ModelTerms::listed) {
            let uncertainty = term
                .standard_uncertainty
                .map_or(String::new(), |u| format!(", standard uncertainty {u:.1e}"));
            lines.push(format!("{key} = {:e}{uncertainty}", term.value));
        }
        for (name, parameter) in file.thermal.iter().flat_map(|thermal| &thermal.parameters) {
            if let (Some(value), Some(lower), Some(upper)) =
                (parameter.value, parameter.lower, parameter.upper)
            {
                let [symbol, _] = name.label();
                lines.push(format!(
                    "{} {symbol} = {value:e} {}, interval {lower:.4e} to {upper:.4e}",
                    name.key(),
                    name.ucum()
                ));
            }
        }
        lines.push(format!(
            "Written by {} {} from a motor file of {} {}; captures:",
            env!("CARGO_PKG_NAME"),
            env!("CARGO_PKG_VERSION"),
            ascii(&file.program.name),
            ascii(&file.program.version)
        ));
        for input in &file.inputs {
            lines.push(format!("  {} sha256 {}", ascii(&input.path), input.sha256));
        }
        lines
    }

    /// What a format without the finer terms of the inductance and the torque leaves out, one clause each with its size.
    pub fn finer_terms(&self) -> Vec<String> {
        let t = &self.terminal;
        let inductance_h = t.armature_inductance_h;
        let largest_a = self
            .file
            .validity
            .current_a
            .map(|range| range.largest_magnitude());
        let mut list = Vec::new();
        if t.eddy_share > 0.0 {
            let left_h = t.inductance_at_h(0.0, 20e3);
            list.push(format!(
                "screening by eddy currents (at 20 kHz the inductance is {left_h:.2e} H instead of {inductance_h:.2e} H, so PWM ripple is {:.2} times as large)",
                inductance_h / left_h
            ));
        }
        if let (true, Some(current_a)) = (t.saturation_per_a > 0.0, largest_a) {
            let left_h = t.inductance_at_h(current_a, 0.0);
            list.push(format!(
                "saturation (at {current_a:.2} A the inductance is {left_h:.2e} H instead of {inductance_h:.2e} H)"
            ));
        }
        if let (true, Some(current_a)) = (t.armature_reaction_per_a > 0.0, largest_a) {
            let percent = 100.0 * t.armature_reaction_per_a * current_a;
            list.push(format!(
                "armature reaction (at {current_a:.2} A the torque constant is {percent:.1} % smaller)"
            ));
        }
        if let (Some(thermal), Some(from_c)) = (&self.file.thermal, self.winding_c()) {
            let percent = 100.0 * (copper_ratio(from_c, thermal.hottest_winding_c) - 1.0);
            list.push(format!(
                "heating of the winding (at {:.0} degC, the hottest of the heat records, the resistance is {percent:.0} % larger)",
                thermal.hottest_winding_c
            ));
        }
        list
    }

    /// Temperature of the winding of these values, degC.
    fn winding_c(&self) -> Option<f64> {
        let resistance = self
            .file
            .parameters
            .get(&ParameterName::TerminalResistance)?;
        resistance.temperature_c
    }

    /// The thermal network, where the file has all of it.
    pub fn network(&self) -> Option<ThermalNetwork> {
        let thermal = self
            .file
            .thermal
            .as_ref()
            .filter(|thermal| thermal.is_complete())?;
        Some(Thermal::network(thermal.log_values))
    }

    /// Name of the motor as an identifier: lower-case letters, digits and underscores, beginning with a letter.
    pub fn identifier(&self) -> String {
        let mut name: String = self
            .file
            .motor_name()
            .chars()
            .map(|letter| match letter.is_ascii_alphanumeric() {
                true => letter.to_ascii_lowercase(),
                false => '_',
            })
            .collect();
        if !name.starts_with(|letter: char| letter.is_ascii_alphabetic()) {
            name.insert_str(0, "motor_");
        }
        match self.sample {
            Some(number) => format!("{name}_{number}"),
            None => name,
        }
    }
}

/// Printable ASCII on one line: what stands in a comment must not end it.
pub fn ascii(text: &str) -> String {
    text.chars()
        .map(|letter| match letter {
            ' '..='~' => letter,
            _ => '?',
        })
        .collect::<String>()
        .replace("*/", "* /")
}
