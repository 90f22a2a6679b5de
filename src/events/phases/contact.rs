//! A closing contact: its makes and the openings between them.

use crate::events::trace::series::Series;
use crate::stats::turned::Turned;
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
pub(crate) fn closed_stretches(x: Turned<'_>, band: Band, first: usize, end: usize) -> Vec<Closed> {
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

/// Time a contact may stay open and still be bouncing, s. Published bounce of switches and relays ends within about 10 ms
/// (common practice, no source).
pub(crate) const BOUNCE_OPEN_S: f64 = 10e-3;

/// Time a contact may stay closed between two openings of one bounce, s (common practice, no source).
pub(crate) const BOUNCE_CLOSED_S: f64 = 20e-3;

/// A contact that closed, bouncing or not.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Make {
    /// Last row before the first closing; `None` when the record begins closed.
    pub first: Option<usize>,
    /// Row of the first opening, when it bounced.
    pub bounce: Option<usize>,
    /// Last open row before each closing, in time order, the first one included.
    pub makes: Vec<usize>,
    /// Row that reached the upper level after the last closing.
    pub settled: usize,
    /// Row where it opened for good, if it did.
    pub opened: Option<usize>,
}

/// The first bouncing closing among `stretches`: stretches follow each other as one bounce while the gaps are short.
pub(crate) fn first_make(stretches: &[Closed], step_s: f64) -> Option<Make> {
    let mut stretches = stretches.iter();
    let start = stretches.next()?;
    let mut make = Make {
        first: start.from,
        bounce: None,
        makes: start.from.into_iter().collect(),
        settled: start.reached,
        opened: start.until,
    };
    let mut began = start.reached;
    for next in stretches {
        let (Some(opened), Some(from)) = (make.opened, next.from) else {
            break;
        };
        let open_s = (from - opened) as f64 * step_s;
        let closed_s = (opened - began) as f64 * step_s;
        if open_s > BOUNCE_OPEN_S || closed_s > BOUNCE_CLOSED_S {
            break;
        }
        make.bounce.get_or_insert(opened);
        make.makes.push(from);
        make.settled = next.reached;
        make.opened = next.until;
        began = next.reached;
    }
    Some(make)
}

/// Row from which `x` stays near the level it takes just after `row`: ringing and the edge itself are left behind.
///
/// Looks at most `reach` rows ahead; the level is the median of the second half of that reach.
pub(crate) fn settled_after(x: &Series, row: usize, reach: usize, tolerance: f64) -> usize {
    let end = (row + reach).min(x.len());
    let Some(level) = x.median(row + reach / 2, end) else {
        return row;
    };
    // A drifting level (source sag) must not look like ringing: tolerate the slope across the reach as well.
    let early = x.median(row + reach / 4, row + reach / 2).unwrap_or(level);
    let tolerance = tolerance + 2.0 * (level - early).abs();
    (row..end)
        .rev()
        .find(|&k| (x.at(k) - level).abs() > tolerance)
        .map_or(row, |k| k + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_band_upside_down_holds_no_stretch() {
        let x = [0.0, 5.0, 0.0, 5.0];
        let stretches =
            |low, high| closed_stretches(Turned::new(&x), Band { low, high }, 0, x.len()).len();
        assert_eq!(stretches(1.0, 4.0), 2);
        assert_eq!(stretches(4.0, 4.0), 2);
        assert_eq!(stretches(6.0, 4.0), 0);
        assert_eq!(stretches(f64::NAN, 4.0), 0);
    }
}
