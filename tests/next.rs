//! What to measure next: the forecast against what the fit then says, and the command in front of a user.

#[path = "common/load.rs"]
mod load;

use load::load;
use rundown::bench::{Bench, LoadOptions, Reading, Role, read_sheet};
use rundown::events;
use rundown::fit::{Addition, Estimate, ExperimentDesign, FitOptions, Status, estimate};

use rundown::next::{CaptureKind, Goal, Question, Rig, Size, rank};
use std::fmt::Write;
use std::path::Path;
use std::process::Command;
use testbench::{draw, presets};

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
    let drawn = draw(&presets::named(name).expect("a preset"), seed);
    load(&drawn.expect("it can be simulated")).expect("its sheet can be read")
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
fn deed(bench: &Bench, full: &Estimate, k: usize) -> Option<(CaptureKind, f64)> {
    let supply = bench.motor.supply_v?;
    let deed = match bench.captures[k].role {
        Role::Start => CaptureKind::Start,
        Role::RunDown => CaptureKind::RunDown,
        Role::Brake => CaptureKind::Brake { through_ohm: 0.0 },
        Role::LockedRotor => CaptureKind::Locked,
        Role::Steady => CaptureKind::Steady,
        _ => return None,
    };
    let held_v = full.segments[k]
        .iter()
        .flat_map(|l| &l.bins)
        .map(|b| b.voltage_v.abs())
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    Some((
        deed,
        if deed == CaptureKind::Locked {
            held_v
        } else {
            supply
        },
    ))
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
        let (with, without): (Vec<Reading>, Vec<Reading>) =
            bench.readings.iter().cloned().partition(
                |r| matches!(r, Reading::Speed { capture: Some(c), .. } if c == capture_name),
            );
        let mut less = bench.clone();
        less.captures.remove(k);
        less.readings = without;
        let Some(before) = fitted(&less) else {
            continue;
        };
        let design = ExperimentDesign::new(&less, &before);
        let rig = Rig::new(&less, design.motor());
        // What was on the shaft then is on it again; as the terminals see it, it takes K.
        let constant = before
            .reported()
            .iter()
            .find(|r| r.name == "back_emf_constant")
            .and_then(|r| r.estimate)
            .map(|at| at.value);
        let added = match (bench.captures[k].added_inertia_kg_m2, constant) {
            (Some(inertia), Some(k)) => Some((inertia.value / (k * k), inertia)),
            (Some(_), None) => continue,
            _ => None,
        };
        let Some(mut planned) = rig.capture("planned", deed, voltage, added) else {
            continue;
        };
        let ripple = full
            .ripple
            .iter()
            .find(|f| f.capture == k && f.taken.is_some());
        planned.ripple_relative = ripple.map(|_| 5e-4);
        let readings = with
            .into_iter()
            .map(|r| match r {
                Reading::Speed { speed_rad_s, .. } => Reading::Speed {
                    speed_rad_s,
                    capture: Some("planned".into()),
                    terminal_voltage_v: None,
                    current_a: None,
                    meter: None,
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
        compare(
            name,
            capture_name,
            &before,
            &design,
            &addition,
            &full,
            &mut out,
        );
    }
    for k in 0..bench.readings.len() {
        let word = match &bench.readings[k] {
            Reading::Speed { .. } => "tachometer reading",
            Reading::Ohmmeter { .. } => "ohmmeter reading",
            _ => continue,
        };
        let mut less = bench.clone();
        let reading = less.readings.remove(k);
        let Some(before) = fitted(&less) else {
            continue;
        };
        let design = ExperimentDesign::new(&less, &before);
        let addition = Addition {
            readings: vec![reading],
            assumed_constant_v_s_per_rad: 0.01,
            ..Addition::default()
        };
        compare(name, word, &before, &design, &addition, &full, &mut out);
    }
    out
}

fn compare(
    name: &str,
    added: &str,
    before: &Estimate,
    design: &ExperimentDesign<'_>,
    addition: &Addition,
    full: &Estimate,
    out: &mut Vec<Comparison>,
) {
    let Some(expected) = design.expect(addition) else {
        return;
    };
    let now = before.reported();
    for ((outlook, after), now) in expected.uncertainties.iter().zip(full.reported()).zip(&now) {
        let (Some(foreseen), Status::Measured, false, Some(at)) = (
            outlook.relative,
            after.status,
            after.one_sided,
            after.estimate,
        ) else {
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
                    c.bench,
                    c.added,
                    c.parameter,
                    c.before,
                    c.foreseen,
                    c.real,
                    c.ratio()
                );
            }
        }
        all.extend(found);
    }
    let told = format!(
        "{text}\n{}\n{}\n",
        summary("All bounds", &all),
        summary(
            "Those that the addition brought down by a tenth or more, or made measured",
            &moved(&all)
        )
    );
    println!("{told}");
    if let Some(page) = std::env::var_os("NEXT_PAGE") {
        write_between_marks(Path::new(&page), &told);
    }
}

