//! Where the samples of a spectrum lie and with what weight they count, worked out a block of rows at a time.

use std::ops::Range;

/// A place and a weight a sample, without a copy of either.
#[derive(Clone, Copy)]
pub(crate) struct Domain<'a> {
    /// s in time, V·s in x.
    place: &'a [f64],
    /// 1 where there is none; V in x, where the EMF is the slope of the place in time.
    weight: Option<&'a [f64]>,
    /// A zero offset (V) that is taken off the weight, and over the times (s) off the place.
    zero: Option<(f64, &'a [f64])>,
}

impl<'a> Domain<'a> {
    /// Samples that all count the same.
    pub fn even(place: &'a [f64]) -> Domain<'a> {
        Domain {
            place,
            weight: None,
            zero: None,
        }
    }

    /// In x = ∫ e dt, by the EMF e.
    pub fn angle(emf_v: &'a [f64], x_v_s: &'a [f64]) -> Domain<'a> {
        Domain {
            weight: Some(emf_v),
            ..Domain::even(x_v_s)
        }
    }

    /// In x, with a zero offset taken off the EMF.
    pub fn less(self, zero_v: f64, time_s: &'a [f64]) -> Domain<'a> {
        Domain {
            zero: Some((zero_v, time_s)),
            ..self
        }
    }

    pub fn len(&self) -> usize {
        self.place.len()
    }

    /// Places of the first and of the last sample; there must be one.
    pub fn ends(&self) -> (f64, f64) {
        let one = |row: usize| {
            let mut place = [0.0];
            self.places(row..row + 1, &mut place);
            place[0]
        };
        (one(0), one(self.len() - 1))
    }

    /// Puts down the places of some rows.
    pub fn places(&self, rows: Range<usize>, block: &mut [f64]) {
        block.copy_from_slice(&self.place[rows.clone()]);
        if let Some((zero, time)) = self.zero {
            for (place, t) in block.iter_mut().zip(&time[rows]) {
                *place -= zero * (t - time[0]);
            }
        }
    }

    /// Puts down the weights of some rows.
    pub fn weights(&self, rows: Range<usize>, block: &mut [f64]) {
        match self.weight {
            Some(weight) => block.copy_from_slice(&weight[rows]),
            None => block.fill(1.0),
        }
        if let Some((zero, _)) = self.zero {
            block.iter_mut().for_each(|weight| *weight -= zero);
        }
    }

    /// Every weight, in order.
    pub fn all_weights(&self) -> impl Iterator<Item = f64> {
        let zero = self.zero.map_or(0.0, |(zero, _)| zero);
        (0..self.len()).map(move |row| self.weight.map_or(1.0, |weight| weight[row]) - zero)
    }
}
