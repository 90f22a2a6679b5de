//! Each entry of a sheet as the motor file predicts it at the sheet's conditions, with full covariance.
//!
//! Inputs are the eight parameters of the model with their joint covariance, and three more of their own: the
//! temperatures of winding and magnets when the captures were taken, and the temperature coefficients with which R and
//! K are brought to the sheet's reference temperature. Propagation is first order (JCGM 100:2008, 5.2.2) and is
//! checked by Monte Carlo (JCGM 101:2008, clause 8); where the two disagree the drawn distribution is used.
//!
//! Without a speed anchor K, J, T_c and B are undetermined, yet currents, powers, the efficiency and the time constants
//! depend on them only through J/K², T_c/K and B/K². Those entries are predicted with K = 1 V·s/rad and the
//! terminal-domain parameters in their place, which is exact.

use super::conformity::{Knowledge, Limits, conformance_probability};
use super::entry::Entry;
use super::operating::Constants;
use super::sheet::{Sheet, Stall};
use crate::bench::MagnetKind;
use crate::motor::temperature::{REFERENCE_C, copper_ratio};
use crate::motor_file::draw::{DrawError, Population, covariance, needed};
use crate::motor_file::{MotorFile, Parameter, ParameterName};
use rand::SeedableRng;
use rand::rngs::StdRng;
use rand_distr::{Distribution, StandardNormal};

/// Motors drawn for the Monte Carlo check. A conformance probability near 0.95 is then known to 0.003.
pub const DRAWS: usize = 4000;

/// The first-order result stands when its standard uncertainty is within this share of the drawn one, and its estimate
/// within this share of the uncertainty.
const FIRST_ORDER_SLACK: f64 = 0.1;

/// Relative standard uncertainty of copper's temperature coefficient: the published constants 234.5 and 235 °C, and
/// 0.00392 to 0.00393 /K, differ by 0.2 to 0.3 %.
const COPPER_COEFFICIENT_UNCERTAINTY: f64 = 0.003;

/// Half-width of what a winding's temperature may have been when nobody told it, around 25 °C, K (rectangular).
const UNKNOWN_TEMPERATURE_HALF_WIDTH_K: f64 = 15.0;

/// How the uncertainty was propagated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    FirstOrder,
    MonteCarlo,
}

/// One predicted entry, SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    pub knowledge: Knowledge,
    pub method: Method,
    /// Drawn values in rising order.
    drawn: Vec<f64>,
}

impl Prediction {
    /// Probability that the entry lies within `limits`.
    pub fn conformance_probability(&self, limits: Limits) -> f64 {
        match self.method {
            Method::FirstOrder => conformance_probability(self.knowledge, limits),
            Method::MonteCarlo => {
                let inside = self
                    .drawn
                    .iter()
                    .filter(|value| limits.contain(**value))
                    .count();
                inside as f64 / self.drawn.len() as f64
            }
        }
    }
}

/// Why an entry cannot be predicted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotPredict {
    #[error(transparent)]
    Draw(#[from] DrawError),
    #[error("the motor of this file would not turn at the nominal voltage under that load")]
    HeldByFriction,
    #[error(
        "{share:.1} % of the motors that this file allows would not turn at the nominal voltage under that load"
    )]
    OftenHeldByFriction { share: f64 },
}

/// Predicts entries of one sheet from one motor file.
pub struct Predictor<'a> {
    file: &'a MotorFile,
    sheet: &'a Sheet,
    winding: Warmth,
    magnets: Warmth,
    seed: u64,
    notes: Vec<String>,
}

/// Which parameters stand for the eight constants.
const MECHANICAL: [ParameterName; 8] = [
    ParameterName::TerminalResistance,
    ParameterName::ArmatureInductance,
    ParameterName::BackEmfConstant,
    ParameterName::CoulombFrictionTorque,
    ParameterName::ViscousFriction,
    ParameterName::Windage,
    ParameterName::RotorInertia,
    ParameterName::BrushDrop,
];

/// How a parameter moves from the temperature of the captures to another.
#[derive(Clone, Copy, Debug)]
struct Warmth {
    captures_c: f64,
    /// Standard uncertainty of `captures_c`, K.
    captures_uncertainty_k: f64,
    kind: Coefficient,
    /// Standard uncertainty of the coefficient, relative for copper, 1/K for magnets.
    coefficient_uncertainty: f64,
}

#[derive(Clone, Copy, Debug)]
enum Coefficient {
    Copper,
    /// Relative change per kelvin.
    Linear(f64),
}