/// Bounds that the addition truly changed.
fn moved(all: &[Comparison]) -> Vec<Comparison> {
    all.iter()
        .filter(|c| {
            c.before
                .is_none_or(|b| c.real < 0.9 * b || c.foreseen < 0.9 * b)
        })
        .cloned()
        .collect()
}

fn summary(words: &str, all: &[Comparison]) -> String {
    let (median, nine) = spread(all);
    let within = |f: f64| {
        let near = all.iter().filter(|c| c.ratio().ln().abs() < f.ln());
        100.0 * near.count() as f64 / all.len() as f64
    };
    format!(
        "{words} ({}): median of foreseen over real {median:.2}; nine of ten within a factor of {nine:.2}; within 1.25 {:.0} %, within 1.5 {:.0} %, within 2 {:.0} %.\n",
        all.len(),
        within(1.25),
        within(1.5),
        within(2.0)
    )
}

/// Replaces what stands between the two marks of docs/next.md.
fn write_between_marks(page: &Path, text: &str) {
    const MARKS: [&str; 2] = ["<!-- study: begin -->\n", "<!-- study: end -->"];
    let old = std::fs::read_to_string(page).expect("the page is there");
    let (head, rest) = old.split_once(MARKS[0]).expect("the first mark");
    let (_, tail) = rest.split_once(MARKS[1]).expect("the second mark");
    let new = format!("{head}{}{text}{}{tail}", MARKS[0], MARKS[1]);
    std::fs::write(page, new).expect("the page can be written");
}

/// The same on two benches, in a time that a test may take. Factors as measured by the long study, with room for other
/// machines' rounding only: docs/next.md.
#[test]
fn what_is_foreseen_is_what_the_fit_then_says() {
    let mut all = comparisons("telescope focuser", &fixture("telescope_focuser"));
    all.extend(comparisons("seed spreader", &preset("seed spreader", 3)));
    let moved = moved(&all);
    assert!(moved.len() > 20, "{}", moved.len());
    let (median, nine) = spread(&moved);
    assert!((0.8..1.25).contains(&median), "median {median}\n{moved:#?}");
    assert!(nine < NINE_OF_TEN, "nine of ten within {nine}\n{moved:#?}");
}

const NINE_OF_TEN: f64 = 1.8;

fn ranking(bench: &Bench, goal: &str) -> rundown::next::Ranking {
    let estimate = fitted(bench).expect("it can be fitted");
    rank(
        bench,
        &estimate,
        &Question {
            goal: Goal::parse(&[goal.to_string()]).expect("a goal"),
            supply_v: bench.motor.supply_v.expect("a supply"),
            size: Size::default(),
        },
    )
}

