//! `rundown fit`: from captures to a motor file.

use crate::cli::flags::{ImportFlags, check_level, positive_si, short};
use crate::cli::terminal::{
    Status, Timings, interrupt, path_text, plot, print_bytes, print_text, report_lines,
    report_warning,
};
use anyhow::bail;
use rundown::bench::{Bench, LoadOptions, QuickRun, Role, quick_bench, read_sheet};
use rundown::drive::cautions::Caution;
use rundown::files;
use rundown::fit::FitOptions;
use rundown::identify::{check_roles, identify};
use rundown::motor_file::{self, MotorFile, Overwrite, ResultState, table};
use rundown::quantity::FlagUnits;
use rundown::quantity::units::Quantity;
use rundown::report::{self, Target};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Estimate the parameters of a motor with intervals
///
/// From a bench sheet, or from captures named by options.
/// Exit status: 0 when every parameter is determined and nothing is in conflict, 1 when the result is incomplete or in conflict, 2 when there is none.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  rundown fit captures/bench.toml -o motor.json --report page.html
  rundown fit --start start.csv --rundown coast.csv --supply 12V --speed 4210rpm")]
pub struct FitArguments {
    /// Bench sheet (TOML)
    #[arg(value_name = "BENCH.toml", conflicts_with = "QuickFlags")]
    sheet: Option<PathBuf>,
    /// Let the sheet name files outside its folder
    #[arg(long)]
    allow_outside: bool,
    /// Fit captures in the roles they are given even if their waveforms contradict
    #[arg(long)]
    trust_roles: bool,
    /// Exit with status 0 even if parameters are undetermined
    #[arg(long)]
    partial: bool,
    /// Print SI values, inductance by frequency and all notes, too
    #[arg(long)]
    details: bool,
    /// Print the motor file instead of the table
    #[arg(long)]
    json: bool,
    /// Probability that an interval covers the true value
    #[arg(long, value_name = "LEVEL", default_value_t = 0.95)]
    level: f64,
    /// Frequencies at which to report the inductance, e.g. 1kHz,10kHz
    #[arg(long, value_name = "FREQUENCY", value_parser = positive_si(Quantity::Frequency),
        value_delimiter = ',', default_values = ["1kHz", "10kHz", "20kHz"])]
    inductance_at: Vec<f64>,
    /// Print timings
    #[arg(long)]
    timings: bool,
    /// Print no plot on a terminal
    #[arg(long)]
    no_plot: bool,
    #[command(flatten)]
    quick: QuickFlags,
    #[command(flatten)]
    files: FileFlags,
    #[command(flatten)]
    import: ImportFlags,
}

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Captures without a bench sheet")]
struct QuickFlags {
    /// Capture of a start from rest
    #[arg(long, value_name = "FILE")]
    start: Vec<PathBuf>,
    /// Capture of a run-down with open terminals
    #[arg(long, value_name = "FILE")]
    rundown: Vec<PathBuf>,
    /// Capture of a short-circuit brake
    #[arg(long, value_name = "FILE")]
    brake: Vec<PathBuf>,
    /// Capture of a voltage step onto the held rotor
    #[arg(long, value_name = "FILE")]
    locked: Vec<PathBuf>,
    /// Capture of the current being switched off
    #[arg(long, value_name = "FILE")]
    turn_off: Vec<PathBuf>,
    /// Capture under PWM, rotor free
    #[arg(long, value_name = "FILE")]
    pwm: Vec<PathBuf>,
    /// Capture of steady running
    #[arg(long, value_name = "FILE")]
    steady: Vec<PathBuf>,
    /// Supply voltage, e.g. 12V
    #[arg(long, value_name = "VOLTAGE", value_parser = short(FlagUnits::VOLTAGE))]
    supply: Option<f64>,
    /// Speed while running freely on the supply, e.g. 5160rpm
    #[arg(long, value_name = "SPEED", value_parser = short(FlagUnits::SPEED))]
    speed: Option<f64>,
    /// Number of commutator segments
    #[arg(long, value_name = "COUNT")]
    segments: Option<u32>,
    /// Number of field poles
    #[arg(long, value_name = "COUNT")]
    poles: Option<u32>,
    /// Winding temperature, e.g. 25C
    #[arg(long, value_name = "TEMPERATURE", value_parser = short(FlagUnits::TEMPERATURE))]
    temperature: Option<f64>,
    /// Column of the voltage: its name or number, from 1
    #[arg(long, value_name = "COLUMN")]
    voltage_column: Option<String>,
    /// Column of the current: its name or number, from 1
    #[arg(long, value_name = "COLUMN")]
    current_column: Option<String>,
    /// Current measured through a shunt of this resistance, e.g. 50mohm
    #[arg(long, value_name = "RESISTANCE", value_parser = short(FlagUnits::RESISTANCE))]
    shunt: Option<f64>,
    /// The current column holds raw volts across the shunt
    #[arg(long, requires = "shunt")]
    raw_volts: bool,
    /// The voltage was measured across motor and shunt together
    #[arg(long, requires = "shunt")]
    shunt_in_voltage: bool,
    /// The current probe was reversed
    #[arg(long)]
    reverse_current: bool,
}

