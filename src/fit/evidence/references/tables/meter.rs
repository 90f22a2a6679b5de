//! What a meter read in one row, with the gain and zero that it has in all of them.

use super::super::meters::shared_meters::{gain, meter_quantity, own_and_shared, zero};
use crate::bench::ReadingColumn;
use crate::fit::unknowns::{Entry, Layout};
use nalgebra::DVector;

/// One reading, in the SI unit.
#[derive(Clone, Copy, Debug)]
pub struct Metered {
    pub reading: f64,
    /// Its own standard uncertainty, that of digits and connections.
    pub own_sd: f64,
    /// Entries of the meter's gain (relative) and zero, and what one of each stands for.
    gain: Option<(Entry, f64)>,
    zero: Option<(Entry, f64)>,
}

impl Metered {
    /// The reading of a row; adds the meter's errors to the unknowns.
    pub fn new(column: &ReadingColumn, row: usize, layout: &mut Layout) -> Self {
        let reading = column.values[row];
        let quantity = meter_quantity(column.quantity);
        let (own_gain, shared_gain) = own_and_shared(column.gain_uncertainty);
        let (own_zero, shared_zero) = own_and_shared(column.zero_uncertainty);
        let meter = || column.meter.clone();
        let with = |quantity| layout_entry(layout, gain(quantity, meter()), shared_gain);
        let gain = quantity.and_then(with);
        let with = |quantity| layout_entry(layout, zero(quantity, meter()), shared_zero);
        Metered {
            reading,
            own_sd: (own_gain * reading).hypot(own_zero),
            gain,
            zero: quantity.and_then(with),
        }
    }

    /// The true value at `x`: `reading = true (1 + gain) + zero`, with its derivatives.
    pub fn true_value(
        &self,
        x: &DVector<f64>,
    ) -> (f64, impl Iterator<Item = (Entry, f64)> + use<>) {
        let error = |of: Option<(Entry, f64)>| of.map_or(0.0, |(entry, by)| by * x[entry]);
        let scale = 1.0 + error(self.gain);
        let value = (self.reading - error(self.zero)) / scale;
        let of_gain = self.gain.map(|(entry, by)| (entry, -by * value / scale));
        let of_zero = self.zero.map(|(entry, by)| (entry, -by / scale));
        (value, of_gain.into_iter().chain(of_zero))
    }
}

fn layout_entry(
    layout: &mut Layout,
    parameter: crate::fit::unknowns::Parameter,
    by: f64,
) -> Option<(Entry, f64)> {
    (by > 0.0).then(|| (layout.add(parameter), by))
}
