//! From the temperatures of the captures to those of the sheet: the factors of R and K and what is not known of them.

use crate::bench::{BrushKind, MagnetKind};
use crate::motor::TerminalParameters;
use crate::motor::temperature::{
    REFERENCE_C, copper_coefficient_per_k, copper_ratio, winding_ratio,
};
use crate::motor_file::{MotorFile, Parameter, ParameterName};

/// Relative standard uncertainty of copper's temperature coefficient: the published constants 234.5 and 235 °C, and
/// 0.00392 to 0.00393 /K, differ by 0.2 to 0.3 %.
const COPPER_COEFFICIENT_UNCERTAINTY: f64 = 0.003;

/// Half-width of what a winding's temperature may have been where it is not stated, around 25 °C, K (rectangular).
const UNKNOWN_TEMPERATURE_HALF_WIDTH_K: f64 = 15.0;

/// Relative standard uncertainty of the friction per kelvin between captures and sheet, 1/K: grease and oil thin by some per cent a kelvin,
/// brushes hardly change (common practice, no source).
const FRICTION_UNCERTAINTY_PER_K: f64 = 0.005;

/// How many conditions are not known.
pub const CONDITIONS: usize = 6;

/// Standard deviations of what is not known of the temperatures: the winding's when the captures were taken, copper's coefficient,
/// the magnets' temperature, their coefficient, the share of R that is not copper, the friction's change.
pub type Deviations = [f64; CONDITIONS];

/// All factors.
#[derive(Clone, Copy, Debug)]
pub struct Conditions {
    winding: Warmth,
    magnets: Warmth,
    /// Standard uncertainty of the share of R that is not copper.
    other_share: f64,
    /// True where the winding's temperature is not stated.
    pub assumed: bool,
}

impl Conditions {
    /// The temperatures that the file states.
    pub fn new(file: &MotorFile) -> Conditions {
        let (coefficient, spread) =
            magnet_coefficient(file.motor.as_ref().and_then(|motor| motor.magnets));
        let brushes = file.motor.as_ref().and_then(|motor| motor.brushes);
        let other_share = BrushKind::other_share(brushes);
        let stated = |name, kind, coefficient_uncertainty| {
            let parameter = file.parameters.get(&name);
            warmth(parameter, kind, coefficient_uncertainty, other_share)
        };
        let unknown = |kind, coefficient_uncertainty| Warmth {
            captures_c: REFERENCE_C,
            captures_uncertainty_k: UNKNOWN_TEMPERATURE_HALF_WIDTH_K / f64::sqrt(3.0),
            kind,
            coefficient_uncertainty,
        };
        let winding = stated(
            ParameterName::TerminalResistance,
            Coefficient::Copper,
            COPPER_COEFFICIENT_UNCERTAINTY,
        );
        let linear = Coefficient::Linear(coefficient);
        Conditions {
            winding: winding
                .unwrap_or(unknown(Coefficient::Copper, COPPER_COEFFICIENT_UNCERTAINTY)),
            magnets: stated(ParameterName::BackEmfConstant, linear, spread)
                .unwrap_or(unknown(linear, spread)),
            other_share,
            assumed: winding.is_none(),
        }
    }

    /// What is assumed where the winding's temperature is not stated.
    pub fn note(&self) -> Option<String> {
        self.assumed.then(|| format!(
            "the motor file does not contain the winding's temperature: assumed 25 °C ± {UNKNOWN_TEMPERATURE_HALF_WIDTH_K} °C, which alone leaves {:.1} % in the resistance; state it in the bench sheet",
            100.0 * UNKNOWN_TEMPERATURE_HALF_WIDTH_K / 3f64.sqrt() * 0.003_85
        ))
    }

    /// The factors to these temperatures. The magnets follow the room, not the seconds of a stall.
    pub fn factors(&self, winding_c: f64, magnets_c: f64, deviations: &Deviations) -> Factors {
        let [winding, copper, magnets, flux, other, friction] = *deviations;
        let copper_factor = self.winding.factor(winding_c, winding, copper);
        let warmer_k = magnets_c - self.magnets.captures_c;
        Factors {
            resistance: 1.0 + (copper_factor - 1.0) * (1.0 - other * self.other_share),
            constant: self.magnets.factor(magnets_c, magnets, flux),
            friction: (friction * FRICTION_UNCERTAINTY_PER_K * warmer_k).exp(),
        }
    }
}

/// Factors of R, of K and of the friction torque; windage and the inertia keep their values.
#[derive(Clone, Copy, Debug)]
pub struct Factors {
    pub resistance: f64,
    pub constant: f64,
    pub friction: f64,
}

impl Factors {
    /// A motor at the other temperature. What is a torque or an inertia over a power of K moves with it.
    pub fn applied(&self, motor: TerminalParameters) -> TerminalParameters {
        let (k, friction) = (self.constant, self.friction);
        TerminalParameters {
            terminal_resistance_ohm: motor.terminal_resistance_ohm * self.resistance,
            inertia_capacitance_f: motor.inertia_capacitance_f / (k * k),
            friction_current_a: motor.friction_current_a * friction / k,
            viscous_conductance_s: motor.viscous_conductance_s * friction / (k * k),
            windage_a_per_v2: motor.windage_a_per_v2 / (k * k * k),
            ..motor
        }
    }
}

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
            Coefficient::Copper => winding_ratio(from_c, to_c, -change),
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

/// From what the file tells of a parameter's temperature; `None` when it tells nothing.
fn warmth(
    parameter: Option<&Parameter>,
    kind: Coefficient,
    coefficient_uncertainty: f64,
    other_share: f64,
) -> Option<Warmth> {
    let parameter = parameter?;
    let captures_c = parameter.temperature_c?;
    // The value at 25 °C carries the uncertainty of the temperature and of the share that is not copper, the value itself does not: the
    // difference of the two relative variances, less the latter, is the temperature's share.
    let not_copper = match kind {
        Coefficient::Copper => (copper_ratio(captures_c, REFERENCE_C) - 1.0) * other_share,
        Coefficient::Linear(_) => 0.0,
    };
    let extra = match (
        &parameter.at_25_c,
        parameter.value,
        parameter.standard_uncertainty,
    ) {
        (Some(at), Some(value), Some(uncertainty)) if value > 0.0 && at.value > 0.0 => {
            let wide = at.standard_uncertainty / at.value;
            let narrow = uncertainty / value;
            (wide * wide - narrow * narrow - not_copper * not_copper)
                .max(0.0)
                .sqrt()
        }
        _ => 0.0,
    };
    let per_kelvin = match kind {
        Coefficient::Copper => copper_coefficient_per_k(captures_c),
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