#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Files")]
struct FileFlags {
    /// Write the motor file here
    #[arg(short, long, value_name = "motor.json")]
    output: Option<PathBuf>,
    /// Write a page with all results and pictures here (one HTML file)
    #[arg(long, value_name = "page.html")]
    report: Option<PathBuf>,
    /// Write the data of that page here (JSON)
    #[arg(long, value_name = "page.json")]
    report_data: Option<PathBuf>,
    /// Overwrite files that this program did not write
    #[arg(long)]
    force: bool,
}

/// What the command does, in order.
const STAGES: [&str; 9] = [
    "read captures",
    "find events",
    "ripple of run-downs",
    "first fit",
    "ripple of currents",
    "joint fit",
    "profiles",
    "assemble",
    "write",
];

/// Runs the command.
///
/// # Errors
/// A sheet or capture that cannot be read, captures that cannot be fitted, an output that cannot be written.
pub fn run(arguments: &FitArguments) -> anyhow::Result<Status> {
    check_level(arguments.level)?;
    arguments.files.check()?;
    let interrupt = interrupt::on_signals()?;
    let mut timings = Timings::start(&STAGES);
    let bench = load(arguments)?;
    if let (true, Some(path)) = (bench.captures.is_empty(), &bench.path) {
        let path = path.display();
        bail!(
            "{path}: the sheet names no capture to fit. List each under [[captures]] with file and role; what to record first: rundown next {path}"
        );
    }
    arguments.files.keep_inputs(&bench)?;
    if !arguments.trust_roles {
        check_roles(&bench)?;
    }
    timings.lap("read captures");
    let options = FitOptions {
        level: arguments.level,
        inductance_at_hz: arguments.inductance_at.clone(),
        monitor: timings.monitor(interrupt.clone()),
        ..FitOptions::default()
    };
    let found = match identify(&bench, &options, |stage| timings.lap(stage)) {
        Ok(found) => found,
        Err(_) if interrupt.requested() => {
            timings.end();
            bail!(
                "interrupted before the fit had ended: there is no result, and nothing is written"
            );
        }
        Err(error) => {
            timings.end();
            // What was doubted in the captures most often says why.
            for warning in error.warnings(&bench) {
                report_warning(warning);
            }
            return Err(error.into());
        }
    };
    // The motor file of one run never stands beside the page of another.
    let lock = files::lock_folders(arguments.files.all())?;
    if let Some(output) = &arguments.files.output {
        motor_file::write(output, &found.file, arguments.files.overwrite())?;
        timings.lap("write");
    }
    if arguments.files.reports().next().is_some() {
        let data = report::gather(&bench, &found.timelines, &found.estimate, &found.file);
        for (path, target) in arguments.files.reports() {
            report::write(path, &data, target, arguments.files.force)?;
        }
        timings.lap("report");
    }
    drop(lock);
    timings.end();
    if arguments.json {
        let text = motor_file::to_text(Path::new("(standard output)"), &found.file)?;
        print_bytes(text.as_bytes())?;
    } else {
        print_text(&result(arguments, &found.file))?;
        if plot::wanted(arguments.no_plot) {
            let columns = plot::columns();
            print_text(&plot::of_fit(&bench, &found.estimate, columns))?;
        }
    }
    if arguments.timings {
        report_lines(timings.to_string().trim_end());
    }
    Ok(Status::of(found.state().is_good(arguments.partial)))
}

impl FileFlags {
    /// The report files asked for.
    fn reports(&self) -> impl Iterator<Item = (&Path, Target)> {
        let page = self.report.as_deref().map(|p| (p, Target::Page));
        let data = self.report_data.as_deref().map(|p| (p, Target::Data));
        page.into_iter().chain(data)
    }

    /// Every file asked for, the motor file first.
    fn all(&self) -> Vec<&Path> {
        let motor_file = self.output.as_deref().into_iter();
        motor_file.chain(self.reports().map(|t| t.0)).collect()
    }

    fn overwrite(&self) -> Overwrite {
        match self.force {
            true => Overwrite::Force,
            false => Overwrite::MotorFileOnly,
        }
    }

