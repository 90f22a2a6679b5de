//! First guesses in closed form from the legs, so that nobody ever gives a start value.
//!
//! Each is a crude reading of one feature; the fit converges from guesses wrong by a factor of five either way.

use super::segments::{Bin, Leg, LegKind};
use crate::bench::{Bench, Capture, Role};
use crate::motor::TerminalParameters;

/// What one capture's legs suggest.
#[derive(Default)]
pub struct Hints {
    pub resistance: Vec<f64>,
    pub rise_time_s: Vec<f64>,
    /// Those among the rise times that span some samples.
    pub resolved_rise_time_s: Vec<f64>,
    pub capacitance: Vec<f64>,
    pub no_load_current: Vec<f64>,
    pub running_emf: Vec<f64>,
    /// −de/dt while open at high speed, V/s.
    pub slowing: Vec<f64>,
}

/// Samples that a resolved rise spans.
const RESOLVED_SAMPLES: f64 = 4.0;

/// Guesses every terminal parameter; what nothing hints at gets the magnitude of a small motor.
pub fn first_guess(bench: &Bench, legs: &[Vec<Leg>]) -> TerminalParameters {
    let mut hints = Hints::default();
    for (capture, legs) in bench.captures.iter().zip(legs) {
        read_hints(capture, legs, &mut hints);
    }
    let resistance = least(&hints.resistance).unwrap_or(1.0);
    let no_load = middle(&mut hints.no_load_current).unwrap_or(0.05).max(1e-6);
    let emf = middle(&mut hints.running_emf).unwrap_or(10.0).max(1e-3);
    let capacitance = middle(&mut hints.capacitance)
        .or_else(|| middle(&mut hints.slowing).map(|s| no_load / s.max(1e-9)))
        .unwrap_or(0.02 / resistance);
    let rise = least(&hints.rise_time_s).unwrap_or(2e-4);
    TerminalParameters {
        brush_drop_v: 0.02 * emf,
        brush_scale_a: 0.4 * no_load,
        ..TerminalParameters::plain(
            resistance,
            rise * resistance,
            capacitance,
            0.7 * no_load,
            0.3 * no_load / emf,
        )
    }
}

/// Adds what one capture suggests.
pub fn read_hints(capture: &Capture, legs: &[Leg], hints: &mut Hints) {
    let series = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
    let source = capture.source_v.map(|v| v.value);
    let voltages = legs.iter().flat_map(|l| &l.bins).map(|b| b.voltage_v.abs());
    let highest_v = voltages.filter(|v| v.is_finite()).fold(0.0, f64::max);
    let mut emf_before: Option<f64> = None;
    // The rotor slows once in a capture. Between two bounces of a contact it is kicks and arcs that fall, over a stretch far too short.
    let longest_open = legs
        .iter()
        .filter(|l| l.kind == LegKind::Open)
        .map(duration_s)
        .fold(0.0, f64::max);
    for (number, leg) in legs.iter().enumerate() {
        match leg.kind {
            LegKind::Connected => {
                connected(capture.role, leg, number, series, source, emf_before, hints);
            }
            LegKind::Open => {
                if duration_s(leg) == longest_open {
                    open(leg, hints);
                }
                // A stretch that ends closed again leaves what an earlier one showed.
                let level = level_at_end(leg).filter(|v| v.abs() > LEAST_FALL * highest_v);
                emf_before = level.or(emf_before);
            }
            _ => {}
        }
    }
}

fn duration_s(leg: &Leg) -> f64 {
    leg.bins.iter().map(|b| b.width_s).sum()
}

/// Median voltage of the last quarter of a leg, V.
fn level_at_end(leg: &Leg) -> Option<f64> {
    let voltages = leg.bins.iter().map(|b| b.voltage_v);
    let mut seen: Vec<f64> = voltages.filter(|v| v.is_finite()).collect();
    middle(&mut seen.split_off(seen.len() * 3 / 4))
}

fn connected(
    role: Role,
    leg: &Leg,
    number: usize,
    series: f64,
    source: Option<f64>,
    emf_before: Option<f64>,
    hints: &mut Hints,
) {
    let bins: Vec<&Bin> = leg
        .bins
        .iter()
        .filter(|b| b.current_a.is_finite())
        .collect();
    if bins.len() < 3 {
        return;
    }
    let voltage = |b: &Bin| {
        if b.voltage_v.is_finite() {
            b.voltage_v
        } else {
            source.unwrap_or(0.0)
        }
    };
    let tail = &bins[bins.len() * 4 / 5..];
    let mean =
        |of: &dyn Fn(&Bin) -> f64| tail.iter().map(|b| of(b)).sum::<f64>() / tail.len() as f64;
    let (tail_v, tail_i) = (mean(&|b| voltage(b)), mean(&|b| b.current_a));
    let peak = bins
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.current_a.abs().total_cmp(&b.1.current_a.abs()));
    let Some((peak_at, peak)) = peak else { return };
    let peak_i = peak.current_a.abs().max(1e-9);
    let charge: f64 = bins.iter().map(|b| b.current_a * b.width_s).sum();
    let rise = |level: f64| {
        let begin = bins[0].time_s - 0.5 * bins[0].width_s;
        bins.iter()
            .find(|b| b.current_a.abs() >= level)
            .map(|b| ((b.time_s - begin).max(b.width_s), b.width_s))
    };
    let add_rise = |hints: &mut Hints, level: f64| {
        if let Some((time_s, width_s)) = rise(level) {
            hints.rise_time_s.push(time_s);
            if time_s > RESOLVED_SAMPLES * width_s {
                hints.resolved_rise_time_s.push(time_s);
            }
        }
    };
    match role {
        Role::Start => {
            hints
                .resistance
                .push((voltage(peak).abs() / peak_i - series).max(1e-3));
            add_rise(hints, 0.63 * peak_i);
            hints.no_load_current.push(tail_i.abs());
            let emf = (tail_v - tail_i * voltage(peak) / peak_i).abs();
            hints.running_emf.push(emf);
            let span: f64 = bins.iter().map(|b| b.width_s).sum();
            hints
                .capacitance
                .push(((charge - tail_i * span) / emf.max(1e-9)).abs().max(1e-12));
        }
        Role::LockedRotor => {
            hints
                .resistance
                .push((tail_v / tail_i.abs().max(1e-9) - series).abs().max(1e-3));
            add_rise(hints, 0.63 * tail_i.abs());
        }
        Role::Brake | Role::RunDown | Role::Steady if number == 0 => {
            hints.no_load_current.push(tail_i.abs());
            hints.running_emf.push(tail_v.abs());
        }
        Role::Brake => {
            if let Some(emf) = emf_before.or(source) {
                hints
                    .resistance
                    .push((emf.abs() / peak_i - series).max(1e-3));
                // The short takes off as much of the back-EMF as its current falls; a bounce ends before that shows.
                let taken = 1.0 - tail_i.abs() / peak_i;
                if taken > LEAST_TAKEN {
                    let capacitance = (charge / (taken * emf)).abs();
                    hints.capacitance.push(capacitance.max(1e-12));
                }
            }
            if peak_at > 0 {
                add_rise(hints, 0.63 * peak_i);
            }
        }
        _ => {}
    }
}

