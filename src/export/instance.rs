//! One concrete motor: the estimate, a corner of it, or a draw from its covariance.

use super::ExportError;
use crate::claim::operating::Constants;
use crate::motor::{MechanicalParameters, TerminalParameters};
use crate::motor_file::draw::{Population, needed};
use crate::motor_file::{ModelTerms, MotorFile, ParameterName, Term};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// An end of an interval.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    Low,
    High,
}

/// The parameters that make a motor; the others in a file follow from them.
pub const MODEL: [ParameterName; 8] = [
    ParameterName::TerminalResistance,
    ParameterName::ArmatureInductance,
    ParameterName::BackEmfConstant,
    ParameterName::CoulombFrictionTorque,
    ParameterName::ViscousFriction,
    ParameterName::Windage,
    ParameterName::RotorInertia,
    ParameterName::BrushDrop,
];

/// Concrete values with the file that they come from.
#[derive(Clone, Debug)]
pub struct Instance<'a> {
    pub file: &'a MotorFile,
    /// Values of [`MODEL`], SI.
    values: [f64; 8],
    /// Which motor of the file this is, in words.
    pub what: String,
    /// 1-based number of a drawn motor.
    pub sample: Option<usize>,
}

impl<'a> Instance<'a> {
    /// The estimate itself.
    ///
    /// # Errors
    /// [`ExportError::Needs`]; `format` names the caller in the message.
    pub fn estimate(file: &'a MotorFile, format: &'static str) -> Result<Self, ExportError> {
        let mut values = [0.0; 8];
        for (slot, name) in values.iter_mut().zip(MODEL) {
            *slot = needed(file, name).map_err(|source| ExportError::Needs { format, source })?;
        }
        Ok(Instance {
            file,
            values,
            what: "the estimate".to_owned(),
            sample: None,
        })
    }

    /// One parameter at an end of its interval, the others at their mean given that (regression on the covariance), so
    /// that the corner is a motor the captures allow.
    ///
    /// # Errors
    /// [`ExportError::Needs`], [`ExportError::NoEnd`], [`ExportError::CornerOutside`].
    pub fn corner(
        file: &'a MotorFile,
        format: &'static str,
        name: ParameterName,
        end: End,
    ) -> Result<Self, ExportError> {
        let mut corner = Instance::estimate(file, format)?;
        let parameter = file
            .parameters
            .get(&name)
            .ok_or(ExportError::NoEnd(name.key()))?;
        let (value, limit, uncertainty) =
            match (parameter.value, parameter.standard_uncertainty, end) {
                (Some(value), Some(u), End::Low) => (value, parameter.lower, u),
                (Some(value), Some(u), End::High) => (value, parameter.upper, u),
                _ => return Err(ExportError::NoEnd(name.key())),
            };
        let limit = limit.ok_or(ExportError::NoEnd(name.key()))?;
        let variance = uncertainty * uncertainty;
        for (place, model) in MODEL.into_iter().enumerate() {
            let moved = if model == name {
                limit
            } else if variance > 0.0 {
                let between = file.covariance.between(model, name).unwrap_or(0.0);
                corner.values[place] + between / variance * (limit - value)
            } else {
                corner.values[place]
            };
            let possible = moved > 0.0 || (moved == 0.0 && model.may_be_zero());
            // A friction term that the regression pushes below zero stops at its physical bound.
            corner.values[place] = match possible {
                true => moved,
                false if model.may_be_zero() && model != name => 0.0,
                false => {
                    return Err(ExportError::CornerOutside {
                        name: model.key(),
                        value: moved,
                    });
                }
            };
        }
        let side = match end {
            End::Low => "lower",
            End::High => "upper",
        };
        corner.what = format!(
            "the corner with {} at the {side} end of its interval, the others at their mean given that",
            name.key()
        );
        Ok(corner)
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
        let needs = |source| ExportError::Needs { format, source };
        let population = Population::new(file, &MODEL).map_err(needs)?;
        let mut random = StdRng::seed_from_u64(seed);
        (1..=count)
            .map(|number| {
                let draw = population.draw(&mut random).map_err(needs)?;
                let mut values = [0.0; 8];
                values.copy_from_slice(&draw);
                Ok(Instance {
                    file,
                    values,
                    what: format!("drawn motor {number} of {count}, seed {seed}"),
                    sample: Some(number),
                })
            })
            .collect()
    }

