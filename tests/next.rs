//! What to measure next: the forecast against what the fit then says, and the command in front of a user.

use assert_cmd::Command;
use rundown::bench::{Bench, LoadOptions, Reading, Role, Stated, read_sheet};
use rundown::events;
use rundown::fit::{Addition, Estimate, FitOptions, Forecaster, Status, estimate};
use rundown::next::rig::{Deed, Rig};
use rundown::next::{Goal, Size, rank, ranking::Question};
use rundown::synthetic::{draw, presets};
use std::fmt::Write;
use std::path::Path;

fn fitted(bench: &Bench) -> Option<Estimate> {
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    estimate(bench, &timelines, &FitOptions::default())
        .ok()
        .filter(Estimate::converged)
}

fn fixture(name: &str) -> Bench {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
        .join("bench.toml");
    read_sheet(&path, &LoadOptions::default()).expect("a fixture's sheet")
}

fn preset(name: &str, seed: u64) -> Bench {
    draw(&presets::named(name).expect("a preset"), seed)
        .expect("it can be simulated")
        .bench
}

/// One bound as it was, as it was foreseen, and as the fit with the further capture gave it.
#[derive(Clone, Debug)]
struct Comparison {
    bench: String,
    added: String,
    parameter: &'static str,
    /// Relative standard uncertainties; `None` where it was undetermined.
    before: Option<f64>,
    foreseen: f64,
    real: f64,
}

impl Comparison {
    fn ratio(&self) -> f64 {
        self.foreseen / self.real
    }
}

/// The deed that a recorded capture shows and its voltage; `None` for roles that are no candidates.
fn deed(bench: &Bench, full: &Estimate, k: usize) -> Option<(Deed, f64)> {
    let supply = bench.motor.supply_v?;
    let deed = match bench.captures[k].role {
        Role::Start => Deed::Start,
        Role::RunDown => Deed::RunDown,
        Role::Brake => Deed::Brake { through_ohm: 0.0 },
        Role::LockedRotor => Deed::Locked,
        Role::Steady => Deed::Steady,
        _ => return None,
    };
    let held_v = full.legs[k]
        .iter()
        .flat_map(|l| &l.bins)
        .map(|b| b.voltage_v.abs())
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    Some((deed, if deed == Deed::Locked { held_v } else { supply }))
}

/// Everything that can be left out and foreseen again, one capture or reading at a time.
fn comparisons(name: &str, bench: &Bench) -> Vec<Comparison> {
    let Some(full) = fitted(bench) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for k in 0..bench.captures.len() {
        let Some((deed, voltage)) = deed(bench, &full, k) else {
            continue;
        };
        let capture_name = &bench.captures[k].name;
        // A reading that names the capture goes with it, and is foreseen with it.
        let (with, without): (Vec<Reading>, Vec<Reading>) = bench.readings.iter().cloned().partition(
            |r| matches!(r, Reading::Speed { capture: Some(c), .. } if c == capture_name),
        );
        let mut less = bench.clone();
        less.captures.remove(k);
        less.readings = without;
        let Some(before) = fitted(&less) else { continue };
        let forecaster = Forecaster::new(&less, &before);
        let rig = Rig::new(&less, forecaster.motor());
        let Some(mut planned) = rig.capture("planned", deed, voltage, None) else {
            continue;
        };
        let ripple = full.ripple.iter().find(|f| f.capture == k && f.used);
        planned.ripple_relative = ripple.map(|_| 5e-4);
        let readings = with
            .into_iter()
            .map(|r| match r {
                Reading::Speed { speed_rad_s, .. } => Reading::Speed {
                    speed_rad_s,
                    capture: Some("planned".into()),
                    terminal_voltage_v: None,
                    current_a: None,
                },
                other => other,
            })
            .collect();
        let addition = Addition {
            captures: vec![planned],
            readings,
            assumed_constant_v_s_per_rad: 0.01,
            ..Addition::default()
        };
        compare(name, capture_name, &before, &forecaster, &addition, &full, &mut out);
    }
    for k in 0..bench.readings.len() {
        let word = match &bench.readings[k] {
            Reading::Speed { .. } => "tachometer reading",
            Reading::Ohmmeter { .. } => "ohmmeter reading",
            _ => continue,
        };
        let mut less = bench.clone();
        let reading = less.readings.remove(k);
        let Some(before) = fitted(&less) else { continue };
        let forecaster = Forecaster::new(&less, &before);
        let addition = Addition {
            readings: vec![reading],
            assumed_constant_v_s_per_rad: 0.01,
            ..Addition::default()
        };
        compare(name, word, &before, &forecaster, &addition, &full, &mut out);
    }
    out
}

