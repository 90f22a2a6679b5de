//! One motor as the drive sees it: the estimate, or a draw from the covariance, in terminal terms.
//!
//! Everything that has no speed or torque in it needs no speed anchor, so a file without one still sizes a drive.

use super::order::{Load, Order};
use super::section::{Known, Why};
use crate::motor::TerminalParameters;
use crate::motor::temperature::{REFERENCE_C, copper_ratio};
use crate::motor_file::draw::{DrawError, Population};
use crate::motor_file::{ModelTerms, MotorFile, ParameterName as Name, Status, Term};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// One motor with the load and the conditions of the order in it.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    pub resistance_ohm: Known,
    pub inductance_h: Known,
    /// C_m, load inertia included.
    pub capacitance_f: Known,
    /// I_c, load included.
    pub holding_a: Known,
    pub conductance_s: Known,
    pub windage_a_per_v2: f64,
    pub brush_drop_v: Known,
    pub back_emf_constant_v_s_per_rad: Known,
    finer: TerminalParameters,
}

impl Sample {
    /// What the simulation takes, with `series_ohm` in the loop.
    pub fn machine(&self, series_ohm: f64) -> Known<TerminalParameters> {
        Ok(TerminalParameters {
            inertia_capacitance_f: self.capacitance_f?,
            friction_current_a: self.holding_a?,
            viscous_conductance_s: self.conductance_s?,
            windage_a_per_v2: self.windage_a_per_v2,
            ..self.held_machine(series_ohm)?
        })
    }

    /// The same for a rotor that cannot turn: inertia and friction play no part.
    pub fn held_machine(&self, series_ohm: f64) -> Known<TerminalParameters> {
        Ok(TerminalParameters {
            terminal_resistance_ohm: self.resistance_ohm? + series_ohm,
            armature_inductance_h: self.inductance_h?,
            brush_drop_v: self.brush_drop_v?,
            ..self.finer
        })
    }

    /// Inductance at a current, saturation included, H.
    pub fn inductance_at_h(&self, current_a: f64) -> Known {
        let bend = current_a * self.finer.saturation_per_a;
        Ok(self.inductance_h? / (1.0 + bend * bend))
    }

    /// Current that friction and load take at a back-EMF, A.
    pub fn load_current_a(&self, emf_v: f64) -> Known {
        Ok(self.holding_a?
            + self.conductance_s? * emf_v
            + self.windage_a_per_v2 * emf_v * emf_v.abs())
    }

    /// Speed of a back-EMF, rad/s.
    pub fn speed_rad_s(&self, emf_v: f64) -> Known {
        Ok(emf_v / self.back_emf_constant_v_s_per_rad?)
    }
}

/// Where a value of the drive's model comes from.
#[derive(Clone, Copy, Debug)]
enum Source {
    /// Place among the drawn names.
    Drawn(usize),
    /// The same, to be divided by K to this power.
    Mechanical(usize, i32),
    Zero,
    Missing(Name),
}

/// The motors that a file allows.
#[derive(Debug)]
pub struct Motors<'a> {
    file: &'a MotorFile,
    names: Vec<Name>,
    sources: [Source; 8],
    /// Factor of R to the temperature of the order.
    warmth: f64,
    /// Winding temperature of everything computed, °C; `None` when nobody told it.
    pub winding_c: Option<f64>,
}

const WANTED: [(Name, Option<(Name, i32)>); 8] = [
    (Name::TerminalResistance, None),
    (Name::ArmatureInductance, None),
    (Name::InertiaCapacitance, Some((Name::RotorInertia, 2))),
    (
        Name::FrictionCurrent,
        Some((Name::CoulombFrictionTorque, 1)),
    ),
    (Name::ViscousConductance, Some((Name::ViscousFriction, 2))),
    (Name::BrushDrop, None),
    (Name::BackEmfConstant, None),
    (Name::Windage, None),
];

fn usable(file: &MotorFile, name: Name) -> bool {
    file.parameters.get(&name).is_some_and(|parameter| {
        parameter.status != Status::Undetermined && parameter.value.is_some()
    })
}

