//! What a first bench sheet is written from.

use super::column_kind::{ColumnKind, OtherColumn};
use super::guess::guess_columns;
use crate::bench::{RecordGuess, SpeedSignal};
use crate::capture::Record;

/// Columns and role of a record, as `bench::guess_sheet` asks for them.
pub fn sheet_guess(record: &Record) -> RecordGuess {
    let guess = guess_columns(record);
    RecordGuess {
        voltage: guess.voltage,
        current: guess.current,
        voltage_reversed: guess.voltage_reversed,
        current_reversed: guess.current_reversed,
        current_in_volts: guess.current_in_volts,
        shaft: shaft_columns(&guess.others),
        column_reasons: guess.reasons,
        role: guess.role.role,
        role_confidence: guess.role.confidence,
        role_reason: guess.role.reason,
        alternatives: guess.role.alternatives.iter().map(|(r, _)| *r).collect(),
    }
}

/// The columns that show how the shaft turns.
fn shaft_columns(others: &[OtherColumn]) -> Vec<(usize, SpeedSignal, String)> {
    let signal = |kind| {
        Some(match kind {
            ColumnKind::Speed => SpeedSignal::Speed,
            ColumnKind::Position => SpeedSignal::Position,
            ColumnKind::Pulses => SpeedSignal::Pulses,
            _ => return None,
        })
    };
    let shown = others
        .iter()
        .filter_map(|o| Some((o.index, signal(o.kind)?, o.why.clone())));
    shown.collect()
}
