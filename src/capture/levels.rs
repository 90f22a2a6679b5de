//! The different values in a column. A converter has few codes, so they are counted in a small table instead of sorting
//! millions of samples; a column with many different values is sorted after all.

use rayon::prelude::*;

/// Different values beyond which sorting is no worse.
const MOST: usize = 1 << 16;
/// Samples a task.
const STRETCH: usize = 1 << 18;
/// Bits of a number that is not finite, so of none in the table.
const FREE: u64 = u64::MAX;

/// Different finite values in increasing order; values closer than a ten-millionth of the span are one, for a sum in
/// floating point may be printed with its last digits astray.
pub(super) fn levels(values: &[f64]) -> Levels {
    let mut levels = match values.len() {
        0..4096 => all(values),
        _ => different(values).unwrap_or_else(|| all(values)),
    };
    levels.sort_unstable_by(f64::total_cmp);
    let range = levels.first().copied().zip(levels.last().copied());
    if let Some((low, high)) = range {
        let close = 1e-7 * (high - low);
        levels.dedup_by(|next, kept| *next - *kept <= close);
    }
    Levels {
        values: levels,
        range,
    }
}

/// What [`levels`] finds.
pub(super) struct Levels {
    pub values: Vec<f64>,
    /// Smallest and largest finite value; `None` without any.
    pub range: Option<(f64, f64)>,
}

fn all(values: &[f64]) -> Vec<f64> {
    values.iter().copied().filter(|v| v.is_finite()).collect()
}

/// `None` when there are too many.
fn different(values: &[f64]) -> Option<Vec<f64>> {
    let tables = values
        .par_chunks(STRETCH)
        .map(|stretch| {
            let mut table = Table::new();
            let mut last = FREE;
            for value in stretch {
                let bits = value.to_bits();
                if bits != last && value.is_finite() {
                    last = bits;
                    table.put(bits)?;
                }
            }
            Some(table)
        })
        .try_reduce(Table::new, |mut one, other| {
            for &bits in other.slots.iter().filter(|bits| **bits != FREE) {
                one.put(bits)?;
            }
            Some(one)
        })?;
    let kept = tables.slots.into_iter().filter(|bits| *bits != FREE);
    Some(kept.map(f64::from_bits).collect())
}

/// Bit patterns, with open addressing.
struct Table {
    slots: Vec<u64>,
    filled: usize,
}

impl Table {
    fn new() -> Table {
        Table {
            slots: vec![FREE; 1024],
            filled: 0,
        }
    }

    fn seat(&self, bits: u64) -> usize {
        // Multiplicative hashing: only the highest bits of the product depend on all of the pattern, and codes differ in
        // their leading bits.
        let hash = bits.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mask = self.slots.len() - 1;
        let mut at = (hash >> (64 - self.slots.len().trailing_zeros())) as usize & mask;
        while self.slots[at] != FREE && self.slots[at] != bits {
            at = (at + 1) & mask;
        }
        at
    }

    fn put(&mut self, bits: u64) -> Option<()> {
        let at = self.seat(bits);
        if self.slots[at] == bits {
            return Some(());
        }
        if self.filled == MOST {
            return None;
        }
        self.slots[at] = bits;
        self.filled += 1;
        if self.filled * 2 > self.slots.len() {
            let old = std::mem::take(&mut self.slots);
            self.slots = vec![FREE; old.len() * 4];
            for bits in old.into_iter().filter(|bits| *bits != FREE) {
                let at = self.seat(bits);
                self.slots[at] = bits;
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
        let mut levels = all(values);
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
            assert_eq!(bits(&levels(values).values), bits(&plain(values)));
        }
    }
}
