//! The readable table of a motor file: value ± standard uncertainty, interval, unit of the trade, status.

use super::{AtTemperature, MotorFile, OneSided, Parameter, ParameterName, Status};
use crate::quantity::rounding::{self, Rounded, Scale};
use crate::quantity::units::{self, Unit};
use std::fmt::Write;

/// Columns of the table; the status is the last and runs free.
const HEADS: [&str; 4] = [
    "parameter",
    "value ± standard uncertainty",
    "interval",
    "in the trade",
];

/// One line of cells, and the lines of text under it.
struct Row {
    cells: [String; 4],
    status: String,
    under: Vec<String>,
}

/// Renders the table, one line a parameter, with its notes under it. Ends in a line feed.
///
/// A parameter without a value shows no number; the line under it says what would settle it.
pub fn render(file: &MotorFile) -> String {
    let rows: Vec<Row> = file
        .parameters
        .iter()
        .map(|(name, parameter)| row(*name, parameter))
        .collect();
    let mut widths = HEADS.map(width);
    for row in &rows {
        for (widest, cell) in widths.iter_mut().zip(&row.cells) {
            *widest = (*widest).max(width(cell));
        }
    }
    let mut text = String::new();
    line(&mut text, &HEADS.map(str::to_owned), &widths, "status");
    for row in &rows {
        line(&mut text, &row.cells, &widths, &row.status);
        for under in &row.under {
            let _ = writeln!(text, "    {under}");
        }
    }
    text
}

/// Kind of a warning that only tells what was found.
pub const FINDING: &str = "finding";

/// The warnings, one paragraph a doubt; empty where there is none.
pub fn warnings(file: &MotorFile) -> String {
    let mut text = String::new();
    for warning in &file.warnings {
        let subject = warning.subject.as_ref();
        let subject = subject.map_or(String::new(), |subject| format!("{subject}: "));
        // What the ripple says is a finding; only doubts are warnings.
        let label = if warning.kind == FINDING {
            "note"
        } else {
            "warning"
        };
        let _ = writeln!(text, "{label}: {subject}{}", warning.text);
    }
    text
}

fn line(text: &mut String, cells: &[String; 4], widths: &[usize; 4], status: &str) {
    for (cell, widest) in cells.iter().zip(widths) {
        text.push_str(cell);
        text.push_str(&" ".repeat(widest - width(cell) + 2));
    }
    text.push_str(status);
    text.push('\n');
}

fn width(cell: impl AsRef<str>) -> usize {
    cell.as_ref().chars().count()
}

fn row(name: ParameterName, parameter: &Parameter) -> Row {
    let mut row = Row {
        cells: [
            format!("{} {}", name.words(), name.symbol()),
            "-".to_owned(),
            "-".to_owned(),
            "-".to_owned(),
        ],
        status: parameter.status.words().to_owned(),
        under: Vec::new(),
    };
    if let (Some(value), Some(uncertainty), Some(lower), Some(upper), Some(level)) = (
        parameter.value,
        parameter.standard_uncertainty,
        parameter.lower,
        parameter.upper,
        parameter.level,
    ) {
        row.cells[1] = rounding::write(value, Some(uncertainty), name.si(), scale(name));
        row.cells[2] = interval(
            name,
            (lower, upper),
            uncertainty,
            level,
            parameter.one_sided,
        );
        row.cells[3] = trade(name, value, uncertainty);
    }
    if let Some(temperature_c) = parameter.temperature_c
        && parameter.status != Status::Undetermined
    {
        let _ = write!(row.status, " at {temperature_c:.1} °C");
    }
    if let Some(at) = &parameter.at_25_c
        && parameter.temperature_c != Some(25.0)
    {
        row.under.push(at_line(name, at));
    }
    if let Some(note) = &parameter.note {
        row.under.push(note.clone());
    }
    if let Some(suggestion) = &parameter.suggestion {
        let lead = match parameter.status {
            Status::Measured => "would be sharper with",
            Status::FromPrior | Status::Undetermined => "what would settle it",
        };
        row.under.push(format!("{lead}: {suggestion}"));
    }
    row
}

fn at_line(name: ParameterName, at: &AtTemperature) -> String {
    format!(
        "at 25 °C: {}, {}",
        rounding::write(
            at.value,
            Some(at.standard_uncertainty),
            name.si(),
            scale(name)
        ),
        interval(
            name,
            (at.lower, at.upper),
            at.standard_uncertainty,
            at.level,
            None
        )
    )
}

