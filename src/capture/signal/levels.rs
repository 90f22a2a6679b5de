//! The different values in a column. A converter has few codes, so they are counted in a small table instead of sorting
//! millions of samples; a column with many different values is sorted after all.

use crate::stats::simd;
use rayon::prelude::*;

/// Different values beyond which sorting is no worse.
const MOST: usize = 1 << 16;
/// Samples a task.
const STRETCH: usize = 1 << 18;
/// Bits of a number that is not finite, so of none in the table.
const FREE: u64 = u64::MAX;
const NOBODY: Seat = Seat {
    bits: FREE,
    count: 0,
};

/// Different finite values in increasing order; values closer than a ten-millionth of the span are one, for a sum in
/// floating point may be printed with its last digits astray.
pub fn levels(all: &[f64]) -> Levels<'_> {
    let tally = all
        .par_chunks(STRETCH)
        .try_fold(Tally::new, Tally::with)
        .try_reduce(Tally::new, |one, other| one.and(&other));
    Levels::of(all, tally)
}

/// What [`levels`] finds.
pub struct Levels<'a> {
    pub values: Vec<f64>,
    /// Smallest and largest finite value; `None` without any.
    pub range: Option<(f64, f64)>,
    /// How often each value occurs; `None` where there are too many.
    tally: Option<Tally>,
    all: &'a [f64],
}

impl<'a> Levels<'a> {
    /// From the tally of all values, where they are few enough.
    pub fn of(all: &'a [f64], tally: Option<Tally>) -> Levels<'a> {
        let mut values: Vec<f64> = match &tally {
            Some(tally) => tally
                .taken()
                .map(|seat| f64::from_bits(seat.bits))
                .collect(),
            None => all.iter().copied().filter(|v| v.is_finite()).collect(),
        };
        values.sort_unstable_by(f64::total_cmp);
        let range = values.first().copied().zip(values.last().copied());
        if let Some((low, high)) = range {
            let close = 1e-7 * (high - low);
            values.dedup_by(|next, kept| *next - *kept <= close);
        }
        Levels {
            values,
            range,
            tally,
            all,
        }
    }

    /// Number of finite samples whose value is one of those asked for.
    pub fn count(&self, is: impl Fn(f64) -> bool) -> usize {
        match &self.tally {
            Some(tally) => {
                let seats = tally.taken().filter(|seat| is(f64::from_bits(seat.bits)));
                seats.map(|seat| seat.count).sum::<u64>() as usize
            }
            None => simd::count(self.all, |[v]| v.is_finite() && is(v)),
        }
    }
}

/// A bit pattern and its number.
#[derive(Clone, Copy)]
struct Seat {
    bits: u64,
    count: u64,
}

/// How often each finite value occurs: bit patterns with open addressing.
pub struct Tally {
    seats: Vec<Seat>,
    filled: usize,
}

impl Tally {
    pub fn new() -> Tally {
        Tally {
            seats: vec![NOBODY; 1024],
            filled: 0,
        }
    }

    /// With some more values; `None` when there are too many different ones.
    pub fn with(mut self, values: &[f64]) -> Option<Tally> {
        for value in values.iter().filter(|v| v.is_finite()) {
            self.add(value.to_bits(), 1)?;
        }
        Some(self)
    }

    /// Together with another; `None` when there are too many different values.
    pub fn and(mut self, other: &Tally) -> Option<Tally> {
        for seat in other.taken() {
            self.add(seat.bits, seat.count)?;
        }
        Some(self)
    }

    fn taken(&self) -> impl Iterator<Item = Seat> + '_ {
        self.seats.iter().copied().filter(|seat| seat.bits != FREE)
    }

    fn place(&self, bits: u64) -> usize {
        // Multiplicative hashing: only the highest bits of the product depend on all of the pattern, and codes differ in
        // their leading bits.
        let hash = bits.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mask = self.seats.len() - 1;
        let mut at = (hash >> (64 - self.seats.len().trailing_zeros())) as usize & mask;
        while self.seats[at].bits != FREE && self.seats[at].bits != bits {
            at = (at + 1) & mask;
        }
        at
    }

    /// `None` when there are too many.
    fn add(&mut self, bits: u64, count: u64) -> Option<()> {
        let at = self.place(bits);
        if self.seats[at].bits == bits {
            self.seats[at].count += count;
            return Some(());
        }
        if self.filled == MOST {
            return None;
        }
        self.seats[at] = Seat { bits, count };
        self.filled += 1;
        // Sparse, so that nearly every value sits where it is looked for first.
        if self.filled * 4 > self.seats.len() {
            let old = std::mem::take(&mut self.seats);
            self.seats = vec![NOBODY; old.len() * 4];
            for seat in old.into_iter().filter(|seat| seat.bits != FREE) {
                let at = self.place(seat.bits);
                self.seats[at] = seat;
            }
        }
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    /// By sorting all, as the definition says.
    fn plain(values: &[f64]) -> Vec<f64> {
        let mut levels: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
        levels.sort_unstable_by(f64::total_cmp);
        if let (Some(&low), Some(&high)) = (levels.first(), levels.last()) {
            let close = 1e-7 * (high - low);
            levels.dedup_by(|next, kept| *next - *kept <= close);
        }
        levels
    }

    #[test]
    fn the_same_bits_as_by_sorting() {
        let mut random = rand::rngs::StdRng::seed_from_u64(3);
        let codes: Vec<f64> = (0..700_000)
            .map(|k| match k % 1000 {
                0 => f64::NAN,
                1 => f64::INFINITY,
                2 => -0.0,
                _ => f64::from(random.random_range(-3000..3000)) * 0.1 + f64::from(k % 2) * 1e-13,
            })
            .collect();
        let continuous: Vec<f64> = (0..200_000).map(|_| random.random::<f64>()).collect();
        for values in [&codes, &continuous, &vec![f64::NAN; 5000], &vec![2.0; 5000]] {
            let bits = |v: &[f64]| -> Vec<u64> { v.iter().map(|x| x.to_bits()).collect() };
            let found = levels(values);
            assert_eq!(bits(&found.values), bits(&plain(values)));
            let few = |v: f64| v < 1.0;
            let finite = values.iter().filter(|v| v.is_finite());
            assert_eq!(found.count(few), finite.filter(|v| few(**v)).count());
        }
    }
}