impl Warmth {
    /// Factor to `to_c`; `warmer` and `steeper` in standard deviations of temperature and coefficient.
    fn factor(&self, to_c: f64, warmer: f64, steeper: f64) -> f64 {
        let from_c = self.captures_c + warmer * self.captures_uncertainty_k;
        let change = steeper * self.coefficient_uncertainty;
        match self.kind {
            Coefficient::Copper => 1.0 + (copper_ratio(from_c, to_c) - 1.0) * (1.0 + change),
            Coefficient::Linear(coefficient) => {
                let at = |t: f64| 1.0 + (coefficient + change) * (t - REFERENCE_C);
                at(to_c) / at(from_c)
            }
        }
    }
}

/// Relative change of flux per kelvin and its standard uncertainty.
///
/// Modelica Standard Library, FluxTubes.Material.HardMagnetic (ferrite −0.002, NdFeB −0.001, SmCo −0.0003 to −0.0004 /K);
/// makers' range of NdFeB −0.0009 to −0.0012 /K; the other spreads are common practice, no source. An unknown magnet
/// may be any of them: rectangular from −0.002 to 0.
fn magnet_coefficient(magnets: Option<MagnetKind>) -> (f64, f64) {
    match magnets {
        Some(MagnetKind::Ferrite) => (-0.002, 0.000_2),
        Some(MagnetKind::Neodymium) => (-0.001, 0.000_1),
        Some(MagnetKind::SamariumCobalt) => (-0.000_35, 0.000_05),
        None => (-0.001, 0.001 / f64::sqrt(3.0)),
    }
}