#[test]
fn no_candidate_makes_any_bound_larger_and_budgets_add_up() {
    for bench in [fixture("ticket_printer"), preset("blind winder", 1)] {
        let ranking = ranking(&bench, "all");
        assert!(ranking.candidates.len() > 10);
        let mut changed = 0;
        for candidate in &ranking.candidates {
            for after in &candidate.after {
                // Rounding of two inverses of a matrix of condition 1e10 or so.
                assert!(
                    after.ratio.is_none_or(|r| r < 1.0 + 1e-4),
                    "{}: {after:?}",
                    candidate.candidate.title
                );
                changed += usize::from(after.ratio.is_some_and(|r| r < 0.9));
            }
        }
        assert!(changed > 20, "{changed}");
        for now in ranking.now.iter().filter(|n| !n.budget.is_empty()) {
            let sum: f64 = now.budget.iter().map(|s| s.share).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{}: {sum}", now.parameter);
        }
        // The plan only gets better, and its first step is the best candidate.
        assert_eq!(ranking.plan[0].key, ranking.candidates[0].candidate.key);
        assert!(ranking.plan.windows(2).all(|w| w[1].score < w[0].score));
    }
}

/// With the estimator left as it is, a prior that is sharper by q leaves u² (1 − share (1 − q²)) of a variance of which it made
/// `share`; the best estimator does no worse (Gauss-Markov).
#[test]
fn a_calibration_takes_its_share_of_the_variance_away() {
    let bench = fixture("ticket_printer");
    let ranking = ranking(&bench, "all");
    let mut judged = 0;
    for instrument in ["clamp", "scope"] {
        let key = format!("calibrate_{instrument}");
        let candidate = ranking.candidates.iter().find(|c| c.candidate.key == key);
        let candidate = candidate.expect("the instrument's gain is worse than 0.2 %");
        let hardware = bench.instruments.iter().find(|i| i.name == instrument);
        let q = 1e-3 / hardware.expect("in the sheet").gain_relative_uncertainty;
        for (after, now) in candidate.after.iter().zip(&ranking.now) {
            let label = format!("gain of {instrument}");
            let share = now.budget.iter().find(|s| s.source == label);
            let Some((share, ratio)) = share.map(|s| s.share).zip(after.ratio) else {
                continue;
            };
            let most = 1.0 - share * (1.0 - q * q);
            // What entries at their bound may still do is a second moment in the one and a prior in the other.
            assert!(ratio * ratio < most + 0.03, "{after:?} {share}");
            judged += usize::from(share > 0.2);
        }
    }
    assert!(judged >= 5, "{judged}");
}

/// Without a speed K, J and the torques are undetermined; a reading makes them measured, and is first when they are wanted.
#[test]
fn without_a_speed_an_anchor_is_the_first_advice() {
    let mut bench = fixture("ticket_printer");
    bench
        .readings
        .retain(|r| !matches!(r, Reading::Speed { .. }));
    // Without the run-down no ripple tells the speed either.
    bench.captures.retain(|c| c.role != Role::RunDown);
    let ranking = ranking(&bench, "inertia");
    let inertia = ranking
        .now
        .iter()
        .find(|n| n.parameter == "rotor_inertia")
        .expect("a row");
    assert_eq!(inertia.status, "undetermined");
    assert!(inertia.value.is_none());
    let first = &ranking.candidates[0];
    let anchors = [
        "tachometer",
        "run_down_ripple",
        "driven_back_emf",
        "added_inertia",
        "no_load_table",
        "load_line",
    ];
    assert!(
        anchors.contains(&first.candidate.key.as_str()),
        "{}",
        first.candidate.key
    );
    let after = |key: &str| {
        let candidate = ranking.candidates.iter().find(|c| c.candidate.key == key);
        let after = candidate.expect("on the list").after.iter();
        after
            .filter(|a| a.name == "rotor_inertia")
            .map(|a| (a.newly_determined, a.relative))
            .next()
            .expect("a row")
    };
    for key in anchors {
        let (fresh, relative) = after(key);
        assert!(
            fresh && relative.is_some_and(|u| u < 0.2),
            "{key}: {relative:?}"
        );
    }
    // What tells no speed leaves it undetermined.
    assert_eq!(after("start"), (false, None));
    assert_eq!(after("ohmmeter"), (false, None));
}

