//! Time until the winding of a held rotor reaches a temperature (`docs/drive.md`, section 9).

use super::inrush::series_ohm;
use crate::drive::Note;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why, given};
use crate::drive::setting::Setting;
use crate::motor::temperature::{REFERENCE_C, copper_coefficient_per_k};

/// Adiabatic heating by i² R(T), R(T) = R₁ + a (T − T₁): what the thermal mass cannot take up otherwise goes nowhere.
/// Constant voltage behind `series_ohm`: t = C/(a U²) [R²/2 + 2 R_x R + R_x² ln R] from R₁ to R₂.
fn at_voltage_s(
    mass_j_per_k: f64,
    r1: f64,
    r2: f64,
    per_k: f64,
    volts: f64,
    series_ohm: f64,
) -> f64 {
    let part = |r: f64| 0.5 * r * r + 2.0 * series_ohm * r + series_ohm * series_ohm * r.ln();
    mass_j_per_k * (part(r2) - part(r1)) / (per_k * volts * volts)
}

/// Constant current: t = C/(a I²) ln(R₂/R₁).
fn at_current_s(mass_j_per_k: f64, r1: f64, r2: f64, per_k: f64, amperes: f64) -> f64 {
    mass_j_per_k * (r2 / r1).ln() / (per_k * amperes * amperes)
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let start_c = setting.winding_c.unwrap_or(REFERENCE_C);
    let told = || -> Known<(f64, f64, f64, f64)> {
        let mass = given(order.thermal_mass_j_per_k, "--thermal-mass")?;
        let limit_c = given(order.winding_limit_c, "--winding-limit")?;
        if limit_c <= start_c {
            return Err(Why::Physics(
                "the winding is at that temperature to begin with: raise --winding-limit",
            ));
        }
        let r = m.resistance_ohm?;
        let per_k = r * copper_coefficient_per_k(start_c) * (1.0 - m.other_share);
        Ok((mass, r, r * m.warmer(start_c, limit_c), per_k))
    };
    out.row(
        "stall_heating_time",
        told().and_then(|(mass, r1, r2, per_k)| {
            let volts = order.supply_v - m.brush_drop_v?;
            if volts <= 0.0 {
                return Err(Why::Physics("the supply does not exceed the brush drop"));
            }
            Ok(at_voltage_s(
                mass,
                r1,
                r2,
                per_k,
                volts,
                series_ohm(setting),
            ))
        }),
    );
    out.row(
        "limited_heating_time",
        told().and_then(|(mass, r1, r2, per_k)| {
            let amperes = given(order.current_limit_a, "--current-limit")?;
            Ok(at_current_s(mass, r1, r2, per_k, amperes))
        }),
    );
    out.remark(|| Note::NothingGivenOff { from_c: start_c });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// Held rotor simulated, the resistance following the heat it has taken up.
    #[test]
    fn times_agree_with_the_simulation() {
        let mut order = Order::usual(24.0);
        order.thermal_mass_j_per_k = Some(4.0);
        order.winding_limit_c = Some(120.0);
        order.lead_resistance_ohm = 0.5;
        order.current_limit_a = Some(5.0);
        let mut setting = Setting::of(order);
        setting.winding_c = Some(20.0);
        let p = TerminalParameters {
            brush_drop_v: 0.8,
            brush_scale_a: 0.01,
            ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 0.0)
        };
        let mut out = Section::default();
        fill(&setting, &sample(p, 0.042), &mut out);
        for (place, limited) in [(0, false), (1, true)] {
            let (mut t, mut degrees, mut s) = (0.0, 20.0, State::<f64>::rest());
            let h = 1e-3;
            while degrees < 120.0 {
                let r = 3.2 * crate::motor::temperature::copper_ratio(20.0, degrees);
                let c = Constants::new(&TerminalParameters {
                    terminal_resistance_ohm: r + 0.5,
                    ..p
                });
                let condition = match limited {
                    true => Condition::Current(5.0),
                    false => Condition::Voltage(24.0),
                };
                let next = advance(&c, s, condition, h, true);
                degrees += next.mean_current.powi(2) * r * h / 4.0;
                s = next.end;
                t += h;
            }
            assert_relative_eq!(out.values[place].expect("known"), t, max_relative = 2e-3);
        }
    }
}
