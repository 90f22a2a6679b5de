//! Torque that the motor gives at each speed for ever, for a while, and as far as the supply reaches (`docs/drive.md`, section 10).

use super::Rated;
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Section, Unit, Worst, column};
use crate::drive::setting::Setting;
use crate::drive::topics::inrush::series_ohm;
use crate::motor::TerminalParameters;

/// Lines of the table beside that of a rotor at rest.
const LINES: usize = 20;
/// Durations of the short-time regions, minutes.
const SHORT_TIMES_MIN: [f64; 2] = [30.0, 10.0];

const COLUMNS: [Column; 5] = [
    column("speed", Unit::Speed, Worst::Neither),
    column("continuous (S1)", Unit::NewtonMetre, Worst::Low),
    column("30 min (S2)", Unit::NewtonMetre, Worst::Low),
    column("10 min (S2)", Unit::NewtonMetre, Worst::Low),
    column("the supply allows", Unit::NewtonMetre, Worst::Low),
];

/// The winding hot, behind the supply's resistance, without a load.
fn hot(setting: &Setting, m: &Sample, hot_ohm: f64) -> Known<TerminalParameters> {
    let series = series_ohm(setting);
    Ok(TerminalParameters {
        terminal_resistance_ohm: hot_ohm + series,
        friction_current_a: m.friction_current_a(0.0)?,
        ..m.machine(series)?
    })
}

/// Speeds from rest to that of the estimate without a load; none where it is not known.
pub fn speeds_rad_s(setting: &Setting, m: &Sample) -> Vec<f64> {
    let free = || -> Known {
        let p = hot(setting, m, m.resistance_ohm?)?;
        let free = p
            .no_load(setting.order.supply_v)
            .map_or(0.0, |point| point.back_emf_v);
        m.speed_rad_s(free)
    };
    match free() {
        Ok(free) if free > 0.0 => (0..=LINES)
            .map(|k| free * k as f64 / LINES as f64)
            .collect(),
        _ => Vec::new(),
    }
}

/// The table.
pub(super) fn fill<'a>(
    setting: &Setting,
    m: &Sample,
    rated: &impl Fn() -> Known<Rated<'a>>,
    out: &mut Section,
) {
    if setting.region_speeds_rad_s.is_empty() {
        return;
    }
    out.table(
        "regions",
        || "Torque at each speed".to_owned(),
        "10",
        &COLUMNS,
    );
    for speed in &setting.region_speeds_rad_s {
        out.line(&[*speed]);
        let at = rated().and_then(|rated| {
            let k = m.back_emf_constant_v_s_per_rad?;
            let emf_v = k * speed;
            let friction_w = emf_v * m.friction_current_a(emf_v)?;
            let p = hot(setting, m, rated.hot_ohm)?;
            let reach = p.at_back_emf(setting.order.supply_v, emf_v);
            let reach_nm = reach.torque_nm(k).max(0.0);
            let by_heat = |heat_w: f64| -> Known {
                Ok(rated
                    .torque_nm(rated.current_a(heat_w), emf_v)?
                    .min(reach_nm))
            };
            Ok([
                by_heat(rated.continuous_w(friction_w))?,
                by_heat(rated.short_time_w(60.0 * SHORT_TIMES_MIN[0], friction_w))?,
                by_heat(rated.short_time_w(60.0 * SHORT_TIMES_MIN[1], friction_w))?,
                reach_nm,
            ])
        });
        for place in 0..4 {
            out.cell(at.map(|all| all[place]));
        }
    }
}