impl<'a> Motors<'a> {
    /// Finds out which values the file has.
    pub fn new(file: &'a MotorFile, order: &Order) -> Motors<'a> {
        let mut names = Vec::new();
        let mut place = |name: Name| {
            names
                .iter()
                .position(|known| *known == name)
                .unwrap_or_else(|| {
                    names.push(name);
                    names.len() - 1
                })
        };
        let anchored = usable(file, Name::BackEmfConstant);
        let sources = WANTED.map(|(name, mechanical)| {
            if usable(file, name) {
                return Source::Drawn(place(name));
            }
            match mechanical {
                Some((other, power)) if anchored && usable(file, other) => {
                    Source::Mechanical(place(other), power)
                }
                // Windage without a value is no part of the drawn model: the finer terms may still hold it.
                _ if name == Name::Windage => Source::Zero,
                Some((other, _))
                    if name.may_be_zero()
                        && !file.parameters.contains_key(&name)
                        && !file.parameters.contains_key(&other) =>
                {
                    Source::Zero
                }
                None if name.may_be_zero() && !file.parameters.contains_key(&name) => Source::Zero,
                Some((other, _)) if !file.parameters.contains_key(&name) => Source::Missing(other),
                _ => Source::Missing(name),
            }
        });
        let captures_c = file
            .parameters
            .get(&Name::TerminalResistance)
            .and_then(|parameter| parameter.temperature_c);
        let warmth = order.winding_temperature_c.map_or(1.0, |to_c| {
            copper_ratio(captures_c.unwrap_or(REFERENCE_C), to_c)
        });
        Motors {
            file,
            names,
            sources,
            warmth,
            winding_c: order.winding_temperature_c.or(captures_c),
        }
    }

    /// The motor of the estimates.
    pub fn estimate(&self, order: &Order) -> Sample {
        let values: Vec<f64> = self
            .names
            .iter()
            .map(|name| self.file.value(*name).unwrap_or(f64::NAN))
            .collect();
        self.sample(&values, order)
    }

    /// `count` motors drawn from the covariance; the same seed gives the same motors.
    ///
    /// # Errors
    /// [`DrawError`].
    pub fn draws(&self, order: &Order, count: usize, seed: u64) -> Result<Vec<Sample>, DrawError> {
        if self.names.is_empty() {
            return Ok(Vec::new());
        }
        let population = Population::new(self.file, &self.names)?;
        let mut random = StdRng::seed_from_u64(seed);
        (0..count)
            .map(|_| Ok(self.sample(&population.draw(&mut random)?, order)))
            .collect()
    }

    fn sample(&self, values: &[f64], order: &Order) -> Sample {
        let k = match self.sources[6] {
            Source::Drawn(place) => Ok(values[place]),
            _ => Err(Why::Undetermined(Name::BackEmfConstant)),
        };
        let value = |source: Source| -> Known {
            match source {
                Source::Drawn(place) => Ok(values[place]),
                Source::Mechanical(place, power) => Ok(values[place] / k?.powi(power)),
                Source::Zero => Ok(0.0),
                Source::Missing(name) => Err(Why::Undetermined(name)),
            }
        };
        let [r, l, c, friction, conductance, brush, _, windage] = self.sources.map(value);
        let load = match order.load {
            Load::None => Ok(0.0),
            Load::Current(current) => Ok(current),
            Load::Torque(torque) => k.map(|k| torque / k),
        };
        let added = match order.load_inertia_kg_m2 {
            None => Ok(0.0),
            Some(inertia) => k.map(|k| inertia / (k * k)),
        };
        let sum = |one: Known, other: Known| Ok(one? + other?);
        let terms: ModelTerms = self.file.model.unwrap_or_default();
        let number = |term: Option<Term>, absent: f64| term.map_or(absent, |term| term.value);
        let largest = self
            .file
            .validity
            .current_a
            .map_or(1.0, |range| range.lower.abs().max(range.upper.abs()));
        let windage = match (self.sources[7], k, windage) {
            (Source::Drawn(_), Ok(k), Ok(windage)) => windage / (k * k * k),
            _ => number(terms.windage_a_per_v2, 0.0),
        };
        Sample {
            resistance_ohm: r.map(|r| r * self.warmth),
            inductance_h: l,
            capacitance_f: sum(c, added),
            holding_a: sum(friction, load),
            conductance_s: conductance,
            windage_a_per_v2: windage,
            brush_drop_v: brush,
            back_emf_constant_v_s_per_rad: k,
            finer: TerminalParameters {
                brush_scale_a: number(
                    terms.brush_scale_a,
                    1e-3 * if largest > 0.0 { largest } else { 1.0 },
                ),
                saturation_per_a: number(terms.saturation_per_a, 0.0),
                armature_reaction_per_a: number(terms.armature_reaction_per_a, 0.0),
                eddy_share: number(terms.eddy_share, 0.0),
                eddy_resistance_ohm: number(terms.eddy_resistance_ohm, 1.0),
                ..TerminalParameters::plain(1.0, 1.0, 1.0, 0.0, 0.0)
            },
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A motor of plain constants, everything known.
    pub fn plain(p: TerminalParameters, k: f64) -> Sample {
        Sample {
            resistance_ohm: Ok(p.terminal_resistance_ohm),
            inductance_h: Ok(p.armature_inductance_h),
            capacitance_f: Ok(p.inertia_capacitance_f),
            holding_a: Ok(p.friction_current_a),
            conductance_s: Ok(p.viscous_conductance_s),
            windage_a_per_v2: p.windage_a_per_v2,
            brush_drop_v: Ok(p.brush_drop_v),
            back_emf_constant_v_s_per_rad: Ok(k),
            finer: p,
        }
    }
}
