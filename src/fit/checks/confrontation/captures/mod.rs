//! Each capture beside all the others: what becomes of the parameters without it, and whether the model follows it at all.

mod departure;
mod misfit;
mod opening;

use self::departure::departing;
use super::deletion::{Dropped, without};

use super::item::capture_item;
use super::sides::{Side, capture_sides};
use crate::bench::Bench;
use crate::fit::checks::leave_one_out::refitted;
use crate::fit::confrontation::{Agreement, Confrontation, EvidenceKind};
use crate::fit::estimate::{Estimate, LeaveOneOut};
use crate::fit::wording::Contradiction;

/// First-order pull from which the fit is repeated without the capture.
const REFIT: f64 = 3.5;

/// Most such fits: of the captures that are farthest off. The others keep what the first order shows, which a fit could only take back.
const MOST_REFITS: usize = 6;

/// Every capture, and where the parameters go without those in conflict.
pub fn confront(estimate: &mut Estimate, bench: &Bench) -> (Vec<Confrontation>, Vec<Side>) {
    let (mut lines, mut sides) = (Vec::new(), Vec::new());
    let misfits = misfit::confront(estimate);
    let repeated = worst(&estimate.leave_one_out, &misfits);
    let mut misfits = misfits.into_iter().peekable();
    let departing = departing(estimate, bench);
    for k in 0..estimate.problem.models.len() {
        let missed = misfits.next_if(|(capture, _)| *capture == k);
        let missed = missed.map(|(_, line)| line);
        let opened = opening::confront(estimate, k);
        let opened_wrongly = opened.as_ref().is_some_and(Confrontation::in_conflict);
        let pulled = estimate.leave_one_out.iter().find(|l| l.capture == k);
        let pulled = pulled.cloned().filter(|l| l.pull.abs() > REFIT);
        let point = if repeated.contains(&k) || opened_wrongly {
            without(estimate, bench, &[Dropped::Capture(k)])
        } else {
            None
        };
        let left_out = match (&point, pulled) {
            // Another fit has other weights, which can only take a disagreement back: the shift is measured by those of the whole fit.
            (Some(point), Some(first)) => refitted(estimate, k, &point.x)
                .filter(|l| l.pull.abs() < first.pull.abs())
                .or(Some(first)),
            (_, first) => first.or_else(|| {
                let all = estimate.leave_one_out.iter();
                all.clone().find(|l| l.capture == k).cloned()
            }),
        };
        let name = estimate.problem.models[k].name.clone();
        let of_pull = left_out.map(|l| {
            Confrontation::with_deviation(
                EvidenceKind::Capture,
                capture_item(&name),
                l.pull,
                || contradiction(estimate, &name, &l),
            )
        });
        let own = departing.iter().find(|d| d.capture == k);
        let of_scale = own.map(|own| {
            let said = || own.contradiction.clone();
            let item = capture_item(&name);
            Confrontation::with_deviation(EvidenceKind::Capture, item, own.deviation, said)
        });
        // Of equals the last, which says most of the cause.
        let line = [of_pull, missed, of_scale, opened]
            .into_iter()
            .flatten()
            .max_by_key(|line| line.agreement);
        let line = line
            .unwrap_or_else(|| Confrontation::alone(EvidenceKind::Capture, capture_item(&name)));
        if line.agreement == Agreement::InConflict
            && let Some(point) = &point
        {
            sides.extend(capture_sides(estimate, point));
        }
        let own = own.filter(|_| line.in_conflict());
        sides.extend(own.map(|own| Side::from(&own.point)));
        lines.push(line);
    }
    (lines, sides)
}

/// The captures without which the fit is repeated: those that pull far or that the model misses badly, the farthest off first.
fn worst(pulls: &[LeaveOneOut], misfits: &[(usize, Confrontation)]) -> Vec<usize> {
    let pulled = pulls.iter().map(|l| (l.capture, l.pull.abs()));
    let missed = misfits.iter().filter(|(_, line)| line.in_conflict());
    let missed = missed.map(|(k, line)| (*k, line.deviation.map_or(0.0, f64::abs)));
    let mut off: Vec<(usize, f64)> = pulled.filter(|(_, by)| *by > REFIT).chain(missed).collect();
    off.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut captures: Vec<usize> = Vec::new();
    for (k, _) in off {
        if !captures.contains(&k) && captures.len() < MOST_REFITS {
            captures.push(k);
        }
    }
    captures
}

fn contradiction(estimate: &Estimate, name: &str, left_out: &LeaveOneOut) -> Contradiction {
    let reported = estimate.reported();
    let with = reported
        .iter()
        .find(|r| r.name == left_out.parameter)
        .and_then(|r| r.estimate)
        .map_or(f64::NAN, |at| at.value);
    Contradiction::Capture {
        capture: name.to_owned(),
        parameter: left_out.parameter,
        change: left_out.without / with - 1.0,
        deviation: left_out.pull,
    }
}
