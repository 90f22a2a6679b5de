//! A start at full voltage: peak, its trajectory in time, what a fuse sees (`docs/drive.md`, section 3).

use crate::drive::circuit::{Start, start, start_at};
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Section, Unit, Why, Worst, column};
use crate::drive::setting::Setting;
use crate::motor::OperatingPoint;

/// Why nothing moves.
pub const HELD: Why = Why::Physics("friction and load hold the rotor at this supply");

/// Resistance of the loop outside the motor, Ω.
pub fn series_ohm(setting: &Setting) -> f64 {
    setting.order.source_resistance_ohm + setting.order.lead_resistance_ohm
}

/// The start of a motor.
pub fn started(setting: &Setting, m: &Sample) -> Known<Start> {
    start(&m.machine(series_ohm(setting))?, setting.order.supply_v).ok_or(HELD)
}

/// Steady running at the full supply.
pub fn running(setting: &Setting, m: &Sample) -> Known<OperatingPoint> {
    m.machine(series_ohm(setting))?
        .no_load(setting.order.supply_v)
        .ok_or(HELD)
}

/// Current of a held rotor at the full supply, A.
pub fn stall_a(setting: &Setting, m: &Sample) -> Known {
    if setting.order.supply_v <= m.brush_drop_v? {
        return Err(Why::Physics("the supply does not exceed the brush drop"));
    }
    let machine = m.held(series_ohm(setting))?;
    Ok(machine.rotor_held(setting.order.supply_v).current_a)
}

const COLUMNS: [Column; 3] = [
    column("time", Unit::Second, Worst::Neither),
    column("current", Unit::Ampere, Worst::High),
    column("share of the final speed", Unit::Share, Worst::Neither),
];

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let begun = started(setting, m);
    out.row("inrush_peak", begun.map(|start| start.peak_a));
    out.row("inrush_peak_time", begun.map(|start| start.peak_s));
    out.row(
        "supply_dip",
        begun.map(|start| start.peak_a * order.source_resistance_ohm),
    );
    out.row("run_up_time", begun.map(|start| start.run_up_s));
    out.row("inrush_i2t", begun.map(|start| start.square_a2s));
    out.row(
        "inrush_winding_heat",
        begun.and_then(|start| Ok(start.square_a2s * m.resistance_ohm?)),
    );
    trajectory(setting, m, out, begun);
}

/// Current and speed against time.
fn trajectory(setting: &Setting, m: &Sample, out: &mut Section, begun: Known<Start>) {
    out.table(
        "inrush_course",
        || "course of the inrush".to_owned(),
        "3",
        &COLUMNS,
    );
    let machine = m.machine(series_ohm(setting));
    let states = machine.map(|p| start_at(&p, setting.order.supply_v, &setting.inrush_times_s));
    for (place, time) in setting.inrush_times_s.iter().enumerate() {
        out.line(&[*time]);
        let at = states
            .as_ref()
            .map(|states| states[place])
            .map_err(|why| *why);
        out.cell(at.map(|at| at.current));
        out.cell(at.and_then(|at| Ok(at.back_emf / begun?.end.back_emf_v)));
    }
}

/// Times of the trajectory, from the estimate: half a dozen around the peak, half a dozen to the end.
pub fn times_s(setting: &Setting, m: &Sample) -> Vec<f64> {
    let Ok(start) = started(setting, m) else {
        return Vec::new();
    };
    let (peak, end) = (start.peak_s, start.run_up_s);
    let mut times: Vec<f64> = [0.15, 0.3, 0.6, 1.0, 1.5, 2.5].map(|k| k * peak).to_vec();
    times.extend([0.15, 0.25, 0.4, 0.6, 0.8, 1.0, 1.5].map(|k| k * end));
    // Two digits: they are chosen, not found.
    let mut times: Vec<f64> = times
        .into_iter()
        .map(|time| {
            let unit = 10f64.powf(time.log10().floor() - 1.0);
            (time / unit).round() * unit
        })
        .filter(|time| time.is_finite() && *time > 0.0)
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup_by(|later, earlier| *later < 1.15 * *earlier);
    times
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// P. C. Sen, Principles of Electric Machines and Power Electronics, ex. 4.10 (p. 185): 100 V, 0.1 Ω: unassisted
    /// starting current 1000 A; with 0.4 Ω in series 200 A.
    #[test]
    fn val_starting_current() {
        let motor = sample(TerminalParameters::plain(0.1, 1e-6, 1e3, 1.0, 0.0), 1.0);
        let mut setting = Setting::of(Order::usual(100.0));
        assert_relative_eq!(stall_a(&setting, &motor).expect("known"), 1000.0);
        let peak = started(&setting, &motor).expect("starts").peak_a;
        assert_relative_eq!(peak, 1000.0, max_relative = 1e-3);
        setting.order.lead_resistance_ohm = 0.4;
        assert_relative_eq!(
            stall_a(&setting, &motor).expect("known"),
            200.0,
            max_relative = 1e-12
        );
    }

    /// Peak and run-up against the simulation in steps a thousand times shorter.
    #[test]
    fn peak_and_run_up_agree_with_a_fine_simulation() {
        let p = TerminalParameters {
            brush_drop_v: 0.8,
            brush_scale_a: 0.08,
            saturation_per_a: 0.03,
            armature_reaction_per_a: 0.003,
            windage_a_per_v2: 1e-4,
            ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 3e-3)
        };
        let mut setting = Setting::of(Order::usual(24.0));
        setting.order.source_resistance_ohm = 0.2;
        let found = started(&setting, &sample(p, 0.042)).expect("starts");
        let c = Constants::<f64>::new(&TerminalParameters {
            terminal_resistance_ohm: 3.4,
            ..p
        });
        let h = 1e-6;
        let (mut s, mut peak, mut peak_s, mut square) = (State::rest(), 0.0_f64, 0.0, 0.0);
        let mut t = 0.0;
        while s.back_emf < 0.95 * found.end.back_emf_v {
            let next = advance(&c, s, Condition::Voltage(24.0), h, false).end;
            square += 0.5 * (s.current.powi(2) + next.current.powi(2)) * h;
            t += h;
            if next.current > peak {
                (peak, peak_s) = (next.current, t);
            }
            s = next;
        }
        assert_relative_eq!(found.peak_a, peak, max_relative = 1e-4);
        assert_relative_eq!(found.peak_s, peak_s, max_relative = 1e-2);
        assert_relative_eq!(found.run_up_s, t, max_relative = 1e-3);
        assert_relative_eq!(found.square_a2s, square, max_relative = 1e-3);
        // Steady state: nothing moves any more.
        for _ in 0..400 {
            s = advance(&c, s, Condition::Voltage(24.0), 1e-3, false).end;
        }
        assert_relative_eq!(found.end.current_a, s.current, max_relative = 1e-6);
        assert_relative_eq!(found.end.back_emf_v, s.back_emf, max_relative = 1e-6);
    }
}