fn compare(
    name: &str,
    added: &str,
    before: &Estimate,
    forecaster: &Forecaster<'_>,
    addition: &Addition,
    full: &Estimate,
    out: &mut Vec<Comparison>,
) {
    let Some(expected) = forecaster.expect(addition) else {
        return;
    };
    let now = before.reported();
    for ((outlook, after), now) in expected.outlooks.iter().zip(full.reported()).zip(&now) {
        let (Some(foreseen), Status::Measured, false, Some(at)) =
            (outlook.relative, after.status, after.one_sided, after.estimate)
        else {
            continue;
        };
        out.push(Comparison {
            bench: name.into(),
            added: added.into(),
            parameter: outlook.name,
            before: now
                .estimate
                .filter(|_| !now.one_sided)
                .map(|b| b.standard_uncertainty / b.value.abs()),
            foreseen,
            real: at.standard_uncertainty / at.value.abs(),
        });
    }
}

/// Median, and the factor either way within which nine of ten ratios lie.
fn spread(all: &[Comparison]) -> (f64, f64) {
    let mut logs: Vec<f64> = all.iter().map(|c| c.ratio().ln()).collect();
    logs.sort_by(f64::total_cmp);
    let median = logs[logs.len() / 2];
    let mut sizes: Vec<f64> = logs.iter().map(|l| l.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    (median.exp(), sizes[sizes.len() * 9 / 10].exp())
}

/// The long study: every shipped motor and every preset, one thing left out at a time. `scripts/next_study` writes it into
/// docs/next.md.
#[test]
#[ignore = "minutes; scripts/next_study runs it"]
fn the_long_study() {
    let mut benches: Vec<(String, Bench)> = [
        "ticket_printer",
        "dosing_pump",
        "camera_slider",
        "telescope_focuser",
        "floor_scrubber",
    ]
    .iter()
    .map(|m| (m.replace('_', " "), fixture(m)))
    .collect();
    for scenario in presets::all() {
        let name = scenario.facts.name.clone();
        benches.push((format!("{name} (simulated)"), preset(&name, 3)));
    }
    let mut all = Vec::new();
    let mut text = String::from(
        "| bench | added | bounds compared | median foreseen/real | smallest | largest |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for (name, bench) in &benches {
        let found = comparisons(name, bench);
        let mut added: Vec<String> = found.iter().map(|c| c.added.clone()).collect();
        added.dedup();
        for what in added {
            let part: Vec<Comparison> = found.iter().filter(|c| c.added == what).cloned().collect();
            let ratios = part.iter().map(Comparison::ratio);
            let (low, high) = (
                ratios.clone().fold(f64::INFINITY, f64::min),
                ratios.fold(0.0, f64::max),
            );
            let _ = writeln!(
                text,
                "| {name} | {what} | {} | {:.2} | {low:.2} | {high:.2} |",
                part.len(),
                spread(&part).0
            );
        }
        for c in &found {
            if std::env::var_os("NEXT_STUDY_ALL").is_some() {
                println!(
                    "# {} + {}: {} before {:?} foreseen {:.5} real {:.5} ratio {:.2}",
                    c.bench, c.added, c.parameter, c.before, c.foreseen, c.real, c.ratio()
                );
            }
        }
        all.extend(found);
    }
    let (median, nine) = spread(&all);
    println!("{text}");
    let within = |f: f64| {
        all.iter().filter(|c| c.ratio().ln().abs() < f.ln()).count() as f64 / all.len() as f64
    };
    println!(
        "All {} bounds: median {median:.2}; nine of ten within a factor of {nine:.2}; within 1.25 {:.0} %, within 1.5 {:.0} %, within 2 {:.0} %.",
        all.len(),
        100.0 * within(1.25),
        100.0 * within(1.5),
        100.0 * within(2.0)
    );
}