pub(crate) fn interval(
    name: ParameterName,
    ends: (f64, f64),
    uncertainty: f64,
    level: f64,
    one_sided: Option<OneSided>,
) -> String {
    let round = |end: f64| rounding::round(end, Some(uncertainty), scale(name));
    let (lower, upper) = (round(ends.0), round(ends.1));
    let percent = format!("{} %", (level * 1000.0).round() / 10.0);
    let alone = |mut end: Rounded| {
        end.uncertainty = None;
        end
    };
    let range = match one_sided {
        Some(OneSided::Upper) => format!("at most {}", alone(upper).with_unit(name.si())),
        Some(OneSided::Lower) => format!("at least {}", alone(lower).with_unit(name.si())),
        None if lower.exponent == upper.exponent => {
            let both = format!("{} to {}", lower.value, upper.value);
            let value = match scale(name) {
                Scale::Power if upper.exponent != 0 => format!("({both})"),
                _ => both,
            };
            let mut range = alone(upper);
            range.value = value;
            range.with_unit(name.si())
        }
        None => format!(
            "{} to {}",
            alone(lower).with_unit(name.si()),
            alone(upper).with_unit(name.si())
        ),
    };
    format!("{range} ({percent})")
}

/// Whether the unit takes an engineering prefix.
pub(crate) fn scale(name: ParameterName) -> Scale {
    match name {
        ParameterName::BackEmfConstant
        | ParameterName::CoulombFrictionTorque
        | ParameterName::ViscousFriction
        | ParameterName::Windage
        | ParameterName::RotorInertia => Scale::Power,
        _ => Scale::Prefix,
    }
}

/// The units that the trade prints beside SI.
pub fn trade_units(name: ParameterName) -> &'static [&'static str] {
    match name {
        ParameterName::BackEmfConstant => &["mN·m/A", "V/krpm", "rpm/V"],
        ParameterName::CoulombFrictionTorque => &["mN·m"],
        ParameterName::ViscousFriction => &["mN·m/krpm"],
        ParameterName::Windage => &["µN·m/krpm²"],
        ParameterName::RotorInertia => &["g·cm²"],
        // The SI unit with a prefix is what the trade writes.
        _ => &[],
    }
}

