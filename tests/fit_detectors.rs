//! Mistakes at the bench that show only when captures and readings are compared with each other by the whole fit: how often
//! each is found at a stated size, and how often sound benches are cried over.
//!
//! The short form is a test. `scripts/detectors` runs more benches (`FIT_DETECTORS_SOUND` and `FIT_DETECTORS_SPOILED` seeds of every
//! built-in scenario) and writes docs/detectors.md (`DETECTORS_PAGE`).

mod detection;
#[path = "common/load.rs"]
mod load;

use detection::{Row, Tally, put_table, rows_of};
use load::load;
use rundown::bench::CaptureWarning;
use rundown::fit::FitOptions;
use rundown::identify::{check_roles, identify};
use rundown::motor_file::ParameterName;
use std::time::Instant;
use testbench::{CurrentSensor, DrawnBench, Reading, Scenario, draw, presets};

/// What the program said of a bench.
#[derive(Default)]
struct Told {
    /// Kind and text of every warning of the motor file.
    warnings: Vec<(String, String)>,
    capture_warnings: Vec<CaptureWarning>,
    /// K, V·s/rad.
    constant: Option<f64>,
    /// Model steps a bin that the fit took.
    steps: f64,
    /// The captures were refused before the fit, or the fit gave no result.
    refused: bool,
}

impl Told {
    fn words(&self, words: &[&str]) -> bool {
        self.warnings
            .iter()
            .any(|(_, text)| words.iter().any(|w| text.contains(w)))
    }

    fn disagreement(&self) -> bool {
        let words = "disagrees with the other captures";
        self.warnings
            .iter()
            .any(|(kind, text)| kind == "capture" && text.contains(words))
    }
}

fn told(drawn: &DrawnBench) -> Told {
    let refused = Told {
        refused: true,
        ..Told::default()
    };
    let Ok(bench) = load(drawn) else {
        return refused;
    };
    if check_roles(&bench).is_err() {
        return refused;
    }
    match identify(&bench, &FitOptions::default(), |_| {}) {
        Err(_) => refused,
        Ok(found) => Told {
            warnings: found
                .file
                .warnings
                .iter()
                .map(|w| (w.kind.clone(), w.text.clone()))
                .collect(),
            capture_warnings: found.estimate.capture_warnings.clone(),
            constant: found
                .file
                .parameters
                .get(&ParameterName::BackEmfConstant)
                .and_then(|p| p.value),
            steps: found.estimate.problem.spent_per_bin(),
            refused: !found.estimate.converged(),
        },
    }
}

/// The bench with the mistake in it; `None` where the scenario does not allow it.
type Spoil = fn(&Scenario, u64) -> Option<DrawnBench>;

struct Mistake {
    name: &'static str,
    size: &'static str,
    detector: &'static str,
    spoil: Spoil,
    seen: fn(&Told) -> bool,
    /// Whether a bench whose mistake was not told came to no harm by it; it then counts as no mistake.
    harmless: fn(&Told, &DrawnBench) -> bool,
    /// Share of the spoiled benches that has to be found: a little less than docs/detectors.md measures over many seeds.
    wanted: f64,
}

fn drawn(scenario: &Scenario, seed: u64) -> DrawnBench {
    draw(scenario, seed).expect("the scenarios describe real benches")
}

fn miscounted(scenario: &Scenario, seed: u64) -> DrawnBench {
    let mut bench = drawn(scenario, seed);
    bench.motor.commutator_segments = Some(scenario.machine.commutator.segments + 1);
    bench
}

/// True when K is within 2 % of the truth: the ripple overruled the count.
fn constant_stands(told: &Told, bench: &DrawnBench) -> bool {
    let truth = bench.truth.parameter("back_emf_constant");
    told.constant
        .zip(truth)
        .is_some_and(|(k, truth)| (k / truth - 1.0).abs() < 0.02)
}

