//! Doubts about one waveform, worded: what was found with numbers, what it does to the result, what to do.

use super::timeline_builder::Draft;
use crate::bench::Doubt;
use crate::events::phases::contact::Make;
use crate::events::phases::switching::Switching;
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// A number with three significant digits and an engineering prefix.
pub(crate) fn engineering(value: f64, unit: &str) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value} {unit}");
    }
    let exponent = (value.abs().log10() / 3.0).floor().clamp(-4.0, 3.0);
    let prefix = ["p", "n", "µ", "m", "", "k", "M", "G"][(exponent + 4.0) as usize];
    let scaled = value / 1000f64.powf(exponent);
    let digits = (2.0 - scaled.abs().log10().floor()).clamp(0.0, 2.0) as usize;
    format!("{scaled:.digits$} {prefix}{unit}")
}

pub(crate) fn no_samples(rows: usize) -> String {
    format!(
        "the waveform has {rows} rows and fewer than 8 usable numbers: no event can be sought. Export the record again"
    )
}

pub(crate) fn no_event(view: &View) -> String {
    let noise: Vec<String> = [("voltage", &view.v, "V"), ("current", &view.i, "A")]
        .iter()
        .filter_map(|(name, x, unit)| {
            let x = x.as_ref()?;
            let spread = x.spread(0, x.len());
            Some(format!(
                "{name} stays at {} ± {}",
                engineering(x.median(0, x.len())?, unit),
                engineering(spread, unit)
            ))
        })
        .collect();
    format!(
        "no event above the noise: {}. The trigger was probably missed; nothing can be estimated from this record. Trigger on \
         the current edge at about a tenth of the expected peak and record again",
        noise.join(", ")
    )
}

pub(crate) fn voltage_negative(level: f64) -> String {
    format!(
        "the voltage is {} while the source drives: probe reversed, or motor driven backwards. The phases were found with the \
         sign turned; set the polarity of the voltage channel",
        engineering(level, "V")
    )
}

pub(crate) fn current_reversed(level: f64, with_voltage: bool) -> String {
    let against = if with_voltage {
        "with the voltage positive "
    } else {
        ""
    };
    format!(
        "the current is negative while the source drives the motor ({against}it reaches {}): the current probe is the wrong way \
         round. The phases were found with the sign turned; flip the polarity of the current channel (`reversed = true` in a bench \
         sheet, `--reverse-current` without one)",
        engineering(level, "A")
    )
}

pub(crate) fn turning_at_start(level: f64) -> String {
    format!(
        "the terminals show {} before the contact closes: the motor was already turning. The start does not begin at rest, so \
         the first back-EMF is estimated too; let the rotor stand before the next shot",
        engineering(level, "V")
    )
}

pub(crate) fn no_make() -> String {
    "no contact closes in this record: it begins with the motor already driven, so neither rise nor peak is seen and \
     inductance is not determined by it. Lengthen the pre-trigger"
        .to_owned()
}

pub(crate) fn no_release() -> String {
    "no opening of the lead was found: the record begins after it. The run-down is used from its first row; the driven level \
     before it is unknown. Lengthen the pre-trigger to see it"
        .to_owned()
}

pub(crate) fn no_short() -> String {
    "no short was found: the current never turns against its driving direction. The record is treated as a run-down; check \
     the role and the brake switch"
        .to_owned()
}

pub(crate) fn no_turn_off() -> String {
    "the current does not fall to zero in this record: no turn-off was found. Check the role and the trigger".to_owned()
}

pub(crate) fn no_switching() -> String {
    "no regular switching of at least four periods was found in the voltage. Check the role and the time base".to_owned()
}

pub(crate) fn brake_without_current() -> String {
    "the brake has no current channel: only the voltage before the short is known, resistance and inertia are not determined by \
     it. Record the current"
        .to_owned()
}

pub(crate) fn cut_before_standstill(from: f64, to: f64, unit: &str) -> String {
    format!(
        "the record ends at {} (it began the decay at {}) before the rotor stands: Coulomb friction and the zero of the channel \
         are less certain. Record for a longer time",
        engineering(to, unit),
        engineering(from, unit)
    )
}

pub(crate) fn clamped_decay(rows: usize, level: f64) -> String {
    format!(
        "after the opening a clamp holds the terminals at {} for {rows} samples; the decay is used with this measured voltage",
        engineering(level, "V")
    )
}

/// AC coupling: the voltage of a motor that only slows never changes sign. True when the open phase is unusable.
pub(crate) fn about_open(view: &View, draft: &mut Draft, first: usize, end: usize) -> bool {
    let Some(v) = &view.v else { return false };
    let size = ((end - first) / 50).max(1);
    let means = v.rows(first, end).means(size);
    let before = if first >= 8 {
        v.median(0, first.saturating_sub(10).max(1)).unwrap_or(0.0)
    } else {
        means.first().copied().unwrap_or(0.0)
    };
    let lowest = means.iter().fold(f64::INFINITY, |a, &m| a.min(m));
    let highest = means.iter().fold(before.abs(), |a, &m| a.max(m));
    let noise = 6.0 * v.sigma / (size as f64).sqrt() + v.step;
    if lowest > -noise || lowest > -0.08 * highest.max(-lowest) {
        return false;
    }
    draft.doubts.push(Doubt::AcCoupled);
    draft.remarks.push(format!(
        "the voltage is {} before the lead comes off, crosses zero and goes down to {} in the run-down although the motor only \
         slows: AC coupling of the channel is suspected. The run-down is not usable for friction and inertia. Set the channel \
         to DC coupling and record again",
        engineering(before, "V"),
        engineering(lowest, "V")
    ));
    true
}

