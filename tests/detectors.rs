//! Mistakes at the bench against their detectors: how often each is found at a stated size, and how often a detector
//! cries over captures in which nothing is wrong.
//!
//! The short form is a test. `scripts/detectors` runs more seeds (`DETECTORS_SEEDS` with mistakes, `DETECTORS_SOUND` without) and
//! writes docs/detectors.md (`DETECTORS_PAGE`).

mod detection;

use detection::{Row, Tally, put_table, rows_of};
use rundown::bench::{CaptureWarning, LoadOptions, Role, read_sheet};
use rundown::events::{self, EventKind};
use testbench::{DrawnBench, Scenario, ShotKind, Trace, draw, presets, temporary_folder};

/// What was told of one capture.
struct Told {
    role: Role,
    capture_warnings: Vec<CaptureWarning>,
    words: String,
    /// The role cannot be what the capture shows.
    contradicted: bool,
    /// The contact opened again after its first closing.
    bounced: bool,
}

/// Reads the only capture of a bench as the program does, from its files, in the role its sheet gives or in `role`.
fn told(drawn: &DrawnBench, role: Option<Role>) -> Option<Told> {
    let folder = temporary_folder(drawn).unwrap();
    let sheet = folder.path().join("bench.toml");
    let text = std::fs::read_to_string(&sheet).unwrap();
    // What the person did not know of is not in the sheet.
    let text: String = text
        .lines()
        .filter(|l| !l.starts_with("current_limit_a"))
        .fold(String::new(), |t, l| t + l + "\n");
    std::fs::write(&sheet, text).unwrap();
    let bench = read_sheet(&sheet, &LoadOptions::default()).ok()?;
    let waveform = &bench.captures[0].waveform;
    let role = role.unwrap_or(bench.captures[0].role);
    let timeline = events::find(waveform, role);
    let mut capture_warnings = bench.capture_warnings.clone();
    capture_warnings.extend(&timeline.capture_warnings);
    let bounced = timeline.first_time_of(EventKind::Bounce).is_some();
    Some(Told {
        role,
        bounced,
        capture_warnings,
        words: bench
            .warnings
            .iter()
            .map(ToString::to_string)
            .chain(timeline.remarks.iter().map(ToString::to_string))
            .collect::<Vec<_>>()
            .join("\n"),
        contradicted: events::mismatch(waveform, role).is_some(),
    })
}

/// Spoils the only capture; false where that cannot be done to it.
type Spoil = fn(&mut DrawnBench, &Scenario) -> bool;

struct Mistake {
    name: &'static str,
    size: &'static str,
    detector: &'static str,
    roles: &'static [Role],
    spoil: Spoil,
    seen: fn(&Told) -> bool,
    /// Share of the spoiled captures that has to be found: a little less than docs/detectors.md measures over many seeds.
    wanted: f64,
}

/// Voltage and current of the only capture, whose voltage was recorded.
fn traces(drawn: &mut DrawnBench) -> (&mut Trace, &mut Trace) {
    let waveform = &mut drawn.captures[0].waveform;
    let voltage = waveform.voltage_v.as_mut().expect("recorded");
    (voltage, &mut waveform.current_a)
}

fn step_s(drawn: &DrawnBench) -> f64 {
    drawn.captures[0].waveform.step_s
}

/// Electrical time constant, s.
fn rise_s(scenario: &Scenario) -> f64 {
    scenario.machine.armature_inductance_h / scenario.machine.terminal_resistance_ohm
}

/// Row of the first switching.
fn event_row(drawn: &DrawnBench) -> usize {
    let capture = &drawn.captures[0];
    let event = drawn
        .truth_of(&capture.name)
        .expect("every capture has a truth");
    let rows = (event.event_s - capture.waveform.start_s) / step_s(drawn);
    rows.max(0.0) as usize
}

fn scaled_voltage(drawn: &mut DrawnBench, by: f64) -> bool {
    let (voltage, _) = traces(drawn);
    voltage.values.iter_mut().for_each(|v| *v *= by);
    voltage.step *= by;
    true
}

