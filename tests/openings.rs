//! The instant at which the terminals open, found in run-downs and brakes of drawn benches whose truth is known.
//!
//! Machine, instruments and record vary far beyond the presets: no-load current, zero, noise and code step of the current
//! channel, length and sampling of the record. `OPENINGS` sets how many are drawn of every preset.

use rundown::bench::{LoadOptions, Role, Trace, Waveform, read_sheet};
use rundown::capture::TimeAxis;
use rundown::events::{self, Exclusion, Phase, PhaseKind, Timeline};
use rundown::fit::{FitOptions, estimate};
use testbench::{DrawnBench, Scenario, Shot, ShotKind, draw, presets, temporary_folder};

/// Largest error of the instant, as a share of the time for which the terminals stay open.
fn share(kind: ShotKind) -> f64 {
    if kind == ShotKind::Brake { 0.1 } else { 0.01 }
}

/// Numbers in 0..1 from a seed (a Weyl sequence, enough to spread cases over their ranges).
struct Spread(f64);

impl Spread {
    fn next(&mut self) -> f64 {
        self.0 = (self.0 + 0.754_877_666_246_692_8).fract();
        (self.0 * 7919.0).fract()
    }

    /// Between `low` and `high`, even in the logarithm.
    fn log(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.next())
    }
}

/// A preset as another person with another specimen would record it.
fn varied(preset: &Scenario, kind: ShotKind, seed: u64) -> Scenario {
    let mut spread = Spread(seed as f64 * 0.618_033_988_749_894_9);
    let mut scenario = preset.clone();
    let friction = spread.log(0.1, 2.0);
    let machine = &mut scenario.machine;
    machine.coulomb_friction_nm *= friction;
    machine.breakaway_nm *= friction;
    machine.viscous_friction_nm_s_per_rad *= friction;
    machine.windage_nm_s2_per_rad2 *= friction;
    machine.rotor_inertia_kg_m2 *= spread.log(0.5, 2.0);
    let instruments = &mut scenario.instruments;
    instruments.noise_div *= spread.log(0.3, 2.5);
    instruments.sensor_noise_a *= spread.log(0.5, 3.0);
    instruments.zero_limit_div = spread.log(0.05, 1.0);
    instruments.bits = 7 + (3.0 * spread.next()) as u32;
    scenario.plan = vec![Shot {
        rows: spread.log(2_000.0, 20_000.0) as usize,
        span: if spread.next() < 0.3 { 0.6 } else { 1.0 },
        ..Shot::new("record", kind)
    }];
    scenario
}

fn waveform(drawn: &DrawnBench) -> Waveform {
    let shown = &drawn.captures[0].waveform;
    let trace = |t: &testbench::Trace| Trace {
        values: t.values.clone(),
        quantisation_step: Some(t.step),
        clipped: t.clipped.clone(),
    };
    Waveform {
        time: TimeAxis::Uniform {
            start_s: shown.start_s,
            step_s: shown.step_s,
            len: shown.rows(),
        },
        voltage_v: shown.voltage_v.as_ref().map(trace),
        current_a: Some(trace(&shown.current_a)),
    }
}

/// How many are drawn of every preset.
fn count(usually: u64) -> u64 {
    let stated = std::env::var("OPENINGS").ok();
    stated.map_or(usually, |n| n.parse().expect("a number"))
}

/// What is wrong with the phases around the opening of one record; `None` where nothing is.
fn fault(preset: &Scenario, kind: ShotKind, seed: u64) -> Option<String> {
    let drawn = draw(&varied(preset, kind, seed), seed).ok()?;
    let truth = &drawn.truth.captures[0];
    let shown = &drawn.captures[0].waveform;
    let traces = [shown.voltage_v.as_ref()?, &shown.current_a];
    if traces.iter().any(|t| t.clipped.contains(&true)) {
        return None;
    }
    let waveform = waveform(&drawn);
    let role = if kind == ShotKind::Brake {
        Role::Brake
    } else {
        Role::RunDown
    };
    let timeline = events::find(&waveform, role);
    let last_s = waveform.time.at(waveform.time.len() - 1)?;
    let opened_s = truth.contacts_s[0];
    // The flight of a brake ends at the short.
    let end_s = match truth.contacts_s.get(1) {
        Some(short_s) if kind == ShotKind::Brake => *short_s,
        _ => truth.rest_s.unwrap_or(last_s).min(last_s),
    };
    let clipped = |p: &&Phase| p.kind == PhaseKind::Excluded(Exclusion::Clipped);
    let cut: usize = timeline
        .phases
        .iter()
        .filter(clipped)
        .map(|p| p.end - p.first)
        .sum();
    if 10 * cut > waveform.time.len() {
        return None;
    }
    let step_s = shown.step_s;
    let length_s = end_s - opened_s;
    // Nobody sees a flight of a few rows behind a current of less than a code.
    let seen = truth.steady_current_a.unwrap_or(0.0) > 1.5 * shown.current_a.step;
    if kind == ShotKind::Brake && (!seen || length_s < 40.0 * step_s) {
        return None;
    }
    let allowed_s = (share(kind) * length_s).max(3.0 * step_s);
    let at = |row: usize| waveform.time.at(row).unwrap_or(f64::NAN);
    let phase = |kind| timeline.phases.iter().find(|p| p.kind == kind);
    let driven_s = phase(PhaseKind::Driven).map_or(f64::NEG_INFINITY, |p| at(p.end - 1));
    let open_s = phase(PhaseKind::Open).map(|p| at(p.first));
    // A flight may be left out as a whole, a run-down not.
    let late = match (open_s, kind) {
        (None, ShotKind::Brake) => false,
        (None, _) => true,
        (Some(open_s), ShotKind::Brake) => open_s < opened_s - allowed_s,
        (Some(open_s), _) => open_s < opened_s - allowed_s || open_s > opened_s + 5.0 * allowed_s,
    };
    (late || driven_s > opened_s + allowed_s).then(|| {
        format!(
            "{} {kind:?} {seed}: {:.3e} A on codes of {:.1e} A until {opened_s:.5} s, {length_s:.5} s open, {step_s:.1e} s a row, zero {:.3} V: driven until {driven_s:.5} s, open from {open_s:?} s, {:?}",
            preset.facts.name,
            truth.steady_current_a.unwrap_or(f64::NAN),
            shown.current_a.step,
            truth.voltage_zero_v,
            timeline.capture_warnings,
        )
    })
}

