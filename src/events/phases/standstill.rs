//! Where a decaying trace reaches its end level and stays: the rotor stands.

use crate::events::trace::quantile::quantile;
use crate::events::trace::series::Series;

/// Number of blocks a stretch is averaged into.
const BLOCKS: usize = 400;

/// The rotor came to rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Standstill {
    /// Row where the straight continuation of the decay meets the end level.
    pub row: usize,
    /// Last row that stands clear of the end level.
    pub clear_until: usize,
    /// Row from which only noise is left.
    pub quiet_from: usize,
    /// The end level: the zero of the channel.
    pub level: f64,
}

/// Looks for standstill in the rows `first .. end` of a decaying trace.
///
/// Block means are compared with the level of the last blocks. A record that was cut while the trace still fell has no
/// flat end: it stays inside the tolerance only as long as its slope lets it, and `patience` times that is asked for.
/// A `zero` known from elsewhere in the record (the flight before a short) replaces the patience when the end level agrees
/// with it. `None` when the trace still moves at its end.
pub(crate) fn standstill(
    x: &Series,
    first: usize,
    end: usize,
    patience: f64,
    zero: Option<f64>,
) -> Option<Standstill> {
    let rows = x.rows(first, end);
    if rows.len() < 40 {
        return None;
    }
    let size = rows.len().div_ceil(BLOCKS);
    let means = rows.means(size);
    let count = means.len();
    let tail = &means[count - (count / 33).clamp(4, count)..];
    let level = quantile(tail, 0.5)?;
    let deviations: Vec<f64> = tail.iter().map(|m| (m - level).abs()).collect();
    let amplitude = means.iter().fold(0.0_f64, |a, m| a.max((m - level).abs()));
    let tolerance = (5.0 * 1.4826 * quantile(&deviations, 0.5)?)
        .max(4.0 * x.sigma / (size as f64).sqrt())
        .max(0.3 * x.step)
        .max(2e-3 * amplitude);
    if amplitude < 4.0 * tolerance {
        return None;
    }
    // Two neighbours outside: one block with a needle does not count as motion.
    let moving = (1..count).rev().find(|&k| {
        (means[k] - level).abs() > tolerance && (means[k - 1] - level).abs() > tolerance
    })?;
    let quiet = count - 1 - moving;
    let known = zero.is_some_and(|z| (level - z).abs() < tolerance.max(0.5 * x.step));
    let back = moving.saturating_sub((quiet / 2).clamp(8, 40));
    let mut slope = ((means[back] - level).abs() - (means[moving] - level).abs())
        / (moving - back).max(1) as f64;
    if known {
        slope = slope.max(tolerance / 20.0);
    }
    if slope <= 0.0 {
        return None;
    }
    let needed = if known {
        5.0
    } else {
        5.0_f64.max(patience * tolerance / slope)
    };
    if (quiet as f64) < needed {
        return None;
    }
    let remaining = ((means[moving] - level).abs() / slope).min(quiet as f64);
    let row = first + (((moving as f64 + 0.5 + remaining) * size as f64) as usize);
    let clear_until = (first + (moving + 1) * size).min(end);
    Some(Standstill {
        row: row.clamp(clear_until, end - 1),
        clear_until,
        quiet_from: (row.max(clear_until) + 2 * size).min(end),
        level,
    })
}
