//! A column of times, held small while it is read: as whole numbers of the last printed digit that a straight line follows.
//!
//! Five million printed times of a regular record take no more than a line a piece of the file, or a byte a row where the
//! last digit is rounded. Every time is had back to the last bit: a whole number below 2^53 over a power of ten up to 22 is
//! the double nearest to what was printed, which is what reading it gave.

use crate::capture::rows::EXACT;
use rayon::prelude::*;

/// Whole numbers below this size are doubles, and neighbours still differ when they are divided.
const LARGEST: u64 = 1 << 51;

/// Times of one piece of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Packed {
    first: i64,
    /// Mean step, in units of the last digit.
    step: f64,
    decimals: u8,
    rows: usize,
    /// What the line misses; empty where it misses nothing.
    rest: Vec<i8>,
    /// The times themselves, where no line follows them (a negative zero is enough).
    plain: Vec<f64>,
}

impl Packed {
    /// `marks`: the digits of each time as a whole number with its sign; `decimals`: digits behind the decimal mark. `None`
    /// where no line follows them closely.
    pub fn new(marks: &[i64], decimals: u8) -> Option<Packed> {
        let (&first, &last) = (marks.first()?, marks.last()?);
        if usize::from(decimals) >= EXACT.len() {
            return None;
        }
        let step = (last - first) as f64 / (marks.len() - 1).max(1) as f64;
        let mut packed = Packed {
            first,
            step,
            decimals,
            rows: marks.len(),
            rest: Vec::new(),
            plain: Vec::new(),
        };
        // Most records: whole steps forward, and nothing rounded away.
        let exact = (0.0..LARGEST as f64).contains(&(step * marks.len() as f64));
        if exact && marks.windows(2).all(|w| (w[1] - w[0]) as f64 == step) {
            return Some(packed);
        }
        let rest = marks
            .iter()
            .enumerate()
            .map(|(k, mark)| i8::try_from(mark - packed.line(k)).ok())
            .collect::<Option<Vec<i8>>>()?;
        if rest.iter().any(|r| *r != 0) {
            packed.rest = rest;
        }
        Some(packed)
    }

    /// Times as they are.
    pub fn plain(times: &[f64]) -> Packed {
        Packed {
            first: 0,
            step: 0.0,
            decimals: 0,
            rows: times.len(),
            rest: Vec::new(),
            plain: times.to_vec(),
        }
    }

    fn line(&self, row: usize) -> i64 {
        // Cut to a whole number: the nearest would cost a call, and the rest makes up for it.
        self.first + (row as f64 * self.step + 0.5) as i64
    }

    /// First and last time of a piece whose times all stand on one line that rises by whole last digits; `None` of any
    /// other. Between them the times grow from row to row.
    fn straight(&self) -> Option<(f64, f64)> {
        let last = self.line(self.rows.checked_sub(1)?);
        let rises = self.step >= 1.0 && self.step.fract() == 0.0;
        let small = self.first.unsigned_abs().max(last.unsigned_abs()) < LARGEST;
        let unit = EXACT[usize::from(self.decimals)];
        (self.plain.is_empty() && self.rest.is_empty() && rises && small)
            .then(|| (self.first as f64 / unit, last as f64 / unit))
    }

    fn unpack(&self, times: &mut Vec<f64>) {
        if !self.plain.is_empty() {
            times.extend_from_slice(&self.plain);
            return;
        }
        let unit = EXACT[usize::from(self.decimals)];
        times.extend((0..self.rows).map(|k| {
            let rest = self.rest.get(k).copied().unwrap_or(0);
            (self.line(k) + i64::from(rest)) as f64 / unit
        }));
    }
}

/// Times as they are held: packed pieces, then the rest as numbers.
#[derive(Clone, Copy, Debug)]
pub struct Times<'a> {
    packed: &'a [Packed],
    plain: &'a [f64],
}

/// Rows a task of those that are not packed.
const STRETCH: usize = 1 << 16;