impl<'a> Predictor<'a> {
    /// `seed` makes the drawn motors repeat.
    pub fn new(file: &'a MotorFile, sheet: &'a Sheet, seed: u64) -> Predictor<'a> {
        let mut notes = Vec::new();
        let (coefficient, spread) =
            magnet_coefficient(file.motor.as_ref().and_then(|motor| motor.magnets));
        let winding = warmth(
            file.parameters.get(&ParameterName::TerminalResistance),
            Coefficient::Copper,
            COPPER_COEFFICIENT_UNCERTAINTY,
        );
        let magnets = warmth(
            file.parameters.get(&ParameterName::BackEmfConstant),
            Coefficient::Linear(coefficient),
            spread,
        );
        if winding.is_none() {
            notes.push(format!(
                "the motor file does not tell the winding's temperature: taken as 25 °C ± {UNKNOWN_TEMPERATURE_HALF_WIDTH_K} °C, which alone leaves {:.1} % in the resistance; state it in the bench sheet",
                100.0 * UNKNOWN_TEMPERATURE_HALF_WIDTH_K / 3f64.sqrt() * 0.003_85
            ));
        }
        let unknown = |kind, coefficient_uncertainty| Warmth {
            captures_c: REFERENCE_C,
            captures_uncertainty_k: UNKNOWN_TEMPERATURE_HALF_WIDTH_K / f64::sqrt(3.0),
            kind,
            coefficient_uncertainty,
        };
        if file
            .fit
            .terms
            .iter()
            .any(|term| term.term == "windage" && term.kept)
            && file.value(ParameterName::Windage).is_none()
        {
            notes.push("windage is left out: without a speed anchor it has no value".to_owned());
        }
        Predictor {
            file,
            sheet,
            winding: winding
                .unwrap_or(unknown(Coefficient::Copper, COPPER_COEFFICIENT_UNCERTAINTY)),
            magnets: magnets.unwrap_or(unknown(Coefficient::Linear(coefficient), spread)),
            seed,
            notes,
        }
    }

    /// What was taken for granted.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// Predicts one entry.
    ///
    /// # Errors
    /// [`CannotPredict`].
    pub fn predict(&self, entry: Entry) -> Result<Prediction, CannotPredict> {
        let names = self.names(entry)?;
        let own = names.len();
        let mut middle: Vec<f64> = Vec::with_capacity(own + 4);
        for name in &names {
            middle.push(needed(self.file, *name)?);
        }
        middle.extend([0.0; 4]);
        let value = |inputs: &[f64]| self.entry(entry, &names, inputs);
        let estimate = value(&middle).ok_or(CannotPredict::HeldByFriction)?;

        // First order: slopes by central differences over a tenth of each standard uncertainty.
        let covariance = covariance(self.file, &names);
        let mut slopes = vec![0.0; own + 4];
        for (input, slope) in slopes.iter_mut().enumerate() {
            let uncertainty = if input < own {
                covariance[(input, input)].sqrt()
            } else {
                1.0
            };
            let step = 0.1 * uncertainty;
            if step == 0.0 {
                continue;
            }
            let side = |sign: f64| {
                let mut moved = middle.clone();
                moved[input] += sign * step;
                value(&moved)
            };
            *slope = match (side(1.0), side(-1.0)) {
                (Some(above), Some(below)) => (above - below) / (2.0 * step),
                (Some(above), None) => (above - estimate) / step,
                (None, Some(below)) => (estimate - below) / step,
                (None, None) => 0.0,
            };
        }
        let mut variance: f64 = slopes[own..].iter().map(|slope| slope * slope).sum();
        for row in 0..own {
            for column in 0..own {
                variance += slopes[row] * covariance[(row, column)] * slopes[column];
            }
        }
        let first_order = Knowledge {
            estimate,
            standard_uncertainty: variance.max(0.0).sqrt(),
        };

        let population = Population::new(self.file, &names)?;
        let mut random = StdRng::seed_from_u64(self.seed);
        let mut drawn = Vec::with_capacity(DRAWS);
        for _ in 0..DRAWS {
            let mut inputs = population.draw(&mut random)?;
            inputs.extend((0..4).map(|_| -> f64 { StandardNormal.sample(&mut random) }));
            drawn.extend(value(&inputs));
        }
        let held = 1.0 - drawn.len() as f64 / DRAWS as f64;
        if held > 0.01 {
            return Err(CannotPredict::OftenHeldByFriction {
                share: 100.0 * held,
            });
        }
        drawn.sort_by(f64::total_cmp);
        let count = drawn.len() as f64;
        let mean = drawn.iter().sum::<f64>() / count;
        let spread = (drawn
            .iter()
            .map(|value| (value - mean).powi(2))
            .sum::<f64>()
            / (count - 1.0))
            .sqrt();
        let alike = (first_order.standard_uncertainty - spread).abs() <= FIRST_ORDER_SLACK * spread
            && (estimate - mean).abs() <= FIRST_ORDER_SLACK * spread;
        // Without any spread both are exact.
        let (knowledge, method) = if alike || spread <= 1e-12 * estimate.abs() {
            (first_order, Method::FirstOrder)
        } else {
            let knowledge = Knowledge {
                estimate: mean,
                standard_uncertainty: spread,
            };
            (knowledge, Method::MonteCarlo)
        };
        Ok(Prediction {
            knowledge,
            method,
            drawn,
        })
    }

    /// The parameters that an entry depends on, in the domain that has them.
    fn names(&self, entry: Entry) -> Result<Vec<ParameterName>, CannotPredict> {
        let wanted: Vec<ParameterName> = depends_on(entry).iter().map(|k| MECHANICAL[*k]).collect();
        let anchored = self.file.value(ParameterName::BackEmfConstant).is_some();
        if anchored || !wanted.contains(&ParameterName::BackEmfConstant) || !terminal_entry(entry) {
            return Ok(wanted);
        }
        Ok(wanted
            .into_iter()
            .filter_map(|name| match name {
                ParameterName::BackEmfConstant | ParameterName::Windage => None,
                ParameterName::CoulombFrictionTorque => Some(ParameterName::FrictionCurrent),
                ParameterName::ViscousFriction => Some(ParameterName::ViscousConductance),
                ParameterName::RotorInertia => Some(ParameterName::InertiaCapacitance),
                other => Some(other),
            })
            .collect())
    }

    /// Value of an entry for given inputs: the parameters `names`, then four standard normal ones.
    fn entry(&self, entry: Entry, names: &[ParameterName], inputs: &[f64]) -> Option<f64> {
        let own = names.len();
        let pick = |one: ParameterName, other: ParameterName, absent: f64| {
            let place = names.iter().position(|name| *name == one || *name == other);
            place.map_or(absent, |place| inputs[place])
        };
        use ParameterName as Name;
        let to_c = match (entry, self.sheet.stall) {
            (
                Entry::StallCurrent | Entry::StallTorque,
                Stall::Measured {
                    winding_temperature_c,
                },
            ) => winding_temperature_c,
            _ => self.sheet.reference_temperature_c,
        };
        // The magnets follow the room, not the seconds of a stall.
        let winding = self.winding.factor(to_c, inputs[own], inputs[own + 1]);
        let magnets = self.magnets.factor(
            self.sheet.reference_temperature_c,
            inputs[own + 2],
            inputs[own + 3],
        );
        let single = |name| pick(name, name, 0.0);
        let c = Constants {
            terminal_resistance_ohm: winding * single(Name::TerminalResistance),
            armature_inductance_h: single(Name::ArmatureInductance),
            back_emf_constant_v_s_per_rad: magnets
                * pick(Name::BackEmfConstant, Name::BackEmfConstant, 1.0),
            coulomb_friction_nm: pick(Name::CoulombFrictionTorque, Name::FrictionCurrent, 0.0),
            viscous_friction_nm_s_per_rad: pick(
                Name::ViscousFriction,
                Name::ViscousConductance,
                0.0,
            ),
            windage_nm_s2_per_rad2: single(Name::Windage),
            rotor_inertia_kg_m2: pick(Name::RotorInertia, Name::InertiaCapacitance, 0.0),
            brush_drop_v: single(Name::BrushDrop),
        };
        let voltage = self.sheet.nominal_voltage_v.unwrap_or(0.0);
        let load = self.sheet.rated_torque_nm.unwrap_or(0.0);
        let k = c.back_emf_constant_v_s_per_rad;
        let r = c.terminal_resistance_ohm;
        let value = match entry {
            Entry::TerminalResistance => r,
            Entry::ArmatureInductance => c.armature_inductance_h,
            Entry::TorqueConstant | Entry::BackEmfConstant | Entry::SpeedConstant => k,
            Entry::RotorInertia => c.rotor_inertia_kg_m2,
            Entry::FrictionTorque => c.coulomb_friction_nm,
            Entry::NoLoadSpeed => c.at_load(voltage, 0.0)?.speed_rad_s,
            Entry::NoLoadCurrent => c.at_load(voltage, 0.0)?.current_a,
            Entry::RatedSpeed => c.at_load(voltage, load)?.speed_rad_s,
            Entry::RatedCurrent => c.at_load(voltage, load)?.current_a,
            Entry::StallCurrent => c.stall(voltage).current_a,
            Entry::StallTorque => match self.sheet.stall {
                Stall::Extrapolated => c.stall_extrapolated(voltage)?.torque_nm,
                Stall::Measured { .. } => c.stall(voltage).torque_nm,
            },
            Entry::ElectricalTimeConstant => c.armature_inductance_h / r,
            Entry::MechanicalTimeConstant => c.rotor_inertia_kg_m2 * r / (k * k),
            Entry::MaximumEfficiency => c.maximum_efficiency(voltage)?,
            Entry::MaximumPower => c.maximum_power_w(voltage)?,
        };
        Some(value)
    }
}

