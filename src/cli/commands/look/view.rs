//! One record with everything that was found in it.

use super::findings::Findings;
use super::seen::Seen;
use rundown::capture::{self, Channel, Codes, Record, TimeAxis};
use rundown::events::{ColumnGround, OtherColumn};

/// A record, its channels and what its waveform shows.
pub(super) struct View<'a> {
    pub record: &'a Record,
    pub channels: Vec<Seen<'a>>,
    /// Columns that hold neither voltage nor current.
    pub others: Vec<OtherColumn>,
    /// What voltage and current show; else why no column is taken for either.
    pub findings: Result<Findings<'a>, Vec<ColumnGround>>,
}

impl<'a> View<'a> {
    /// Measures the channels and looks for events.
    pub fn of(record: &'a Record) -> View<'a> {
        let (codes, noise): (Vec<Codes>, Vec<Option<f64>>) = record
            .channels
            .iter()
            .map(|c| capture::codes_and_noise(&c.values, &c.overrange))
            .unzip();
        let (others, findings) = Findings::of(record, &codes);
        let measured = record.channels.iter().zip(codes).zip(noise);
        View {
            record,
            channels: measured
                .map(|((channel, codes), noise)| Seen::new(channel, codes, noise))
                .collect(),
            others,
            findings,
        }
    }

    /// The channels that are used as voltage and current and state no unit, with the unit that they would have.
    pub fn without_unit(&self) -> Vec<(&'a Channel, &'static str)> {
        let used = self.findings.as_ref().map_or([None, None], Findings::used);
        let units = used.into_iter().zip(["V", "A"]);
        units
            .filter_map(|(index, unit)| Some((self.record.channels.get(index?)?, unit)))
            .filter(|(channel, _)| channel.unit.is_none())
            .collect()
    }

    /// True where nothing that happens has a time.
    pub fn is_timeless(&self) -> bool {
        matches!(self.record.time, TimeAxis::Absent { .. })
    }

    /// True when the capture cannot be used as it is.
    pub fn is_questionable(&self) -> bool {
        let mut warnings = self.record.warnings.iter();
        self.findings
            .as_ref()
            .map_or(true, Findings::is_questionable)
            || !self.without_unit().is_empty()
            || warnings.any(|w| w.kind.is_doubtful())
    }
}
