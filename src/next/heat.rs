//! Which heat run to make: current, duration, and what the meters show when the winding is as warm as it may be.
//!
//! ```text
//! (R(T_s) I + V_b) I = (T_s − T_a)/R_th        I at which a held rotor ends at T_s, by the largest R_th that is to be expected
//! U_s = R(T_s) I + V_b                          voltage at which it is there, whatever R_th is
//! ```

use super::advice::series::{FUSES_A, at_least};
use super::assumptions::guess::{Basis, Guess};
use super::assumptions::size::Size;
use crate::motor::temperature::{REFERENCE_C, copper_ratio};
use crate::motor_file::{MotorFile, ParameterName, ThermalName};
use crate::quantity::rounding::significant;
use serde::Serialize;

/// Mean temperature of the winding that a heat run does not pass: the least thermal class, 105 °C (IEC 60085, from memory), less 25 K for hot
/// spots and for what is not known of the insulation (common practice, no source).
const SAFE_C: f64 = 80.0;
/// Rise of the winding below which the constants come out poorly (common practice, no source).
const LEAST_RISE_K: f64 = 20.0;
/// What a bare housing in still air gives off by convection and radiation, W/(m²·K) (common practice, no source).
const FILM: (f64, f64, f64) = (6.0, 10.0, 18.0);
/// Resistance from winding to housing over that from housing to air (common practice, no source).
const INSIDE_OVER_OUTSIDE: (f64, f64, f64) = (0.2, 0.6, 1.5);
/// Specific heat of iron, magnets and copper together, J/(kg·K) (iron 450, copper 385: CRC Handbook, from memory).
const SPECIFIC_HEAT: (f64, f64, f64) = (400.0, 450.0, 550.0);
/// Time constants after which 2 % are left.
const SETTLED: f64 = 4.0;
/// Readings until the housing has warmed to 2 %.
const READINGS: f64 = 1000.0;
/// Temperature of bare metal that burns at a touch of seconds (ISO 13732-1, from memory), °C.
const BURNS_C: f64 = 60.0;

/// A heat run, SI but for temperatures in °C.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatPlan {
    /// Name of the motor.
    pub motor: String,
    /// Whether the motor file has a thermal model already.
    pub known: bool,
    /// Temperature of the room that everything is computed for.
    pub room_c: f64,
    /// Mean temperature of the winding that is not passed.
    pub safe_winding_c: f64,
    /// Terminal resistance of a winding that warm.
    pub stop_resistance_ohm: f64,
    /// Contact drop of the brushes.
    pub brush_drop_v: f64,
    /// Winding to room; absent where neither a thermal model nor a size is known.
    pub thermal_resistance_k_per_w: Option<Guess>,
    /// The run; absent likewise.
    pub run: Option<HeatRun>,
    /// Dangers, with this motor's numbers.
    pub cautions: Vec<String>,
}

/// Current and time of a heat run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatRun {
    pub current_a: f64,
    /// Voltage at which it begins.
    pub cold_voltage_v: f64,
    /// Voltage at which the winding is as warm as it may be: the limit to set at the supply.
    pub stop_voltage_v: f64,
    /// Rise of the winding to expect, K.
    pub winding_rise_k: Guess,
    /// Time until the housing has settled, s.
    pub duration_s: Option<Guess>,
    /// Time between readings after the first ten minutes, s.
    pub log_every_s: f64,
    pub fuse_a: Option<f64>,
}

/// Why no heat run is proposed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a heat run needs the terminal resistance, which this motor file does not determine: make a start and a step onto the held rotor first (rundown next)"
)]
pub struct NoHeatPlan;

/// From the thermal model, with its interval.
fn measured(file: &MotorFile, name: ThermalName) -> Option<Guess> {
    let parameter = file.thermal.as_ref()?.parameters.get(&name)?;
    Some(Guess {
        value: parameter.value?,
        low: parameter.lower?,
        high: parameter.upper?,
        basis: Basis::Measured,
    })
}

