//! The parameters as the page shows them: written in both systems of units, and as a bar against the usual magnitude.

use super::context::{Bar, ParameterRow, Written};
use crate::motor_file::{MotorFile, OneSided, Parameter, ParameterName, Status, table};
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::{self, Unit};

/// What the parameter is usually for brushed permanent-magnet motors from toy size to about a kilowatt, in SI units
/// (common practice, no source).
fn usual(name: ParameterName) -> (f64, f64) {
    match name {
        ParameterName::TerminalResistance => (0.05, 100.0),
        ParameterName::ArmatureInductance => (1e-5, 2e-2),
        ParameterName::BackEmfConstant => (1e-3, 0.5),
        ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => (2e-5, 0.2),
        ParameterName::ViscousFriction => (1e-8, 1e-3),
        ParameterName::Windage => (1e-12, 1e-6),
        ParameterName::RotorInertia => (1e-8, 1e-3),
        ParameterName::BrushDrop => (0.05, 2.5),
        ParameterName::InertiaCapacitance => (1e-4, 1.0),
        ParameterName::FrictionCurrent | ParameterName::FrictionCurrentAtSpeed => (5e-3, 5.0),
        ParameterName::ViscousConductance => (1e-5, 0.1),
        ParameterName::ElectricalTimeConstant => (2e-5, 1e-2),
        ParameterName::MechanicalTimeConstant => (1e-3, 0.3),
    }
}

/// The rows of the answer, in the motor file's order.
pub fn rows(file: &MotorFile) -> Vec<ParameterRow> {
    let mut rows: Vec<ParameterRow> = Vec::new();
    for (name, parameter) in &file.parameters {
        let mut row = row(*name, parameter);
        // One measurement often settles several parameters: it is listed once.
        if let Some(first) = row.suggestion.as_ref().and_then(|text| {
            rows.iter()
                .find(|before| before.suggestion.as_ref() == Some(text))
        }) {
            row.suggestion = Some(format!("the same as for the {}", first.words));
        }
        rows.push(row);
    }
    rows
}

fn row(name: ParameterName, parameter: &Parameter) -> ParameterRow {
    let mut notes = Vec::new();
    if let Some(celsius) = parameter.temperature_c
        && parameter.status != Status::Undetermined
    {
        notes.push(format!("at {celsius:.1} °C"));
    }
    if let Some(at) = &parameter.at_25_c
        && parameter.temperature_c != Some(25.0)
    {
        let value = rounding::write(
            at.value,
            Some(at.standard_uncertainty),
            name.si(),
            table::scale(name),
        );
        notes.push(format!("at 25 °C: {value}"));
    }
    notes.extend(table::at_speed(parameter));
    notes.extend(parameter.note.clone());
    let si = written(name, parameter);
    ParameterRow {
        key: name.key(),
        words: name.label(),
        symbol: symbol(name),
        terminal: is_terminal(name),
        status: parameter.status.label(),
        trade: in_common_units(name, parameter).or_else(|| si.clone()),
        si,
        relative: relative(parameter),
        bar: bar(name, parameter),
        notes,
        suggestion: parameter.suggestion.clone().filter(|s| !s.is_empty()),
    }
}

/// Letter and index, Greek where the literature writes Greek.
pub fn symbol(name: ParameterName) -> (String, String) {
    let (letter, index) = name.symbol().split_once('_').unwrap_or((name.symbol(), ""));
    let letter = if letter == "tau" { "τ" } else { letter };
    (letter.to_owned(), index.to_owned())
}

/// True for what follows from the terminals alone and repeats the motor's own parameters in electrical terms.
fn is_terminal(name: ParameterName) -> bool {
    matches!(
        name,
        ParameterName::InertiaCapacitance
            | ParameterName::FrictionCurrent
            | ParameterName::ViscousConductance
            | ParameterName::FrictionCurrentAtSpeed
            | ParameterName::ElectricalTimeConstant
            | ParameterName::MechanicalTimeConstant
    )
}