fn thinned(drawn: &mut DrawnBench, every: usize) -> bool {
    if drawn.captures[0].waveform.rows() / every < 200 {
        return false;
    }
    drawn.captures[0].waveform.step_s *= every as f64;
    let (voltage, current) = traces(drawn);
    for trace in [voltage, current] {
        trace.values = trace.values.iter().copied().step_by(every).collect();
        trace.clipped = trace.clipped.iter().copied().step_by(every).collect();
    }
    true
}

/// On the codes of the converter again.
fn to_codes(trace: &mut Trace) {
    let step = trace.step;
    trace
        .values
        .iter_mut()
        .for_each(|v| *v = (*v / step).round() * step);
}

const SWITCHED: &[Role] = &[Role::Start, Role::RunDown, Role::Brake, Role::LockedRotor];
const STEPS: &[Role] = &[Role::Start, Role::LockedRotor];

fn mistakes() -> Vec<Mistake> {
    vec![
        Mistake {
            name: "forgotten probe ratio",
            size: "voltage ten times too small",
            detector: "level of the voltage against the stated supply",
            roles: &[
                Role::Start,
                Role::RunDown,
                Role::Brake,
                Role::LockedRotor,
                Role::Steady,
                Role::Pwm,
            ],
            spoil: |drawn, _| scaled_voltage(drawn, 0.1),
            seen: |told| told.capture_warnings.contains(&CaptureWarning::ProbeRatio),
            wanted: 0.95,
        },
        Mistake {
            name: "reversed current probe",
            size: "current × -1",
            detector: "sign of the current while the source drives",
            roles: &[
                Role::Start,
                Role::RunDown,
                Role::Brake,
                Role::LockedRotor,
                Role::Steady,
                Role::Pwm,
                Role::TurnOff,
            ],
            spoil: |drawn, _| {
                let (_, current) = traces(drawn);
                current.values.iter_mut().for_each(|i| *i = -*i);
                true
            },
            seen: |told| {
                told.capture_warnings
                    .contains(&CaptureWarning::WrongPolarity)
            },
            wanted: 0.9,
        },
        Mistake {
            name: "AC coupling of the voltage",
            size: "high-pass with a time constant of a fifth of the record",
            detector: "a run-down whose voltage changes its sign",
            roles: &[Role::RunDown],
            spoil: |drawn, _| {
                let (trace, _) = traces(drawn);
                let share = 5.0 / trace.values.len() as f64;
                // The coupling has settled on the level before the record begins.
                let mut mean = trace.values[..20].iter().sum::<f64>() / 20.0;
                for v in &mut trace.values {
                    mean += share * (*v - mean);
                    *v -= mean;
                }
                true
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::AcCoupled),
            wanted: 0.7,
        },
        Mistake {
            name: "clipped peak",
            size: "current cut at 70 % of its peak",
            detector: "samples at the end of the range",
            roles: SWITCHED,
            spoil: |drawn, _| {
                let (_, current) = traces(drawn);
                let peak = current.values.iter().fold(0.0_f64, |a, i| a.max(i.abs()));
                let step = current.step;
                let limit = (0.7 * peak / step).round() * step;
                current
                    .values
                    .iter_mut()
                    .for_each(|i| *i = i.clamp(-limit, limit));
                true
            },
            seen: |told| told.words.contains("the current clips"),
            wanted: 0.9,
        },
        Mistake {
            name: "sample rate too low for L/R",
            size: "step of 1.2 L/R or more",
            detector: "samples in the rise of the current",
            roles: STEPS,
            spoil: |drawn, scenario| {
                let every = (1.2 * rise_s(scenario) / step_s(drawn)).ceil() as usize;
                every > 1 && thinned(drawn, every)
            },
            seen: |told| {
                told.capture_warnings
                    .contains(&CaptureWarning::RiseBetweenSamples)
            },
            wanted: 0.3,
        },
        Mistake {
            name: "motor still turning at the start",
            size: "back-EMF of 15 % of the supply before the make (put into the record; the inrush is not made smaller)",
            detector: "voltage on the open terminals before the make",
            roles: &[Role::Start],
            spoil: |drawn, scenario| {
                let (row, level) = (event_row(drawn), 0.15 * scenario.rig.supply_v);
                let (trace, _) = traces(drawn);
                trace.values.iter_mut().take(row).for_each(|v| *v += level);
                row > 50
            },
            seen: |told| told.words.contains("was already turning"),
            wanted: 0.9,
        },
        Mistake {
            name: "swapped channels",
            size: "voltage in the current's column and the reverse",
            detector: "the role shown as it is and with the two exchanged, or another doubt that spoils the estimate",
            roles: SWITCHED,
            spoil: |drawn, _| {
                let (voltage, current) = traces(drawn);
                std::mem::swap(&mut voltage.values, &mut current.values);
                std::mem::swap(&mut voltage.step, &mut current.step);
                true
            },
            seen: |told| {
                told.contradicted || told.capture_warnings.iter().any(|d| d.spoils_estimate())
            },
            wanted: 0.9,
        },
        Mistake {
            name: "trigger missed",
            size: "the record holds only what lay before the event",
            detector: "nothing leaves the noise, or a contradicted role",
            roles: &[Role::Start, Role::LockedRotor],
            spoil: |drawn, _| {
                let row = event_row(drawn);
                let (voltage, current) = traces(drawn);
                if row < 100 {
                    return false;
                }
                for trace in [voltage, current] {
                    let quiet = trace.values[..row - 20].to_vec();
                    for (k, v) in trace.values.iter_mut().enumerate() {
                        *v = quiet[k % quiet.len()];
                    }
                }
                true
            },
            seen: |told| {
                told.contradicted || told.capture_warnings.contains(&CaptureWarning::NoEvent)
            },
            wanted: 0.9,
        },
        Mistake {
            name: "rotor slipped in its clamp",
            size: "turns with a back-EMF of a tenth of the supply from the middle of the record on (put into the record)",
            detector: "voltage over current, once the current has risen",
            roles: &[Role::LockedRotor],
            spoil: |drawn, scenario| {
                let event = event_row(drawn);
                let source_ohm = scenario.rig.source_resistance_ohm;
                let loop_ohm = source_ohm + scenario.machine.terminal_resistance_ohm;
                let fall_a = 0.1 * scenario.rig.supply_v / loop_ohm;
                let rise_s = scenario.machine.armature_inductance_h / loop_ohm;
                let step_s = step_s(drawn);
                let (voltage, current) = traces(drawn);
                let middle = (event + current.values.len()) / 2;
                for row in middle..current.values.len() {
                    let grown = 1.0 - (-((row - middle) as f64) * step_s / rise_s).exp();
                    current.values[row] -= fall_a * grown;
                    voltage.values[row] += source_ohm * fall_a * grown;
                }
                to_codes(voltage);
                to_codes(current);
                true
            },
            seen: |told| told.capture_warnings.contains(&CaptureWarning::Slipped),
            wanted: 0.5,
        },
        Mistake {
            name: "probe too slow for L/R",
            size: "current behind a time constant of half L/R, which spans 24 samples or more",
            detector: "the first tenth of the rise against its 63 %",
            roles: STEPS,
            spoil: |drawn, scenario| {
                let lag_s = 0.5 * rise_s(scenario);
                let step_s = step_s(drawn);
                let (_, current) = traces(drawn);
                let mut shown = current.values[0];
                let kept = (-step_s / lag_s).exp();
                for value in &mut current.values {
                    shown = kept * shown + (1.0 - kept) * *value;
                    *value = shown;
                }
                to_codes(current);
                24.0 * step_s < 2.0 * lag_s
            },
            seen: |told| told.words.contains("begins flat"),
            wanted: 0.5,
        },
    ]
}

