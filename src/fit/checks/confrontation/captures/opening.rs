//! The instant at which a run-down's terminals open, beside the one that voltages before and after it need.
//!
//! The back-EMF goes on through the opening: before it the terminals show `e + R i + V_b s(i)` (V), after it `e` alone. Where the decay, taken back to the instant that
//! was found, misses that, another instant would fit: all that a reading says of the running motor is wrong by as much as the decay misses.

use super::super::item::capture_item;
use crate::bench::Role;
use crate::fit::Quantity;
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::data::{Bin, Segment, SegmentKind};
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::ParameterKind;
use crate::fit::wording::Contradiction;
use nalgebra::{Matrix3, Vector3};

/// Miss over the back-EMF that counts as one standard uncertainty: unevenness and ripple of a few segments, contact drop (common practice, no source).
const SHARE: f64 = 8e-3;

/// Share of the decay, in its own length, from which it is taken back: the first rows may not be what they seem.
const SPAN: (f64, f64) = (0.02, 0.35);

/// Fewest bins of the decay within that, and of the driven stretch.
const LEAST_BINS: usize = 6;

/// The line of a capture; `None` where it is no run-down that begins driven, or shows too little.
pub fn confront(estimate: &Estimate, k: usize) -> Option<Confrontation> {
    let model = &estimate.problem.models[k];
    if model.role != Role::RunDown {
        return None;
    }
    let segments = &estimate.segments[k];
    let driven = segments
        .first()
        .filter(|s| s.kind == SegmentKind::Connected)?;
    let open = segments.iter().find(|s| s.kind == SegmentKind::Open)?;
    let sign = mean(driven.bins.iter().map(|bin| bin.voltage_v))?.signum();
    let (highest, lowest) = running_emf(estimate, k, driven, sign)?;
    let last = driven.bins.last()?;
    let found_s = last.time_s + 0.5 * last.width_s;
    let decay = Decay::of(open, found_s, sign)?;
    let open_s = open.bins.first()?.time_s - 0.5 * open.bins[0].width_s;
    // Any instant between the last driven row and the first open one will do.
    let (first, later) = (decay.at(found_s), decay.at(open_s));
    let (miss, instant_s) = if later > highest {
        (later - highest, open_s + (highest - later) / decay.slope)
    } else if first < lowest {
        (first - lowest, found_s + (lowest - first) / decay.slope)
    } else {
        (0.0, found_s)
    };
    let name = &model.name;
    Some(Confrontation::with_deviation(
        EvidenceKind::Capture,
        capture_item(name),
        miss / (SHARE * highest),
        || Contradiction::Opening {
            capture: name.clone(),
            found_s,
            miss: miss / highest,
            agreeing_s: instant_s,
        },
    ))
}

/// The back-EMF of the running motor as the first bins show it, V, in the direction of driving: with no contact drop and with all of it.
fn running_emf(estimate: &Estimate, k: usize, driven: &Segment, sign: f64) -> Option<(f64, f64)> {
    let bins = &driven.bins[..driven.bins.len().div_ceil(3)];
    if driven.bins.len() < LEAST_BINS {
        return None;
    }
    let voltage = mean(bins.iter().map(|bin| bin.voltage_v))?;
    let until = bins.last()?.time_s;
    let rows = estimate.predictions[k].rows.iter();
    let rows = rows.filter(|r| r.segment == 0 && r.quantity == Quantity::Current);
    let current = mean(
        rows.filter(|r| r.time_s <= until)
            .map(|r| r.predicted.value),
    )?;
    let resistance = estimate.value(&ParameterKind::LogResistance)?.exp();
    let drop = estimate.value(&ParameterKind::BrushDrop).unwrap_or(0.0);
    let highest = sign * (voltage - resistance * current);
    (highest > drop).then_some((highest, highest - drop))
}

/// Mean of the finite numbers; `None` of none.
fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let seen: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
}

/// The voltage of open terminals near an instant, V, V/s and V/s², in the direction of driving.
struct Decay {
    origin_s: f64,
    level: f64,
    slope: f64,
    bend: f64,
}

impl Decay {
    /// Through the early part of an open segment; `None` where that does not fall.
    fn of(open: &Segment, origin_s: f64, sign: f64) -> Option<Decay> {
        let compared = &open.bins[..open.compared];
        let length_s = compared.last()?.time_s - origin_s;
        let within = |bin: &&Bin| {
            let share = (bin.time_s - origin_s) / length_s;
            bin.voltage_v.is_finite() && (SPAN.0..SPAN.1).contains(&share)
        };
        let bins: Vec<&Bin> = compared.iter().filter(within).collect();
        if bins.len() < LEAST_BINS {
            return None;
        }
        let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
        for bin in bins {
            let t = (bin.time_s - origin_s) / length_s;
            let row = Vector3::new(1.0, t, t * t);
            normal += bin.samples as f64 * row * row.transpose();
            right += bin.samples as f64 * sign * bin.voltage_v * row;
        }
        let found = normal.cholesky()?.solve(&right);
        (found[1] < 0.0).then_some(Decay {
            origin_s,
            level: found[0],
            slope: found[1] / length_s,
            bend: found[2] / (length_s * length_s),
        })
    }

    fn at(&self, time_s: f64) -> f64 {
        let t = time_s - self.origin_s;
        self.level + self.slope * t + self.bend * t * t
    }
}
