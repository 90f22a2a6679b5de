//! Whether a shot is good, while the leads are still on.

use crate::bench::{Capture, CaptureWarning, Trace};
use crate::events::{Remark, Signal, Timeline};
use crate::next::advice::series::one_two_five_up;
use crate::quantity::engineering;
use serde::Serialize;

/// Divisions of a screen over which a wave is to be spread (common practice, no source).
const DIVISIONS: f64 = 8.0;
/// How much higher a wave that clips may reach (common practice, no source).
const BEYOND: f64 = 1.6;

/// What to do about a shot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// Nothing speaks against it.
    Good,
    /// It serves, with something to know or to set.
    Usable,
    /// Better recorded again.
    Retake,
}

/// The judgement of one shot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// What to do.
    pub grade: Grade,
    /// The reason in a sentence, and what to set.
    pub text: String,
    /// What else there is to know.
    pub more: Vec<String>,
}

/// Judges a capture of the sheet. `warnings` are those of its channels, `doubts` what decides how far its record can be used.
pub fn judge(
    capture: &Capture,
    timeline: &Timeline,
    warnings: &[String],
    doubts: &[CaptureWarning],
) -> Verdict {
    let mut retake = Vec::new();
    let mut other = Vec::new();
    for remark in &timeline.remarks {
        let (text, list) = match is_retake(remark) && !timeline.is_note(remark) {
            true => (spoken(capture, remark), &mut retake),
            false => (remark.to_string(), &mut other),
        };
        if !list.contains(&text) {
            list.push(text);
        }
    }
    // A sign, a ratio or a unit is set in the sheet; no new record is needed for it.
    let settable = |w: &CaptureWarning| {
        matches!(
            w,
            CaptureWarning::WrongPolarity | CaptureWarning::ProbeRatio | CaptureWarning::Unit
        )
    };
    let spoilt = timeline
        .capture_warnings
        .iter()
        .chain(doubts)
        .any(|w| w.spoils_capture() && !settable(w));
    let grade = match (retake.is_empty() && !spoilt, other.len() + warnings.len()) {
        (false, _) => Grade::Retake,
        (true, 0) => Grade::Good,
        (true, _)
            if timeline.remarks.iter().all(|r| timeline.is_note(r)) && warnings.is_empty() =>
        {
            Grade::Good
        }
        (true, _) => Grade::Usable,
    };
    let mut all = retake;
    all.extend(other);
    all.extend(warnings.iter().cloned());
    let text = match grade {
        Grade::Good => seen(timeline),
        _ if all.is_empty() => "the capture cannot be used as it is".to_owned(),
        _ => all.remove(0),
    };
    Verdict {
        grade,
        text,
        more: all,
    }
}

/// Remarks that another record would settle, and no key of the sheet.
fn is_retake(remark: &Remark) -> bool {
    !matches!(
        remark,
        Remark::VoltageNegative { .. }
            | Remark::CurrentReversed { .. }
            | Remark::NoSwitchOff
            | Remark::TurningAtStart { .. }
            | Remark::SlowRise { .. }
            | Remark::ClampedDecay { .. }
            | Remark::EventByHand { .. }
            | Remark::CutByHand { .. }
    )
}

fn spoken(capture: &Capture, remark: &Remark) -> String {
    let Remark::Clipped {
        signal,
        range: Some((low, high)),
        ..
    } = remark
    else {
        return remark.to_string();
    };
    let (chain, trace, unit) = match signal {
        Signal::Voltage => (&capture.voltage_chain, &capture.waveform.voltage_v, "V"),
        Signal::Current => (&capture.current_chain, &capture.waveform.current_a, "A"),
    };
    let Some(span) = trace.as_ref().and_then(span) else {
        return remark.to_string();
    };
    let level = if high.abs() >= low.abs() { high } else { low };
    let name = chain.as_ref().map_or("the channel", |c| c.column.as_str());
    let scale = one_two_five_up(BEYOND * span / DIVISIONS);
    format!(
        "{name} ({signal}) clips at {}: use {} a division",
        engineering(*level, unit),
        engineering(scale, unit)
    )
}

/// From the lowest to the highest value, zero included.
fn span(trace: &Trace) -> Option<f64> {
    let finite = trace.values.iter().filter(|v| v.is_finite());
    let (low, high) = finite.fold((0.0f64, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
    (high > low).then_some(high - low)
}

/// The first events in words.
fn seen(timeline: &Timeline) -> String {
    let events: Vec<String> = timeline
        .events
        .iter()
        .take(3)
        .map(|e| format!("{} at {}", e.kind, engineering(e.time_s, "s")))
        .collect();
    match events.is_empty() {
        true => "no event is needed in this record".to_owned(),
        false => events.join(", "),
    }
}
