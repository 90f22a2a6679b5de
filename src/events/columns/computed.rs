//! Channels that an oscilloscope computed from two others: their difference or sum, which is no current.

use super::candidate::Candidate;
use super::ground::ColumnGround;

/// Share of the largest span within which a channel is what two others make (digits printed, codes of the converters), and share of the rows.
const NEAR: f64 = 2e-3;
const ROWS: f64 = 0.99;

/// Rows looked at.
const MOST_ROWS: usize = 2000;

/// A channel that is the difference or the sum of two others, by their places among the candidates.
pub(super) struct Computed {
    pub channel: usize,
    of: [usize; 2],
}

impl Computed {
    /// The last channel that is made of two before it. A difference is symmetric, and what is computed is exported behind what is measured.
    pub fn find(candidates: &[&Candidate]) -> Option<Computed> {
        let all = 0..candidates.len();
        let pairs = |c: usize| (0..c).flat_map(move |a| (0..a).map(move |b| [b, a]));
        let made = all.rev().flat_map(|c| pairs(c).map(move |of| (c, of)));
        let mut found =
            made.filter(|(c, of)| is_made_of(candidates[*c], of.map(|k| candidates[k])));
        found.next().map(|(channel, of)| Computed { channel, of })
    }

    /// Whether a pair of voltage and current cannot be meant: what is computed of voltages is a voltage, and so is a channel from which it differs by a
    /// constant.
    pub fn forbids(&self, candidates: &[&Candidate], voltage: usize, current: usize) -> bool {
        let other = self.of.into_iter().find(|k| *k != current);
        let differs_by_constant = voltage == self.channel
            && self.of.contains(&current)
            && other.is_some_and(|k| is_constant(candidates[k]));
        current == self.channel || differs_by_constant
    }

    /// What it is.
    pub fn reason(&self, candidates: &[&Candidate]) -> ColumnGround {
        let name = |k: usize| candidates[k].channel.name.trim().to_owned();
        ColumnGround::Computed {
            name: name(self.channel),
            of: self.of.map(name),
        }
    }
}

/// Whether all values of a channel are the same.
pub(super) fn is_constant(candidate: &Candidate) -> bool {
    let mut finite = candidate.channel.values.iter().filter(|v| v.is_finite());
    let first = finite.next();
    first.is_none_or(|first| finite.all(|value| value == first))
}

fn span(candidate: &Candidate) -> f64 {
    let finite = || candidate.channel.values.iter().filter(|v| v.is_finite());
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    (high - low).max(0.0)
}

fn is_made_of(c: &Candidate, [a, b]: [&Candidate; 2]) -> bool {
    if is_constant(c) || [a, b].iter().any(|k| k.channel.unit != c.channel.unit) {
        return false;
    }
    let near = NEAR * [a, b, c].map(span).into_iter().fold(0.0, f64::max);
    let [a, b, c] = [a, b, c].map(|k| k.channel.values.as_slice());
    let stride = c.len().div_ceil(MOST_ROWS).max(1);
    let makes = |of: fn(f64, f64) -> f64| {
        let rows = (0..c.len().min(a.len()).min(b.len())).step_by(stride);
        let (mut all, mut near_ones) = (0.0, 0.0);
        for row in rows {
            let off = c[row] - of(a[row], b[row]);
            if off.is_finite() {
                all += 1.0;
                near_ones += if off.abs() <= near { 1.0 } else { 0.0 };
            }
        }
        all >= 8.0 && near_ones >= ROWS * all
    };
    makes(|a, b| a - b) || makes(|a, b| b - a) || makes(|a, b| a + b)
}

#[cfg(test)]
mod tests {
    use crate::capture::{ReadOptions, Record, read_from};
    use crate::events::guess_columns;
    use std::path::Path;

    type Wave = fn(usize) -> f64;

    /// A step of the voltage at the first lead, the second lead and what is exported behind them.
    fn record(header: &str, second: Wave, third: fn(f64, f64) -> f64) -> Record {
        let rows = (0..200).map(|k| {
            let first = if k < 50 { 0.01 } else { 12.0 } + 0.01 * ((k * 7) % 5) as f64;
            let second = second(k);
            format!(
                "{:.4},{first:.3},{second:.3},{:.3}\n",
                k as f64 * 1e-4,
                third(first, second)
            )
        });
        let text = format!("{header}\n{}", rows.collect::<String>());
        let read = read_from(Path::new("a.csv"), text.as_bytes(), &ReadOptions::default());
        read.expect("a record")
    }

    #[test]
    fn a_difference_of_two_channels_is_the_voltage_and_none_of_them_a_current() {
        let still = |_| 0.04;
        let noisy = |k| 0.1 + 0.02 * ((k * 3) % 7) as f64;
        let (with_units, bare) = ("Time (s),CH1 (V),CH2 (V),MATH (V)", "Time (s),CH1,CH2,CH3");
        let cases: [(&str, Wave); 3] = [(with_units, still), (with_units, noisy), (bare, noisy)];
        for (header, second) in cases {
            let found = guess_columns(&record(header, second, |a, b| a - b));
            assert_eq!((found.voltage, found.current), (Some(2), None), "{header}");
        }
    }

    /// A current in volts of its shunt, and a third channel of its own.
    #[test]
    fn a_current_beside_what_it_does_not_make_stays_one() {
        let inrush = |k: usize| {
            if k < 50 {
                0.0
            } else {
                4.0 * (-((k - 50) as f64) / 40.0).exp()
            }
        };
        let header = "Time (s),U (V),I (A),CH3 (V)";
        let found = guess_columns(&record(header, inrush, |a, b| 0.3 * a + 0.2 * b));
        assert_eq!((found.voltage, found.current), (Some(0), Some(1)));
    }
}