/// Places in [`MECHANICAL`].
fn depends_on(entry: Entry) -> &'static [usize] {
    match entry {
        Entry::TerminalResistance => &[0],
        Entry::ArmatureInductance => &[1],
        Entry::TorqueConstant | Entry::BackEmfConstant | Entry::SpeedConstant => &[2],
        Entry::RotorInertia => &[6],
        Entry::FrictionTorque => &[3],
        Entry::StallCurrent => &[0, 7],
        Entry::ElectricalTimeConstant => &[0, 1],
        Entry::MechanicalTimeConstant => &[0, 2, 6],
        Entry::NoLoadSpeed
        | Entry::NoLoadCurrent
        | Entry::RatedSpeed
        | Entry::RatedCurrent
        | Entry::StallTorque
        | Entry::MaximumEfficiency
        | Entry::MaximumPower => &[0, 2, 3, 4, 5, 7],
    }
}

/// True for what the terminals fix without any speed.
fn terminal_entry(entry: Entry) -> bool {
    matches!(
        entry,
        Entry::NoLoadCurrent
            | Entry::MechanicalTimeConstant
            | Entry::MaximumEfficiency
            | Entry::MaximumPower
    )
}

/// From what the file tells of a parameter's temperature; `None` when it tells nothing.
fn warmth(
    parameter: Option<&Parameter>,
    kind: Coefficient,
    coefficient_uncertainty: f64,
) -> Option<Warmth> {
    let parameter = parameter?;
    let captures_c = parameter.temperature_c?;
    // The value at 25 °C carries the uncertainty of the temperature, the value itself does not: the difference of the
    // two relative variances is the temperature's share.
    let extra = match (
        &parameter.at_25_c,
        parameter.value,
        parameter.standard_uncertainty,
    ) {
        (Some(at), Some(value), Some(uncertainty)) if value > 0.0 && at.value > 0.0 => {
            let wide = at.standard_uncertainty / at.value;
            let narrow = uncertainty / value;
            (wide * wide - narrow * narrow).max(0.0).sqrt()
        }
        _ => 0.0,
    };
    let per_kelvin = match kind {
        Coefficient::Copper => crate::motor::temperature::copper_coefficient_per_k(captures_c),
        Coefficient::Linear(coefficient) => coefficient.abs(),
    };
    Some(Warmth {
        captures_c,
        captures_uncertainty_k: if per_kelvin > 0.0 {
            extra / per_kelvin
        } else {
            0.0
        },
        kind,
        coefficient_uncertainty,
    })
}