/// Supply in its limit: another simulation, not a change of the record. Limit at half the stall current.
fn limited(scenario: &Scenario, seed: u64) -> Option<Told> {
    let mut scenario = scenario.clone();
    let stall = scenario.rig.supply_v
        / (scenario.machine.terminal_resistance_ohm + scenario.rig.source_resistance_ohm);
    scenario.rig.current_limit_a = Some(0.5 * stall);
    scenario.plan.retain(|shot| shot.kind == ShotKind::Start);
    scenario.plan.truncate(1);
    let drawn = draw(&scenario, seed).ok()?;
    (!drawn.captures.is_empty()).then(|| told(&drawn.alone(0), None))?
}

fn plateau(told: &Told) -> bool {
    told.words.contains("the supply limits its current")
}

/// A role the capture does not have.
fn wrong(role: Role) -> Option<Role> {
    match role {
        Role::Start | Role::Brake | Role::LockedRotor => Some(Role::RunDown),
        Role::RunDown | Role::Steady => Some(Role::LockedRotor),
        _ => None,
    }
}

/// A brake whose short is made by this many closings.
fn brake_of(scenario: &Scenario, makes: u32, seed: u64) -> Option<DrawnBench> {
    let mut scenario = scenario.clone();
    scenario.rig.bounce.makes = [makes, makes];
    scenario.plan.retain(|shot| shot.kind == ShotKind::Brake);
    scenario.plan.truncate(1);
    let drawn = draw(&scenario, seed).ok()?;
    (!drawn.captures.is_empty()).then(|| drawn.alone(0))
}

