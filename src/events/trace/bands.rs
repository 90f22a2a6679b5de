//! Stretches of a trace above a band, as a contact that closes and opens shows them.

use crate::stats::affine_view::AffineView;
use std::cmp::Ordering;

/// Two levels with a dead band: the contact counts as closed from `high` up until the trace falls below `low`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Band {
    pub low: f64,
    pub high: f64,
}

/// One stretch above the band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Closed {
    /// Last row below `low` before the stretch; `None` when the record begins closed.
    pub from: Option<usize>,
    /// First row that reached `high`.
    pub reached: usize,
    /// First row below `low` after it; `None` when it lasts to the end.
    pub until: Option<usize>,
}

/// All stretches above `band` in `first .. end`, in time order. One pass.
///
/// None where `low` is not at or below `high`, as when a level taken from the noise passes one taken from the peak: a row
/// between the two would close and open at once, for ever.
pub(crate) fn closed_stretches(
    x: AffineView<'_>,
    band: Band,
    first: usize,
    end: usize,
) -> Vec<Closed> {
    // Most traces stand as recorded, and nothing need be worked out a row.
    match x.is_plain() {
        true => closed_in(x.column(), |value| value, band, first, end),
        false => closed_in(x.column(), |value| x.of(value), band, first, end),
    }
}

/// `of`: what a value of the column counts as.
fn closed_in(
    x: &[f64],
    of: impl Fn(f64) -> f64,
    band: Band,
    first: usize,
    end: usize,
) -> Vec<Closed> {
    if band.low.partial_cmp(&band.high).is_none_or(Ordering::is_gt) {
        return Vec::new();
    }
    let x = &x[..end.min(x.len())];
    let mut found: Vec<Closed> = Vec::new();
    let mut last_low = None;
    let mut row = first;
    while let Some(reached) = first_where(x, row, |value| of(value) >= band.high) {
        let below = x[row..reached]
            .iter()
            .rposition(|value| of(*value) < band.low);
        last_low = below.map(|k| row + k).or(last_low);
        let until = first_where(x, reached, |value| of(value) < band.low);
        found.push(Closed {
            from: last_low,
            reached,
            until,
        });
        let Some(until) = until else { break };
        last_low = Some(until);
        row = until;
    }
    found
}

/// First row from `row` on for which `is` holds. Blocks are looked at without a branch a row, so that long quiet stretches
/// cost little.
fn first_where(x: &[f64], row: usize, is: impl Fn(f64) -> bool) -> Option<usize> {
    const BLOCK: usize = 256;
    let rest = x.get(row..)?;
    let block = rest
        .chunks(BLOCK)
        .position(|block| block.iter().fold(false, |any, value| any | is(*value)))?;
    let begin = block * BLOCK;
    let within = rest[begin..].iter().position(|value| is(*value))?;
    Some(row + begin + within)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_upside_down_holds_no_stretch() {
        let x = [0.0, 5.0, 0.0, 5.0];
        let stretches =
            |low, high| closed_stretches(AffineView::new(&x), Band { low, high }, 0, x.len()).len();
        assert_eq!(stretches(1.0, 4.0), 2);
        assert_eq!(stretches(4.0, 4.0), 2);
        assert_eq!(stretches(6.0, 4.0), 0);
        assert_eq!(stretches(f64::NAN, 4.0), 0);
    }
}
