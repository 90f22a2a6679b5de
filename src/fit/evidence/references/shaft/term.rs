//! The angle between two instants as a residual.

use super::super::term::Term;
use crate::fit::model::{Number, Prediction};
use crate::fit::unknowns::Entry;
use nalgebra::DVector;
use std::sync::Arc;

/// What a channel shows of one stretch of its capture.
#[derive(Clone, Debug)]
pub struct ShaftTerm {
    /// Of the capture's model.
    pub model: usize,
    /// Name of the channel.
    pub name: Arc<str>,
    /// The angle by which the shaft turned, rad, and its standard deviation.
    pub turned_rad: f64,
    pub sd_rad: f64,
    pub duration_s: f64,
    /// Places of beginning and end among the instants of the model.
    pub instants: [usize; 2],
    pub constant: Entry,
    /// Relative gain errors with their factors.
    pub gain: Arc<[(Entry, f64)]>,
    /// Zero, rad/s.
    pub zero: Option<Entry>,
    /// Departure of the delay from the stated one, s.
    pub delay: Option<Entry>,
    /// Whether the angle is exact and the oscilloscope's clock makes a speed of it.
    pub by_clock: bool,
}

impl ShaftTerm {
    /// Its residual at `x`, recorded less model; nothing where the model does not reach so far.
    pub fn evaluate<S: Number>(&self, x: &DVector<f64>, predictions: &[Prediction<S>]) -> Term {
        let delay_s = self.delay.map_or(0.0, |entry| x[entry]);
        let met = predictions[self.model].turned(self.instants, delay_s);
        let Some((volt_seconds, change_v, slopes)) = met else {
            return Term {
                residual: 0.0,
                gradient: Vec::new(),
            };
        };
        let gain: f64 = self.gain.iter().map(|&(entry, by)| by * x[entry]).sum();
        let per_volt = (1.0 + gain) * (-x[self.constant]).exp();
        let zero = self.zero.map_or(0.0, |entry| x[entry] * self.duration_s);
        let angle = volt_seconds * per_volt;
        let sd = self.sd_rad;
        let mut gradient: Vec<(Entry, f64)> = slopes
            .into_iter()
            .map(|(entry, by)| (entry, -by * per_volt / sd))
            .collect();
        gradient.push((self.constant, angle / sd));
        let of_gain = angle / (1.0 + gain) / sd;
        gradient.extend(self.gain.iter().map(|&(entry, by)| (entry, -by * of_gain)));
        gradient.extend(self.zero.map(|entry| (entry, -self.duration_s / sd)));
        gradient.extend(self.delay.map(|entry| (entry, change_v * per_volt / sd)));
        Term {
            residual: (self.turned_rad - angle - zero) / sd,
            gradient,
        }
    }

    /// Relative standard deviation of the angle.
    pub fn relative_sd(&self) -> f64 {
        self.sd_rad / self.turned_rad.abs().max(f64::MIN_POSITIVE)
    }
}
