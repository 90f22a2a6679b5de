//! One comparison of what was recorded with what is predicted.

use super::bin::Bin;
use super::segments::Segment;

/// Which channel a row compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Terminal voltage, V.
    Voltage,
    /// Motor current, A.
    Current,
}

impl Quantity {
    /// What a bin has recorded of it.
    fn of(self, bin: &Bin) -> f64 {
        match self {
            Quantity::Voltage => bin.voltage_v,
            Quantity::Current => bin.current_a,
        }
    }
}

/// One comparison of recorded and predicted, the latter with its derivatives or as a plain number.
#[derive(Clone, Copy, Debug)]
pub struct Row<S> {
    pub time_s: f64,
    pub quantity: Quantity,
    /// Index of the segment.
    pub segment: usize,
    pub samples: usize,
    pub recorded: f64,
    pub predicted: S,
    /// For rows that stand for a whole segment's zero: the standard uncertainty of the recorded mean.
    pub zero_uncertainty: Option<f64>,
}

impl<S> Row<S> {
    /// The mean of a channel over a bin.
    pub fn of_bin(bin: &Bin, quantity: Quantity, segment: usize, predicted: S) -> Self {
        Row {
            time_s: bin.time_s,
            quantity,
            segment,
            samples: bin.samples,
            recorded: quantity.of(bin),
            predicted,
            zero_uncertainty: None,
        }
    }
}

/// One row for the mean of a channel over a segment in which its true value is zero.
pub fn zero_row<S>(
    segment: &Segment,
    number: usize,
    quantity: Quantity,
    zero: S,
) -> Option<Row<S>> {
    let recorded = segment.bins.iter().map(|bin| quantity.of(bin));
    let values: Vec<f64> = recorded.filter(|v| v.is_finite()).collect();
    if values.len() < 4 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    // Blocks of bins hold hum and drift as well as noise.
    let blocks: Vec<f64> = values
        .chunks((values.len() / 5).max(1))
        .map(|c| c.iter().sum::<f64>() / c.len() as f64)
        .collect();
    let m = blocks.len() as f64;
    let variance = blocks.iter().map(|b| (b - mean).powi(2)).sum::<f64>() / (m - 1.0).max(1.0) / m;
    Some(Row {
        time_s: segment.bins[0].time_s,
        quantity,
        segment: number,
        samples: segment.bins.iter().map(|b| b.samples).sum(),
        recorded: mean,
        predicted: zero,
        zero_uncertainty: Some(variance.sqrt()),
    })
}
