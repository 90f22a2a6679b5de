//! What a capture's simulation gives: rows to be compared, with their derivatives.

use super::gradient::{Local, Number, Slopes};
use super::turned::Turned;
use crate::fit::data;
use crate::fit::unknowns::Entry;

/// One comparison of recorded and predicted, the latter with its derivatives or as a plain number.
pub type Row<S = Local> = data::Row<S>;

/// What a capture's simulation gives, with derivatives or as plain numbers.
pub struct Prediction<S = Local> {
    /// In time order within a segment.
    pub rows: Vec<Row<S>>,
    /// For each component the entries of the unknowns it moves with, and by how much; nothing without derivatives.
    pub slopes: Slopes,
    /// Angle at the middle of each bin of a segment that lasts a few turns, and over it, in recorded volt-seconds.
    pub(crate) angles: Vec<Vec<[f64; 2]>>,
    /// Back-EMF while running freely on the supply, where the capture shows it.
    pub running_emf: Option<S>,
    /// Back-EMF at each instant of the probes of the capture; `None` where no current is simulated then.
    pub probed_emf: Vec<Option<S>>,
    /// Volt-seconds of back-EMF at each of the capture's instants; `None` where the model does not reach.
    pub(crate) turned: Vec<Option<Turned<S>>>,
    /// By how much the winding is warmer at the end than at the beginning, K; 0 where its warming is not followed.
    pub warmed_k: f64,
}

/// Derivatives in the entries where there are any.
type Gradient = Vec<(Entry, f64)>;

impl<S: Number> Prediction<S> {
    /// The back-EMF while running freely, or at one of the probes, V, with its derivative in each entry where it has any.
    pub(crate) fn back_emf(&self, probe: Option<usize>) -> Option<(f64, Vec<(Entry, f64)>)> {
        let emf = match probe {
            None => self.running_emf,
            Some(probe) => *self.probed_emf.get(probe)?,
        }?;
        Some((emf.value(), self.by_entry(emf)))
    }

    /// Volt-seconds of back-EMF between two of the capture's instants, both earlier by `delay_s`, with their derivative in each entry, and the change
    /// of the back-EMF from the one to the other, V; `None` where the model does not run from one to the other.
    pub(crate) fn turned(
        &self,
        [first, last]: [usize; 2],
        delay_s: f64,
    ) -> Option<(f64, f64, Gradient)> {
        let (first, last) = ((*self.turned.get(first)?)?, (*self.turned.get(last)?)?);
        let change = last.back_emf - first.back_emf;
        let between = last.volt_seconds - first.volt_seconds - change * delay_s;
        let found = || (between.value(), change.value(), self.by_entry(between));
        (first.run == last.run).then(found)
    }

    /// The derivative of a number of this prediction in each entry.
    fn by_entry(&self, number: S) -> Vec<(Entry, f64)> {
        let slopes = self.slopes.each().zip(number.gradient());
        let gradient = slopes.flat_map(|(links, by)| {
            links
                .iter()
                .map(move |&(entry, factor)| (entry, factor * by))
        });
        gradient.collect()
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
            turned: self.turned.clone(),
            warmed_k: self.warmed_k,
        }
    }
}