impl<'a> Times<'a> {
    pub fn new(packed: &'a [Packed], plain: &'a [f64]) -> Times<'a> {
        Times { packed, plain }
    }

    pub fn len(&self) -> usize {
        self.packed.iter().map(|p| p.rows).sum::<usize>() + self.plain.len()
    }

    /// All times as numbers.
    pub fn to_vec(self) -> Vec<f64> {
        let mut times = Vec::with_capacity(self.len());
        self.packed.iter().for_each(|p| p.unpack(&mut times));
        times.extend_from_slice(self.plain);
        times
    }

    pub fn first(&self) -> Option<f64> {
        let mut piece = Vec::new();
        match self.packed.first() {
            Some(packed) => packed.unpack(&mut piece),
            None => return self.plain.first().copied(),
        }
        piece.first().copied()
    }

    pub fn last(&self) -> Option<f64> {
        if let Some(last) = self.plain.last() {
            return Some(*last);
        }
        let mut piece = Vec::new();
        self.packed.last()?.unpack(&mut piece);
        piece.last().copied()
    }

    /// What `of` makes of each stretch of times and its first row, on all threads, in the order of the rows. Where a stretch is a
    /// straight line its first row, its number of rows, and its first and last time may be enough, and save working out the
    /// others: `straight` gives `None` where they are not.
    pub fn ends_or_stretches<T: Send>(
        &self,
        straight: impl Fn(usize, usize, (f64, f64)) -> Option<T> + Sync,
        of: impl Fn(usize, &[f64]) -> T + Sync,
    ) -> Vec<T> {
        enum Stretch<'a> {
            Packed(&'a Packed),
            Plain(&'a [f64]),
        }
        let packed = self.packed.iter().map(Stretch::Packed);
        let stretches: Vec<Stretch> = packed
            .chain(self.plain.chunks(STRETCH).map(Stretch::Plain))
            .collect();
        let mut first = 0;
        let begins: Vec<usize> = stretches
            .iter()
            .map(|stretch| {
                let begin = first;
                first += match stretch {
                    Stretch::Packed(packed) => packed.rows,
                    Stretch::Plain(times) => times.len(),
                };
                begin
            })
            .collect();
        stretches
            .par_iter()
            .zip(begins)
            .map_init(Vec::new, |piece, (stretch, begin)| match stretch {
                Stretch::Packed(packed) => {
                    let ends = packed.straight();
                    let found = ends.and_then(|ends| straight(begin, packed.rows, ends));
                    found.unwrap_or_else(|| {
                        piece.clear();
                        packed.unpack(piece);
                        of(begin, piece)
                    })
                }
                Stretch::Plain(times) => of(begin, times),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::rows::printed;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_time_comes_back_to_the_last_bit(
            start in -1.0f64..1.0,
            step in 1e-9f64..1e-3,
            decimals in 0usize..13,
            rows in 1usize..400,
        ) {
            let texts: Vec<String> = (0..rows).map(|k| format!("{:.decimals$}", start + k as f64 * step)).collect();
            let read: Vec<_> = texts.iter().map(|t| printed(t.as_bytes(), b'.').unwrap()).collect();
            let marks: Vec<i64> = read.iter().map(|p| p.mark().unwrap_or(0)).collect();
            prop_assume!(read.iter().all(|p| p.mark().is_some()));
            let packed = Packed::new(&marks, decimals as u8).unwrap();
            let mut times = Vec::new();
            packed.unpack(&mut times);
            let bits: Vec<u64> = times.iter().map(|t| t.to_bits()).collect();
            let plain: Vec<u64> = read.iter().map(|p| p.value.to_bits()).collect();
            prop_assert_eq!(bits, plain);
        }
    }

    #[test]
    fn what_no_line_follows_is_kept_as_it_is() {
        assert_eq!(Packed::new(&[0, 1, 500, 3], 3), None);
        assert_eq!(Packed::new(&[], 3), None);
        let regular = Packed::new(&[5, 7, 9], 3).unwrap();
        assert!(regular.rest.is_empty());
        let pieces = [regular, Packed::plain(&[0.011, 0.014])];
        let times = Times::new(&pieces, &[0.02, 0.03]);
        assert_eq!(
            times.to_vec(),
            [0.005, 0.007, 0.009, 0.011, 0.014, 0.02, 0.03]
        );
        assert_eq!(
            (times.len(), times.first(), times.last()),
            (7, Some(0.005), Some(0.03))
        );
        assert_eq!(
            times.ends_or_stretches(|_, _, _| None, |k, t| (k, t.len())),
            [(0, 3), (3, 2), (5, 2)]
        );
    }
}
