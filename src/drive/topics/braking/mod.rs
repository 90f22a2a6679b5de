//! Braking through a short, through a resistor, and by ramping the duty down (`docs/drive.md`, section 8).

pub mod stop_time;

use crate::drive::circuit::{Stop, brake};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why, given};
use crate::drive::setting::Setting;
use crate::drive::topics::inrush::running;
use crate::motor::OperatingPoint;
use stop_time::through;

const NEVER: Why = Why::Moot("without friction the speed only dies away; see the time to 5 %");

/// Voltage of a bus capacitor that takes up an energy, nothing else drawing from it: `√(V² + 2 E/C)`.
pub fn raised_v(supply_v: f64, energy_j: f64, capacitance_f: f64) -> f64 {
    (supply_v * supply_v + 2.0 * energy_j / capacitance_f).sqrt()
}

fn slow(stop: Stop) -> Known {
    stop.slow_s.ok_or(Why::Moot("it does not slow down so far"))
}

fn still(stop: Stop) -> Known {
    stop.still_s.ok_or(NEVER)
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let run = running(setting, m);
    out.row(
        "kinetic_energy",
        run.and_then(|run| Ok(0.5 * m.capacitance_f? * run.back_emf_v * run.back_emf_v)),
    );
    short(setting, m, out, run);
    resistor(setting, m, out, run);
    stop_time::fill(setting, m, out, run);
    ramp(setting, m, out, run);
}

fn short(setting: &Setting, m: &Sample, out: &mut Section, run: Known<OperatingPoint>) {
    let short = through(setting, m, run, Ok(0.0));
    out.row("short_peak", short.map(|s| s.peak_a));
    out.row(
        "short_heat",
        short.and_then(|s| Ok(s.square_a2s * m.resistance_ohm?)),
    );
    out.row("short_slow", short.and_then(slow));
    out.row("short_stop", short.and_then(still));
}

fn resistor(setting: &Setting, m: &Sample, out: &mut Section, run: Known<OperatingPoint>) {
    let resistor = given(setting.order.brake_resistor_ohm, "--brake-resistor");
    let braked = through(setting, m, run, resistor);
    out.row("resistor_peak", braked.map(|s| s.peak_a));
    out.row(
        "resistor_peak_power",
        braked.and_then(|s| Ok(s.peak_a * s.peak_a * resistor?)),
    );
    out.row(
        "resistor_energy",
        braked.and_then(|s| Ok(s.square_a2s * resistor?)),
    );
    out.row("resistor_slow", braked.and_then(slow));
    out.row("resistor_stop", braked.and_then(still));
}

fn ramp(setting: &Setting, m: &Sample, out: &mut Section, run: Known<OperatingPoint>) {
    let order = &setting.order;
    let ramp = given(order.brake_ramp_s, "--brake-ramp");
    let ramped = ramp.and_then(|ramp| {
        let switch = order.switch_resistance_ohm.unwrap_or(0.0);
        let p = m.machine(order.lead_resistance_ohm + switch)?;
        Ok(brake(&p, run?.into(), order.supply_v, ramp))
    });
    out.row("ramp_peak", ramped.map(|s| s.peak_a));
    out.row("ramp_stop", ramped.and_then(still));
    out.row("ramp_returned", ramped.map(|s| s.returned_j));
    out.row(
        "bus_voltage",
        given(order.bus_capacitance_f, "--bus-capacitance")
            .and_then(|c| Ok(raised_v(order.supply_v, ramped?.returned_j, c))),
    );
    bus(setting, m, out, run, ramped);
}