/// Mistakes that are no change of a record, behind those of [`mistakes`].
const FURTHER: [Row; 3] = [
    [
        "current-limited supply",
        "limit at half the stall current (simulated)",
        "a plateau of the current while the voltage sags",
    ],
    [
        "wrong role",
        "start, brake or locked rotor as run-down; run-down or steady as locked rotor",
        "what the waveform surely shows",
    ],
    [
        "brake through a bouncing switch",
        "three closings (simulated)",
        "openings of the short, which are cut out of the fit",
    ],
];

/// Tallies: the mistakes in their order, then those of [`FURTHER`]. All captures of `seeds` seeds are spoiled; those of `sound`
/// seeds are looked at as they are.
fn study(seeds: u64, sound: u64) -> Vec<Tally> {
    let mistakes = mistakes();
    let mut tallies = vec![Tally::default(); mistakes.len() + FURTHER.len()];
    let (limit, role_slot, bounce) = (mistakes.len(), mistakes.len() + 1, mistakes.len() + 2);
    for scenario in presets::all() {
        for seed in 1..=sound.max(seeds) {
            let drawn = draw(&scenario, 1000 + seed).unwrap();
            for (k, capture) in drawn.captures.iter().enumerate() {
                let one = drawn.alone(k);
                let sound = told(&one, None).expect("a sound capture is read");
                let role = sound.role;
                let mut count = |slot: usize, cries: bool| {
                    tallies[slot].sound += 1;
                    tallies[slot].cries += u64::from(cries);
                    if cries {
                        println!(
                            "cry {slot} over {} {} of seed {seed}: {}",
                            scenario.facts.name, capture.name, sound.words
                        );
                    }
                };
                let fine = 5.0 * step_s(&one) < rise_s(&scenario);
                for (slot, mistake) in mistakes.iter().enumerate() {
                    if mistake.roles.contains(&role)
                        && (fine || !mistake.name.starts_with("sample rate"))
                    {
                        count(slot, (mistake.seen)(&sound));
                    }
                }
                // Some built-in rigs have a limit of their own, which their inrush may reach.
                if role == Role::Start && scenario.rig.current_limit_a.is_none() {
                    count(limit, plateau(&sound));
                }
                count(role_slot, sound.contradicted);
                if seed > seeds {
                    continue;
                }
                for (slot, mistake) in mistakes.iter().enumerate() {
                    let mut spoiled = one.clone();
                    if mistake.roles.contains(&role) && (mistake.spoil)(&mut spoiled, &scenario) {
                        let found = told(&spoiled, None).is_none_or(|t| (mistake.seen)(&t));
                        tallies[slot].spoiled += 1;
                        tallies[slot].found += u64::from(found);
                        if !found {
                            println!(
                                "missed {slot} in {} {} of seed {seed}",
                                scenario.facts.name, capture.name
                            );
                        }
                    }
                }
                if let Some(wrong) = wrong(role) {
                    tallies[role_slot].spoiled += 1;
                    tallies[role_slot].found +=
                        u64::from(told(&one, Some(wrong)).is_none_or(|t| t.contradicted));
                }
            }
            if let Some(clean) = brake_of(&scenario, 1, 1000 + seed) {
                let cries = told(&clean, None).is_some_and(|t| t.bounced);
                tallies[bounce].sound += 1;
                tallies[bounce].cries += u64::from(cries);
            }
            if seed > seeds {
                continue;
            }
            if let Some(bouncing) = brake_of(&scenario, 3, 1000 + seed) {
                tallies[bounce].spoiled += 1;
                tallies[bounce].found +=
                    u64::from(told(&bouncing, None).is_some_and(|t| t.bounced));
            }
            if let Some(told) = limited(&scenario, 1000 + seed) {
                tallies[limit].spoiled += 1;
                tallies[limit].found += u64::from(plateau(&told));
            }
        }
    }
    tallies
}

