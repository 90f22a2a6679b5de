//! `rundown next`: what to measure next.

use crate::cli::flags::{check_level, short, signed};
use crate::cli::terminal::{Status, print_json, print_text, report_warning};
use anyhow::{Context, bail};
use rundown::bench::{Bench, LoadOptions, read_sheet};
use rundown::fit::FitOptions;
use rundown::identify::{check_roles, identify};
use rundown::motor_file::{self, MotorFile, SHEET_ROLE};
use rundown::next::{
    Goal, Known, Question, Size, driven_v, first_plan, first_text, heat_plan, heat_text, rank,
    ranking_text, refusal, resistance_given, resistance_of,
};
use rundown::quantity::FlagUnits;
use std::path::{Path, PathBuf};

/// Room where the sheet states none, °C.
const ROOM_C: f64 = 25.0;

/// Show what to measure next
///
/// With a bench sheet that names captures: which capture or reading would narrow the intervals most, with settings.
/// Without captures: the first ones, from supply voltage, ohmmeter reading and size.
///
/// Exit status: 0, 1 when the fit behind the answer is in conflict, 2 when the command could not run.
#[derive(Debug, clap::Args)]
#[command(
    mut_args = signed,
    after_help = "Example: rundown next captures/bench.toml --for inertia"
)]
pub struct NextArguments {
    /// Bench sheet (TOML) with or without captures, or a motor file made from one
    #[arg(value_name = "BENCH.toml")]
    sheet: Option<PathBuf>,
    /// Goal: parameters by key, symbol or short name, e.g. inertia,K,friction; or heat, for a heat run
    #[arg(long = "for", value_name = "PARAMETER", default_value = "all")]
    goal: Vec<String>,
    /// Supply voltage, e.g. 24V; the sheet's without it
    #[arg(long, value_name = "VOLTAGE", value_parser = short(FlagUnits::VOLTAGE))]
    supply: Option<f64>,
    /// Ohmmeter reading at the terminals, leads taken off, e.g. 3.2ohm; before the first captures only
    #[arg(long, value_name = "RESISTANCE", value_parser = short(FlagUnits::RESISTANCE))]
    resistance: Option<f64>,
    /// The resistance was measured with four wires, or as voltage over current; needed below 1 ohm
    #[arg(long)]
    four_wire: bool,
    /// Outer diameter of the motor, e.g. 36mm
    #[arg(long, value_name = "LENGTH", value_parser = short(FlagUnits::LENGTH))]
    diameter: Option<f64>,
    /// Length of the motor without its shaft, e.g. 57mm
    #[arg(long, value_name = "LENGTH", value_parser = short(FlagUnits::LENGTH))]
    length: Option<f64>,
    /// Mass of the motor, e.g. 220g
    #[arg(long, value_name = "MASS", value_parser = short(FlagUnits::MASS))]
    mass: Option<f64>,
    /// Commutator segments, where they can be counted; before the first captures only
    #[arg(long, value_name = "COUNT")]
    segments: Option<u32>,
    /// There is a tachometer; before the first captures only
    #[arg(long)]
    tachometer: bool,
    /// Number of candidates explained
    #[arg(long, value_name = "N", default_value_t = 3)]
    explain: usize,
    /// Probability that an interval covers the true value
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95)]
    level: f64,
    /// Let the sheet name files outside its own folder
    #[arg(long)]
    allow_outside: bool,
    /// Fit captures as they are named even where their waveform surely shows something else
    #[arg(long)]
    trust_roles: bool,
    /// Print wiring, all settings, the state of every parameter and all cautions
    #[arg(long)]
    details: bool,
    /// Print JSON with SI units instead of the text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// No supply voltage, an option that cannot be meant, a sheet or capture that cannot be read, captures that cannot be fitted.
pub fn run(arguments: &NextArguments) -> anyhow::Result<Status> {
    check_level(arguments.level)?;
    let heat = arguments
        .goal
        .iter()
        .any(|goal| goal.trim().eq_ignore_ascii_case("heat"));
    if heat && arguments.goal.len() > 1 {
        bail!(
            "--for heat plans a heat run and cannot be combined; name parameters in a second call"
        );
    }
    let goal = match heat {
        true => Goal::All,
        false => Goal::parse(&arguments.goal)?,
    };
    let size = Size {
        diameter_m: arguments.diameter,
        length_m: arguments.length,
        mass_kg: arguments.mass,
    };
    size.check()?;
    for (option, value, unit) in [
        ("--supply", arguments.supply, "V"),
        ("--resistance", arguments.resistance, "Ω"),
    ] {
        if let Some(bad) = value.filter(|v| *v <= 0.0) {
            bail!("{option} is {bad} {unit}; expected a number above zero");
        }
    }
    if arguments.segments.is_some_and(|s| s < 3) {
        bail!(
            "--segments {}: a commutator has three segments or more; leave the option out if they cannot be counted",
            arguments.segments.unwrap_or(0)
        );
    }
    let bench = arguments
        .sheet
        .as_ref()
        .map(|path| {
            let options = LoadOptions {
                allow_outside: arguments.allow_outside,
            };
            anyhow::Ok(read_sheet(&sheet_of(path)?, &options)?)
        })
        .transpose()?;
    match bench {
        Some(bench) if !bench.captures.is_empty() => {
            after_a_fit(arguments, &bench, goal, size, heat)
        }
        _ if heat => bail!(
            "--for heat needs the resistance and brush drop of a fit: name a bench sheet with captures"
        ),
        other => before_captures(arguments, other.as_ref(), size),
    }
}

