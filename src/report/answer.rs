//! The parameters as the page shows them: written in both systems of units, with a bar of the relative interval.

use super::context::{ParameterRow, Written};
use crate::motor_file::{MotorFile, Parameter, ParameterName, Status, table};
use crate::quantity::rounding;

/// The rows of the answer, in the order of the terminal.
pub fn rows(file: &MotorFile) -> Vec<ParameterRow> {
    let mut rows: Vec<ParameterRow> = Vec::new();
    for (name, parameter) in table::ordered(file) {
        let mut row = row(name, parameter);
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
    // As on the terminal, whose remark of K is the speed constant; the others are notes and the status here.
    let [value, interval, remark] = table::cells(name, parameter);
    if name == ParameterName::BackEmfConstant && parameter.status == Status::Measured {
        notes.push(remark);
    }
    let si = written(name, parameter);
    let relative = relative(parameter);
    ParameterRow {
        key: name.key(),
        words: name.label(),
        symbol: symbol(name),
        terminal: is_terminal(name),
        status: parameter.status.label(),
        trade: si.is_some().then_some(Written { value, interval }),
        si,
        relative: relative.map(|percent| format!("± {} %", digits(percent))),
        bar: relative.map(bar),
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

/// Half the interval over the value, in percent; absent for a bound and for what is not above zero.
fn relative(p: &Parameter) -> Option<f64> {
    let (value, lower, upper) = (p.value?, p.lower?, p.upper?);
    let two_sided = p.one_sided.is_none() && value > 0.0 && upper > lower;
    two_sided.then(|| 50.0 * (upper - lower) / value)
}

/// Two significant digits.
fn digits(number: f64) -> String {
    match number {
        n if n >= 10.0 => format!("{n:.0}"),
        n if n >= 1.0 => format!("{n:.1}"),
        n => format!("{n:.2}"),
    }
}

/// Length of the bar of a relative interval, in percent of a strip that reaches from 0.1 % to 100 % on a logarithmic scale.
fn bar(relative_percent: f64) -> f64 {
    let share = (relative_percent / 0.1).log10() / 3.0;
    (share.clamp(0.01, 1.0) * 1000.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

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
        assert_eq!(trade.value, "42.11 mN·m/A");
        assert_eq!(trade.interval, "41.19 to 43.05");
        assert!(row.notes.iter().any(|note| note.ends_with("rpm/V")));
        assert_eq!(row.relative.as_deref(), Some("± 2.2 %"));
    }

    #[test]
    fn the_bar_is_as_long_as_the_logarithm_makes_it() {
        for (percent, length) in [
            (0.1, 1.0),
            (1.0, 33.3),
            (10.0, 66.7),
            (100.0, 100.0),
            (700.0, 100.0),
        ] {
            assert_eq!(bar(percent), length);
        }
        let dropped = Parameter::measured(ParameterName::Windage, 0.0, 0.0, (0.0, 0.0), 0.95);
        assert_eq!(relative(&dropped), None);
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
