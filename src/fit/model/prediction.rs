//! What a capture's simulation gives: rows to be compared, with their derivatives.

use super::gradient::{Local, Number};
use crate::fit::data::{Bin, Leg};

/// Which channel a row compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    Voltage,
    Current,
}

/// One comparison of recorded and predicted, the latter with its derivatives or as a plain number.
#[derive(Clone, Copy, Debug)]
pub struct Row<S = Local> {
    pub time_s: f64,
    pub quantity: Quantity,
    /// Index of the leg.
    pub leg: usize,
    pub samples: usize,
    pub recorded: f64,
    pub predicted: S,
    /// For rows that stand for a whole leg's zero: the standard uncertainty of the recorded mean.
    pub zero_uncertainty: Option<f64>,
}

/// What a capture's simulation gives, with derivatives or as plain numbers.
pub struct Prediction<S = Local> {
    pub rows: Vec<Row<S>>,
    /// For each lane the entries of the parameter vector it moves with, and by how much; none without derivatives.
    pub slopes: Vec<Vec<(usize, f64)>>,
    /// Angle at the middle of each bin of a leg that lasts a few turns, and over it, in recorded volt-seconds.
    pub(crate) angles: Vec<Vec<[f64; 2]>>,
    /// Back-EMF while running freely on the supply, where the capture shows it.
    pub running_emf: Option<S>,
    /// Back-EMF at each instant of the probes of the capture; `None` where no current is simulated then.
    pub probed_emf: Vec<Option<S>>,
    /// By how much the winding is warmer at the end than at the beginning, K; 0 where its warming is not followed.
    pub warmed_k: f64,
}

impl<S: Number> Prediction<S> {
    /// The back-EMF while running freely, or at one of the probes, V, with its derivative in each entry where it has any.
    pub(crate) fn back_emf(&self, probe: Option<usize>) -> Option<(f64, Vec<(usize, f64)>)> {
        let emf = match probe {
            None => self.running_emf,
            Some(probe) => *self.probed_emf.get(probe)?,
        }?;
        let slopes = self.slopes.iter().zip(emf.by_lane());
        let gradient = slopes.flat_map(|(links, by)| {
            links
                .iter()
                .map(move |&(entry, factor)| (entry, factor * by))
        });
        Some((emf.value(), gradient.collect()))
    }
}

impl Prediction {
    /// The same without its rows.
    pub fn without_rows(&self) -> Self {
        Prediction {
            rows: Vec::new(),
            slopes: self.slopes.clone(),
            angles: Vec::new(),
            probed_emf: self.probed_emf.clone(),
            running_emf: self.running_emf,
            warmed_k: self.warmed_k,
        }
    }
}

/// One row for the mean of a channel over a leg in which its true value is zero.
pub fn zero_row<S>(leg: &Leg, number: usize, quantity: Quantity, zero: S) -> Option<Row<S>> {
    let of = |b: &Bin| {
        if quantity == Quantity::Voltage {
            b.voltage_v
        } else {
            b.current_a
        }
    };
    let values: Vec<f64> = leg.bins.iter().map(of).filter(|v| v.is_finite()).collect();
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
        time_s: leg.bins[0].time_s,
        quantity,
        leg: number,
        samples: leg.bins.iter().map(|b| b.samples).sum(),
        recorded: mean,
        predicted: zero,
        zero_uncertainty: Some(variance.sqrt()),
    })
}
