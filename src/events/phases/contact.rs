//! A closing contact: its makes and the openings between them.

use crate::events::trace::bands::Closed;
use crate::events::trace::series::Series;

/// Time a contact may stay open and still be bouncing, s. Published bounce of switches and relays ends within about 10 ms
/// (common practice, no source).
pub(crate) const BOUNCE_OPEN_S: f64 = 10e-3;

/// Time a contact may stay closed between two openings of one bounce, s (common practice, no source).
pub(crate) const BOUNCE_CLOSED_S: f64 = 20e-3;

/// A contact that closed, bouncing or not.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Closing {
    /// Last row before the first closing; `None` when the record begins closed.
    pub first: Option<usize>,
    /// Row of the first opening, when it bounced.
    pub bounce: Option<usize>,
    /// Last open row before each closing, in time order, the first one included.
    pub rows_before: Vec<usize>,
    /// Row that reached the upper level after the last closing.
    pub settled: usize,
    /// Row where it opened for good, if it did.
    pub opened: Option<usize>,
}

/// The first bouncing closing among `stretches`: stretches follow each other as one bounce while the gaps are short.
pub(crate) fn first_closing(stretches: &[Closed], step_s: f64) -> Option<Closing> {
    let mut stretches = stretches.iter();
    let start = stretches.next()?;
    let mut closing = Closing {
        first: start.from,
        bounce: None,
        rows_before: start.from.into_iter().collect(),
        settled: start.reached,
        opened: start.until,
    };
    let mut began = start.reached;
    for next in stretches {
        let (Some(opened), Some(from)) = (closing.opened, next.from) else {
            break;
        };
        let open_s = (from - opened) as f64 * step_s;
        let closed_s = (opened - began) as f64 * step_s;
        if open_s > BOUNCE_OPEN_S || closed_s > BOUNCE_CLOSED_S {
            break;
        }
        closing.bounce.get_or_insert(opened);
        closing.rows_before.push(from);
        closing.settled = next.reached;
        closing.opened = next.until;
        began = next.reached;
    }
    Some(closing)
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
