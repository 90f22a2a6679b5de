//! How the current rises after the contact closes: as a motor's does, or as a slow probe shows it.
//!
//! Behind a closing contact the current of a winding begins with its full slope, `i ∝ 1 − e^(−t/τ)`, and reaches a tenth of its rise
//! after 0.105/1.00 = 0.105 of the time in which it reaches 63 %. A probe or filter with a time constant `τ_p` of its own begins flat: that share is
//! 0.17 for `τ_p = τ/10`, 0.21 for `τ/5`, 0.25 for `τ` (two lags in series). Iron losses and a falling back-EMF lower the share
//! or leave it; saturation raises it a little.

use crate::events::remarks::Remark;
use crate::events::timeline_builder::TimelineBuilder;
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Share of the time to 63 % that the first tenth may take.
const LARGEST_SHARE: f64 = 0.19;
/// Rows from the make to 63 % below which the share is not resolved.
const LEAST_ROWS: f64 = 12.0;
/// What the instant of the make may be off by, rows.
const ROW_ERROR: f64 = 0.7;

/// Tells a rise that begins flat. `make`: row of the last closing, fractional; the current must begin near zero there.
pub(crate) fn check(view: &View, builder: &mut TimelineBuilder, closing: f64, peak: (usize, f64)) {
    let (Some(v), Some(i)) = (&view.v, &view.i) else {
        return;
    };
    let row = closing.floor() as usize;
    let Some(begin) = i.median(row.saturating_sub(4), row + 1) else {
        return;
    };
    let height = peak.1 - begin;
    if begin.abs() > 0.1 * peak.1 || 0.1 * height < 5.0 * i.sigma {
        return;
    }
    let reach = |part: f64| crossing(i, row, peak.0, begin + part * height).map(|at| at - closing);
    let (Some(tenth), Some(most)) = (reach(0.1), reach(0.632)) else {
        return;
    };
    if most < LEAST_ROWS || !steps(v, row, most) {
        return;
    }
    let share = tenth / most;
    if share <= LARGEST_SHARE + ROW_ERROR / most {
        return;
    }
    builder.remarks.push(Remark::SlowRise {
        tenth_s: tenth * view.step_s,
        rise_s: most * view.step_s,
        share,
    });
}

/// Fractional row at which the current, needles left aside, first reaches `level`.
fn crossing(i: &Series, from: usize, until: usize, level: f64) -> Option<f64> {
    let at = (from + 1..=until.min(i.len() - 1)).find(|&k| i.median3(k) >= level)?;
    let (before, after) = (i.median3(at - 1), i.median3(at));
    let part = if after > before {
        ((level - before) / (after - before)).clamp(0.0, 1.0)
    } else {
        1.0
    };
    Some(at as f64 - 1.0 + part)
}

/// True when the voltage is a step: at its level within a tenth of the rise. Behind a voltage that grows slowly every
/// current begins flat.
fn steps(v: &Series, row: usize, rise_rows: f64) -> bool {
    let at = |part: f64| row + 1 + (part * rise_rows) as usize;
    let early = v.mean(at(0.0), at(0.1) + 1);
    let later = v.mean(at(0.3), at(0.7) + 1);
    early > 0.85 * later
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Role, Waveform};
    use crate::events::find;
    use crate::events::tests::test_motor::TestMotor;

    /// Step onto a held rotor, L/R = 465 µs at 5 µs a row.
    fn held(seed: u64) -> Waveform {
        TestMotor {
            held: true,
            step_s: 5e-6,
            seed,
            ..TestMotor::default()
        }
        .record()
    }

    /// The record as a probe of this time constant shows it.
    fn behind(mut waveform: Waveform, lag_s: f64) -> Waveform {
        let kept = (-5e-6 / lag_s).exp();
        let values = &mut waveform.current_a.as_mut().expect("recorded").values;
        let mut shown = values[0];
        for value in values {
            shown = kept * shown + (1.0 - kept) * *value;
            *value = shown;
        }
        waveform
    }

    fn told(waveform: &Waveform) -> bool {
        let remarks = find(waveform, Role::LockedRotor).remarks;
        remarks.iter().any(|r| matches!(r, Remark::SlowRise { .. }))
    }

    #[test]
    fn a_slow_probe_is_told_and_a_fast_one_is_not() {
        for seed in 1..=20 {
            assert!(!told(&held(seed)), "no probe, seed {seed}");
            assert!(!told(&behind(held(seed), 10e-6)), "fast, seed {seed}");
            assert!(told(&behind(held(seed), 230e-6)), "slow, seed {seed}");
        }
    }
}