/// The bench sheet itself, or the one that a motor file was made from.
fn sheet_of(path: &Path) -> anyhow::Result<PathBuf> {
    if path.extension().is_none_or(|e| e != "json") {
        return Ok(path.to_owned());
    }
    let file = motor_file::read(path)?;
    let sheet = file
        .inputs
        .iter()
        .find(|input| input.role.as_deref() == Some(SHEET_ROLE));
    let Some(sheet) = sheet.map(|input| Path::new(&input.path)) else {
        bail!(
            "{}: this motor file was made from captures named by options. A bench sheet is needed here: rundown sheet FOLDER writes one",
            path.display()
        );
    };
    let beside = sheet.file_name().map(|name| path.with_file_name(name));
    let found = std::iter::once(sheet.to_owned())
        .chain(beside)
        .find(|p| p.is_file());
    found.with_context(|| {
        format!(
            "{}: made from the bench sheet {}, which is not there. Give its path: rundown next BENCH.toml",
            path.display(),
            sheet.display()
        )
    })
}

fn before_captures(
    arguments: &NextArguments,
    bench: Option<&Bench>,
    size: Size,
) -> anyhow::Result<Status> {
    let Some(supply_v) = arguments
        .supply
        .or_else(|| bench.and_then(|b| b.motor.supply_v))
    else {
        match &arguments.sheet {
            Some(sheet) => bail!(
                "{}: names no capture and states no supply voltage, from which the first ones could be proposed; write [supply] voltage = {{ v = 24.0, limit_percent = 1 }}, or pass --supply 24V",
                sheet.display()
            ),
            None => bail!(
                "neither a bench sheet nor a supply voltage is given. With captures: rundown next BENCH.toml; before the first: rundown next --supply 24V --resistance 3.2ohm --diameter 36mm"
            ),
        }
    };
    if arguments.goal.iter().any(|g| g != "all") {
        report_warning(
            "--for ranks candidates by what a fit says; before the first captures it changes nothing",
        );
    }
    if let Some(reason) = refusal(supply_v) {
        return refused(arguments, &reason);
    }
    let plan = first_plan(&Known {
        four_wire: arguments.four_wire,
        name: bench.map(|b| b.motor.name.clone()),
        supply_v,
        resistance_ohm: arguments
            .resistance
            .map(resistance_given)
            .or_else(|| bench.and_then(resistance_of)),
        size,
        segments: arguments
            .segments
            .or_else(|| bench.and_then(|b| b.motor.commutator_segments)),
        tachometer: arguments.tachometer,
    });
    if arguments.json {
        print_json(&plan)?;
    } else {
        print_text(&first_text(&plan, arguments.details))?;
    }
    Ok(Status::Ok)
}

/// The heat run; the room is that of the sheet, else 25 °C.
fn heat_run(
    arguments: &NextArguments,
    bench: &Bench,
    file: &MotorFile,
    size: &Size,
) -> anyhow::Result<Status> {
    let plan = heat_plan(file, size, bench.motor.room_temperature_c.unwrap_or(ROOM_C))?;
    if arguments.json {
        print_json(&plan)?;
    } else {
        print_text(&heat_text(&plan))?;
    }
    Ok(Status::of(file.conflict_warning().is_none()))
}

/// Says why nothing is proposed.
fn refused(arguments: &NextArguments, reason: &str) -> anyhow::Result<Status> {
    if arguments.json {
        print_json(&serde_json::json!({"refused": reason}))?;
    } else {
        print_text(&format!("{reason}\n"))?;
    }
    Ok(Status::Questionable)
}

fn after_a_fit(
    arguments: &NextArguments,
    bench: &Bench,
    goal: Goal,
    size: Size,
    heat: bool,
) -> anyhow::Result<Status> {
    for (option, given) in [
        ("--resistance", arguments.resistance.is_some()),
        ("--four-wire", arguments.four_wire),
        ("--segments", arguments.segments.is_some()),
        ("--tachometer", arguments.tachometer),
    ] {
        if given {
            bail!(
                "{option} is for a motor without captures; the sheet names {}, so write it there ([[readings]], commutator_segments) and it takes part in the fit",
                bench.captures.len()
            );
        }
    }
    if !arguments.trust_roles {
        check_roles(bench)?;
    }
    let options = FitOptions {
        level: arguments.level,
        ..FitOptions::default()
    };
    let found = identify(bench, &options, |_| {}).inspect_err(|error| {
        for warning in error.warnings(bench) {
            report_warning(warning);
        }
    })?;
    if heat {
        return heat_run(arguments, bench, &found.file, &size);
    }
    let Some(supply_v) = arguments
        .supply
        .or(bench.motor.supply_v)
        .or_else(|| driven_v(&found.estimate))
    else {
        bail!("neither sheet nor captures give the supply voltage; pass --supply 24V");
    };
    if let Some(reason) = refusal(supply_v) {
        return refused(arguments, &reason);
    }
    let question = Question {
        goal,
        supply_v,
        size,
    };
    let ranking = rank(bench, &found.estimate, &question);
    let stands = found.state().is_good(true);
    if arguments.json {
        print_json(&ranking)?;
    } else {
        print_text(&ranking_text(
            &ranking,
            arguments.explain,
            arguments.details,
        ))?;
    }
    if stands {
        return Ok(Status::Ok);
    }
    report_warning(format!(
        "the fit is {}. Settle that first; `rundown fit` shows the reasons",
        found.state().line()
    ));
    Ok(Status::Questionable)
}
