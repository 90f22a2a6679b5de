//! The open stretch of a capture, upright and with its zero taken off, as the ripple is read from it: a view, not a copy.

use super::row_times::RowTimes;
use crate::bench::Waveform;
use crate::capture::TimeAxis;
use crate::events::phase::PhaseKind;
use crate::events::timeline::Timeline;
use crate::stats::affine_view::AffineView;
use std::ops::Range;

/// Rows while the terminals are open and the rotor slows.
#[derive(Clone, Debug)]
pub struct OpenStretch<'a> {
    /// Time of each row, s.
    pub time_s: RowTimes<'a>,
    /// Terminal voltage, V: zero taken off, positive whichever way the channel stood.
    pub voltage_v: AffineView<'a>,
    /// Zero of the channel as the rows at rest show it, V; `None` where the capture has none.
    pub zero_v: Option<f64>,
    /// Step between converter codes, V.
    pub quantisation_step_v: Option<f64>,
    /// Rows at the end of the converter's range; empty where none is.
    pub clipped: Vec<bool>,
}

/// The longest open phase of a capture; `None` without one, without a voltage or without times.
pub fn open_stretch<'a>(waveform: &'a Waveform, timeline: &Timeline) -> Option<OpenStretch<'a>> {
    let trace = waveform.voltage_v.as_ref()?;
    let mut open = open_rows(&waveform.time, &trace.values, &trace.clipped, timeline)?;
    open.quantisation_step_v = trace.quantisation_step;
    Some(open)
}

/// As [`open_stretch`], from times, voltage and its flags, which may be empty; without a code step.
pub(crate) fn open_rows<'a>(
    time: &'a TimeAxis,
    voltage_v: &'a [f64],
    clipped: &[bool],
    timeline: &Timeline,
) -> Option<OpenStretch<'a>> {
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
    let upside_down = mean(head.iter()).is_some_and(|level| level < zero);
    Some(OpenStretch {
        time_s: RowTimes::of(time, open.first..open.end)?,
        voltage_v: AffineView::about(values, zero, upside_down),
        zero_v,
        quantisation_step_v: None,
        clipped: flags_in(clipped, open.first..open.end)?,
    })
}

/// The flags of some rows, none where no row has one; `None` where there are flags but not for all rows.
fn flags_in(clipped: &[bool], rows: Range<usize>) -> Option<Vec<bool>> {
    if clipped.is_empty() {
        return Some(Vec::new());
    }
    let flags = clipped.get(rows)?;
    Some(match flags.contains(&true) {
        true => flags.to_vec(),
        false => Vec::new(),
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
    use crate::events::{Exclusion, Phase};

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
                phase(PhaseKind::Excluded(Exclusion::Gap), 20, 22),
                phase(PhaseKind::Open, 22, 200),
                phase(PhaseKind::Rest, 200, rows),
            ],
            events: Vec::new(),
            remarks: Vec::new(),
            capture_warnings: Vec::new(),
        };
        let stretch = open_stretch(&waveform, &timeline).expect("two open phases");
        assert_eq!(stretch.zero_v, Some(0.5));
        assert_eq!(stretch.time_s.len(), 178);
        assert_eq!(stretch.time_s.at(0), 10.0);
        assert!((stretch.voltage_v.at(0) - (10.0 - 0.03 * 22.0)).abs() < 1e-12);
        assert!(stretch.clipped.is_empty());
        let none = Timeline {
            phases: vec![phase(PhaseKind::Driven, 0, rows)],
            ..timeline
        };
        assert!(open_stretch(&waveform, &none).is_none());
    }
}