fn written(name: ParameterName, p: &Parameter) -> Option<Written> {
    let (value, u) = (p.value?, p.standard_uncertainty?);
    Some(Written {
        value: rounding::write(value, Some(u), name.si(), table::scale(name)),
        interval: table::interval(name, (p.lower?, p.upper?), u, p.level?, p.one_sided),
    })
}

fn in_common_units(name: ParameterName, p: &Parameter) -> Option<Written> {
    let (value, u, lower, upper) = (p.value?, p.standard_uncertainty?, p.lower?, p.upper?);
    let of: Vec<&Unit> = table::common_units(name)
        .iter()
        .filter_map(|text| units::find(name.quantity(), text).ok())
        .filter(|unit| !unit.reciprocal || lower > 0.0)
        .collect();
    let first = of.first()?;
    let values: Vec<String> = of
        .iter()
        .map(|unit| {
            let u = unit.uncertainty_from_si(value, u);
            rounding::write(unit.from_si(value), Some(u), unit.text, Scale::Plain)
        })
        .collect();
    let end = |si: f64| {
        let mut end = rounding::round(
            first.from_si(si),
            Some(first.uncertainty_from_si(value, u)),
            Scale::Plain,
        );
        end.uncertainty = None;
        end
    };
    let percent = (p.level? * 1000.0).round() / 10.0;
    let range = match p.one_sided {
        Some(OneSided::Upper) => format!("at most {}", end(upper).with_unit(first.text)),
        Some(OneSided::Lower) => format!("at least {}", end(lower).with_unit(first.text)),
        None => format!(
            "{} to {}",
            end(lower).value,
            end(upper).with_unit(first.text)
        ),
    };
    Some(Written {
        value: values.join(", "),
        interval: format!("{range} ({percent} %)"),
    })
}

fn relative(p: &Parameter) -> Option<String> {
    let (value, lower, upper) = (p.value?, p.lower?, p.upper?);
    if p.one_sided.is_some() || value <= 0.0 || upper <= lower {
        return None;
    }
    let percent = 50.0 * (upper - lower) / value;
    Some(format!("± {} %", digits(percent)))
}

/// Two significant digits.
fn digits(number: f64) -> String {
    match number {
        n if n >= 10.0 => format!("{n:.0}"),
        n if n >= 1.0 => format!("{n:.1}"),
        n => format!("{n:.2}"),
    }
}

/// The strip reaches half a power of ten beyond the usual range either way.
fn bar(name: ParameterName, p: &Parameter) -> Option<Bar> {
    let (value, lower, upper) = (p.value?, p.lower?, p.upper?);
    if upper <= 0.0 {
        return None;
    }
    let usual = usual(name);
    let (from, to) = (usual.0.log10() - 0.5, usual.1.log10() + 0.5);
    let place = |x: f64| {
        let at = if x > 0.0 {
            (x.log10() - from) / (to - from)
        } else {
            0.0
        };
        (at.clamp(0.0, 1.0) * 1000.0).round() / 10.0
    };
    let outside = match value {
        v if v > 0.0 && v.log10() < from => Some("below"),
        v if v.log10() > to => Some("above"),
        _ => None,
    };
    Some(Bar {
        value: place(value),
        lower: place(lower),
        width: ((place(upper) - place(lower)) * 10.0).round() / 10.0,
        usual: (place(usual.0), place(usual.1)),
        ticks: (from.ceil() as i32..=to.floor() as i32)
            .map(|power| place(10f64.powi(power)))
            .collect(),
        usual_words: usual_text(name),
        outside,
    })
}

