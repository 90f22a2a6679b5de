//! A rotor that was said to be held and turned after all.
//!
//! Once the current has risen, terminals of a still rotor show `v/i = R + V_b/i` (Ω), which only the slow warming of the winding
//! moves. A rotor that slips adds its back-EMF: `v/i` jumps up. Needs both channels; the first turns of a slip that falls into the
//! rise itself are not seen.

use crate::bench::CaptureWarning;
use crate::events::phase::PhaseKind;
use crate::events::remarks::Remark;
use crate::events::timeline::TimelineBuilder;
use crate::events::trace::quantile::quantile_of;
use crate::events::trace::view::View;
use crate::stats::affine_view::AffineView;

/// Stretches of equal length in which `v/i` is averaged.
const BLOCKS: usize = 24;
/// Rise of `v/i` that is told: 4 %, as much as 10 K of warming make, or as the resistance varies over rotor positions within
/// two standard deviations (common practice, no source).
const LEAST_RISE: f64 = 0.04;
/// The rise must stand so many times above the typical difference of neighbouring stretches.
const ABOVE_SCATTER: f64 = 8.0;
/// Tells a held rotor that moved, in the longest driven stretch pushed so far.
pub(crate) fn check(view: &View, builder: &mut TimelineBuilder) {
    let (Some(v), Some(i)) = (&view.v, &view.i) else {
        return;
    };
    let driven = builder
        .phases()
        .iter()
        .filter(|p| p.kind == PhaseKind::Driven)
        .map(|p| (p.first, p.end.min(view.len())))
        .max_by_key(|&(first, end)| end.saturating_sub(first));
    let Some((first, end)) = driven else { return };
    let Some(begin) = settled(i.rows(first, end)).map(|rows| first + rows) else {
        return;
    };
    let size = end.saturating_sub(begin) / BLOCKS;
    if size < 4 {
        return;
    }
    let seen: Vec<f64> = (0..BLOCKS)
        .map(|k| begin + k * size)
        .map(|row| v.mean(row, row + size) / i.mean(row, row + size))
        .collect();
    if let Some(rise) = Rise::of(&seen) {
        builder.capture_warnings.push(CaptureWarning::Slipped);
        builder.remarks.push(Remark::Slipped {
            from_ohm: rise.from_ohm,
            to_ohm: rise.to_ohm,
            sudden: rise.sudden,
            at_s: view.time_at((begin + rise.block * size) as f64),
        });
    }
}

/// Rows after which a rising current has come to its level: three times those to 95 %, so within e⁻⁹ of it.
fn settled(current: AffineView) -> Option<usize> {
    let level = quantile_of(current, 0.5)?;
    if level <= 0.0 {
        return None;
    }
    let risen = current.iter().position(|x| x >= 0.95 * level)?;
    Some(3 * risen.max(3))
}

/// A rise of `v/i` between two stretches.
struct Rise {
    from_ohm: f64,
    to_ohm: f64,
    /// Stretch in which it jumps most.
    block: usize,
    sudden: bool,
}

impl Rise {
    /// `None` where nothing rises beyond scatter and [`LEAST_RISE`].
    fn of(seen_ohm: &[f64]) -> Option<Rise> {
        if seen_ohm.iter().any(|r| !r.is_finite() || *r <= 0.0) {
            return None;
        }
        let mut steps: Vec<f64> = seen_ohm.windows(2).map(|w| w[1] - w[0]).collect();
        let block = (0..steps.len()).max_by(|&a, &b| steps[a].total_cmp(&steps[b]))? + 1;
        let jump = steps[block - 1];
        // The largest rise from any stretch to a later one.
        let (mut least, mut best) = (seen_ohm[0], (0.0, seen_ohm[0], seen_ohm[0]));
        for &r in seen_ohm {
            least = r.min(least);
            if r - least > best.0 {
                best = (r - least, least, r);
            }
        }
        let (rise, from_ohm, to_ohm) = best;
        steps.iter_mut().for_each(|s| *s = s.abs());
        steps.sort_by(f64::total_cmp);
        let typical = steps[steps.len() / 2];
        (rise > LEAST_RISE * from_ohm && rise > ABOVE_SCATTER * typical).then_some(Rise {
            from_ohm,
            to_ohm,
            block,
            sudden: jump > 0.3 * rise,
        })
    }
}
