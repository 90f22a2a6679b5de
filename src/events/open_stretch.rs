//! The open stretch of a capture, upright and with its zero taken off, as the ripple is read from it.

use super::phase::{PhaseKind, Timeline};
use crate::bench::Waveform;
use crate::capture::TimeAxis;
use std::ops::Range;

/// Rows while the terminals are open and the rotor slows.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenStretch {
    /// Time of each row, s.
    pub time_s: Vec<f64>,
    /// Terminal voltage, V: zero taken off, positive whichever way the channel stood.
    pub voltage_v: Vec<f64>,
    /// Zero of the channel as the rows at rest show it, V; `None` where the capture has none.
    pub zero_v: Option<f64>,
    /// Step between converter codes, V.
    pub quantisation_step_v: Option<f64>,
    /// Rows at the end of the converter's range.
    pub clipped: Vec<bool>,
}

/// The longest open phase of a capture; `None` without one, without a voltage or without times.
pub fn open_stretch(waveform: &Waveform, timeline: &Timeline) -> Option<OpenStretch> {
    let trace = waveform.voltage_v.as_ref()?;
    let flags = |rows| trace.clipped_in(rows);
    let mut open = open_rows(&waveform.time, &trace.values, flags, timeline)?;
    open.quantisation_step_v = trace.quantisation_step;
    Some(open)
}

/// As [`open_stretch`], from times, voltage and its flags; without a code step.
pub(super) fn open_rows(
    time: &TimeAxis,
    voltage_v: &[f64],
    clipped: impl Fn(Range<usize>) -> Option<Vec<bool>>,
    timeline: &Timeline,
) -> Option<OpenStretch> {
    let open = timeline
        .phases
        .iter()
        .filter(|p| p.kind == PhaseKind::Open)
        .max_by_key(|p| p.end.saturating_sub(p.first))?;
    let values = voltage_v.get(open.first..open.end)?;
    let rest = timeline
        .phases
        .iter()
        .filter(|p| p.kind == PhaseKind::Rest)
        .filter_map(|p| voltage_v.get(p.first..p.end))
        .flatten();
    let zero_v = mean(rest);
    let zero = zero_v.unwrap_or(0.0);
    // A reversed channel slows towards zero from below.
    let head = &values[..(values.len() / 50).max(1).min(values.len())];
    let sign = match mean(head.iter()) {
        Some(level) if level < zero => -1.0,
        _ => 1.0,
    };
    Some(OpenStretch {
        time_s: (open.first..open.end)
            .map(|row| time.at(row))
            .collect::<Option<_>>()?,
        voltage_v: values.iter().map(|v| sign * (v - zero)).collect(),
        zero_v,
        quantisation_step_v: None,
        clipped: clipped(open.first..open.end)?,
    })
}

/// Mean of the finite values; `None` without any.
fn mean<'a>(values: impl Iterator<Item = &'a f64>) -> Option<f64> {
    let (sum, count) = values
        .filter(|v| v.is_finite())
        .fold((0.0, 0_usize), |(sum, count), v| (sum + v, count + 1));
    (count > 0).then(|| sum / count as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Trace;
    use crate::events::Phase;

    #[test]
    fn a_reversed_channel_with_an_offset_comes_out_upright_and_from_zero() {
        let rows = 300;
        // -(10 V falling by 0.03 V a row) + 0.5 V for 200 rows, then rest at the offset.
        let values: Vec<f64> = (0..rows)
            .map(|k| {
                let emf = if k < 200 { 10.0 - 0.03 * k as f64 } else { 0.0 };
                0.5 - emf
            })
            .collect();
        let waveform = Waveform {
            time: TimeAxis::Uniform {
                start_s: -1.0,
                step_s: 0.5,
                len: rows,
            },
            voltage_v: Some(Trace {
                values,
                quantisation_step: Some(0.01),
                clipped: vec![false; rows],
            }),
            current_a: None,
        };
        let phase = |kind, first, end| Phase { kind, first, end };
        let timeline = Timeline {
            phases: vec![
                phase(PhaseKind::Open, 0, 20),
                phase(PhaseKind::Cut("gap".to_owned()), 20, 22),
                phase(PhaseKind::Open, 22, 200),
                phase(PhaseKind::Rest, 200, rows),
            ],
            instants: Vec::new(),
            remarks: Vec::new(),
            doubts: Vec::new(),
        };
        let stretch = open_stretch(&waveform, &timeline).expect("two open phases");
        assert_eq!(stretch.zero_v, Some(0.5));
        assert_eq!(stretch.time_s.len(), 178);
        assert_eq!(stretch.time_s[0], 10.0);
        assert!((stretch.voltage_v[0] - (10.0 - 0.03 * 22.0)).abs() < 1e-12);
        assert_eq!(stretch.clipped.len(), 178);
        let none = Timeline {
            phases: vec![phase(PhaseKind::Driven, 0, rows)],
            ..timeline
        };
        assert_eq!(open_stretch(&waveform, &none), None);
    }
}
