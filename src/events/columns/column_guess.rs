//! A guess which columns of a record to use.

use super::column_kind::OtherColumn;
use crate::bench::{Trace, Waveform};
use crate::capture::{self, Record};
use crate::events::roles::RoleGuess;

/// A guess which columns to use, with its grounds.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnGuess {
    /// Index into [`Record::channels`] of the terminal voltage.
    pub voltage: Option<usize>,
    /// Index into [`Record::channels`] of the current (perhaps still in volts across a shunt).
    pub current: Option<usize>,
    /// The voltage is negative while the source drives.
    pub voltage_reversed: bool,
    /// The current is negative while the source drives (or positive while the motor brakes).
    pub current_reversed: bool,
    /// The current column states volts: a shunt or probe factor is still to be applied.
    pub current_in_volts: bool,
    /// Between 0 and 1; a judgement by margins, no probability.
    pub confidence: f64,
    /// Channels that hold something else.
    pub others: Vec<OtherColumn>,
    /// One sentence a ground, with names and numbers.
    pub reasons: Vec<String>,
    /// The role that the chosen columns show.
    pub role: RoleGuess,
}

impl ColumnGuess {
    /// The chosen columns of `record` as they were recorded: no polarity turned, no scale applied.
    pub fn waveform(&self, record: &Record) -> Waveform {
        let trace = |index: Option<usize>| {
            let channel = record.channels.get(index?)?;
            let codes = capture::codes(&channel.values, &channel.overrange);
            Some(Trace {
                clipped: codes.clipped,
                quantisation_step: codes.step,
                values: channel.values.clone(),
            })
        };
        Waveform {
            time: record.time.clone(),
            voltage_v: trace(self.voltage),
            current_a: trace(self.current),
        }
    }
}
