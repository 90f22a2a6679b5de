//! One record with everything that was found in it.

use super::findings::Findings;
use super::seen::Seen;
use rundown::capture::{self, Codes, Record};

/// A record, its channels and what its waveform shows.
pub(super) struct View<'a> {
    pub record: &'a Record,
    pub channels: Vec<Seen<'a>>,
    /// `None` where no column can be a voltage or a current.
    pub findings: Option<Findings<'a>>,
}

impl<'a> View<'a> {
    /// Measures the channels and looks for events.
    pub fn of(record: &'a Record) -> View<'a> {
        let (codes, noise): (Vec<Codes>, Vec<Option<f64>>) = record
            .channels
            .iter()
            .map(|c| capture::codes_and_noise(&c.values, &c.overrange))
            .unzip();
        let findings = Findings::of(record, &codes);
        let measured = record.channels.iter().zip(codes).zip(noise);
        View {
            record,
            channels: measured
                .map(|((channel, codes), noise)| Seen::new(channel, codes, noise))
                .collect(),
            findings,
        }
    }

    /// True when the capture cannot be used as it is.
    pub fn is_questionable(&self) -> bool {
        let mut warnings = self.record.warnings.iter();
        self.findings.as_ref().is_none_or(Findings::is_questionable)
            || warnings.any(|w| w.kind.is_doubtful())
    }
}