/// Remarks on a start or a locked step whose last closing was settled at row `settled`.
pub(crate) fn about_start(view: &View, draft: &mut Draft, make: &Make, settled: usize, end: usize) {
    let Some(i) = &view.i else { return };
    let from = make.makes.last().copied().unwrap_or(settled);
    let zero = i.median(
        make.first.unwrap_or(0).saturating_sub(200),
        make.first.unwrap_or(0).max(1),
    );
    let zero = zero.unwrap_or(0.0);
    let Some((peak_row, peak)) = i.peak(from, end) else {
        return;
    };
    undersampled(view, draft, i, zero, from, peak);
    current_limited(view, draft, settled, peak_row, end);
}

/// The rise from 10 % to 63 % of the peak must span some rows, or the inductance is not seen.
fn undersampled(view: &View, draft: &mut Draft, i: &Series, zero: f64, from: usize, peak: f64) {
    let reach = |part: f64| (from..i.len()).find(|&k| i.at(k) - zero > part * (peak - zero));
    let (Some(low), Some(high)) = (reach(0.1), reach(0.63)) else {
        return;
    };
    let rows = high - low + 1;
    if rows >= 3 || view.step_s <= 0.0 {
        return;
    }
    let bound_s = rows as f64 * view.step_s;
    draft.doubts.push(Doubt::RiseBetweenSamples);
    draft.remarks.push(format!(
        "the rise to 63 % of the peak current takes {rows} {} of {}: the electrical time constant is below about {}, and the \
         inductance cannot be determined from this record. Sample at {} or less",
        if rows == 1 { "sample" } else { "samples" },
        engineering(view.step_s, "s"),
        engineering(bound_s, "s"),
        engineering(bound_s / 20.0, "s"),
    ));
}

/// A supply in current limit: the current stays while the voltage, pulled down, comes back.
fn current_limited(view: &View, draft: &mut Draft, settled: usize, peak_row: usize, end: usize) {
    let (Some(v), Some(i)) = (&view.v, &view.i) else {
        return;
    };
    let Some(top) = v.quantile(settled, end, 0.9) else {
        return;
    };
    // Block means over the stretch in which the voltage is pulled down.
    let size = ((end - settled) / 200).max(1);
    let mean = |x: &Series, k: usize| {
        let rows = x.rows(k, k + size);
        rows.iter().sum::<f64>() / rows.len().max(1) as f64
    };
    let blocks: Vec<(usize, f64, f64)> = (settled..end.saturating_sub(size))
        .step_by(size)
        .map(|k| (k, mean(v, k), mean(i, k)))
        .skip_while(|b| b.0 < peak_row && b.1 > 0.85 * top)
        .take_while(|b| b.1 < 0.93 * top)
        .collect();
    if blocks.len() < 4 {
        return;
    }
    let lowest = blocks.iter().fold(f64::INFINITY, |a, b| a.min(b.1));
    let half = blocks.len() / 2;
    let middle =
        |part: &[(usize, f64, f64)]| part.iter().map(|b| b.2).sum::<f64>() / part.len() as f64;
    let (early, late) = (middle(&blocks[..half]), middle(&blocks[half..]));
    if lowest < 0.8 * top && (early - late).abs() < 0.2 * early.max(late) {
        let span_s = blocks.len() as f64 * size as f64 * view.step_s;
        draft.remarks.push(format!(
            "the current stays at a plateau of {} for {} while the voltage sags to {} of {}: the supply limits its current. There \
             is no voltage step, so the record is usable only with the measured voltage; raise the limit above the stall \
             current or use a battery",
            engineering(0.5 * (early + late), "A"),
            engineering(span_s, "s"),
            engineering(lowest, "V"),
            engineering(top, "V"),
        ));
    }
}

/// Values at the end of the converter's range, as flagged or as a run of the top code shows.
pub(crate) fn about_clipping(view: &View, told: &mut Vec<String>) {
    for (name, values, series, unit, effect) in [
        (
            "current",
            view.raw_i,
            &view.i,
            "A",
            "the true peak is higher, so resistance comes out too large and inductance too large if these rows were used; they are cut",
        ),
        (
            "voltage",
            view.raw_v,
            &view.v,
            "V",
            "kicks and arcs beyond the screen are cut; a clipped supply level would bias every parameter",
        ),
    ] {
        let (Some(values), Some(series)) = (values, series) else {
            continue;
        };
        let count = series.clipped.iter().filter(|&&c| c).count();
        if count == 0 {
            continue;
        }
        let levels = values
            .iter()
            .zip(series.clipped.iter())
            .filter(|(v, c)| **c && v.is_finite())
            .map(|(v, _)| *v);
        let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
        let place = if low.is_finite() {
            if low == high {
                format!(" at {}", engineering(high, unit))
            } else {
                format!(
                    " at {} to {}",
                    engineering(low, unit),
                    engineering(high, unit)
                )
            }
        } else {
            " marked overrange".to_owned()
        };
        told.push(format!(
            "{count} {name} samples are clipped{place}: {effect}. Choose a larger scale per division"
        ));
    }
}

/// Remarks on a switched record: too few samples a period.
pub(crate) fn about_switching(view: &View, pattern: &Switching) -> Vec<String> {
    let Some(period_s) = pattern.period_s else {
        return Vec::new();
    };
    let rows = period_s / view.step_s;
    if rows >= 20.0 {
        return Vec::new();
    }
    vec![format!(
        "one switching period of {} holds {rows:.0} samples: edges are not resolved, and the inductance suffers. Sample at {} or less",
        engineering(period_s, "s"),
        engineering(period_s / 50.0, "s"),
    )]
}