/// Currents as they come out with a shunt stated so many times too small, or a clamp's ratio so many times too large: its sheet's
/// zero and the scale of the screen go with them.
fn scale_current(drawn: &mut DrawnBench, by: f64) {
    for capture in &mut drawn.captures {
        let trace = &mut capture.waveform.current_a;
        trace.values.iter_mut().for_each(|v| *v *= by);
        trace.step *= by;
    }
    for truth in &mut drawn.truth.captures {
        truth.current_vertical.per_division *= by;
    }
    match &mut drawn.truth.rig.sensor {
        CurrentSensor::Shunt { nominal_ohm, .. } => *nominal_ohm /= by,
        CurrentSensor::Clamp { zero_limit_a, .. } => *zero_limit_a *= by,
    }
}

fn scale_time(drawn: &mut DrawnBench, capture: usize, by: f64) {
    let waveform = &mut drawn.captures[capture].waveform;
    waveform.start_s *= by;
    waveform.step_s *= by;
}

/// Which capture a mistake is put into: another one with every seed.
fn chosen(drawn: &DrawnBench, seed: u64) -> usize {
    let moving: Vec<usize> = (0..drawn.captures.len())
        .filter(|&k| {
            let role = drawn.captures[k].kind.role();
            ["start", "run-down", "brake"].contains(&role)
        })
        .collect();
    moving[seed as usize % moving.len()]
}

/// The same errors of all instruments, winding so much warmer than noted.
fn warmed(scenario: &Scenario, seed: u64, by_k: f64) -> DrawnBench {
    let mut hot = scenario.clone();
    hot.rig.temperature.winding_c += by_k;
    let mut bench = drawn(&hot, seed);
    bench.winding_temperature_c.value = scenario.rig.temperature.winding_c;
    bench
}

const ANCHORS: &[&str] = &[
    "disagree with the harmonic pattern of the ripple",
    "commutator segments; the ripple's harmonic pattern",
    "and no likely segment count agrees with them",
    "σ apart (not by chance). K from",
];