    /// Refuses outputs that could not be written, before the long work.
    fn check(&self) -> anyhow::Result<()> {
        if let Some(output) = &self.output {
            motor_file::check_target(output, self.overwrite())?;
        }
        for (path, target) in self.reports() {
            report::check_target(path, target, self.force)?;
        }
        let outputs = self.all();
        for (at, path) in outputs.iter().enumerate() {
            if outputs[..at].iter().any(|p| files::same_file(p, path)) {
                bail!(
                    "{}: is named for two outputs; give each its own file",
                    path.display()
                );
            }
        }
        Ok(())
    }

    /// No output may take the place of what it was made from, not even with `--force`.
    fn keep_inputs(&self, bench: &Bench) -> anyhow::Result<()> {
        for output in self.all() {
            let read = bench.files().map(|(path, ..)| path);
            let mut inputs = bench.path.as_deref().into_iter().chain(read);
            if let Some(input) = inputs.find(|input| files::same_file(input, output)) {
                bail!(
                    "{}: would take the place of {}, which is read; choose another name",
                    output.display(),
                    input.display()
                );
            }
        }
        Ok(())
    }
}

fn load(arguments: &FitArguments) -> anyhow::Result<Bench> {
    if let Some(sheet) = &arguments.sheet {
        anyhow::ensure!(
            !arguments.import.given(),
            "with a bench sheet the reading of captures is set in the sheet: write it there as [import], for all captures, or as import = {{ ... }} of one"
        );
        let options = LoadOptions {
            allow_outside: arguments.allow_outside,
        };
        return Ok(read_sheet(sheet, &options)?);
    }
    let quick = &arguments.quick;
    let groups = [
        (Role::Start, &quick.start),
        (Role::RunDown, &quick.rundown),
        (Role::Brake, &quick.brake),
        (Role::LockedRotor, &quick.locked),
        (Role::TurnOff, &quick.turn_off),
        (Role::Pwm, &quick.pwm),
        (Role::Steady, &quick.steady),
    ];
    let captures = groups
        .iter()
        .flat_map(|(role, files)| files.iter().map(|f| (*role, f.clone())))
        .collect();
    Ok(quick_bench(&QuickRun {
        captures,
        supply_v: quick.supply,
        commutator_segments: quick.segments,
        poles: quick.poles,
        winding_temperature_c: quick.temperature,
        speed_rad_s: quick.speed,
        voltage_column: quick.voltage_column.clone(),
        current_column: quick.current_column.clone(),
        shunt_ohm: quick.shunt,
        raw_volts: quick.raw_volts,
        shunt_in_voltage: quick.shunt_in_voltage,
        reverse_current: quick.reverse_current,
        import: arguments.import.options(),
        ..QuickRun::default()
    })?)
}

/// What belongs to the captures that the file itself advises.
fn cautions(file: &MotorFile) -> Vec<Caution> {
    let advised = |word: &str| {
        let mut parameters = file.parameters.values();
        parameters.any(|p| p.suggestion.as_ref().is_some_and(|s| s.contains(word)))
    };
    let mut out = Vec::new();
    if advised("locked") {
        out.push(Caution::LockedRotor);
    }
    if advised("brake") {
        out.push(Caution::LargeCurrents);
    }
    if !out.is_empty() {
        out.push(Caution::Codes);
    }
    out
}

/// The answer first, then the evidence, what conflicts or needs attention, the result, what to do next, and the files.
fn result(arguments: &FitArguments, file: &MotorFile) -> String {
    let mut parts = vec![table::screen(file)];
    parts.extend(file.thermal.as_ref().map(|thermal| thermal.words()));
    parts.push(table::evidence(file));
    if arguments.details {
        parts.push(table::render(file));
        parts.extend(file.operating.as_ref().map(|operating| operating.words()));
        parts.push(motor_file::inductance_words(&file.inductance_at));
    }
    parts.push(table::diagnostics(file, arguments.details));
    let mut end = String::new();
    for caution in cautions(file) {
        let _ = writeln!(end, "caution: {}", caution.text());
    }
    let result = table::result_line(file);
    let notes = match arguments.details {
        true => String::new(),
        false => table::notes_left_out(file),
    };
    let _ = writeln!(end, "{}{notes}", result.trim_end());
    if let ResultState::InConflict(_) = file.state() {
        end.push_str("next: correct what is in conflict and fit again\n");
    } else if let Some(sheet) = &arguments.sheet {
        let _ = writeln!(end, "next: rundown next {}", path_text(sheet));
    }
    for path in arguments.files.all() {
        let _ = writeln!(end, "written: {}", path_text(path));
    }
    parts.push(end);
    parts.retain(|part| !part.is_empty());
    parts.join("\n")
}
