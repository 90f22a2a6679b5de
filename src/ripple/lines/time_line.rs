//! A line stationary in time: its frequency found, the line fitted and subtracted.

use crate::ripple::lines::foreign::{ForeignLine, LineKind};
use crate::ripple::numerics::least_squares::{Normal, project};
use crate::ripple::numerics::turn::turn;
use rustfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Fits and subtracts a sinusoid in time about `frequency_hz`.
pub(crate) fn remove_time_line(
    rough: &mut [f64],
    time_s: &[f64],
    frequency_hz: f64,
    ratio: f64,
    kind: LineKind,
) -> ForeignLine {
    let first = time_s[0];
    let span = time_s[time_s.len() - 1] - first;
    let near = Demodulated::of(rough, time_s, frequency_hz);
    let power = |f: f64| near.power(f - frequency_hz);
    // Golden section over one bin either side.
    let golden = (5f64.sqrt() - 1.0) / 2.0;
    let (mut a, mut b) = (frequency_hz - 0.6 / span, frequency_hz + 0.6 / span);
    let (mut c, mut d) = (b - golden * (b - a), a + golden * (b - a));
    let (mut pc, mut pd) = (power(c), power(d));
    for _ in 0..18 {
        if pc > pd {
            (b, d, pd) = (d, c, pc);
            c = b - golden * (b - a);
            pc = power(c);
        } else {
            (a, c, pc) = (c, d, pd);
            d = a + golden * (b - a);
            pd = power(d);
        }
    }
    let frequency = 0.5 * (a + b);
    let turns: Vec<f64> = time_s.iter().map(|t| frequency * (t - first)).collect();
    let amplitude = subtract(rough, &turns);
    ForeignLine {
        kind,
        frequency,
        amplitude,
        signal_to_noise: ratio,
    }
}

/// A record turned to zero frequency and summed over short blocks: all that its spectrum within a cell of `frequency_hz` needs.
struct Demodulated {
    /// Middle (s from the first row), sum, and sum of the moments about the middle of each block.
    blocks: Vec<(f64, Complex64, Complex64)>,
}

impl Demodulated {
    fn of(rough: &[f64], time_s: &[f64], frequency_hz: f64) -> Demodulated {
        // Within a cell of its centre a line turns by less than 1/128 of a turn in a block: sum and moment hold it to 1e-4.
        let rows = rough.len().div_ceil(128);
        let first = time_s[0];
        let span = time_s[time_s.len() - 1] - first;
        let block = |(times, values): (&[f64], &[f64])| {
            let middle = 0.5 * (times[0] + times[times.len() - 1]);
            let (mut re, mut im, mut re_moment, mut im_moment) = (0.0, 0.0, 0.0, 0.0);
            for (t, r) in times.iter().zip(values) {
                let elapsed = t - first;
                let (cos, sin) = turn(frequency_hz * elapsed);
                let weighted = r * (0.5 - 0.5 * turn(elapsed / span).0);
                let (c, s) = (weighted * cos, -weighted * sin);
                re += c;
                im += s;
                re_moment += c * (t - middle);
                im_moment += s * (t - middle);
            }
            (
                middle - first,
                Complex64::new(re, im),
                Complex64::new(re_moment, im_moment),
            )
        };
        Demodulated {
            blocks: time_s
                .chunks(rows)
                .zip(rough.chunks(rows))
                .map(block)
                .collect(),
        }
    }

    /// Power of the Hann-windowed spectrum `offset_hz` from the frequency turned to zero.
    fn power(&self, offset_hz: f64) -> f64 {
        let slope = Complex64::new(0.0, -2.0 * PI * offset_hz);
        self.blocks
            .iter()
            .map(|(middle, sum, moment)| {
                let (cos, sin) = turn(offset_hz * middle);
                (sum + slope * moment) * Complex64::new(cos, -sin)
            })
            .sum::<Complex64>()
            .norm_sqr()
    }
}

/// Least-squares cosine and sine of the phases, in turns, out of `rough`; returns the amplitude.
pub(crate) fn subtract(rough: &mut [f64], turns: &[f64]) -> f64 {
    let (cos, sin) = turns.iter().map(|t| turn(*t)).unzip();
    let columns: [Vec<f64>; 2] = [cos, sin];
    let Some(normal) = Normal::new(&columns, &[]) else {
        return 0.0;
    };
    let solved = normal.solve(&project(&columns, rough));
    for (i, r) in rough.iter_mut().enumerate() {
        *r -= solved[0] * columns[0][i] + solved[1] * columns[1][i];
    }
    solved[0].hypot(solved[1])
}