fn mistakes() -> Vec<Mistake> {
    vec![
        Mistake {
            name: "wrong segment count, with a tachometer reading",
            size: "one segment too many, where K then is more than 2 % off",
            detector: "the harmonic pattern of the ripple, and the speed references against each other",
            spoil: |scenario, seed| Some(miscounted(scenario, seed)),
            seen: |told| told.words(ANCHORS),
            harmless: constant_stands,
            wanted: 0.5,
        },
        Mistake {
            name: "wrong segment count, nothing else gives the speed",
            size: "one segment too many, where K then is more than 2 % off",
            detector: "the harmonic pattern of the ripple",
            spoil: |scenario, seed| {
                let mut bench = miscounted(scenario, seed);
                bench.forget_speeds();
                bench.captures.retain(|c| c.added_inertia_kg_m2.is_none());
                Some(bench)
            },
            seen: |told| told.words(ANCHORS),
            harmless: constant_stands,
            wanted: 0.5,
        },
        Mistake {
            name: "winding warmer than noted, all captures",
            size: "40 K (+15 % of resistance), ohmmeter read cold",
            detector: "resistance of the captures against the ohmmeter",
            spoil: |scenario, seed| {
                let mut bench = warmed(scenario, seed, 40.0);
                let cold = drawn(scenario, seed).readings;
                let meter = |r: &Reading| matches!(r, Reading::Ohmmeter { .. });
                bench.readings.retain(|r| !meter(r));
                bench.readings.extend(cold.into_iter().filter(meter));
                bench.readings.iter().any(meter).then_some(bench)
            },
            seen: |told| told.words(&["where the ohmmeter reads"]) || told.disagreement(),
            harmless: |_, _| false,
            wanted: 0.3,
        },
        Mistake {
            name: "winding warmer than noted, one capture",
            size: "40 K (+15 % of resistance) in one of start, run-down and brake",
            detector: "each capture against the others",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                let k = chosen(&bench, seed);
                // A run-down carries no current worth the name.
                if bench.captures[k].kind.role() == "run-down" {
                    return None;
                }
                bench.replace_capture(k, &warmed(scenario, seed, 40.0));
                Some(bench)
            },
            seen: |told| told.words(&["where the ohmmeter reads"]) || told.disagreement(),
            harmless: |_, _| false,
            wanted: 0.3,
        },
        Mistake {
            name: "shunt or ratio of the current ten times off",
            size: "all currents ten times too large",
            detector: "resistance of the captures against the ohmmeter",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                scale_current(&mut bench, 10.0);
                Some(bench)
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::TenTimesOff),
            harmless: |_, _| false,
            wanted: 0.9,
        },
        Mistake {
            name: "shunt or ratio of the current ten times off, the other way",
            size: "all currents ten times too small",
            detector: "resistance of the captures against the ohmmeter",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                scale_current(&mut bench, 0.1);
                Some(bench)
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::TenTimesOff),
            harmless: |_, _| false,
            wanted: 0.9,
        },
        Mistake {
            name: "captures of two different motors",
            size: "one capture of a specimen with R, L, K and J 15, 10, 10 and 20 % larger",
            detector: "each capture against the others",
            spoil: |scenario, seed| {
                let mut other = scenario.clone();
                other.machine.terminal_resistance_ohm *= 1.15;
                other.machine.armature_inductance_h *= 1.10;
                other.machine.back_emf_constant_v_s_per_rad *= 1.10;
                other.machine.rotor_inertia_kg_m2 *= 1.20;
                let mut bench = drawn(scenario, seed);
                let k = chosen(&bench, seed);
                bench.replace_capture(k, &drawn(&other, seed));
                Some(bench)
            },
            seen: |told| told.disagreement() || told.words(&["where the ohmmeter reads"]),
            harmless: |_, _| false,
            wanted: 0.3,
        },
        Mistake {
            name: "time base in the wrong unit, one capture",
            size: "milliseconds taken for seconds in one of start, run-down and brake",
            detector: "time constants of the captures against each other, or a role that the record no longer shows",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                let k = chosen(&bench, seed);
                scale_time(&mut bench, k, 1e3);
                Some(bench)
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::TimeBase) || told.refused,
            harmless: |_, _| false,
            wanted: 0.5,
        },
        Mistake {
            name: "time base in the wrong unit, all captures",
            size: "milliseconds taken for seconds",
            detector: "time constants against those of any motor, or a role that the record no longer shows",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                for k in 0..bench.captures.len() {
                    scale_time(&mut bench, k, 1e3);
                }
                Some(bench)
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::TimeBase) || told.refused,
            harmless: |_, _| false,
            wanted: 0.9,
        },
        Mistake {
            name: "time base in the wrong unit, all captures, the other way",
            size: "seconds taken for milliseconds",
            detector: "time constants against those of any motor, or a role that the record no longer shows",
            spoil: |scenario, seed| {
                let mut bench = drawn(scenario, seed);
                for k in 0..bench.captures.len() {
                    scale_time(&mut bench, k, 1e-3);
                }
                Some(bench)
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::TimeBase) || told.refused,
            harmless: |_, _| false,
            wanted: 0.9,
        },
    ]
}

/// Tallies of the mistakes, and how many sound benches were fitted. Of each round of seeds one bench is spoiled in every way and the
/// others are left sound, so that a run which ends by time holds its share of both.
fn study(scenarios: &[Scenario], sound: u64, spoiled: u64, seconds: u64) -> (Vec<Tally>, u64) {
    let begun = Instant::now();
    let over = || begun.elapsed().as_secs() >= seconds;
    let mistakes = mistakes();
    let mut tallies = vec![Tally::default(); mistakes.len()];
    let (mut most_steps, mut fitted) = (0.0_f64, 0);
    let each = sound.div_ceil(spoiled.max(1)).max(1);
    for seed in 0..sound.max(spoiled * each) {
        for scenario in scenarios {
            if seed < sound && !over() {
                let told = told(&drawn(scenario, 3001 + seed));
                most_steps = most_steps.max(told.steps);
                fitted += 1;
                for (mistake, tally) in mistakes.iter().zip(&mut tallies) {
                    let cries = (mistake.seen)(&told);
                    tally.sound += 1;
                    tally.cries += u64::from(cries);
                    if cries {
                        tell("cry", mistake, scenario, 3001 + seed, &told);
                    }
                }
            }
            if seed % each == 0 && seed / each < spoiled {
                let seed = 4001 + seed / each;
                for (mistake, tally) in mistakes.iter().zip(&mut tallies) {
                    if over() {
                        break;
                    }
                    let Some(bench) = (mistake.spoil)(scenario, seed) else {
                        continue;
                    };
                    let at = Instant::now();
                    let told = told(&bench);
                    let found = (mistake.seen)(&told);
                    if !found && (mistake.harmless)(&told, &bench) {
                        continue;
                    }
                    tally.spoiled += 1;
                    tally.found += u64::from(found);
                    if !found {
                        tell("missed", mistake, scenario, seed, &told);
                    }
                    if at.elapsed().as_secs() >= 20 {
                        tell(
                            &format!("{:.0?}", at.elapsed()),
                            mistake,
                            scenario,
                            seed,
                            &told,
                        );
                    }
                }
            }
        }
    }
    println!("most model steps a bin for a sound bench: {most_steps:.0}");
    (tallies, fitted)
}