fn seeds(variable: &str) -> Option<u64> {
    std::env::var(variable).ok()?.parse().ok()
}

#[test]
fn mistakes_are_found_and_sound_captures_raise_no_alarm() {
    let spoiled = seeds("DETECTORS_SEEDS").unwrap_or(1);
    let sound = seeds("DETECTORS_SOUND").unwrap_or(1);
    let tallies = study(spoiled, sound);
    let mistakes = mistakes();
    let rows: Vec<Row> = mistakes
        .iter()
        .map(|m| [m.name, m.size, m.detector])
        .chain(FURTHER)
        .collect();
    let text = format!(
        "{spoiled} seeds of each of the {} built-in scenarios with mistakes, {} without. An interval is the exact binomial one at 95 %.\n\n{}",
        presets::all().len(),
        sound.max(spoiled),
        rows_of(&rows, &tallies)
    );
    println!("{text}");
    put_table("table", &text);
    let wanted = mistakes.iter().map(|m| m.wanted).chain([0.6, 0.9, 0.9]);
    for ((t, wanted), row) in tallies.iter().zip(wanted).zip(&rows) {
        assert!(
            t.found as f64 >= wanted * t.spoiled as f64,
            "{}: {} of {} found",
            row[0],
            t.found,
            t.spoiled
        );
        assert!(
            100 * t.cries <= t.sound.max(100),
            "{}: {} of {} cried over",
            row[0],
            t.cries,
            t.sound
        );
    }
}

/// No capture shows surely something else than it was taken as; roles that cannot be meant are found in nine of ten.
#[test]
fn no_sound_capture_contradicts_its_role_and_wrong_roles_are_found() {
    let (mut wrong_roles, mut found) = (0, 0);
    for scenario in presets::all() {
        for seed in 1..=2 {
            let drawn = draw(&scenario, seed).unwrap();
            for (k, capture) in drawn.captures.iter().enumerate() {
                let one = drawn.alone(k);
                let sound = told(&one, None).expect("a sound capture is read");
                let name = &scenario.facts.name;
                assert!(
                    !sound.contradicted,
                    "{name} {} of seed {seed}",
                    capture.name
                );
                if let Some(role) = wrong(sound.role) {
                    wrong_roles += 1;
                    let told = told(&one, Some(role)).expect("it is read all the same");
                    found += usize::from(told.contradicted);
                }
            }
        }
    }
    assert!(10 * found >= 9 * wrong_roles, "{found} of {wrong_roles}");
}