/// The usual range in round numbers: `50 mΩ to 100 Ω`, `1 × 10⁻³ to 0.5 V·s/rad`.
fn usual_text(name: ParameterName) -> String {
    let (low, high) = usual(name);
    let number = |x: f64| {
        let mut rounded = rounding::round(x, None, table::scale(name));
        if rounded.value.contains('.') {
            rounded.value = rounded
                .value
                .trim_end_matches('0')
                .trim_end_matches('.')
                .to_owned();
        }
        rounded.with_unit(name.si())
    };
    let (low, high) = (number(low), number(high));
    // One unit is enough where both ends end in the same one.
    let unit = format!(" {}", name.si());
    match (table::scale(name), low.strip_suffix(&unit)) {
        (Scale::Power, Some(low)) => format!("{low} to {high}"),
        _ => format!("{low} to {high}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn constant() -> Parameter {
        Parameter::measured(
            ParameterName::BackEmfConstant,
            0.04211,
            4.7e-4,
            (0.04119, 0.04305),
            0.95,
        )
    }

    #[test]
    fn the_row_of_common_units_holds_the_same_numbers() {
        let row = row(ParameterName::BackEmfConstant, &constant());
        let (si, trade) = (row.si.expect("si"), row.trade.expect("trade"));
        assert_eq!(si.value, "42.11(47) × 10⁻³ V·s/rad");
        assert!(
            trade
                .value
                .starts_with("42.11(47) mN·m/A, 4.410(49) V/krpm"),
            "{}",
            trade.value
        );
        assert_eq!(trade.interval, "41.19 to 43.05 mN·m/A (95 %)");
        assert_eq!(row.relative.as_deref(), Some("± 2.2 %"));
    }

    #[test]
    fn the_bar_is_where_the_logarithm_puts_it() {
        let bar = bar(ParameterName::BackEmfConstant, &constant()).expect("a bar");
        let (from, to) = (1e-3f64.log10() - 0.5, 0.5f64.log10() + 0.5);
        assert_relative_eq!(
            bar.value,
            100.0 * (0.04211f64.log10() - from) / (to - from),
            epsilon = 0.06
        );
        assert!(bar.lower < bar.value && bar.value < bar.lower + bar.width);
        assert_eq!(bar.outside, None);
    }

    #[test]
    fn a_remedy_that_settles_several_is_listed_once() {
        let mut file = table::tests::empty();
        for name in [ParameterName::BackEmfConstant, ParameterName::RotorInertia] {
            let undetermined = Parameter::undetermined(name, "one tachometer reading");
            file.parameters.insert(name, undetermined);
        }
        let told: Vec<Option<String>> = rows(&file).into_iter().map(|r| r.suggestion).collect();
        assert_eq!(told[0].as_deref(), Some("one tachometer reading"));
        assert_eq!(
            told[1].as_deref(),
            Some("the same as for the back-EMF constant")
        );
    }

    #[test]
    fn the_usual_range_is_in_round_numbers() {
        assert_eq!(
            usual_text(ParameterName::TerminalResistance),
            "50 mΩ to 100 Ω"
        );
        assert_eq!(
            usual_text(ParameterName::BackEmfConstant),
            "1 × 10⁻³ to 500 × 10⁻³ V·s/rad"
        );
    }

    #[test]
    fn a_term_that_was_dropped_has_no_bar() {
        let dropped = Parameter::measured(ParameterName::Windage, 0.0, 0.0, (0.0, 0.0), 0.95);
        assert_eq!(bar(ParameterName::Windage, &dropped), None);
    }

    #[test]
    fn a_value_beyond_the_strip_is_marked() {
        let huge = Parameter::measured(
            ParameterName::BackEmfConstant,
            50.0,
            1.0,
            (48.0, 52.0),
            0.95,
        );
        assert_eq!(
            bar(ParameterName::BackEmfConstant, &huge).and_then(|b| b.outside),
            Some("above")
        );
    }

    #[test]
    fn an_undetermined_parameter_has_no_bar_and_no_number() {
        let row = row(
            ParameterName::RotorInertia,
            &Parameter::undetermined(ParameterName::RotorInertia, "one tachometer reading"),
        );
        assert!(
            row.si.is_none() && row.trade.is_none() && row.bar.is_none() && row.relative.is_none()
        );
        assert_eq!(row.suggestion.as_deref(), Some("one tachometer reading"));
    }
}
