//! Repeated captures of one kind: their scatter is named as an uncertainty of type A.

#[path = "common/load.rs"]
mod load;

use load::load;
use rundown::events;
use rundown::fit::{Estimate, FitOptions, estimate};
use testbench::{DrawnBench, Shot, ShotKind, draw, presets};

fn drawn() -> DrawnBench {
    let mut scenario = presets::label_peeler();
    scenario.plan = Shot::plan(&[
        ("start 1", ShotKind::Start),
        ("start 2", ShotKind::Start),
        ("start 3", ShotKind::Start),
        ("rundown", ShotKind::RunDown),
        ("brake", ShotKind::Brake),
    ]);
    draw(&scenario, 5).expect("a real bench")
}

fn fitted(drawn: &DrawnBench) -> Estimate {
    let bench = load(drawn).expect("the sheet can be read");
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    estimate(&bench, &timelines, &FitOptions::default()).expect("a result")
}

/// Type A standard uncertainties of R, L, J/K² and friction that the note on the starts names, %.
fn named(found: &Estimate) -> Vec<f64> {
    let starts = "3 captures of kind start: standard uncertainty from their scatter alone (type A, degrees of freedom 2): ";
    let mut notes = found.remarks.iter().map(ToString::to_string);
    let note = notes
        .find_map(|f| f.strip_prefix(starts).map(str::to_owned))
        .expect("a note");
    let values: Vec<&str> = note.split(", ").collect();
    ["R ", "L ", "J/K² ", "friction "]
        .iter()
        .zip(&values)
        .map(|(name, value)| {
            let number = value
                .strip_prefix(name)
                .and_then(|rest| rest.split(' ').next());
            number.and_then(|text| text.parse().ok()).expect(&note)
        })
        .collect()
}

#[test]
fn three_starts_give_a_type_a_uncertainty_of_two_degrees_of_freedom() {
    let sound = fitted(&drawn());
    assert!(
        !sound
            .remarks
            .iter()
            .any(|r| r.to_string().contains("of kind brake"))
    );
    let sound = named(&sound);
    assert!(sound.iter().all(|percent| *percent < 1.0), "{sound:?}");

    // One start on another current scale scatters about the others: J/K² of that start is 12 % larger.
    let mut spoilt = drawn();
    for value in &mut spoilt.captures[1].waveform.current_a.values {
        *value *= 1.12;
    }
    let spoilt = named(&fitted(&spoilt));
    assert!(
        spoilt[2] > 3.0 * sound[2] && spoilt[2] > 1.0,
        "{sound:?} {spoilt:?}"
    );
}
