//! Which columns of a record are voltage and current, from unit, name and behaviour.

use super::channel::without_unit;
use super::convert::short;
use crate::capture::{Channel, Record};

/// One column taken for a quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnGuess {
    /// Index into [`Record::channels`].
    pub index: usize,
    /// Why, with numbers.
    pub reason: String,
    /// In volts though it is a current: it must be raw volts across a shunt.
    pub raw_volts: bool,
}

/// The columns guessed of one record; `None` where nothing can be one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColumnsGuess {
    pub voltage: Option<ColumnGuess>,
    pub current: Option<ColumnGuess>,
}

/// Guesses the voltage and the current column. A column without numbers is never taken.
pub fn guess_columns(record: &Record) -> ColumnsGuess {
    let usable: Vec<(usize, &Channel)> = record
        .channels
        .iter()
        .enumerate()
        .filter(|(_, c)| c.missing < c.values.len())
        .collect();
    let of_unit = |unit: &str| -> Vec<(usize, &Channel)> {
        usable
            .iter()
            .filter(|(_, c)| c.unit.as_deref() == Some(unit))
            .copied()
            .collect()
    };
    let (volts, amperes) = (of_unit("V"), of_unit("A"));
    let mut guess = ColumnsGuess {
        voltage: widest(&volts, "V"),
        current: widest(&amperes, "A"),
    };
    if guess.current.is_none() && volts.len() > 1 {
        guess.current = raw_shunt(&volts, guess.voltage.as_ref());
    }
    if guess.voltage.is_none() && guess.current.is_none() {
        return by_shape(&usable);
    }
    guess
}

/// Distance between the 0.5 % and the 99.5 % quantile, over at most 50 000 rows.
fn span(channel: &Channel) -> f64 {
    let step = channel.values.len().div_ceil(50_000).max(1);
    let mut values: Vec<f64> = channel
        .values
        .iter()
        .step_by(step)
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    values.sort_by(f64::total_cmp);
    let at = |part: f64| {
        let last = values.len().saturating_sub(1);
        values
            .get((last as f64 * part).round() as usize)
            .copied()
            .unwrap_or(0.0)
    };
    at(0.995) - at(0.005)
}

fn widest(candidates: &[(usize, &Channel)], unit: &str) -> Option<ColumnGuess> {
    let (index, channel) = candidates
        .iter()
        .max_by(|a, b| span(a.1).total_cmp(&span(b.1)))?;
    let name = &channel.name;
    let reason = if candidates.len() == 1 {
        format!("\"{name}\" is the only column in {unit}")
    } else {
        format!(
            "\"{name}\" spans {} {unit}, more than the other {} columns in {unit}",
            short(span(channel)),
            candidates.len() - 1
        )
    };
    Some(ColumnGuess {
        index: *index,
        reason,
        raw_volts: false,
    })
}

/// The widest of the columns in volts that is not the voltage itself.
fn raw_shunt(volts: &[(usize, &Channel)], voltage: Option<&ColumnGuess>) -> Option<ColumnGuess> {
    let voltage = voltage?;
    let rest: Vec<(usize, &Channel)> = volts
        .iter()
        .filter(|(index, _)| *index != voltage.index)
        .copied()
        .collect();
    let (index, channel) = rest
        .iter()
        .max_by(|a, b| span(a.1).total_cmp(&span(b.1)))?;
    let voltage_span = volts
        .iter()
        .find(|(i, _)| *i == voltage.index)
        .map_or(0.0, |(_, c)| span(c));
    Some(ColumnGuess {
        index: *index,
        reason: format!(
            "no column is in A, and \"{}\" spans {} V against {} V of the voltage: raw volts across a shunt",
            channel.name,
            short(span(channel)),
            short(voltage_span)
        ),
        raw_volts: true,
    })
}

/// Without units, by name where it tells, else in the order in which channels are usually wired.
fn by_shape(usable: &[(usize, &Channel)]) -> ColumnsGuess {
    let named = |words: &[&str]| {
        usable.iter().find(|(_, c)| {
            let name = without_unit(&c.name).to_lowercase();
            words.iter().any(|w| name == *w || name.contains(w) && w.len() > 2)
        })
    };
    let by_name = |found: Option<&(usize, &Channel)>, what: &str| {
        found.map(|(index, c)| ColumnGuess {
            index: *index,
            reason: format!("no unit anywhere; the name \"{}\" says {what}", c.name),
            raw_volts: false,
        })
    };
    let mut guess = ColumnsGuess {
        voltage: by_name(named(&["volt", "spannung", "tension", "u", "v"]), "voltage"),
        current: by_name(
            named(&["curr", "amp", "strom", "courant", "shunt", "i", "a"]),
            "current",
        ),
    };
    let in_order = |index: usize, what: &str| ColumnGuess {
        index,
        reason: format!(
            "no unit and no telling name; column {} is taken for the {what} by its order only: check it",
            usable
                .iter()
                .find(|(i, _)| *i == index)
                .map_or(0, |(_, c)| c.column)
        ),
        raw_volts: false,
    };
    if guess.voltage.is_none() {
        let other = guess.current.as_ref().map(|c| c.index);
        guess.voltage = usable
            .iter()
            .map(|(i, _)| *i)
            .find(|i| Some(*i) != other)
            .map(|i| in_order(i, "voltage"));
    }
    if guess.current.is_none() {
        let other = guess.voltage.as_ref().map(|v| v.index);
        guess.current = usable
            .iter()
            .map(|(i, _)| *i)
            .find(|i| Some(*i) != other)
            .map(|i| in_order(i, "current"));
    }
    guess
}