fn trade(name: ParameterName, value: f64, uncertainty: f64) -> String {
    let written: Vec<String> = trade_units(name)
        .iter()
        .filter_map(|text| units::find(name.quantity(), text).ok())
        .filter(|unit: &&Unit| !unit.reciprocal || value > 0.0)
        .map(|unit| {
            let number = unit.from_si(value);
            let uncertainty = unit.uncertainty_from_si(value, uncertainty);
            rounding::write(number, Some(uncertainty), unit.text, Scale::Plain)
        })
        .collect();
    match written.is_empty() {
        true => "-".to_owned(),
        false => written.join(", "),
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::super::{Covariance, FORMAT, Fit, Program, Stop, StopReason, Validity};
    use super::*;
    use std::collections::BTreeMap;

    /// A file without parameters.
    pub(crate) fn empty() -> MotorFile {
        MotorFile {
            format: FORMAT.to_owned(),
            program: Program::this(),
            motor: None,
            inputs: Vec::new(),
            parameters: BTreeMap::new(),
            covariance: Covariance::default(),
            model: None,
            operating: None,
            fit: Fit {
                stop: Stop {
                    reason: StopReason::Converged,
                    text: "converged".to_owned(),
                    iterations: None,
                },
                chi_squared: None,
                degrees_of_freedom: None,
                assumption: None,
                identifiability: None,
                captures: Vec::new(),
                terms: Vec::new(),
                nuisances: Vec::new(),
            },
            warnings: Vec::new(),
            validity: Validity::default(),
        }
    }

    fn golden(parameters: Vec<(ParameterName, Parameter)>, expected: &str) {
        let mut file = empty();
        file.parameters = parameters.into_iter().collect();
        let table = render(&file);
        assert_eq!(table, expected, "\n{table}");
    }

    #[test]
    fn measured_parameters_show_uncertainty_interval_trade_unit_and_temperature() {
        use ParameterName as Name;
        let mut resistance = Parameter::measured(
            Name::TerminalResistance,
            3.186,
            0.0213,
            (3.1443, 3.2277),
            0.95,
        );
        resistance.temperature_c = Some(27.5);
        resistance.at_25_c = Some(AtTemperature {
            value: 3.1556,
            unit: "Ohm".to_owned(),
            standard_uncertainty: 0.0231,
            lower: 3.1103,
            upper: 3.2009,
            level: 0.95,
            status: Status::Measured,
            temperature_c: 25.0,
        });
        golden(
            vec![
                (Name::TerminalResistance, resistance),
                (
                    Name::BackEmfConstant,
                    Parameter::measured(
                        Name::BackEmfConstant,
                        0.023412,
                        1.52e-4,
                        (0.023114, 0.02371),
                        0.95,
                    ),
                ),
                (
                    Name::RotorInertia,
                    Parameter::measured(
                        Name::RotorInertia,
                        1.2345e-6,
                        2.1e-8,
                        (1.193e-6, 1.276e-6),
                        0.95,
                    ),
                ),
            ],
            GOOD,
        );
    }

    #[test]
    fn an_undetermined_parameter_shows_no_number_and_what_would_settle_it() {
        use ParameterName as Name;
        golden(
            vec![(
                Name::RotorInertia,
                Parameter::undetermined(Name::RotorInertia, "one tachometer reading"),
            )],
            UNDETERMINED,
        );
    }

    #[test]
    fn a_parameter_at_its_physical_bound_shows_one_end() {
        use ParameterName as Name;
        let mut windage = Parameter::measured(Name::Windage, 0.0, 1.1e-10, (0.0, 1.84e-10), 0.95);
        windage.one_sided = Some(OneSided::Upper);
        let mut time =
            Parameter::measured(Name::ElectricalTimeConstant, 1e-4, 2e-5, (7e-5, 2e-4), 0.9);
        time.one_sided = Some(OneSided::Lower);
        golden(
            vec![
                (Name::Windage, windage),
                (Name::ElectricalTimeConstant, time),
            ],
            ONE_SIDED,
        );
    }

    #[test]
    fn a_parameter_from_its_prior_says_so() {
        use ParameterName as Name;
        let mut drop = Parameter::measured(Name::BrushDrop, 0.72, 0.26, (0.21, 1.23), 0.95);
        drop.status = Status::FromPrior;
        drop.note = Some("metal-carbon brushes; the captures add little".to_owned());
        drop.suggestion = Some("a locked-rotor capture at two voltages".to_owned());
        golden(vec![(Name::BrushDrop, drop)], FROM_PRIOR);
    }

    #[test]
    fn warnings_name_their_subject() {
        let mut file = empty();
        assert_eq!(warnings(&file), "");
        file.warnings.push(super::super::Warning {
            kind: "clipped".to_owned(),
            subject: Some("start".to_owned()),
            text: "clipped at 8.0 A for 0.4 ms".to_owned(),
        });
        assert_eq!(
            warnings(&file),
            "warning: start: clipped at 8.0 A for 0.4 ms\n"
        );
    }

    const GOOD: &str = "\
parameter              value ± standard uncertainty   interval                                in the trade                                                  status
terminal resistance R  3.186 ± 0.021 Ω                3.144 to 3.228 Ω (95 %)                 -                                                             measured at 27.5 °C
    at 25 °C: 3.156 ± 0.023 Ω, 3.110 to 3.201 Ω (95 %)
back-EMF constant K    (23.41 ± 0.15) × 10⁻³ V·s/rad  (23.11 to 23.71) × 10⁻³ V·s/rad (95 %)  23.41 ± 0.15 mN·m/A, 2.452 ± 0.016 V/krpm, 407.9 ± 2.6 rpm/V  measured
rotor inertia J        (1.234 ± 0.021) × 10⁻⁶ kg·m²   (1.193 to 1.276) × 10⁻⁶ kg·m² (95 %)    12.35 ± 0.21 g·cm²                                            measured
";
    const UNDETERMINED: &str = "\
parameter        value ± standard uncertainty  interval  in the trade  status
rotor inertia J  -                             -         -             undetermined
    what would settle it: one tachometer reading
";
    const ONE_SIDED: &str = "\
parameter                       value ± standard uncertainty   interval                                in the trade          status
windage C_w                     (0 ± 110) × 10⁻¹² N·m·s²/rad²  at most 180 × 10⁻¹² N·m·s²/rad² (95 %)  0.0 ± 1.2 µN·m/krpm²  measured
electrical time constant tau_e  100 ± 20 µs                    at least 70 µs (90 %)                   -                     measured
";
    const FROM_PRIOR: &str = "\
parameter       value ± standard uncertainty  interval                 in the trade  status
brush drop V_b  720 ± 260 mV                  210 mV to 1.23 V (95 %)  -             from prior
    metal-carbon brushes; the captures add little
    what would settle it: a locked-rotor capture at two voltages
";
}