fn faults(kind: ShotKind, usually: u64) -> Vec<String> {
    let presets = presets::all();
    let cases = presets
        .iter()
        .flat_map(|p| (1..=count(usually)).map(move |seed| (p, seed)));
    cases
        .filter_map(|(preset, seed)| fault(preset, kind, seed))
        .collect()
}

#[test]
fn the_opening_of_a_run_down_is_found_to_a_hundredth_of_its_length() {
    let faults = faults(ShotKind::RunDown, 20);
    assert!(
        faults.is_empty(),
        "{}:\n{}",
        faults.len(),
        faults.join("\n")
    );
}

#[test]
fn the_flight_before_a_short_begins_when_the_supply_is_off() {
    let faults = faults(ShotKind::Brake, 20);
    assert!(
        faults.is_empty(),
        "{}:\n{}",
        faults.len(),
        faults.join("\n")
    );
}

/// The timeline of a run-down with its opening moved by a share of the time for which the terminals stay open.
fn moved(timeline: &Timeline, share: f64) -> Option<Timeline> {
    let mut moved = timeline.clone();
    let open = moved
        .phases
        .iter()
        .position(|p| p.kind == PhaseKind::Open)?;
    let length = (moved.phases[open].end - moved.phases[open].first) as f64;
    let by = (share * length) as isize;
    let at = |row: usize| row.checked_add_signed(by);
    moved.phases[open].first = at(moved.phases[open].first)?;
    for before in &mut moved.phases[..open] {
        before.end = at(before.end)?;
        if before.first > 0 {
            before.first = at(before.first)?;
        }
    }
    Some(moved)
}

#[test]
fn an_opening_taken_too_late_or_too_early_is_in_conflict_and_a_true_one_is_not() {
    let (mut missed, mut false_alarms) = (Vec::new(), Vec::new());
    let (mut tried, mut named_instants) = (0, 0);
    for preset in presets::all() {
        for seed in 1..=2 {
            let drawn = draw(&preset, seed).expect("a preset");
            let folder = temporary_folder(&drawn).expect("a folder");
            let sheet = folder.path().join("bench.toml");
            let bench = read_sheet(&sheet, &LoadOptions::default()).expect("a sheet");
            let found: Vec<Timeline> = bench
                .captures
                .iter()
                .map(|c| events::find(&c.waveform, c.role))
                .collect();
            let place = bench
                .captures
                .iter()
                .position(|c| c.name == "rundown")
                .expect("one");
            // Of any item, and of the opening.
            let conflicts = |timelines: &[Timeline]| -> Option<(bool, bool)> {
                let estimate = estimate(&bench, timelines, &FitOptions::default()).ok()?;
                let mut texts = estimate
                    .conflicts()
                    .filter_map(|c| Some(c.text.as_ref()?.to_string()));
                let any = estimate.conflicts().next().is_some();
                let of_opening =
                    |t: String| t.contains("rundown") && t.contains("would agree with both");
                Some((any, texts.any(of_opening)))
            };
            let named = format!("{} {seed}", preset.facts.name);
            if matches!(conflicts(&found), Some((_, true))) {
                false_alarms.push(named.clone());
            }
            for share in [0.15, -0.06] {
                let mut timelines = found.clone();
                let Some(other) = moved(&found[place], share) else {
                    continue;
                };
                timelines[place] = other;
                match conflicts(&timelines) {
                    Some((any, of_opening)) => {
                        tried += 1;
                        named_instants += usize::from(of_opening);
                        if !any {
                            missed.push(format!("{named}, moved by {share}"));
                        }
                    }
                    None => continue,
                }
            }
        }
    }
    assert!(
        false_alarms.is_empty() && missed.is_empty() && 10 * named_instants >= 9 * tried,
        "false alarms: {false_alarms:?}, missed: {missed:?}, {named_instants} of {tried} named"
    );
}
