//! The time axis of a record: as given by the user, from the time column, or from start and increment.

use super::judge::{self, TimeFault};
use super::times::Times;
use crate::capture::error::ReadError;
use crate::capture::layout::{Layout, RecordFacts, Role};
use crate::capture::options::{ReadOptions, TimeGaps};
use crate::capture::record::{Remark, TimeAxis};
use crate::capture::remark::{self, Place};
use crate::capture::rows::Table;
use crate::capture::unit;
use std::path::Path;

/// The time axis: as given by the user, from the time column, or from start and increment.
pub fn time_axis(
    path: &Path,
    table: &mut Table,
    layout: &Layout,
    record_facts: &RecordFacts,
    options: &ReadOptions,
    why: &mut Vec<String>,
    remarks: &mut Vec<Remark>,
) -> Result<TimeAxis, ReadError> {
    let place = Place::new(path);
    let raw = table.time.take();
    let counted = raw
        .as_ref()
        .is_some_and(|raw| layout.columns[raw.column].role == Role::Index);
    let interval = options.interval_s.or(record_facts.interval_s.map(|i| i.0));
    if let Some(interval) = options.interval_s
        && !(interval > 0.0 && interval.is_finite())
    {
        return Err(ReadError::Option {
            path: path.to_path_buf(),
            option: "--interval",
            value: format!("{interval} s"),
            reason: "a sampling interval is positive".to_string(),
        });
    }
    let column =
        raw.filter(|raw| !raw.packed.is_empty() || raw.values.iter().any(|t| t.is_finite()));
    if let Some(mut column) = column.filter(|_| !counted || interval.is_some()) {
        if column.missing > 0 {
            column.unpack();
            let times = &column.values;
            let kept: Vec<usize> = (0..times.len()).filter(|&k| times[k].is_finite()).collect();
            remarks.push(remark::time_missing(
                &place,
                table,
                times.len() - kept.len(),
            ));
            column.values = kept.iter().map(|&k| times[k]).collect();
            table.keep(&kept);
        }
        let times = Times::new(&column.packed, &column.values);
        let own = &layout.columns[column.column];
        let time_unit = own
            .unit_text
            .as_deref()
            .or(horizontal_unit(layout).as_deref())
            .and_then(|u| unit::parse(u, true))
            .filter(|u| u.symbol == "s");
        let origin = options
            .start_s
            .or(record_facts.start_s.map(|s| s.0))
            .unwrap_or(0.0);
        let to_si = |t: f64| match (counted, interval) {
            // Counts come here as whole numbers: start + increment * count.
            (true, Some(interval)) => origin + interval * t,
            _ => time_unit.map_or(t, |unit| unit.to_si(t)),
        };
        let scale = time_unit.map_or(1.0, |unit| unit.to_si(1.0));
        if let (false, Some(step_s)) = (counted, options.interval_s) {
            let start_s = options
                .start_s
                .unwrap_or_else(|| to_si(times.first().unwrap_or(0.0)));
            why.push(format!("sampling interval {step_s} s, as given"));
            return Ok(TimeAxis::Uniform {
                start_s,
                step_s,
                len: times.len(),
            });
        }
        let preferred = (!counted).then_some(interval).flatten().map(|i| i / scale);
        let judged = judge::judge(
            times,
            column_digits(table, counted),
            preferred,
            &to_si,
            options.time_gaps,
        );
        let mut axis = judged.axis;
        if counted && let (TimeAxis::Uniform { step_s, .. }, Some(interval)) = (&mut axis, interval)
        {
            // The step went through `to_si`, which adds the origin.
            *step_s = interval;
            why.push("time is start + increment * count".to_string());
        }
        for fault in &judged.faults {
            if let TimeFault::Backwards {
                row,
                from_s,
                to_s,
                places,
            } = *fault
                && options.time_gaps == TimeGaps::Tell
            {
                return Err(ReadError::TimeBackwards {
                    path: path.to_path_buf(),
                    line: table.lines.line(row),
                    from: from_s,
                    to: to_s,
                    places,
                });
            }
            remarks.push(remark::of_time(&place, &table.lines, fault));
        }
        if let Some(kept) = judged.kept {
            table.keep(&kept);
        }
        let uneven = judged
            .faults
            .iter()
            .any(|f| matches!(f, TimeFault::Uneven { .. }));
        if !counted
            && !uneven
            && let Some((stated, line)) = record_facts.interval_s
            && let Some(found) = typical_step(&axis)
            && (stated - found).abs() > 0.01 * found
        {
            remarks.push(remark::interval_contradicts(&place, line, stated, found));
        }
        if let (Some(start), false) = (options.start_s, counted) {
            shift(&mut axis, start);
        }
        return Ok(axis);
    }
    match interval {
        Some(step_s) => {
            let start = options.start_s.or(record_facts.start_s.map(|s| s.0));
            why.push(match start {
                Some(_) => "time is start + increment * row".to_string(),
                None => "time is increment * row, from 0: no start is stated".to_string(),
            });
            Ok(TimeAxis::Uniform {
                start_s: start.unwrap_or(0.0),
                step_s,
                len: table.rows,
            })
        }
        None => {
            remarks.push(remark::time_absent(&place, layout.first_line));
            Ok(TimeAxis::Absent { len: table.rows })
        }
    }
}

/// Digits of the time column; counts are whole numbers and exact.
fn column_digits(table: &Table, counted: bool) -> u32 {
    if counted { 17 } else { table.time_digits }
}

fn horizontal_unit(layout: &Layout) -> Option<String> {
    layout
        .facts
        .iter()
        .find(|f| {
            let key = f.key.to_lowercase();
            key == "horizontal units"
                || key == "horizontal unit"
                || key == "x unit"
                || key == "time unit"
        })
        .and_then(|f| f.values.first().cloned())
}

fn typical_step(axis: &TimeAxis) -> Option<f64> {
    match axis {
        TimeAxis::Uniform { step_s, .. } => Some(*step_s),
        TimeAxis::Listed(times) if times.len() > 1 => {
            let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
            let middle = steps.len() / 2;
            Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
        }
        _ => None,
    }
}

fn shift(axis: &mut TimeAxis, start: f64) {
    match axis {
        TimeAxis::Uniform { start_s, .. } => *start_s = start,
        TimeAxis::Listed(times) => {
            let by = start - times.first().copied().unwrap_or(start);
            times.iter_mut().for_each(|t| *t += by);
        }
        TimeAxis::Absent { .. } => {}
    }
}