/// Winding to room by the surface of the housing.
fn by_size(size: &Size) -> Option<Guess> {
    let outside = Guess::given(1.0).over(size.surface_m2()?.product(Guess::range(FILM)));
    let (low, value, high) = INSIDE_OVER_OUTSIDE;
    Some(outside.product(Guess::range((1.0 + low, 1.0 + value, 1.0 + high))))
}

/// The heat run for a motor.
///
/// # Errors
/// [`NoHeatPlan`] where the terminal resistance is not known.
pub fn heat_plan(file: &MotorFile, size: &Size, room_c: f64) -> Result<HeatPlan, NoHeatPlan> {
    let value = |name| file.parameters.get(&name).and_then(|p| p.value);
    let cold = file.parameters.get(&ParameterName::TerminalResistance);
    let (cold_ohm, from_c) = cold
        .and_then(|p| Some((p.value?, p.temperature_c.unwrap_or(REFERENCE_C))))
        .ok_or(NoHeatPlan)?;
    let at_room_ohm = cold_ohm * copper_ratio(from_c, room_c);
    let stop_ohm = cold_ohm * copper_ratio(from_c, SAFE_C);
    let drop_v = value(ParameterName::BrushDrop).unwrap_or(0.0);
    let total = measured(file, ThermalName::WindingToAmbientResistance).or_else(|| by_size(size));
    let current_of = |heat_w: f64| {
        let half = 0.5 * drop_v / stop_ohm;
        (half * half + heat_w / stop_ohm).sqrt() - half
    };
    let time_constant = measured(file, ThermalName::HousingTimeConstant).or_else(|| {
        let (outside, mass) = (by_size(size)?, size.mass_kg()?);
        Some(outside.product(mass).product(Guess::range(SPECIFIC_HEAT)))
    });
    let run = total.map(|total| {
        let heat_w = (SAFE_C - room_c) / total.high;
        let exact_a = current_of(heat_w);
        // Down to two digits, so that it stays below.
        let step = 10f64.powf(exact_a.log10().floor() - 1.0);
        let current_a = significant((exact_a / step).floor() * step, 2);
        let duration_s = time_constant.map(|tau| tau.times(SETTLED));
        HeatRun {
            current_a,
            cold_voltage_v: at_room_ohm * current_a + drop_v,
            stop_voltage_v: stop_ohm * current_a + drop_v,
            winding_rise_k: total.times(heat_w * (current_a / exact_a).powi(2)),
            duration_s,
            log_every_s: duration_s.map_or(30.0, |time| {
                significant((time.value / READINGS).clamp(1.0, 60.0), 1)
            }),
            fuse_a: at_least(&FUSES_A, 1.25 * current_a),
        }
    });
    let mut plan = HeatPlan {
        motor: file.motor_name().to_owned(),
        known: total.is_some_and(|total| total.basis == Basis::Measured),
        room_c,
        safe_winding_c: SAFE_C,
        stop_resistance_ohm: stop_ohm,
        brush_drop_v: drop_v,
        thermal_resistance_k_per_w: total,
        run,
        cautions: Vec::new(),
    };
    plan.cautions = cautions(&plan);
    Ok(plan)
}

fn cautions(plan: &HeatPlan) -> Vec<String> {
    let mut list = vec![
        "never leave a heat run alone: an enamel that fails smokes and burns; stop at the first smell".to_owned(),
        format!(
            "end the run when voltage less {:.2} V, over current, reads {:.3} Ω: the winding is then at {} °C, whatever the clock says",
            plan.brush_drop_v, plan.stop_resistance_ohm, plan.safe_winding_c
        ),
        format!(
            "the housing may pass {BURNS_C} °C, which burns fingers; let it cool before you touch it, and keep it off what melts"
        ),
        "the rotor is held by a clamp: a grip that slips lets it spin up; guard the shaft, wear eye protection".to_owned(),
    ];
    if let Some(run) = &plan.run
        && run.winding_rise_k.value < LEAST_RISE_K
    {
        list.push(format!(
            "the winding is expected to warm by {:.0} K only, which leaves wide bounds: raise the current in steps of a tenth while the voltage stays below the limit",
            run.winding_rise_k.value
        ));
    }
    list
}
