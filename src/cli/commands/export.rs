//! `rundown export`: a motor file in the formats of other tools.

use crate::cli::flags::positive_si;
use crate::cli::terminal::{Status, print_bytes, report_warning};
use anyhow::{Context, bail};
use clap::{Args, ValueEnum};
use rundown::export::{
    End, ExportError, Instance, budget, c_header, fmu, load_line, modelica, rows, script, spice,
    state_space,
};
use rundown::files;
use rundown::motor_file::{self, MotorFile, ParameterName};
use rundown::next::Goal;
use rundown::quantity::nearest;
use rundown::quantity::units::Quantity;
use std::path::{Path, PathBuf};

/// Write a motor file in the format of another tool
#[derive(Debug, Args)]
#[command(after_help = "Example: rundown export motor.json --to spice -o motor.lib")]
pub struct ExportArguments {
    /// Motor file written by `rundown fit`; several for csv and parquet
    #[arg(required = true)]
    motors: Vec<PathBuf>,
    /// Format to write
    #[arg(long, value_enum)]
    to: Format,
    /// File to write; the standard output without it
    #[arg(short, long)]
    output: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long)]
    force: bool,
    /// A corner: the `low` or `high` bound of a named parameter, the others at their mean given that
    #[arg(long, num_args = 2, value_names = ["END", "PARAMETER"], conflicts_with = "samples")]
    at: Option<Vec<String>>,
    /// Monte Carlo draws from the covariance, for a tolerance study (spice, state-space, csv, parquet)
    #[arg(long, value_name = "N")]
    samples: Option<usize>,
    /// One Monte Carlo draw: number N of those that --samples writes
    #[arg(long, value_name = "N", conflicts_with_all = ["samples", "at"])]
    draw: Option<usize>,
    /// Seed of the draws
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Supply voltage for what simulates a start, e.g. 24V; the motor file's without it
    #[arg(long, value_name = "VOLTAGE", value_parser = positive_si(Quantity::Voltage))]
    supply: Option<f64>,
    /// Sample time of the discrete matrices, e.g. 50us
    #[arg(long, value_name = "TIME", value_parser = positive_si(Quantity::Time))]
    sample_time: Option<f64>,
    /// Version of the Functional Mock-up Interface (fmu)
    #[arg(long, value_enum, default_value = "2.0", value_name = "VERSION")]
    fmi: Fmi,
}

/// Versions of the Functional Mock-up Interface.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Fmi {
    /// Version 2.0
    #[value(name = "2.0")]
    Two,
    /// Version 3.0
    #[value(name = "3.0")]
    Three,
}

/// Formats.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Subcircuit with electrical and mechanical ports
    Spice,
    /// Deck of a half bridge at half duty around the subcircuit
    SpiceHalfBridge,
    /// Functional Mock-up Unit: model exchange and co-simulation for a simulator
    Fmu,
    /// Record for the Modelica Standard Library's permanent-magnet DC machine
    Modelica,
    /// C header with fixed-point helpers
    C,
    /// Python snippet that simulates a start
    Python,
    /// Octave snippet that simulates a start
    Octave,
    /// State-space matrices as JSON
    StateSpace,
    /// Torque, current, power and efficiency over speed at a voltage, with bounds, as CSV
    Table,
    /// Speed, current, power and efficiency over voltage and torque, with bounds, as CSV
    EfficiencyMap,
    /// Uncertainty budget: source, distribution, sensitivity and contribution of each parameter, as CSV
    Budget,
    /// One row a motor
    Csv,
    /// One row a motor
    Parquet,
}

impl Format {
    fn name(self) -> &'static str {
        match self {
            Format::Spice => "the SPICE subcircuit",
            Format::SpiceHalfBridge => "the half-bridge deck",
            Format::Fmu => "the Functional Mock-up Unit",
            Format::Modelica => "the Modelica record",
            Format::C => "the C header",
            Format::Python => "the Python snippet",
            Format::Octave => "the Octave snippet",
            Format::StateSpace => "the state-space model",
            Format::Table => "the torque-speed table",
            Format::EfficiencyMap => "the efficiency map",
            Format::Budget => "the uncertainty budget",
            Format::Csv => "a drawn or corner row of the CSV table",
            Format::Parquet => "a drawn or corner row of the Parquet table",
        }
    }

    fn takes_samples(self) -> bool {
        matches!(
            self,
            Format::Spice | Format::StateSpace | Format::Csv | Format::Parquet
        )
    }

    fn is_table(self) -> bool {
        matches!(self, Format::Csv | Format::Parquet)
    }
}

