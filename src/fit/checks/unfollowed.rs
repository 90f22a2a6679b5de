//! Records that no brushed permanent-magnet motor follows, and the cause as far as they show it.

use crate::bench::{Bench, Capture, Role};
use crate::fit::data::{Bin, LinearForm, Quantity, Segment, linear_form, longest_closed};
use crate::fit::model::{Number, Row};
use crate::fit::wording::{Remark, RemarkKind};

/// Share of its signal that a fit may leave of a capture and still follow it: ripple of a few segments, a supply that hunts and a
/// contact that chatters stay below (common practice, no source; the simulated benches leave up to 0.06).
pub const FOLLOWED: f64 = 0.2;

/// Root mean square of what is left of each capture over that of the largest signal of any, the larger of voltage and current.
pub fn shares_left<S: Number>(captures: &[&[Row<S>]]) -> Vec<f64> {
    let mut out = vec![0.0; captures.len()];
    for quantity in [Quantity::Voltage, Quantity::Current] {
        let sizes: Vec<[f64; 2]> = captures.iter().map(|rows| sizes(rows, quantity)).collect();
        let signal = sizes.iter().map(|s| s[1]).fold(0.0, f64::max);
        for (share, [left, _]) in out.iter_mut().zip(&sizes) {
            if signal > 0.0 {
                *share = f64::max(*share, left / signal);
            }
        }
    }
    out
}

/// Root mean squares of the residuals and of what was recorded.
fn sizes<S: Number>(rows: &[Row<S>], quantity: Quantity) -> [f64; 2] {
    let mut sums = [0.0; 2];
    let mut count = 0.0;
    for row in rows {
        if row.quantity == quantity && row.zero_uncertainty.is_none() {
            sums[0] += (row.predicted.value() - row.recorded).powi(2);
            sums[1] += row.recorded * row.recorded;
            count += 1.0;
        }
    }
    sums.map(|sum| (sum / f64::max(count, 1.0)).sqrt())
}

/// Share of the voltage that a linear form may leave and still describe a record.
const FORM_FITS: f64 = 0.05;

/// Ratio of two values in one record from which they are not one constant.
const CHANGES: f64 = 1.25;

/// What the records that the fit does not follow show. `left`: of each capture; nothing where there is no fit.
pub fn causes(bench: &Bench, segments: &[Vec<Segment>], left: Option<&[f64]>) -> Vec<Remark> {
    let mut out = Vec::new();
    for (k, (capture, segments)) in bench.captures.iter().zip(segments).enumerate() {
        let unfollowed = left.is_none_or(|l| l[k] > FOLLOWED);
        let cause = longest_closed(segments).and_then(|s| cause(capture, &s.bins));
        match (cause, left) {
            (Some(cause), _) if unfollowed => out.push(cause.about(&capture.name)),
            (None, Some(left)) if unfollowed => {
                out.push(RemarkKind::Unfollowed { share: left[k] }.about(&capture.name));
            }
            _ => {}
        }
    }
    out
}

/// Why one closed stretch is no such motor.
fn cause(capture: &Capture, bins: &[Bin]) -> Option<RemarkKind> {
    let held = matches!(capture.role, Role::LockedRotor | Role::PwmLocked);
    let whole = linear_form(capture, bins, held)?;
    if whole.resistance_ohm <= 0.0 {
        return Some(RemarkKind::LikeASource);
    }
    if held {
        return None;
    }
    if whole.per_capacitance.is_some_and(|c| c <= 0.0) && whole.left_share < FORM_FITS {
        return Some(RemarkKind::EmfFalls);
    }
    let half = bins.len() / 2;
    let early = linear_form(capture, &bins[..half], false)?;
    let late = linear_form(capture, &bins[half..], false)?;
    changing(&early, &late)
}

/// What changes between two parts of one stretch.
fn changing(early: &LinearForm, late: &LinearForm) -> Option<RemarkKind> {
    let sound = |f: &LinearForm| f.left_share < FORM_FITS && f.resistance_ohm > 0.0;
    if !sound(early) || !sound(late) {
        return None;
    }
    let ratio = |a: f64, b: f64| (a / b).max(b / a);
    let (r, r_late) = (early.resistance_ohm, late.resistance_ohm);
    if ratio(r, r_late) > CHANGES {
        return Some(RemarkKind::ResistanceChanges {
            early_ohm: r,
            late_ohm: r_late,
        });
    }
    let (c, c_late) = (early.per_capacitance?, late.per_capacitance?);
    let factor = ratio(c, c_late);
    (c > 0.0 && c_late > 0.0 && factor > CHANGES)
        .then_some(RemarkKind::EmfPerChargeChanges { factor })
}
