//! A record as somebody who knows waveforms sees it, and what a sheet says of it beside its role.

use super::doubts::Shown;
use crate::bench::capture::{Role, SpeedSignal, Trace};
use crate::bench::captures::upper_level;
use crate::capture::{self, Record};
use crate::stats::simd;

/// What somebody who knows waveforms says of one record.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordGuess {
    /// Index of the voltage column into [`Record::channels`]; `None` where none was recognised.
    pub voltage: Option<usize>,
    /// Index of the current column into [`Record::channels`]; `None` where none was recognised.
    pub current: Option<usize>,
    /// True where the voltage column has the wrong sign.
    pub voltage_reversed: bool,
    /// True where the current column has the wrong sign.
    pub current_reversed: bool,
    /// The current column states volts: raw volts across a shunt.
    pub current_in_volts: bool,
    /// Columns that show how the shaft turns: index into [`Record::channels`], what it records, and why.
    pub shaft: Vec<(usize, SpeedSignal, String)>,
    /// Grounds for the choice of columns.
    pub column_reasons: Vec<String>,
    /// Most likely role of the capture.
    pub role: Role,
    /// 0 to 1.
    pub role_confidence: f64,
    /// Grounds for the role, one sentence.
    pub role_reason: String,
    /// Other roles the shape leaves open.
    pub alternatives: Vec<Role>,
}

/// Supply and resistance as far as the capture shows them.
pub(super) fn shown(record: &Record, guess: &RecordGuess) -> Shown {
    let level = level(record, guess);
    let shows = |roles: &[Role]| roles.contains(&guess.role);
    let current = guess.current.and_then(|k| record.channels.get(k));
    let largest = current.map(|c| {
        let (low, high) = simd::range(&c.values);
        high.max(-low)
    });
    let resistance = level.zip(largest.filter(|i| *i > 0.0)).map(|(v, i)| v / i);
    let near_stall = [Role::Start, Role::LockedRotor, Role::Brake, Role::TurnOff];
    Shown {
        supply_v: level.filter(|_| shows(&[Role::Start, Role::RunDown, Role::Steady, Role::Brake])),
        // Volts across a shunt are no amperes.
        resistance_ohm: resistance.filter(|_| shows(&near_stall) && !guess.current_in_volts),
    }
}

/// What is wrong in the file, and which of the columns taken state no unit.
pub(super) fn warnings(record: &Record, guess: &RecordGuess) -> Vec<String> {
    let mut warnings: Vec<String> = record.warnings.iter().map(ToString::to_string).collect();
    let used = [guess.voltage, guess.current].into_iter().flatten();
    let without: Vec<String> = used
        .filter_map(|index| record.channels.get(index))
        .filter(|channel| channel.unit.is_none())
        .map(|channel| format!("{} \"{}\"", channel.column, channel.name))
        .collect();
    if !without.is_empty() {
        warnings.push(format!(
            "no unit is stated for column {}; volts and amperes are assumed. State them with import = {{ units = {{ 2 = \"V\" }} }}",
            without.join(" and ")
        ));
    }
    warnings
}

/// Columns that are neither voltage, current nor a sensor on the shaft.
pub(super) fn unused(record: &Record, guess: &RecordGuess) -> String {
    let taken = [guess.voltage, guess.current].into_iter().flatten();
    let taken: Vec<usize> = taken.chain(guess.shaft.iter().map(|s| s.0)).collect();
    let rest = record.channels.iter().enumerate();
    let rest: Vec<String> = rest
        .filter(|(index, _)| !taken.contains(index))
        .map(|(_, channel)| format!("{} \"{}\"", channel.column, channel.name))
        .collect();
    match rest.is_empty() {
        true => String::new(),
        false => format!("column {}", rest.join(", ")),
    }
}

/// Level that the voltage reaches.
pub(super) fn level(record: &Record, guess: &RecordGuess) -> Option<f64> {
    let channel = record.channels.get(guess.voltage?)?;
    upper_level(&Trace {
        values: channel.values.clone(),
        quantisation_step: None,
        clipped: Vec::new(),
    })
}

/// Quantisation steps that a channel spans.
pub(super) fn codes_spanned(record: &Record, index: Option<usize>) -> Option<f64> {
    let values = &record.channels.get(index?)?.values;
    let step = capture::quantisation_step(values).filter(|s| *s > 0.0)?;
    let (low, high) = simd::range(values);
    Some((high - low) / step)
}
