//! The answer on one screen: each parameter in common units with its interval, and what the motor does at its supply.

use super::{common_units, rpm_per_volt};
use crate::motor_file::{MotorFile, OneSided, OperatingPoint, Parameter, ParameterName, Status};
use crate::quantity::in_columns;
use crate::quantity::prefix;
use crate::quantity::rounding::{self, Scale, concise, percent};
use crate::quantity::units::{self, RPM};
use std::fmt::Write;

/// Columns of symbol, name, value and interval; a word behind them runs free.
const WIDTHS: [usize; 4] = [5, 28, 18, 16];

/// Most columns of a line.
const WIDTH: usize = 80;

/// Most candidates for K.
const CANDIDATES: usize = 4;

/// What is shown in place of an undetermined parameter, and its words.
type Instead = (ParameterName, &'static str);

/// What a parameter of the first table stands for, with what is shown instead where it is undetermined.
const ROWS: [(ParameterName, &str, Option<Instead>); 8] = {
    use ParameterName as Name;
    [
        (Name::TerminalResistance, "terminal resistance", None),
        (
            Name::ArmatureInductance,
            "armature inductance",
            Some((Name::ElectricalTimeConstant, "inductance / resistance")),
        ),
        (Name::BackEmfConstant, "torque / back-EMF constant", None),
        (
            Name::RotorInertia,
            "rotor inertia",
            Some((Name::InertiaCapacitance, "rotor inertia / K²")),
        ),
        (
            Name::CoulombFrictionTorque,
            "Coulomb friction",
            Some((Name::FrictionCurrent, "Coulomb friction / K")),
        ),
        (
            Name::ViscousFriction,
            "viscous friction",
            Some((Name::ViscousConductance, "viscous friction / K²")),
        ),
        (Name::Windage, "windage", None),
        (Name::BrushDrop, "brush drop", None),
    ]
};

/// The parameters of a file in the order of the screen, then the others.
pub(crate) fn ordered(file: &MotorFile) -> Vec<(ParameterName, &Parameter)> {
    let place = |name| ROWS.iter().position(|row| row.0 == name);
    let mut parameters: Vec<_> = file.parameters.iter().map(|(n, p)| (*n, p)).collect();
    parameters.sort_by_key(|(name, _)| place(*name).unwrap_or(ROWS.len()));
    parameters
}

/// Renders the answer; ends in a line feed.
///
/// A parameter without a value shows no number; under the table stands what would determine it.
pub fn screen(file: &MotorFile) -> String {
    let mut text = heading(file);
    let mut shown = Vec::new();
    for (name, label, instead) in ROWS {
        let Some(parameter) = file.parameters.get(&name) else {
            continue;
        };
        line(&mut text, name, label, parameter);
        shown.push((name, parameter));
        let other =
            instead.and_then(|(other, label)| Some((other, label, file.parameters.get(&other)?)));
        if let Some((other, label, parameter)) = other
            && shown.last().is_some_and(|(_, p)| p.value.is_none())
            && parameter.value.is_some()
        {
            line(&mut text, other, label, parameter);
        }
    }
    at_a_speed(&mut text, file);
    behaviour(&mut text, file);
    candidates(&mut text, file);
    settled_by(&mut text, &shown);
    text
}

/// What the ripple leaves possible for K, the likeliest first; empty where it decides.
fn candidates(text: &mut String, file: &MotorFile) {
    for (k, c) in file.constant_candidates.iter().take(CANDIDATES).enumerate() {
        let head = if k == 0 {
            "\nK by the ripple is one of:\n"
        } else {
            ""
        };
        let constant = concise(
            1e3 * c.value,
            1e3 * c.standard_uncertainty,
            "mN·m/A",
            Scale::Plain,
        );
        let _ = writeln!(
            text,
            "{head}  {constant}: {} segments, {} poles, {} brushes ({:.0} %, {})",
            c.segments,
            c.poles,
            c.brushes,
            100.0 * c.probability,
            c.capture
        );
    }
}

/// Name of the motor, winding temperature and supply.
fn heading(file: &MotorFile) -> String {
    let level = file.parameters.values().find_map(|p| p.level);
    let resistance = file.parameters.get(&ParameterName::TerminalResistance);
    let mut conditions = Vec::new();
    if let Some(celsius) = resistance.and_then(|r| r.temperature_c) {
        conditions.push(format!("winding {} °C", rounding::significant(celsius, 3)));
    }
    if let Some(supply_v) = file.motor.as_ref().and_then(|m| m.supply_v) {
        conditions.push(format!("supply {} V", rounding::significant(supply_v, 4)));
    }
    let conditions = conditions.join(", ");
    let name = file.motor_name();
    let room = WIDTH.saturating_sub(conditions.chars().count());
    let mut text = if name.chars().count() + 2 <= room {
        format!("{name:<room$}{conditions}")
    } else {
        format!("{name}\n{:room$}{conditions}", "")
    };
    text.truncate(text.trim_end().len());
    text.push('\n');
    if let Some(level) = level {
        let before: usize = WIDTHS[..3].iter().sum();
        let _ = writeln!(text, "{:before$}{} % interval", "", percent(level));
    }
    text
}

fn line(text: &mut String, name: ParameterName, label: &str, parameter: &Parameter) {
    let [value, interval, remark] = cells(name, parameter);
    let cells = [name.symbol().to_owned(), label.to_owned(), value, interval];
    let _ = writeln!(
        text,
        "{}",
        (in_columns(&cells, &WIDTHS) + &remark).trim_end()
    );
}

/// Value, interval and a remark. All digits by half the interval: a 95 % interval of two digits shows what is known.
pub(crate) fn cells(name: ParameterName, parameter: &Parameter) -> [String; 3] {
    let (Some(value), Some(lower), Some(upper)) =
        (parameter.value, parameter.lower, parameter.upper)
    else {
        return ["undetermined".to_owned(), String::new(), String::new()];
    };
    let unit = BenchUnit::of(name, value.abs().max(upper.abs()));
    let half = match parameter.one_sided {
        // An upper bound is known to two digits of its own.
        Some(_) => 0.5 * upper.abs(),
        None => 0.5 * (upper - lower),
    };
    let digits = |si: f64| {
        let half = (half / unit.si).max(1e-9 * (si / unit.si).abs());
        let mut rounded = rounding::round(si / unit.si, Some(half), Scale::Plain);
        rounded.uncertainty = None;
        rounded.with_unit("")
    };
    let uncertainty = parameter.standard_uncertainty.unwrap_or(0.0);
    let found = format!("{} {}", digits(value), unit.text);
    let (value_text, interval) = match parameter.one_sided {
        Some(OneSided::Upper) if value < 2.0 * uncertainty => (
            "not detected".to_owned(),
            format!("below {} {}", digits(upper), unit.text),
        ),
        Some(OneSided::Upper) => (found, format!("below {}", digits(upper))),
        Some(OneSided::Lower) => (found, format!("above {}", digits(lower))),
        None => (found, format!("{} to {}", digits(lower), digits(upper))),
    };
    let remark = match parameter.status {
        Status::InConflict => "in conflict".to_owned(),
        Status::FromPrior => "prior only".to_owned(),
        Status::Undetermined => String::new(),
        Status::Measured => match (name, &parameter.at_25_c) {
            (ParameterName::BackEmfConstant, _) if value > 0.0 => {
                format!("{} rpm/V", rpm_per_volt(value, uncertainty))
            }
            (ParameterName::TerminalResistance, Some(at))
                if parameter.temperature_c != Some(25.0) =>
            {
                format!("25 °C: {}", digits(at.value))
            }
            _ => String::new(),
        },
    };
    [value_text, interval, remark]
}

/// The unit that a bench shows.
pub(crate) struct BenchUnit {
    /// Its SI value.
    pub si: f64,
    /// Its text, e.g. `mN·m`.
    pub text: String,
}

impl BenchUnit {
    /// The first of the common units, else SI with the prefix that suits `size`.
    pub fn of(name: ParameterName, size: f64) -> BenchUnit {
        let common = common_units(name).first();
        let Some(unit) = common.and_then(|text| units::find(name.quantity(), text).ok()) else {
            return BenchUnit::prefixed(1.0, name.si(), size);
        };
        // A motor too small for the usual prefix.
        match unit.text.strip_prefix('m') {
            Some(base) if size > 0.0 && size < 0.01 * unit.factor => {
                BenchUnit::prefixed(1e3 * unit.factor, base, size)
            }
            _ => BenchUnit {
                si: unit.factor,
                text: unit.text.to_owned(),
            },
        }
    }

    /// A unit of `si` with the prefix that suits `size`.
    fn prefixed(si: f64, text: &str, size: f64) -> BenchUnit {
        let size = size / si;
        let power = if size > 0.0 && size.is_finite() {
            (3 * (size.log10().floor() as i32).div_euclid(3)).clamp(-18, 12)
        } else {
            0
        };
        BenchUnit {
            si: si * 10f64.powi(power),
            text: format!("{}{text}", prefix::symbol(power).unwrap_or_default()),
        }
    }
}

/// Friction at one speed, where its parts are not determined but their sum is.
fn at_a_speed(text: &mut String, file: &MotorFile) {
    use ParameterName as Name;
    let known = |name: Name| file.parameters.get(&name).filter(|p| p.value.is_some());
    if known(Name::CoulombFrictionTorque).is_some() && known(Name::ViscousFriction).is_some() {
        return;
    }
    let torque = known(Name::FrictionTorqueAtSpeed).map(|p| (Name::FrictionTorqueAtSpeed, p));
    let found =
        torque.or(known(Name::FrictionCurrentAtSpeed).map(|p| (Name::FrictionCurrentAtSpeed, p)));
    if let Some((name, parameter)) = found {
        line(text, name, name.label(), parameter);
        if let Some(at) = super::at_speed(parameter) {
            let _ = writeln!(text, "     {at}");
        }
    }
}

/// No-load and stall values, and the time constants.
fn behaviour(text: &mut String, file: &MotorFile) {
    let short = |point: &Option<OperatingPoint>, factor: f64, unit: &str, scale: Scale| {
        let point = point.as_ref()?;
        Some(concise(
            point.value / factor,
            point.standard_uncertainty / factor,
            unit,
            scale,
        ))
    };
    let mut lines = Vec::new();
    if let Some(operating) = &file.operating {
        let no_load = [
            short(&operating.no_load_speed, RPM, "rpm", Scale::Plain),
            short(&operating.no_load_current, 1.0, "A", Scale::Prefix),
        ];
        let stall = [
            short(&operating.stall_torque, 1.0, "N·m", Scale::Prefix),
            short(&operating.stall_current, 1.0, "A", Scale::Prefix),
        ];
        let group = |head: &str, parts: [Option<String>; 2]| {
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            (!parts.is_empty()).then(|| format!("{head} {}", parts.join(", ")))
        };
        let both: Vec<String> = [group("no load", no_load), group("stall", stall)]
            .into_iter()
            .flatten()
            .collect();
        if !both.is_empty() {
            let head = format!("at {} V:", operating.voltage_v);
            let one = format!("{head} {}", both.join("; "));
            // Broken between its halves where it is too long, and not within one.
            lines.push(match one.chars().count() <= WIDTH {
                true => one,
                false => format!(
                    "{head} {}",
                    both.join(&format!(";\n{:1$}", "", head.chars().count() + 1))
                ),
            });
        }
    }
    let constant = |name: ParameterName, head: &str| {
        let p = file.parameters.get(&name)?;
        let written = concise(p.value?, p.standard_uncertainty?, "s", Scale::Prefix);
        Some(format!("{head} {written}"))
    };
    let constants: Vec<String> = [
        constant(ParameterName::ElectricalTimeConstant, "electrical L/R"),
        constant(ParameterName::MechanicalTimeConstant, "mechanical R·J/K²"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !constants.is_empty() {
        lines.push(format!("time constants: {}", constants.join(", ")));
    }
    if !lines.is_empty() {
        let _ = writeln!(text, "\n{}", lines.join("\n"));
    }
}

/// What would determine each undetermined parameter, those that share it on one line.
fn settled_by(text: &mut String, shown: &[(ParameterName, &Parameter)]) {
    let mut ways: Vec<(&str, Vec<&str>)> = Vec::new();
    for (name, parameter) in shown {
        let (Some(way), Status::Undetermined | Status::FromPrior) =
            (&parameter.suggestion, parameter.status)
        else {
            continue;
        };
        match ways.iter_mut().find(|(other, _)| other == way) {
            Some((_, names)) => names.push(name.symbol()),
            None => ways.push((way, vec![name.symbol()])),
        }
    }
    for (k, (way, names)) in ways.iter().enumerate() {
        let gap = if k == 0 { "\n" } else { "" };
        let _ = writeln!(text, "{gap}to determine {}: {way}", names.join(", "));
    }
}