/// Options, checked.
struct Order {
    format: Format,
    corner: Option<(End, ParameterName)>,
    samples: Option<usize>,
    draw: Option<usize>,
    seed: u64,
    fmi: fmu::FmiVersion,
    supply_v: Option<f64>,
    sample_time_s: Option<f64>,
}

/// Most draws in one call; a table of them is some hundred megabytes.
const MOST_SAMPLES: usize = 1_000_000;

/// Runs the command.
///
/// # Errors
/// A motor file that cannot be read, an option out of range, a parameter that the format needs and the file lacks, an
/// output that cannot be written.
pub fn run(arguments: &ExportArguments) -> anyhow::Result<Status> {
    let order = order(arguments)?;
    if arguments.motors.len() > 1 && !order.format.is_table() {
        bail!(
            "{} motor files, but {} holds one motor; give one, or use --to csv",
            arguments.motors.len(),
            order.format.name()
        );
    }
    if let Some(path) = &arguments.output {
        check_output(path, arguments)?;
    }
    let mut files = Vec::with_capacity(arguments.motors.len());
    let mut in_conflict = false;
    for path in &arguments.motors {
        let file = motor_file::read(path)?;
        if let Some(warning) = file.conflict_warning() {
            report_warning(format!("{}: {warning}", path.display()));
            in_conflict = true;
        }
        files.push(file);
    }
    let first = &arguments.motors[0];
    let bytes = if order.format.is_table() {
        tables(&files, &order)?
    } else if matches!(order.format, Format::Table | Format::EfficiencyMap) {
        if order.corner.is_some() || order.draw.is_some() {
            bail!(
                "{} holds the intervals of all motors that the file allows; leave --at and --draw out",
                order.format.name()
            );
        }
        let estimate = Instance::estimate(&files[0], order.format.name())
            .with_context(|| first.display().to_string())?;
        let supply_v = estimate.supply_v(order.supply_v, order.format.name())?;
        match order.format {
            Format::Table => load_line::torque_speed(&files[0], supply_v)?,
            _ => load_line::efficiency_map(&files[0], supply_v)?,
        }
    } else if order.format == Format::Budget {
        if order.corner.is_some() || order.draw.is_some() {
            bail!("the uncertainty budget belongs to the estimate; leave --at and --draw out");
        }
        budget::csv(&files[0])?
    } else if order.format == Format::Fmu {
        let unit = instances(&files[0], &order)
            .and_then(|motors| fmu::unit(&motors[0], order.fmi))
            .with_context(|| first.display().to_string())?;
        if let Some(why) = unit.without_library {
            report_warning(format!(
                "the unit holds its C source but no library for this machine: {why}"
            ));
        }
        unit.bytes
    } else {
        text(&files[0], &order)
            .with_context(|| first.display().to_string())?
            .into_bytes()
    };
    match &arguments.output {
        Some(path) => {
            let put = if arguments.force {
                files::write_atomically
            } else {
                files::write_new
            };
            put(path, &bytes).with_context(|| format!("{}: cannot be written", path.display()))?;
        }
        None => print_bytes(&bytes)?,
    }
    Ok(Status::of(!in_conflict))
}

fn check_output(path: &Path, arguments: &ExportArguments) -> anyhow::Result<()> {
    if let Some(motor) = arguments.motors.iter().find(|m| files::same_file(m, path)) {
        bail!(
            "{}: is the motor file {} that is read; choose another name",
            path.display(),
            motor.display()
        );
    }
    if path.symlink_metadata().is_ok() && !path.is_dir() && !arguments.force {
        bail!(
            "{}: already exists; choose another name, or pass --force to replace it",
            path.display()
        );
    }
    files::check_place(path).with_context(|| format!("{}: cannot be written", path.display()))
}

