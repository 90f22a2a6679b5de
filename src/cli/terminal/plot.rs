//! Small plots for a terminal, of dots that textplots sets; never in a pipe.

use super::number::number;
use rundown::bench::{Bench, Waveform};
use rundown::capture::TimeAxis;
use rundown::fit::{Estimate, Quantity};
use std::io::IsTerminal;
use textplots::{
    AxisBuilder, Chart, LabelBuilder, LabelFormat, LineStyle, Plot, Shape, TickDisplay,
    TickDisplayBuilder,
};

/// Columns of letters that a plot may take, and what its labels need of them.
const WIDEST: usize = 96;
const LABELS: usize = 13;
/// Dots of a plot in height: eight lines of four, and one line for the last.
const HEIGHT: u32 = 32;
/// Columns where the terminal does not give its width.
const ASSUMED_COLUMNS: usize = 80;

/// How points are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Join {
    Line,
    Dots,
}

/// Whether standard output is a terminal whose reader wants plots.
pub fn wanted(unwanted: bool) -> bool {
    !unwanted && std::io::stdout().is_terminal()
}

/// Width of the terminal in columns.
pub fn columns() -> usize {
    match console::Term::stdout().size_checked() {
        Some((_, columns)) if columns > 0 => usize::from(columns),
        _ => ASSUMED_COLUMNS,
    }
}

/// Voltage and current of a waveform over time; empty where it has no times.
pub fn of_waveform(waveform: &Waveform, columns: usize) -> String {
    if matches!(waveform.time, TimeAxis::Absent { .. }) {
        return String::new();
    }
    let mut out = String::new();
    for (name, unit, trace) in [
        ("voltage", "V", &waveform.voltage_v),
        ("current", "A", &waveform.current_a),
    ] {
        let Some(trace) = trace else { continue };
        let points: Vec<(f64, f64)> = trace
            .values
            .iter()
            .enumerate()
            .filter_map(|(row, value)| Some((waveform.time.at(row)?, *value)))
            .collect();
        let shown = envelope(&points, dots_wide(columns));
        if let Some(plot) = plot(&[(shown, Join::Line)], unit, columns) {
            out += &format!("  {name} over time\n{plot}");
        }
    }
    out
}

/// Record and model of one capture: the first whose current was compared, else the first whose voltage was.
pub fn of_fit(bench: &Bench, estimate: &Estimate, columns: usize) -> String {
    for (quantity, name, unit) in [
        (Quantity::Current, "current", "A"),
        (Quantity::Voltage, "voltage", "V"),
    ] {
        for (capture, prediction) in bench.captures.iter().zip(estimate.predictions.iter()) {
            let rows: Vec<_> = prediction
                .rows
                .iter()
                .filter(|r| r.quantity == quantity && r.zero_uncertainty.is_none())
                .collect();
            let recorded = rows.iter().map(|r| (r.time_s, r.recorded)).collect();
            let model = rows.iter().map(|r| (r.time_s, r.predicted.value)).collect();
            let curves = [(recorded, Join::Dots), (model, Join::Line)];
            if let Some(plot) = plot(&curves, unit, columns) {
                return format!(
                    "\n{} of {} ({}): dots recorded, line model\n{plot}",
                    name,
                    capture.name,
                    capture.role.name()
                );
            }
        }
    }
    String::new()
}

fn dots_wide(columns: usize) -> usize {
    2 * (columns.min(WIDEST).saturating_sub(LABELS)).max(16)
}

/// At most two points a dot: lowest and highest, in the order of the record.
fn envelope(points: &[(f64, f64)], dots: usize) -> Vec<(f64, f64)> {
    if points.len() <= 2 * dots {
        return points.to_vec();
    }
    let step = points.len().div_ceil(dots);
    points
        .chunks(step)
        .flat_map(|bin| {
            let finite = || bin.iter().enumerate().filter(|(_, p)| p.1.is_finite());
            let least = finite().min_by(|a, b| a.1.1.total_cmp(&b.1.1));
            let most = finite().max_by(|a, b| a.1.1.total_cmp(&b.1.1));
            let mut ends: Vec<_> = least.into_iter().chain(most).collect();
            ends.sort_by_key(|end| end.0);
            ends.into_iter().map(|end| *end.1).collect::<Vec<_>>()
        })
        .collect()
}