/// Words of an output, its lines joined.
fn joined(bytes: Vec<u8>) -> String {
    let text = String::from_utf8(bytes).expect("UTF-8");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn rundown() -> Command {
    Command::new(env!("CARGO_BIN_EXE_rundown"))
}

fn answer(arguments: &[&str]) -> (i32, String, String) {
    let output = rundown()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(arguments)
        .output()
        .expect("it runs");
    (
        output.status.code().expect("it ends by itself"),
        joined(output.stdout),
        joined(output.stderr),
    )
}

#[test]
fn before_the_first_capture_the_numbers_are_those_of_a_pocket_calculator() {
    let arguments = "next --supply 24V --resistance 3.2ohm --diameter 36mm --length 57mm";
    let words: Vec<&str> = arguments.split(' ').collect();
    let (status, text, _) = answer(&words);
    assert_eq!(status, 0);
    // 24 V / 3.2 Ω; 7.5² · 0.05; a shunt of 0.05/3.2.
    for told in [
        "7.5 A (guess 7.14 to 10.7 A)",
        "50 mΩ, 1.6 % of R",
        "2.81 W",
        "2 A time-lag",
        "at most 6 V and 1 s",
        "role = \"locked-rotor\"",
        "local codes and licensed practice come first",
    ] {
        assert!(text.contains(told), "{told} in\n{text}");
    }
    let (_, json, _) = answer(&[&words[..], &["--json"]].concat());
    let plan: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(plan["inrush_a"]["value"], 7.5);
    assert_eq!(plan["fuse"]["rating_a"], 2.0);
    // Copper: π/4 · 36² · 57 mm³ at 4000 kg/m³, a tenth of it: 23.208 g; 385 J/(kg K), 10 K, 6 V across 3.2 Ω: 7.942 s.
    let seconds = plan["hold"]["measuring_s"]["value"]
        .as_f64()
        .expect("known");
    assert!((seconds - 7.942).abs() < 0.005, "{seconds}");
    assert_eq!(plan["captures"].as_array().map(Vec::len), Some(4));
}

#[test]
fn without_an_ohmmeter_or_a_size_it_says_what_is_lost() {
    let (status, text, _) = answer(&["next", "--supply", "12V"]);
    assert_eq!(status, 0);
    assert!(text.contains("missing: no ohmmeter reading"), "{text}");
    assert!(text.contains("missing: no size"), "{text}");
    assert!(!text.contains("inrush V/R, at every start"), "{text}");
    assert!(text.contains("at most 1 V and"), "{text}");
}

#[test]
fn a_sheet_with_readings_and_no_captures_is_enough() {
    let folder = tempfile::tempdir().expect("a folder");
    let sheet = folder.path().join("bench.toml");
    std::fs::write(
        &sheet,
        r#"
[motor]
name = "ticket gate motor"
brushes = "metal"
commutator_segments = 5
[supply]
voltage = { v = 12.0, limit_percent = 1 }
[[readings]]
kind = "ohmmeter"
readings_ohm = [2.2, 2.3, 2.1]
leads = { ohm = 0.2, limit_ohm = 0.02 }
"#,
    )
    .expect("written");
    let path = sheet.to_str().expect("UTF-8");
    let (status, text, errors) = answer(&["next", path, "--tachometer"]);
    assert_eq!(status, 0, "{errors}");
    assert!(text.contains("ticket gate motor"), "{text}");
    // 12 V over 2.2 − 0.2 Ω.
    assert!(text.contains("6 A (guess"), "{text}");
    assert!(text.contains("tachometer read"), "{text}");
}

#[test]
fn what_cannot_be_meant_is_refused_with_the_way_out() {
    for (arguments, told) in [
        (vec!["next"], "--supply 24V"),
        (vec!["next", "--supply", "-24V"], "above zero"),
        (
            vec!["next", "--supply", "24V", "--resistance", "-3ohm"],
            "--resistance is -3",
        ),
        (
            vec!["next", "--supply", "24V", "--diameter", "36m"],
            "expected 3 mm to 500 mm",
        ),
        (
            vec!["next", "--supply", "24V", "--for", "intertia"],
            "did you mean \"inertia\"",
        ),
        (
            vec!["next", "--supply", "24V", "--segments", "2"],
            "three segments or more",
        ),
        (vec!["next", "no-such-bench.toml"], "no-such-bench.toml"),
        (
            vec![
                "next",
                "fixtures/ticket_printer/bench.toml",
                "--resistance",
                "3ohm",
            ],
            "without captures",
        ),
    ] {
        let (status, _, errors) = answer(&arguments);
        assert_eq!(status, 2, "{arguments:?}: {errors}");
        assert!(errors.contains(told), "{arguments:?}: {errors}");
    }
}

#[test]
fn a_fitted_bench_is_told_in_words_and_in_json() {
    let sheet = "fixtures/ticket_printer/bench.toml";
    let (status, text, errors) = answer(&["next", sheet, "--for", "J"]);
    assert!(status < 2, "{errors}");
    assert!(text.contains("what narrows rotor inertia most"), "{text}");
    assert!(text.contains("added inertia"), "{text}");
    assert!(!text.contains('\u{1b}'));
    let (_, json, _) = answer(&["next", sheet, "--for", "J", "--json"]);
    let ranking: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let candidates = ranking["candidates"].as_array().expect("a list");
    let scores: Vec<f64> = candidates
        .iter()
        .filter_map(|c| c["score"].as_f64())
        .collect();
    assert!(scores.len() > 10 && scores.windows(2).all(|w| w[0] <= w[1]));
    let locked = candidates
        .iter()
        .find(|c| c["key"] == "locked_rotor")
        .expect("on the list");
    let caution = locked["cautions"][0].as_str().expect("a caution");
    assert!(caution.contains("held rotor: at most"), "{caution}");
}

/// Over supplies, resistances and sizes: no capture above 60 V DC (IEC 61140), a fuse that carries what is planned or a word that none is
/// sold, a capacitor with its energy and its discharge, a held rotor below the supply.
#[test]
fn whatever_the_supply_the_resistance_and_the_size_what_is_proposed_is_safe() {
    let sizes = ["", " --diameter 60mm --length 100mm"];
    for volts in [1.0, 5.0, 12.0, 24.0, 48.0, 60.0, 61.0, 90.0, 325.0, 1000.0] {
        for ohms in [0.3, 1.0, 3.2, 20.0, 150.0] {
            for size in sizes {
                let case = format!("next --supply {volts}V --resistance {ohms}ohm{size}");
                let words: Vec<&str> = case.split(' ').collect();
                let (status, text, errors) = answer(&[&words[..], &["--details"]].concat());
                if volts > 60.0 {
                    assert_eq!(status, 1, "{case}: {errors}");
                    let all = text + &errors;
                    assert!(all.contains("trained"), "{case}: {all}");
                    let proposed = ["µF", "mF", "battery", "fuse"];
                    assert!(!proposed.iter().any(|p| all.contains(p)), "{case}: {all}");
                    continue;
                }
                if ohms < 1.0 {
                    // Two wires are no basis there: leads alone are a good part of it.
                    assert!((text + &errors).contains("four"), "{case}: {errors}");
                    continue;
                }
                assert_eq!(status, 0, "{case}: {errors}");
                let (_, json, _) = answer(&[&words[..], &["--json"]].concat());
                let plan: serde_json::Value = serde_json::from_str(&json).expect("JSON");
                let number = |place: &str| plan.pointer(place).and_then(serde_json::Value::as_f64);
                assert!(number("/hold/voltage_v").expect("known") < volts, "{case}");
                match number("/fuse/rating_a") {
                    Some(rating_a) => {
                        // A time-lag fuse carries twice its rating for longer than a held step of a second lasts (IEC 60127-2).
                        let held_a = number("/hold/current_a/high").expect("known");
                        let running_a = number("/machine/running_a/value").expect("known");
                        assert!(rating_a >= running_a && 2.0 * rating_a >= held_a, "{case}");
                        assert!(text.contains("not the winding"), "{case}: {text}");
                    }
                    None => assert!(text.contains("none is sold"), "{case}: {text}"),
                }
                let proposed = !text.contains("capacitor none");
                let told = text.contains("It stores") && text.contains("voltmeter");
                assert!(!proposed || told, "{case}: {text}");
            }
        }
    }
}