fn order(arguments: &ExportArguments) -> anyhow::Result<Order> {
    let corner = match arguments.at.as_deref() {
        Some([end, name]) => Some((end_named(end)?, parameter_named(name)?)),
        _ => None,
    };
    if let Some(number) = arguments.draw
        && (number == 0 || number > MOST_SAMPLES)
    {
        bail!("--draw {number}: expected 1 to {MOST_SAMPLES}");
    }
    if let Some(count) = arguments.samples {
        if !arguments.to.takes_samples() {
            bail!(
                "--samples: {} holds one motor; use spice, state-space, csv or parquet, or --at for a corner",
                arguments.to.name()
            );
        }
        if count == 0 || count > MOST_SAMPLES {
            bail!("--samples {count}: expected 1 to {MOST_SAMPLES}");
        }
    }
    Ok(Order {
        format: arguments.to,
        corner,
        samples: arguments.samples,
        draw: arguments.draw,
        fmi: match arguments.fmi {
            Fmi::Two => fmu::FmiVersion::Two,
            Fmi::Three => fmu::FmiVersion::Three,
        },
        seed: arguments.seed,
        supply_v: arguments.supply,
        sample_time_s: arguments.sample_time,
    })
}

fn end_named(text: &str) -> anyhow::Result<End> {
    match text {
        "low" => Ok(End::Low),
        "high" => Ok(End::High),
        other => bail!(
            "--at {other}: expected `low` or `high`, then a parameter, e.g. --at high terminal_resistance"
        ),
    }
}

fn parameter_named(key: &str) -> anyhow::Result<ParameterName> {
    // A symbol or a short name that means one parameter will do.
    let short = match Goal::parse(&[key.to_owned()]) {
        Ok(Goal::Of(names)) if names.len() == 1 => names.first().copied(),
        _ => None,
    };
    short.with_context(|| {
        let known = ParameterName::ALL.map(ParameterName::key);
        let near = nearest(key, &known).map(|near| format!("; the nearest is `{near}`"));
        let near = near.unwrap_or_else(|| format!("; known are {}", known.join(", ")));
        format!("--at: no parameter is called `{key}`{near}")
    })
}

/// The motors that an order asks of one file.
fn instances<'a>(file: &'a MotorFile, order: &Order) -> Result<Vec<Instance<'a>>, ExportError> {
    let format = order.format.name();
    if let Some(number) = order.draw {
        let mut drawn = Instance::samples(file, format, number, order.seed)?;
        return Ok(drawn.drain(number - 1..).collect());
    }
    match (order.corner, order.samples) {
        (Some((end, name)), _) => Ok(vec![Instance::corner(file, format, name, end)?]),
        (None, Some(count)) => Instance::samples(file, format, count, order.seed),
        (None, None) => Ok(vec![Instance::estimate(file, format)?]),
    }
}

fn text(file: &MotorFile, order: &Order) -> Result<String, ExportError> {
    let motors = instances(file, order)?;
    let motor = &motors[0];
    Ok(match order.format {
        Format::Spice => motors
            .iter()
            .map(spice::subcircuit)
            .collect::<Vec<_>>()
            .join("\n"),
        Format::SpiceHalfBridge => spice::half_bridge(motor, order.supply_v)?,
        Format::Modelica => modelica::record(motor, order.supply_v)?,
        Format::C => c_header::header(motor)?,
        Format::Python => script::python(motor, order.supply_v)?,
        Format::Octave => script::octave(motor, order.supply_v)?,
        _ => {
            let document = |motor| state_space::document(motor, order.sample_time_s);
            let value = match order.samples {
                None => document(motor),
                Some(_) => motors.iter().map(document).collect(),
            };
            format!("{value:#}\n")
        }
    })
}

fn tables(files: &[MotorFile], order: &Order) -> anyhow::Result<Vec<u8>> {
    let is_estimate = order.corner.is_none() && order.samples.is_none() && order.draw.is_none();
    let mut table = Vec::new();
    for file in files {
        let instances = match is_estimate {
            true => vec![None],
            false => instances(file, order)?.into_iter().map(Some).collect(),
        };
        let rows = instances.into_iter();
        table.extend(rows.map(|instance| rows::Row { file, instance }));
    }
    match order.format {
        Format::Parquet => Ok(rows::parquet(&table)?),
        _ => Ok(rows::csv(&table)?),
    }
}
