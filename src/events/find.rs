//! A capture cut into phases, by its role.

use super::phase::{EventKind, Exclusion, PhaseKind};
use super::phases::checks::held;
use super::phases::{brake, exclusions, run_down, start, switching, turn_off};
use super::polarity;
use super::remarks::{Remark, Signal};
use super::timeline::{Timeline, TimelineBuilder};
use crate::bench::{CaptureWarning, Role, Waveform};
use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Cuts a waveform of known role into phases, finds its instants and says what looks wrong.
///
/// Rows run from 0 to the length of the time axis; the phases cover all of them in order. Works with voltage and current,
/// or either alone. Linear in the number of rows.
pub fn find(waveform: &Waveform, role: Role) -> Timeline {
    find_in(View::new(waveform), role)
}

/// As [`find`], from what is prepared already.
pub(super) fn find_in(mut view: View, role: Role) -> Timeline {
    let mut builder = TimelineBuilder::default();
    let end = view.len();
    if end < 8 {
        builder.exclude(Exclusion::NoSamples, view.rows);
        builder.remarks.push(Remark::NoSamples { rows: view.rows });
        builder.capture_warnings.push(CaptureWarning::NoEvent);
        return builder.build(&view);
    }
    if polarity::nothing_happens(&view, role) {
        builder.exclude(Exclusion::NoEvent, view.rows);
        builder.remarks.push(no_event(&view));
        builder.capture_warnings.push(CaptureWarning::NoEvent);
        return builder.build(&view);
    }
    polarity::upright(&mut view, role, &mut builder);
    builder.remarks.extend(clipped(&view));
    match role {
        Role::Start | Role::LockedRotor => {
            if !start::push_phases(&view, &mut builder, end) {
                builder.remarks.push(Remark::NoSwitchOn);
                builder.push_phase(PhaseKind::Driven, end);
            }
            if role == Role::LockedRotor {
                held::check(&view, &mut builder);
            }
        }
        Role::RunDown => {
            // The record may begin before the start whose end it shows.
            if !(polarity::begins_at_rest(&view) && start::push_phases(&view, &mut builder, end)) {
                run_down::push_phases(&view, &mut builder, end);
            }
        }
        Role::Brake => {
            if !brake::push_phases(&view, &mut builder, end) {
                builder.remarks.push(Remark::NoShort);
                run_down::push_phases(&view, &mut builder, end);
            }
        }
        Role::TurnOff => {
            if !turn_off::push_phases(&view, &mut builder, end) {
                builder.remarks.push(Remark::NoTurnOff);
                builder.push_phase(PhaseKind::Driven, end);
            }
        }
        Role::Pwm | Role::PwmLocked => {
            match switching::in_view(&view) {
                Some(pattern) => {
                    for (kind, edge) in [
                        (EventKind::FirstEdge, pattern.rising.first()),
                        (EventKind::LastEdge, pattern.rising.last()),
                    ] {
                        if let Some(&row) = edge {
                            builder.push_event(kind, row as f64);
                        }
                    }
                    builder.remarks.extend(pattern.too_coarse(view.step_s));
                }
                None if view.v.is_some() => builder.remarks.push(Remark::NoSwitching),
                None => {}
            }
            builder.push_phase(PhaseKind::Driven, end);
        }
        Role::Steady => builder.push_phase(PhaseKind::Driven, end),
        Role::Driven => builder.push_phase(PhaseKind::Open, end),
    }
    builder.exclude(Exclusion::Missing, view.rows);
    exclusions::apply(&view, builder.phases_mut());
    builder.build(&view)
}

/// Median and spread of what was recorded.
fn no_event(view: &View) -> Remark {
    let levels = [(Signal::Voltage, &view.v), (Signal::Current, &view.i)];
    let level = |(signal, x): (Signal, &Option<Series>)| {
        let x = x.as_ref()?;
        Some((signal, x.median(0, x.len())?, x.spread(0, x.len())))
    };
    Remark::NoEvent {
        levels: levels.into_iter().filter_map(level).collect(),
    }
}

/// Values at the end of the converter's range, as flagged or as a run of the top code shows.
fn clipped(view: &View) -> impl Iterator<Item = Remark> {
    let both = [
        (Signal::Current, view.raw_i, &view.i),
        (Signal::Voltage, view.raw_v, &view.v),
    ];
    both.into_iter().filter_map(|(signal, values, series)| {
        let (values, series) = (values?, series.as_ref()?);
        let rows = series.clipped.iter().filter(|&&c| c).count();
        if rows == 0 {
            return None;
        }
        let levels = values
            .iter()
            .zip(series.clipped.iter())
            .filter(|(v, c)| **c && v.is_finite())
            .map(|(v, _)| *v);
        let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
        Some(Remark::Clipped {
            signal,
            rows,
            range: low.is_finite().then_some((low, high)),
        })
    })
}
