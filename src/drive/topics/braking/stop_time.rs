//! Braking resistor for a stop time (`docs/drive.md`, section 8).

use crate::drive::circuit::{Stop, bisect, brake, still_s};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why, given};
use crate::drive::setting::Setting;
use crate::drive::topics::inrush::running;
use crate::motor::{OperatingPoint, TerminalParameters};
use rayon::prelude::*;

const NEVER: Why = Why::Physics("without friction the speed only dies away");
const TOO_SOON: Why = Why::Physics("even a short takes longer to stop it: raise --stop-time");
const NO_BRAKE: Why = Why::Moot("friction and load alone stop it in that time");
/// Resistance of the loop, as a multiple of that of a short, above which the motor only coasts.
const COASTING: f64 = 1e3;
/// Steps of the search; each gains a digit or more.
const STEPS: usize = 20;
/// How near to the stop time a simulation has to be, before the last correction.
const NEAR: f64 = 3e-3;

/// Preferred values of resistors within a decade (IEC 60063, series E24).
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6,
    6.2, 6.8, 7.5, 8.2, 9.1,
];

/// The stop through a resistor.
pub fn through(
    setting: &Setting,
    m: &Sample,
    run: Known<OperatingPoint>,
    ohm: Known,
) -> Known<Stop> {
    let p = m.machine(setting.order.lead_resistance_ohm + ohm?)?;
    Ok(brake(&p, run?.into(), 0.0, 0.0))
}

/// Resistance with which one motor stands still after the stop time, Ω, and how the closed form then is to the simulation; `ratio`: what is
/// expected of it.
fn resistor_ohm(setting: &Setting, m: &Sample, ratio: f64) -> Known<(f64, f64)> {
    let wanted_s = given(setting.order.stop_time_s, "--stop-time")?;
    let run = running(setting, m)?;
    let short = m.machine(setting.order.lead_resistance_ohm)?;
    let (least, most) = (
        short.terminal_resistance_ohm,
        COASTING * short.terminal_resistance_ohm,
    );
    // Without inductance, brush drop and windage the stop time has a closed form, which rises with the resistance. What the simulation
    // gives beside it corrects the time that is asked of the form.
    let closed_s = |ohm: f64| {
        let rate = (1.0 / ohm + short.viscous_conductance_s) / short.inertia_capacitance_f;
        let through_friction = short.friction_current_a / short.inertia_capacitance_f;
        (run.back_emf_v * rate / through_friction).ln_1p() / rate
    };
    let form_ohm =
        |goal_s: f64| bisect(least.ln(), most.ln(), |ln| closed_s(ln.exp()) < goal_s).exp();
    let mut ohm = form_ohm(wanted_s * ratio);
    for _ in 0..STEPS {
        let p = TerminalParameters {
            terminal_resistance_ohm: ohm,
            ..short
        };
        let stop_s = still_s(&p, run.into()).ok_or(NEVER)?;
        let ratio = closed_s(ohm) / stop_s;
        let before = ohm;
        ohm = form_ohm(wanted_s * ratio);
        // The ratio changes so little with the resistance that what is corrected by it from near needs no simulation once more.
        if (stop_s / wanted_s).ln().abs() < NEAR {
            return Ok((ohm - least, ratio));
        }
        if (ohm / before - 1.0).abs() < 1e-9 {
            return Err(if stop_s > wanted_s {
                TOO_SOON
            } else {
                NO_BRAKE
            });
        }
    }
    Err(Why::Physics("no resistor was found for that stop time"))
}

/// Works the resistor out for every motor, the first of which is that of the estimates, and gives the largest standard value with which
/// all but a share of (1 − `level`)/2 of the others stop in time, Ω.
pub fn design(setting: &Setting, estimate: &mut Sample, drawn: &mut [Sample], level: f64) -> Known {
    if setting.order.stop_time_s.is_none() {
        return Err(Why::NotGiven("--stop-time"));
    }
    let found = resistor_ohm(setting, estimate, 1.0);
    let ratio = found.map_or(1.0, |(_, ratio)| ratio);
    estimate.stop_resistor_ohm = found.map(|(ohm, _)| ohm);
    drawn.par_iter_mut().for_each(|m| {
        m.stop_resistor_ohm = resistor_ohm(setting, m, ratio).map(|(ohm, _)| ohm);
    });
    let each = drawn.iter().map(|m| m.stop_resistor_ohm);
    let mut ohms = Vec::with_capacity(each.len());
    // A motor that never quite stands still is in no figure.
    for one in each {
        ohms.push(match one {
            Ok(ohm) => ohm,
            Err(TOO_SOON) => 0.0,
            Err(NO_BRAKE) => f64::INFINITY,
            Err(Why::Physics(_)) => continue,
            Err(why) => return Err(why),
        });
    }
    ohms.sort_by(f64::total_cmp);
    let place = (0.5 * (1.0 - level) * ohms.len() as f64) as usize;
    match ohms.get(place) {
        Some(ohm) if ohm.is_infinite() => Err(NO_BRAKE),
        Some(ohm) if *ohm > 0.0 => Ok(standard_below(*ohm)),
        Some(_) => Err(TOO_SOON),
        None => Err(NEVER),
    }
}