/// Share of the back-EMF that a short has to take off before its charge tells J/K² (common practice, no source).
const LEAST_TAKEN: f64 = 0.2;

/// Share of an open-terminal voltage by which it has to fall before a slope is read from it.
const LEAST_FALL: f64 = 0.02;

fn open(leg: &Leg, hints: &mut Hints) {
    let bins: Vec<&Bin> = leg.bins[..leg.compared]
        .iter()
        .filter(|b| b.voltage_v.is_finite())
        .collect();
    if bins.len() < 8 {
        return;
    }
    let quarter = bins.len() / 4;
    let mean = |part: &[&Bin]| {
        let n = part.len() as f64;
        (
            part.iter().map(|b| b.time_s).sum::<f64>() / n,
            part.iter().map(|b| b.voltage_v).sum::<f64>() / n,
        )
    };
    let (t0, v0) = mean(&bins[..quarter]);
    hints.running_emf.push(v0.abs());
    // The slope near the beginning, or over all of a leg in which that is lost in ripple; none of a leg that shows no fall.
    let later = [&bins[quarter..2 * quarter], &bins[bins.len() - quarter..]];
    let slope = later.into_iter().find_map(|part| {
        let (t1, v1) = mean(part);
        let fall = v0.abs() - v1.abs();
        (fall > LEAST_FALL * v0.abs()).then(|| fall / (t1 - t0))
    });
    hints.slowing.extend(slope);
}

pub fn least(values: &[f64]) -> Option<f64> {
    values
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .reduce(f64::min)
}

pub fn middle(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values
        .get(values.len() / 2)
        .copied()
        .filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A leg of bins of `width_s`, of voltage and current.
    fn leg(kind: LegKind, width_s: f64, bins: impl Iterator<Item = (f64, f64)>) -> Leg {
        let bins: Vec<Bin> = bins
            .enumerate()
            .map(|(k, (voltage_v, current_a))| Bin {
                time_s: width_s * (k as f64 + 0.5),
                width_s,
                voltage_v,
                current_a,
                samples: 1,
                conducting: true,
            })
            .collect();
        Leg {
            kind,
            compared: bins.len(),
            rows: (0, bins.len()),
            bins,
            current_ripple_a: 0.0,
        }
    }

    /// A short over 0.5 Ω of a back-EMF of 20 V with J/K² of 40 mF, recorded for so many of its time constants of 20 ms.
    fn short(time_constants: f64) -> Leg {
        let current = |k: u32| -40.0 * (-time_constants * (f64::from(k) + 0.5) / 100.0).exp();
        let width_s = 0.02 * time_constants / 100.0;
        leg(
            LegKind::Connected,
            width_s,
            (0..100).map(|k| (0.0, current(k))),
        )
    }

    fn capacitances(brake: &Leg) -> Vec<f64> {
        let mut hints = Hints::default();
        connected(Role::Brake, brake, 2, 0.0, None, Some(20.0), &mut hints);
        hints.capacitance
    }

    #[test]
    fn a_brake_tells_its_capacitance_from_the_part_that_its_record_holds() {
        for time_constants in [0.5, 1.0, 5.0] {
            let found = capacitances(&short(time_constants))[0];
            assert!(
                (found / 0.04 - 1.0).abs() < 0.2,
                "{time_constants}: {found}"
            );
        }
        // A bounce takes off nothing that could be told.
        assert!(capacitances(&short(0.01)).is_empty());
    }

    #[test]
    fn a_stretch_that_ends_shorted_again_has_the_level_of_its_open_part() {
        let open = |closed: u32| {
            let at = move |k: u32| if k + closed < 80 { 20.0 } else { 0.0 };
            leg(LegKind::Open, 1e-5, (0..80).map(|k| (at(k), 0.0)))
        };
        assert_eq!(level_at_end(&open(1)), Some(20.0));
        assert_eq!(level_at_end(&open(40)), Some(0.0));
        assert_eq!(
            level_at_end(&leg(LegKind::Open, 1e-5, std::iter::empty())),
            None
        );
    }
}
