//! C header for firmware: constants in SI units with their uncertainties, and fixed-point helpers with stated scale.
//!
//! A fixed-point constant is round(value·2^shift) with the largest shift that keeps it below 2^30; its relative error is
//! at most 2^-30. Helpers multiply in 64 bits and round to nearest, halves away from zero.

use super::instance::MODEL;
use super::{ExportError, Instance};
use std::fmt::Write;

/// The header, C99, ASCII.
///
/// # Errors
/// [`ExportError::DoesNotFit`] for constants of no small motor.
pub fn header(motor: &Instance<'_>) -> Result<String, ExportError> {
    let name = motor.identifier();
    let upper = name.to_ascii_uppercase();
    let m = &motor.mechanical;
    let mut text = String::from("/*\n");
    for line in motor.head() {
        let _ = writeln!(text, " * {line}");
    }
    for left_out in motor.finer_terms() {
        let _ = writeln!(text, " * Left out: {left_out}.");
    }
    let _ = write!(
        text,
        " */\n#ifndef {upper}_H\n#define {upper}_H\n\n#include <stdint.h>\n\n/* SI units; _U is the standard uncertainty. */\n"
    );
    for parameter in MODEL {
        let key = parameter.key().to_ascii_uppercase();
        let unit = parameter.ucum();
        let _ = writeln!(
            text,
            "#define {upper}_{key} {:e} /* {unit} */",
            motor.value(parameter)
        );
        let known = motor.file.parameters.get(&parameter);
        if let Some(u) = known.and_then(|known| known.standard_uncertainty) {
            let _ = writeln!(text, "#define {upper}_{key}_U {u:e}");
        }
        if let Some(temperature_c) = known.and_then(|known| known.temperature_c) {
            let _ = writeln!(text, "#define {upper}_{key}_AT_DEGC {temperature_c:e}");
        }
    }
    text.push_str("\n/* Fixed point: value = constant / 2^shift. */\n");
    let k = m.back_emf_constant_v_s_per_rad;
    for (what, words, value) in [
        (
            "MV_PER_MA",
            "terminal resistance, mV per mA",
            motor.terminal.terminal_resistance_ohm,
        ),
        ("UNM_PER_MA", "torque constant, uN.m per mA", k * 1e3),
        (
            "MRAD_S_PER_MV",
            "speed per back-EMF, mrad/s per mV",
            1.0 / k,
        ),
        ("MA_PER_UNM", "current per torque, mA per uN.m", 1e-3 / k),
    ] {
        let (constant, shift) = fixed(what, value)?;
        let _ = write!(
            text,
            "#define {upper}_{what} INT32_C({constant}) /* {words}: {value:e} */\n#define {upper}_{what}_SHIFT {shift}\n"
        );
    }
    let drop_mv = integer("brush drop in mV", motor.terminal.brush_drop_v * 1e3)?;
    let friction_unm = integer("Coulomb friction in uN.m", m.coulomb_friction_nm * 1e6)?;
    let _ = write!(
        text,
        "#define {upper}_BRUSH_DROP_MV INT32_C({drop_mv})\n#define {upper}_FRICTION_UNM INT32_C({friction_unm})\n"
    );
    text.push_str(&HELPERS.replace("NAME", &upper).replace("name", &name));
    Ok(text)
}

const HELPERS: &str = r#"
/* x * constant / 2^shift, rounded to nearest, halves away from zero; the caller keeps the result within 32 bits. */
static inline int32_t name_scale(int32_t x, int32_t constant, unsigned shift)
{
    int64_t product = (int64_t)x * constant;
    int64_t half = shift > 0u ? (int64_t)1 << (shift - 1u) : 0;
    return (int32_t)(product < 0 ? -((half - product) >> shift) : (product + half) >> shift);
}

/* Back-EMF in mV from terminal voltage in mV and current in mA, inductance left out (steady or averaged current). */
static inline int32_t name_back_emf_mv(int32_t terminal_mv, int32_t current_ma)
{
    int32_t drop = current_ma > 0 ? NAME_BRUSH_DROP_MV : current_ma < 0 ? -NAME_BRUSH_DROP_MV : 0;
    return terminal_mv - name_scale(current_ma, NAME_MV_PER_MA, NAME_MV_PER_MA_SHIFT) - drop;
}

/* Speed in mrad/s from back-EMF in mV. */
static inline int32_t name_speed_mrad_s(int32_t back_emf_mv)
{
    return name_scale(back_emf_mv, NAME_MRAD_S_PER_MV, NAME_MRAD_S_PER_MV_SHIFT);
}

/* Electromagnetic torque in uN.m from current in mA; friction is not taken off. */
static inline int32_t name_torque_unm(int32_t current_ma)
{
    return name_scale(current_ma, NAME_UNM_PER_MA, NAME_UNM_PER_MA_SHIFT);
}

/* Current in mA for an electromagnetic torque in uN.m. */
static inline int32_t name_current_ma(int32_t torque_unm)
{
    return name_scale(torque_unm, NAME_MA_PER_UNM, NAME_MA_PER_UNM_SHIFT);
}

#endif
"#;

/// Constant below 2^30 and its shift.
fn fixed(what: &'static str, value: f64) -> Result<(i64, i32), ExportError> {
    let bad = ExportError::DoesNotFit { what, value };
    if !(value.is_finite() && value > 0.0) {
        return Err(bad);
    }
    // More than 60 bits would overflow the rounding half; fewer than 0 would lose whole digits.
    let shift = (30.0 - value.log2()).floor().min(60.0);
    if shift < 0.0 {
        return Err(bad);
    }
    let shift = shift as i32;
    let mut constant = (value * 2f64.powi(shift)).round();
    let mut shift = shift;
    if constant >= 2f64.powi(30) {
        shift -= 1;
        constant = (value * 2f64.powi(shift)).round();
    }
    if constant < 1.0 || shift < 0 {
        return Err(bad);
    }
    Ok((constant as i64, shift))
}

fn integer(what: &'static str, value: f64) -> Result<i64, ExportError> {
    match value.is_finite() && value.abs() < 2f64.powi(31) - 1.0 {
        true => Ok(value.round() as i64),
        false => Err(ExportError::DoesNotFit { what, value }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fixed_point_constants_are_right_to_a_part_in_2_to_the_29() {
        for value in [1e-6, 0.02, 0.999_999_999_9, 1.0, 2.0, 3.186, 47.7, 1e6] {
            let (constant, shift) = fixed("x", value).expect("fits");
            assert!(constant < 1 << 30, "{value}");
            assert!(
                (constant as f64 / 2f64.powi(shift) / value - 1.0).abs() < 2f64.powi(-29),
                "{value}"
            );
        }
        assert!(fixed("x", 1e10).is_err());
        assert!(fixed("x", f64::NAN).is_err());
    }
}