/// The plot; `None` where fewer than two points can be shown.
fn plot(curves: &[(Vec<(f64, f64)>, Join)], unit: &str, columns: usize) -> Option<String> {
    let finite = || {
        curves
            .iter()
            .flat_map(|c| &c.0)
            .filter(|p| p.0.is_finite() && p.1.is_finite())
    };
    let ends = |of: fn(&(f64, f64)) -> f64| {
        finite()
            .map(of)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            })
    };
    let ((first, last), (least, most)) = (ends(|p| p.0), ends(|p| p.1));
    // The library counts in single precision, so times count from the first one and values in the span's unit.
    let (span, height) = (last - first, most - least);
    if finite().count() < 2 || !(span > 0.0 && span.is_finite() && height.is_finite()) {
        return None;
    }
    let height = if height > 0.0 {
        height
    } else {
        most.abs().max(1e-9)
    };
    let shares: Vec<(Vec<(f32, f32)>, Join)> = curves
        .iter()
        .map(|(points, join)| {
            let shares = points
                .iter()
                .filter(|p| p.0.is_finite() && p.1.is_finite())
                .map(|(t, v)| (((t - first) / span) as f32, ((v - least) / height) as f32));
            (shares.collect(), *join)
        })
        .collect();
    let shapes: Vec<Shape> = shares
        .iter()
        .map(|(points, join)| match join {
            Join::Line => Shape::Lines(points),
            Join::Dots => Shape::Points(points),
        })
        .collect();
    let unit = unit.to_owned();
    let width = dots_wide(columns) as u32;
    let mut chart = Chart::new_with_y_range(width, HEIGHT, 0.0, 1.0, 0.0, 1.0);
    let mut chart = &mut chart;
    for shape in &shapes {
        chart = chart.lineplot(shape);
    }
    let chart = chart
        .x_axis_style(LineStyle::None)
        .y_axis_style(LineStyle::None)
        .x_label_format(LabelFormat::Custom(Box::new(move |share| {
            number(first + span * f64::from(share), "s")
        })))
        .y_label_format(LabelFormat::Custom(Box::new(move |share| {
            number(least + height * f64::from(share), &unit)
        })))
        .y_tick_display(TickDisplay::Sparse);
    chart.axis();
    chart.figures();
    Some(chart.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_rises_from_corner_to_corner_with_its_ends_labelled() {
        let ramp: Vec<(f64, f64)> = (0..500)
            .map(|k| (1e6 + k as f64 * 1e-3, k as f64))
            .collect();
        let text = plot(&[(ramp, Join::Line)], "V", 60).expect("a plot");
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines[0].ends_with("499 V"), "{text}");
        assert!(lines.iter().any(|l| l.ends_with(" 0 V")), "{text}");
        assert!(
            lines.last().is_some_and(|l| l.contains("1000000 s")),
            "{text}"
        );
        let dots = |line: &str| {
            line.chars()
                .enumerate()
                .filter(|(_, c)| ('\u{2801}'..='\u{28ff}').contains(c))
                .map(|(k, _)| k)
                .collect::<Vec<_>>()
        };
        let (top, bottom) = (dots(lines[0]), dots(lines[8]));
        assert!(top[0] > 35 && bottom[0] == 0, "{text}");
        assert!(lines.iter().all(|l| l.chars().count() <= 60), "{text}");
    }

    #[test]
    fn a_single_peak_survives_in_a_long_record() {
        let mut points: Vec<(f64, f64)> = (0..100_000).map(|k| (k as f64, 0.0)).collect();
        points[51_234].1 = 9.0;
        let shown = envelope(&points, 100);
        assert!(shown.len() <= 200 && shown.contains(&(51_234.0, 9.0)));
    }

    #[test]
    fn what_cannot_be_shown_is_none() {
        assert_eq!(plot(&[], "V", 80), None);
        assert_eq!(plot(&[(vec![(0.0, 1.0)], Join::Line)], "V", 80), None);
        let missing = vec![(0.0, f64::NAN), (1.0, f64::NAN)];
        assert_eq!(plot(&[(missing, Join::Line)], "V", 80), None);
        let level = vec![(0.0, 2.0), (1.0, 2.0)];
        assert!(plot(&[(level, Join::Line)], "V", 5).is_some());
    }
}