    /// Value of a parameter, SI; derived ones follow from this motor's own.
    pub fn value(&self, name: ParameterName) -> f64 {
        let c = self.constants();
        let k = c.back_emf_constant_v_s_per_rad;
        match name {
            ParameterName::InertiaCapacitance => c.rotor_inertia_kg_m2 / (k * k),
            ParameterName::FrictionCurrent => c.coulomb_friction_nm / k,
            ParameterName::ViscousConductance => c.viscous_friction_nm_s_per_rad / (k * k),
            ParameterName::ElectricalTimeConstant => {
                c.armature_inductance_h / c.terminal_resistance_ohm
            }
            ParameterName::MechanicalTimeConstant => {
                c.rotor_inertia_kg_m2 * c.terminal_resistance_ohm / (k * k)
            }
            model => MODEL
                .iter()
                .position(|name| *name == model)
                .map_or(0.0, |place| self.values[place]),
        }
    }

    /// The same as a structure.
    pub fn constants(&self) -> Constants {
        let [r, l, k, tc, b, cw, j, vb] = self.values;
        Constants {
            terminal_resistance_ohm: r,
            armature_inductance_h: l,
            back_emf_constant_v_s_per_rad: k,
            coulomb_friction_nm: tc,
            viscous_friction_nm_s_per_rad: b,
            windage_nm_s2_per_rad2: cw,
            rotor_inertia_kg_m2: j,
            brush_drop_v: vb,
        }
    }

    /// Finer terms of the model; they keep their estimates in corners and draws.
    pub fn terms(&self) -> Terms {
        let terms: ModelTerms = self.file.model.unwrap_or_default();
        let number = |term: Option<Term>, absent: f64| term.map_or(absent, |term| term.value);
        let largest = self
            .file
            .validity
            .current_a
            .map_or(1.0, |range| range.lower.abs().max(range.upper.abs()));
        Terms {
            brush_scale_a: number(
                terms.brush_scale_a,
                1e-3 * if largest > 0.0 { largest } else { 1.0 },
            ),
            saturation_per_a: number(terms.saturation_per_a, 0.0),
            armature_reaction_per_a: number(terms.armature_reaction_per_a, 0.0),
            eddy_share: number(terms.eddy_share, 0.0),
            eddy_resistance_ohm: number(terms.eddy_resistance_ohm, 1.0),
        }
    }

    /// What our own simulation takes.
    pub fn simulation(&self) -> (TerminalParameters, MechanicalParameters) {
        let c = self.constants();
        let terms = self.terms();
        let mechanical = MechanicalParameters {
            back_emf_constant_v_s_per_rad: c.back_emf_constant_v_s_per_rad,
            rotor_inertia_kg_m2: c.rotor_inertia_kg_m2,
            coulomb_friction_nm: c.coulomb_friction_nm,
            viscous_friction_nm_s_per_rad: c.viscous_friction_nm_s_per_rad,
            windage_nm_s2_per_rad2: c.windage_nm_s2_per_rad2,
        };
        let terminal = TerminalParameters {
            saturation_per_a: terms.saturation_per_a,
            armature_reaction_per_a: terms.armature_reaction_per_a,
            eddy_share: terms.eddy_share,
            eddy_resistance_ohm: terms.eddy_resistance_ohm,
            ..mechanical.to_terminal(
                c.terminal_resistance_ohm,
                c.armature_inductance_h,
                c.brush_drop_v,
                terms.brush_scale_a,
            )
        };
        (terminal, mechanical)
    }

    /// Supply voltage: as given, else as the bench sheet told.
    ///
    /// # Errors
    /// [`ExportError::NoSupply`], [`ExportError::WouldNotTurn`].
    pub fn supply_v(&self, given_v: Option<f64>, format: &'static str) -> Result<f64, ExportError> {
        let supply_v = given_v
            .or_else(|| self.file.motor.as_ref()?.supply_v)
            .ok_or(ExportError::NoSupply { format })?;
        match self.constants().at_load(supply_v, 0.0) {
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
                            (level * 1000.0).round() / 10.0,
                            parameter.status.words()
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

/// Finer terms, an absent one at the value that switches it off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    pub brush_scale_a: f64,
    pub saturation_per_a: f64,
    pub armature_reaction_per_a: f64,
    pub eddy_share: f64,
    pub eddy_resistance_ohm: f64,
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
