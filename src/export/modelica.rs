//! Record for `Modelica.Electrical.Machines.BasicMachines.DCMachines.DC_PermanentMagnet`.
//!
//! The record `DcPermanentMagnetData` has no torque constant: it takes K = ViNominal/wNominal with
//! ViNominal = VaNominal − Ra·IaNominal − brush drop. The nominal point written here is no load at the supply, where that
//! holds with K exactly. Its friction is one power of speed; the exponent is the slope of this motor's drag torque at
//! no-load speed, so torque and slope are right there. An exponent of 0 (pure Coulomb friction) is not allowed by
//! the library, so 0.001 is the least.

use super::{ExportError, Instance};
use crate::motor::TerminalParameters;
use crate::motor::temperature::copper_coefficient_per_k;
use crate::motor_file::ParameterName;
use std::fmt::Write;

const LEAST_EXPONENT: f64 = 1e-3;
const KELVIN: f64 = 273.15;
/// Temperature for a file that tells none, °C; with equal reference and operating temperature it changes nothing.
const UNKNOWN_C: f64 = 20.0;

/// The record as Modelica text, ASCII.
///
/// # Errors
/// [`ExportError::NoSupply`], [`ExportError::WouldNotTurn`].
pub fn record(motor: &Instance<'_>, supply_v: Option<f64>) -> Result<String, ExportError> {
    let supply_v = motor.supply_v(supply_v, "the Modelica record")?;
    let (t, m) = (&motor.terminal, &motor.mechanical);
    let k = m.back_emf_constant_v_s_per_rad;
    // The library's machine knows no armature reaction, and its brush drop is whole at this current.
    let machine = TerminalParameters {
        armature_reaction_per_a: 0.0,
        ..t.with_whole_drop()
    };
    let idle = machine
        .no_load(supply_v)
        .ok_or(ExportError::WouldNotTurn { supply_v })?;
    let w = idle.speed_rad_s(k);
    let drag = k * idle.current_a;
    let slope = m.viscous_friction_nm_s_per_rad + 2.0 * m.windage_nm_s2_per_rad2 * w;
    let exponent = (slope * w / drag).max(LEAST_EXPONENT);
    let exponent = if exponent.is_finite() { exponent } else { 1.0 };
    let told_c = motor
        .file
        .parameters
        .get(&ParameterName::TerminalResistance)
        .and_then(|parameter| parameter.temperature_c);
    let reference_c = told_c.unwrap_or(UNKNOWN_C);
    let reference_k = reference_c + KELVIN;
    // Linear below this current; the nominal current lies above it, so the drop there is the whole one.
    let linear_a = t.brush_scale_a.min(0.99 * idle.current_a);
    let mut name = motor.identifier();
    name[..1].make_ascii_uppercase();
    let mut text = String::new();
    for line in motor.head() {
        let _ = writeln!(text, "// {line}");
    }
    if told_c.is_none() {
        let _ = writeln!(
            text,
            "// The winding's temperature is not known; TaRef is set to {UNKNOWN_C} degC."
        );
    }
    for left_out in motor.finer_terms() {
        let _ = writeln!(text, "// Left out: {left_out}.");
    }
    text.push_str("// K = ViNominal/wNominal; the nominal point is no load at the supply. Friction is exact there and approximate elsewhere.\n");
    let _ = write!(
        text,
        "record {name} \"Permanent-magnet DC motor identified from captures\"\n\
         \x20 extends Modelica.Electrical.Machines.Utilities.ParameterRecords.DcPermanentMagnetData(\n\
         \x20   Jr={jr:e},\n\
         \x20   Js={jr:e},\n\
         \x20   VaNominal={supply_v:e},\n\
         \x20   IaNominal={current:e},\n\
         \x20   wNominal={w:e},\n\
         \x20   TaNominal={reference_k:e},\n\
         \x20   Ra={r:e},\n\
         \x20   TaRef={reference_k:e},\n\
         \x20   alpha20a={alpha:e},\n\
         \x20   La={l:e},\n\
         \x20   frictionParameters(PRef={power:e}, wRef={w:e}, power_w={exponent:e}),\n\
         \x20   brushParameters(V={drop:e}, ILinear={linear_a:e}));\n\
         end {name};\n",
        jr = m.rotor_inertia_kg_m2,
        current = idle.current_a,
        r = t.terminal_resistance_ohm,
        alpha = copper_coefficient_per_k(20.0),
        l = t.armature_inductance_h,
        power = drag * w,
        drop = t.brush_drop_v,
    );
    Ok(text)
}