/// What keeps the supply below a limit.
fn bus(
    setting: &Setting,
    m: &Sample,
    out: &mut Section,
    run: Known<OperatingPoint>,
    ramped: Known<Stop>,
) {
    let order = &setting.order;
    let limit = given(order.bus_limit_v, "--bus-limit");
    let capacitor =
        |energy_j: f64, limit_v: f64| 2.0 * energy_j / (limit_v.powi(2) - order.supply_v.powi(2));
    out.row(
        "bus_capacitor",
        limit.and_then(|limit_v| Ok(capacitor(ramped?.returned_j, limit_v))),
    );
    out.row(
        "bus_capacitor_bound",
        limit.and_then(|limit_v| {
            let emf_v = run?.back_emf_v;
            Ok(capacitor(0.5 * m.capacitance_f? * emf_v * emf_v, limit_v))
        }),
    );
    out.row(
        "bus_resistor",
        limit.and_then(|limit_v| match ramped?.returned_peak_w {
            power_w if power_w > 0.0 => Ok(limit_v * limit_v / power_w),
            _ => Err(Why::Moot("nothing comes back to the supply")),
        }),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// Brake into a resistor and ramp against the simulation in microsecond steps; the bus filled charge by charge.
    #[test]
    fn stops_agree_with_a_fine_simulation() {
        let p = TerminalParameters {
            brush_drop_v: 0.7,
            brush_scale_a: 0.08,
            ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 3e-3)
        };
        let mut order = Order::usual(24.0);
        order.brake_resistor_ohm = Some(4.0);
        order.brake_ramp_s = Some(0.05);
        order.bus_capacitance_f = Some(1e-3);
        order.bus_limit_v = Some(26.0);
        let setting = Setting::of(order);
        let motor = sample(p, 0.042);
        let mut out = Section {
            estimate: true,
            ..Section::default()
        };
        fill(&setting, &motor, &mut out);
        let found = |key: &str| {
            let row = out.rows.iter().find(|(def, _)| def.key == key).expect(key);
            out.values[row.1].expect(key)
        };
        let run = running(&setting, &motor).expect("turns");
        let h = 2e-6;
        for (ohm, ramp, names) in [
            (4.0, 0.0, ["resistor_peak", "resistor_stop"]),
            (0.0, 0.05, ["ramp_peak", "ramp_stop"]),
        ] {
            let c = Constants::<f64>::new(&TerminalParameters {
                terminal_resistance_ohm: 3.2 + ohm,
                ..p
            });
            let mut s = State::from(run);
            let (mut t, mut peak, mut heat, mut returned) = (0.0, 0.0_f64, 0.0, 0.0);
            let (mut bus_v, mut clamped_a) = (24.0_f64, 0.0_f64);
            while s.back_emf > 0.0 || t < ramp {
                let v = if t < ramp {
                    24.0 * (1.0 - (t + 0.5 * h) / ramp)
                } else {
                    0.0
                };
                let next = advance(&c, s, Condition::Voltage(v), h, false);
                heat += ohm * next.mean_current.powi(2) * h;
                let back_w = (-v * next.mean_current).max(0.0);
                returned += back_w * h;
                // The capacitor that was found, filled charge by charge; a resistor that takes all of it at the limit.
                if ramp > 0.0 {
                    bus_v += back_w / bus_v * h / found("bus_capacitor");
                    clamped_a = clamped_a.max(back_w / 26.0);
                }
                s = next.end;
                peak = peak.max(-s.current);
                t += h;
            }
            assert_relative_eq!(found(names[0]), peak, max_relative = 5e-3);
            assert_relative_eq!(found(names[1]), t, max_relative = 5e-3);
            if ramp == 0.0 {
                assert_relative_eq!(found("resistor_energy"), heat, max_relative = 2e-3);
            } else {
                assert_relative_eq!(found("ramp_returned"), returned, max_relative = 5e-3);
                assert_relative_eq!(bus_v, 26.0, max_relative = 5e-4);
                assert_relative_eq!(found("bus_resistor"), 26.0 / clamped_a, max_relative = 5e-3);
                assert!(found("bus_capacitor_bound") > found("bus_capacitor"));
                assert_relative_eq!(
                    found("bus_voltage"),
                    (576.0 + 2.0 * returned / 1e-3).sqrt(),
                    max_relative = 5e-3
                );
            }
        }
    }
}
