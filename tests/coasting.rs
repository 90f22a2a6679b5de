//! Starts behind a bridge whose current may die in the off time, of which only the current was recorded, against a simulation of every
//! switching period.
//!
//! `COASTING_SEEDS` sets how many benches of each kind are drawn, `COASTING_FIRST` behind which seed.

use rundown::bench::{LoadOptions, read_sheet};
use rundown::events;
use rundown::fit::{Estimate, FitOptions, Reported, estimate};
use std::path::Path;
use testbench::{CoastingStart, Extras, Scenario, ShotKind, draw, presets, temporary_folder_with};

fn fitted(folder: &Path) -> Result<Estimate, String> {
    let sheet = folder.join("bench.toml");
    let bench = read_sheet(&sheet, &LoadOptions::default()).unwrap_or_else(|e| panic!("{e}"));
    let find = |c: &rundown::bench::Capture| events::find(&c.waveform, c.role);
    let timelines: Vec<_> = bench.captures.iter().map(find).collect();
    estimate(&bench, &timelines, &FitOptions::default()).map_err(|e| e.to_string())
}

/// What a bench gave: intervals that hold the truth, intervals judged, and a line of text.
struct Outcome {
    held: usize,
    judged: usize,
    in_conflict: bool,
    text: String,
}

fn outcome(scenario: &Scenario, seed: u64, start: CoastingStart) -> Outcome {
    let drawn = draw(scenario, seed).expect("a bench");
    let extras = Extras {
        coasting: Some(start),
        ..Extras::default()
    };
    let folder = temporary_folder_with(&drawn, extras).expect("a folder");
    let found = match fitted(folder.path()) {
        Ok(found) => found,
        Err(text) => {
            let name = &scenario.facts.name;
            return Outcome {
                held: 0,
                judged: 1,
                in_conflict: true,
                text: format!(
                    "{name} {seed} {start:?}: {text}
"
                ),
            };
        }
    };
    let reported = found.reported();
    let conflicts: Vec<&str> = found
        .confrontations
        .iter()
        .filter(|c| c.in_conflict())
        .map(|c| c.item.as_str())
        .collect();
    let (mut held, mut judged, mut off) = (0, 0, String::new());
    for (name, truth) in drawn.truth.parameters() {
        let of_name = |r: &&Reported| r.name == name && !r.one_sided;
        let interval = reported
            .iter()
            .find(of_name)
            .and_then(|r| r.estimate.as_ref());
        let Some(interval) = interval.filter(|_| truth > 0.0) else {
            continue;
        };
        judged += 1;
        let inside = (interval.lower..=interval.upper).contains(&truth);
        held += usize::from(inside);
        let deviation = (interval.value - truth) / interval.standard_uncertainty;
        let share = 100.0 * interval.standard_uncertainty / truth;
        let mark = if inside { "" } else { "!" };
        off += &format!(" {name} {deviation:+.1}{mark} ({share:.1} %)");
    }
    let name = &scenario.facts.name;
    Outcome {
        held,
        judged,
        in_conflict: !conflicts.is_empty() || !found.converged(),
        text: format!(
            "{name} {seed} {start:?}: {held} of {judged}, converged {}, conflicts {conflicts:?}:{off}\n",
            found.converged()
        ),
    }
}

/// Beside a run-down that gives K by a tachometer; R, L and J come from the start behind the bridge.
#[test]
fn starts_behind_a_bridge_that_coasts_hold_the_truth() {
    let number =
        |name: &str, or: u64| std::env::var(name).map_or(or, |n| n.parse().expect("a number"));
    let (seeds, first) = (number("COASTING_SEEDS", 1), number("COASTING_FIRST", 0));
    let plan = [("rundown", ShotKind::RunDown)];
    let start = |into_supply, duty, period_share, samples| CoastingStart {
        into_supply,
        duty,
        period_share,
        samples,
    };
    let starts = [
        start(true, 0.35, 0.5, 31.3),
        start(true, 0.7, 0.2, 0.83),
        start(false, 0.4, 1.0, 12.7),
        start(false, 0.25, 0.1, 1.37),
    ];
    let (mut held, mut judged, mut conflicts) = (0, 0, 0);
    let mut text = String::new();
    for scenario in [
        presets::label_peeler(),
        presets::blind_winder(),
        presets::curd_stirrer(),
    ] {
        let scenario = scenario.with_plan(&plan);
        for start in starts {
            for seed in first + 1..=first + seeds {
                let one = outcome(&scenario, seed, start);
                held += one.held;
                judged += one.judged;
                conflicts += usize::from(one.in_conflict);
                text += &one.text;
            }
        }
    }
    println!(
        "{held} of {judged} intervals hold the truth; {conflicts} benches with a conflict\n{text}"
    );
    assert!(
        judged >= 50 && 100 * held >= 85 * judged,
        "{held} of {judged}\n{text}"
    );
    assert!(conflicts <= 1, "{text}");
}