/// Largest value of the series that is not above `ohm`.
fn standard_below(ohm: f64) -> f64 {
    let decade = 10f64.powf(ohm.log10().floor());
    let below = |value: &&f64| **value * decade <= ohm * (1.0 + 1e-9);
    decade * E24.iter().rev().find(below).unwrap_or(&1.0)
}

/// Fills the rows.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section, run: Known<OperatingPoint>) {
    out.row("stop_resistor", m.stop_resistor_ohm);
    let chosen = setting.stop_resistor_ohm;
    let stop = through(setting, m, run, chosen);
    for (key, value) in [
        ("stop_resistor_standard", chosen),
        (
            "stop_resistor_time",
            stop.and_then(|s| s.still_s.ok_or(NEVER)),
        ),
        ("stop_resistor_peak", stop.map(|s| s.peak_a)),
        (
            "stop_resistor_power",
            stop.and_then(|s| Ok(s.peak_a * s.peak_a * chosen?)),
        ),
        (
            "stop_resistor_energy",
            stop.and_then(|s| Ok(s.square_a2s * chosen?)),
        ),
    ] {
        out.row(key, value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::{Condition, Constants, State, advance};
    use approx::assert_relative_eq;

    fn motor() -> TerminalParameters {
        TerminalParameters {
            brush_drop_v: 0.7,
            brush_scale_a: 0.08,
            ..TerminalParameters::plain(3.2, 2.4e-3, 3.6e-3, 0.13, 3e-3)
        }
    }

    fn setting(stop_s: f64) -> Setting {
        let mut order = Order::usual(24.0);
        order.stop_time_s = Some(stop_s);
        order.lead_resistance_ohm = 0.1;
        Setting::of(order)
    }

    /// The motor simulated in microsecond steps stands still after the time asked for.
    #[test]
    fn the_resistor_stops_a_simulated_motor_in_that_time() {
        let (setting, p) = (setting(0.08), motor());
        let m = sample(p, 0.042);
        let run = running(&setting, &m);
        let (ohm, _) = resistor_ohm(&setting, &m, 1.0).expect("found");
        let c = Constants::<f64>::new(&TerminalParameters {
            terminal_resistance_ohm: 3.3 + ohm,
            ..p
        });
        let (mut s, mut t, h) = (State::from(run.expect("turns")), 0.0, 2e-6);
        while s.back_emf > 0.0 {
            s = advance(&c, s, Condition::Voltage(0.0), h, false).end;
            t += h;
        }
        assert_relative_eq!(t, 0.08, max_relative = 1e-3);
    }

    #[test]
    fn the_standard_value_stops_every_motor_and_what_cannot_be_is_said() {
        let mut drawn: Vec<Sample> = (0..100)
            .map(|k| {
                let mut p = motor();
                p.inertia_capacitance_f *= 0.9 + 0.002 * f64::from(k);
                p.friction_current_a = 0.2;
                sample(p, 0.042)
            })
            .collect();
        let mut with = setting(0.07);
        let mut estimate = drawn[50];
        let ohm = design(&with, &mut estimate, &mut drawn, 0.95).expect("found");
        with.stop_resistor_ohm = Ok(ohm);
        let times: Vec<f64> = drawn
            .iter()
            .map(|m| through(&with, m, running(&with, m), Ok(ohm)))
            .map(|stop| stop.expect("stops").still_s.expect("stops"))
            .collect();
        let late = times.iter().filter(|time| **time > 0.07).count();
        assert!(late <= 2, "{late} of 100 late with {ohm} Ω");
        let next = E24
            .iter()
            .find(|v| **v * 1.0 > ohm)
            .copied()
            .unwrap_or(10.0);
        let late = drawn
            .iter()
            .filter_map(|m| through(&with, m, running(&with, m), Ok(next)).ok()?.still_s)
            .filter(|time| *time > 0.07)
            .count();
        assert!(late > 2, "{next} Ω would do as well");
        assert_eq!(
            design(&setting(1e-4), &mut estimate, &mut drawn, 0.95),
            Err(TOO_SOON)
        );
        assert_eq!(
            design(&setting(1e4), &mut estimate, &mut drawn, 0.95),
            Err(NO_BRAKE)
        );
    }

    #[test]
    fn val_standard_values() {
        // IEC 60063, series E24.
        for (ohm, standard) in [
            (3.29, 3.0),
            (0.0999, 0.091),
            (4.7, 4.7),
            (99.0, 91.0),
            (1.0, 1.0),
        ] {
            assert_relative_eq!(standard_below(ohm), standard, max_relative = 1e-12);
        }
    }
}
