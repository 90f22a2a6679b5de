//! What is measured on one channel.

use rundown::capture::{Channel, Codes};

/// A channel and its measures.
pub(super) struct Seen<'a> {
    pub channel: &'a Channel,
    pub least: Option<f64>,
    pub most: Option<f64>,
    pub step: Option<f64>,
    pub noise: Option<f64>,
    pub clipped: Vec<usize>,
}

impl<'a> Seen<'a> {
    pub fn new(channel: &'a Channel, codes: Codes, noise: Option<f64>) -> Seen<'a> {
        Seen {
            channel,
            least: codes.range.map(|r| r.0),
            most: codes.range.map(|r| r.1),
            step: codes.step,
            noise,
            clipped: codes
                .clipped
                .into_iter()
                .enumerate()
                .filter_map(|(row, flag)| flag.then_some(row))
                .collect(),
        }
    }

    pub fn unit(&self) -> &str {
        self.channel
            .unit
            .as_deref()
            .or(self.channel.unit_text.as_deref())
            .unwrap_or("")
    }

    /// Value at which clipped samples sit; `None` where all are overrange marks.
    pub fn clip_level(&self) -> Option<f64> {
        self.clipped
            .iter()
            .map(|&row| self.channel.values[row])
            .find(|v| v.is_finite())
    }
}
