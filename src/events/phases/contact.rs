//! A contact to the source: the stretches in which voltage and current show it closed, its closings and the openings between them.

use crate::events::trace::bands::{Band, Closed};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

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

/// Stretches in which the contact is closed, and whether they are those of the voltage.
pub(crate) fn closed_contact(view: &View, first: usize, end: usize) -> Option<(Vec<Closed>, bool)> {
    let by_current = view.i.as_ref().and_then(|i| {
        let zero = zero_before(i, first, end)?;
        let (_, peak) = i.peak(first, end)?;
        let low = zero + (0.08 * (peak - zero)).max(5.0 * noise_before(i, first, end));
        let high = zero + 0.4 * (peak - zero);
        let band = Band { low, high };
        (high > low).then(|| {
            let stretches = i.closed(band, first, end);
            interrupted(stretches, i, band)
        })
    });
    let by_voltage = view.v.as_ref().and_then(|v| {
        let zero = zero_before(v, first, end)?;
        let top = v.quantile(first, end, 0.97)?;
        // A supply in current limit sags to below half: the band lies low.
        let low = zero + 0.25 * (top - zero);
        let high = zero + 0.45 * (top - zero);
        (low - zero > 6.0 * v.sigma).then(|| v.closed(Band { low, high }, first, end))
    });
    match (by_voltage, by_current) {
        // Voltage there from the first row while the current begins at zero: the probe sits on the source's side of the
        // switch, or the source limits. The current then tells when the contact closed.
        (Some(v), Some(i)) if v.first().is_some_and(|s| s.from.is_none()) => i
            .first()
            .is_some_and(|s| s.from.is_some())
            .then_some((i, false)),
        (Some(v), Some(_)) if !v.is_empty() => Some((
            with_short_openings(confirmed(v, view), view, first, end),
            true,
        )),
        (Some(v), None) if v.first().is_some_and(|s| s.from.is_some()) => Some((v, true)),
        (_, Some(i)) if i.first().is_some_and(|s| s.from.is_some()) => Some((i, false)),
        _ => None,
    }
}

/// Level before the first event: the median of the first rows.
fn zero_before(x: &Series, first: usize, end: usize) -> Option<f64> {
    x.median(first, first + ((end - first) / 100).clamp(3, 500))
}

/// Noise of the first rows: ripple of the running motor must not enter.
fn noise_before(x: &Series, first: usize, end: usize) -> f64 {
    let head = first + ((end - first) / 100).clamp(8, 500);
    x.sigma.min(x.spread(first, head))
}

/// The stretches of a current joined where it only rippled across the band: an interrupted current falls faster than it
/// rises again, because the arc takes more voltage than the source gives.
fn interrupted(stretches: Vec<Closed>, i: &Series, band: Band) -> Vec<Closed> {
    let mut kept: Vec<Closed> = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        if let (Some(last), Some(from)) = (kept.last_mut(), stretch.from)
            && let Some(until) = last.until
        {
            let fall = (last.reached..until)
                .rev()
                .find(|&k| i.at(k) >= band.high)
                .map_or(0, |k| until - k);
            let rise = stretch.reached - from;
            if fall > 3.max(rise / 2) {
                last.until = stretch.until;
                continue;
            }
        }
        kept.push(stretch);
    }
    kept
}

/// Adds the openings too short for the voltage to show between two samples: the current falls from near its peak to nothing
/// and comes back.
fn with_short_openings(
    mut kept: Vec<Closed>,
    view: &View,
    first: usize,
    end: usize,
) -> Vec<Closed> {
    let Some(i) = &view.i else { return kept };
    let (Some(zero), Some((_, peak))) = (zero_before(i, first, end), i.peak(first, end)) else {
        return kept;
    };
    let band = Band {
        low: zero + (0.15 * (peak - zero)).max(5.0 * i.sigma),
        high: zero + 0.5 * (peak - zero),
    };
    for pair in i.closed(band, first, end).windows(2) {
        let (Some(opened), Some(from)) = (pair[0].until, pair[1].from) else {
            continue;
        };
        let fell_at_once = i
            .rows(opened.saturating_sub(3), opened)
            .iter()
            .any(|x| x >= band.high);
        let host = kept
            .iter()
            .position(|s| s.reached + 2 < opened && s.until.is_none_or(|u| u > from + 2));
        let Some(host) = host.filter(|_| fell_at_once) else {
            continue;
        };
        let until = kept[host].until.replace(opened);
        let reached = pair[1].reached;
        kept.insert(
            host + 1,
            Closed {
                from: Some(from),
                reached,
                until,
            },
        );
    }
    kept
}

/// True when the current grows while the contact is closed.
fn rises(i: &Series, from: usize, until: usize) -> bool {
    let highest = i
        .rows(from + 1, until + 1)
        .iter()
        .fold(f64::NEG_INFINITY, f64::max);
    highest > i.at(from) + 5.0 * i.sigma
}

/// The stretches of the voltage without what the current contradicts: a sagging source, the ringing of a kick.
fn confirmed(by_voltage: Vec<Closed>, view: &View) -> Vec<Closed> {
    let Some(i) = &view.i else {
        return by_voltage;
    };
    let mut kept: Vec<Closed> = Vec::with_capacity(by_voltage.len());
    for stretch in by_voltage {
        if let (Some(from), Some(until)) = (stretch.from, stretch.until)
            && until - from < 40
            && !rises(i, from, until)
        {
            continue;
        }
        if let (Some(last), Some(from)) = (kept.last_mut(), stretch.from)
            && let Some(until) = last.until
        {
            let before = i.median3(until.saturating_sub(2));
            let lowest = i
                .rows(until.saturating_sub(1), from + 3)
                .iter()
                .fold(f64::INFINITY, f64::min);
            if lowest > 0.7 * before && before > 6.0 * i.sigma {
                last.until = stretch.until;
                continue;
            }
        }
        kept.push(stretch);
    }
    kept
}