fn tell(what: &str, mistake: &Mistake, scenario: &Scenario, seed: u64, told: &Told) {
    println!(
        "{what}: {}, {}, seed {seed}: refused {}, {:?}, {:?}",
        mistake.name, scenario.facts.name, told.refused, told.capture_warnings, told.warnings
    );
}

fn seeds(variable: &str) -> Option<u64> {
    std::env::var(variable).ok()?.parse().ok()
}

#[test]
fn mistakes_that_only_the_fit_can_find_are_found_and_sound_benches_raise_no_alarm() {
    let (scenarios, sound, spoiled) = match seeds("FIT_DETECTORS_SOUND") {
        Some(sound) => (
            presets::all(),
            sound,
            seeds("FIT_DETECTORS_SPOILED").unwrap_or(1),
        ),
        // The ohmmeter and metal brushes of the feeder show a warm winding, which the contact of carbon ones hides.
        None => (
            vec![
                presets::blind_winder(),
                presets::label_peeler(),
                presets::aquarium_feeder(),
            ],
            1,
            1,
        ),
    };
    let seconds = seeds("FIT_DETECTORS_SECONDS").unwrap_or(u64::MAX);
    let (tallies, fitted) = study(&scenarios, sound, spoiled, seconds);
    let mistakes = mistakes();
    let rows: Vec<Row> = mistakes
        .iter()
        .map(|m| [m.name, m.size, m.detector])
        .collect();
    let text = format!(
        "{fitted} sound benches of {} built-in scenarios, each with all its captures and readings, and others with one mistake in each. \
         An interval is the exact binomial one at 95 %.\n\n{}",
        scenarios.len(),
        rows_of(&rows, &tallies)
    );
    println!("{text}");
    put_table("fit table", &text);
    for (mistake, t) in mistakes.iter().zip(&tallies) {
        assert!(
            t.found as f64 >= mistake.wanted * t.spoiled as f64,
            "{}: {} of {} found",
            mistake.name,
            t.found,
            t.spoiled
        );
        assert!(
            100 * t.cries <= t.sound.max(100),
            "{}: {} of {} cried over",
            mistake.name,
            t.cries,
            t.sound
        );
    }
}

/// Each was cried over once: a current that reverses inside the first sample of a brake, a record clipped to
/// single samples, counts whose unevenness outweighs the ripple, a tachometer against a back-EMF that the model misses by half a per cent,
/// a brake that bounces before its charge is seen.
#[test]
fn sound_benches_that_were_cried_over_are_not() {
    let seeds: [(Scenario, &[u64]); 5] = [
        (presets::aquarium_feeder(), &[3008, 3042]),
        (presets::blind_winder(), &[3004]),
        (presets::bottle_warmer_fan(), &[3048]),
        (presets::label_peeler(), &[3023, 3032, 3046]),
        (presets::ramp_lift(), &[478, 3010, 3053]),
    ];
    for (scenario, seeds) in seeds {
        for &seed in seeds {
            let told = told(&drawn(&scenario, seed));
            let name = &scenario.facts.name;
            assert!(!told.refused, "{name} {seed}");
            assert!(!told.words(ANCHORS), "{name} {seed}: {:?}", told.warnings);
            assert!(
                !told.capture_warnings.contains(&CaptureWarning::TimeBase),
                "{name} {seed}"
            );
        }
    }
}
