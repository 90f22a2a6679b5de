//! The times of one chunk of the file, held small: as whole numbers of a last digit that a straight line follows.
//!
//! Five million printed times of a regular record take no more than a line a chunk, or a byte a row where the last digit is
//! rounded. Every time comes back to the last bit: a whole number is kept only where, divided by its power of ten, it gives the
//! very double that was read.

/// Largest power of ten that a double holds exactly.
const MOST_DECIMALS: i32 = 22;
/// Whole numbers below this size are doubles.
const EXACT_WHOLE: u64 = 1 << 53;

/// Times of one chunk of the file.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeChunk {
    Line(TimeLine),
    /// The times themselves, where no line follows them (a negative zero is enough).
    Listed(Vec<f64>),
}

impl TimeChunk {
    pub fn new(times: Vec<f64>) -> TimeChunk {
        match TimeLine::through(&times) {
            Some(line) => TimeChunk::Line(line),
            None => TimeChunk::Listed(times),
        }
    }

    /// Number of times.
    pub fn len(&self) -> usize {
        match self {
            TimeChunk::Line(line) => line.rows,
            TimeChunk::Listed(times) => times.len(),
        }
    }

    /// Time of a row of this chunk.
    pub fn at(&self, row: usize) -> f64 {
        match self {
            TimeChunk::Line(line) => line.at(row),
            TimeChunk::Listed(times) => times[row],
        }
    }

    /// Appends all times.
    pub fn unpack(&self, times: &mut Vec<f64>) {
        match self {
            TimeChunk::Line(line) => line.unpack(times),
            TimeChunk::Listed(listed) => times.extend_from_slice(listed),
        }
    }
}

/// Row k stands at (`first` + the whole part of `k * step + 1/2` + its deviation) / `unit`.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeLine {
    first: i64,
    /// Mean step, in units of the last digit.
    step: f64,
    /// Power of ten of the decimals.
    unit: f64,
    rows: usize,
    /// What the line misses; empty where it misses nothing.
    deviations: Vec<i8>,
}

impl TimeLine {
    /// `None` where the times are no decimal numbers with few enough digits, or no line follows them closely.
    fn through(times: &[f64]) -> Option<TimeLine> {
        let (unit, wholes) = (0..=MOST_DECIMALS)
            .map(|decimals| 10f64.powi(decimals))
            .find_map(|unit| Some((unit, in_whole_units(times, unit)?)))?;
        let (&first, &last) = (wholes.first()?, wholes.last()?);
        let mut line = TimeLine {
            first,
            step: (last - first) as f64 / (wholes.len() - 1).max(1) as f64,
            unit,
            rows: wholes.len(),
            deviations: Vec::new(),
        };
        let deviations = wholes
            .iter()
            .enumerate()
            .map(|(row, whole)| i8::try_from(whole - line.whole(row)).ok())
            .collect::<Option<Vec<i8>>>()?;
        if deviations.iter().any(|d| *d != 0) {
            line.deviations = deviations;
        }
        Some(line)
    }

    fn whole(&self, row: usize) -> i64 {
        // Cut to a whole number: the nearest would cost a call, and the deviation makes up for it.
        self.first + (row as f64 * self.step + 0.5) as i64
    }

    fn at(&self, row: usize) -> f64 {
        let deviation = self.deviations.get(row).copied().unwrap_or(0);
        (self.whole(row) + i64::from(deviation)) as f64 / self.unit
    }

    fn unpack(&self, times: &mut Vec<f64>) {
        if self.deviations.is_empty() && self.step.fract() == 0.0 {
            let (step, rows) = (self.step as i64, self.rows as i64);
            times.extend((0..rows).map(|row| (self.first + row * step) as f64 / self.unit));
        } else {
            times.extend((0..self.rows).map(|row| self.at(row)));
        }
    }
}

/// Each time as a whole number of units; `None` unless all of them, divided by the unit, give the same doubles again.
fn in_whole_units(times: &[f64], unit: f64) -> Option<Vec<i64>> {
    let whole = |time: f64| {
        let scaled = time * unit;
        let whole = (scaled + 0.5f64.copysign(scaled)) as i64;
        let same = (whole as f64 / unit).to_bits() == time.to_bits();
        (same && whole.unsigned_abs() < EXACT_WHOLE).then_some(whole)
    };
    // Most attempts end at the first time.
    whole(*times.first()?)?;
    let mut wholes = Vec::with_capacity(times.len());
    for time in times {
        wholes.push(whole(*time)?);
    }
    Some(wholes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_time_comes_back_to_the_last_bit(
            start in -1.0f64..1.0,
            step in 1e-9f64..1e-3,
            decimals in 0usize..13,
            rows in 1usize..400,
            exponent in any::<bool>(),
        ) {
            let printed = |t: f64| if exponent { format!("{t:.decimals$e}") } else { format!("{t:.decimals$}") };
            let times: Vec<f64> = (0..rows)
                .map(|k| printed(start + k as f64 * step).parse().unwrap())
                .collect();
            let chunk = TimeChunk::new(times.clone());
            let negative_zero = times.iter().any(|t| *t == 0.0 && t.is_sign_negative());
            if !exponent && !negative_zero {
                prop_assert!(matches!(chunk, TimeChunk::Line(_)));
            }
            let mut back = Vec::new();
            chunk.unpack(&mut back);
            let bits = |times: &[f64]| -> Vec<u64> { times.iter().map(|t| t.to_bits()).collect() };
            prop_assert_eq!(bits(&back), bits(&times));
            prop_assert_eq!(bits(&[chunk.at(rows / 2)]), bits(&[times[rows / 2]]));
        }
    }

    #[test]
    fn what_no_line_follows_is_kept_as_it_is() {
        for times in [
            vec![0.0, 0.001, 0.5, 0.003],
            vec![1.0, f64::NAN],
            vec![-0.0, 1.0],
            vec![0.0, 1e300],
            vec![],
        ] {
            let chunk = TimeChunk::new(times.clone());
            assert!(matches!(chunk, TimeChunk::Listed(_)), "{times:?}");
            assert_eq!(chunk.len(), times.len());
        }
        let TimeChunk::Line(line) = TimeChunk::new(vec![0.005, 0.007, 0.009]) else {
            panic!("a line");
        };
        assert!(line.deviations.is_empty());
    }
}
