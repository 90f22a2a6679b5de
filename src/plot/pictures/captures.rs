//! A capture: voltage, current and residuals on one time axis; the first milliseconds of a start on their own.

use super::frame::LEFT;
use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink;
use crate::plot::drawing::panel::{self, Frame, Layer, Panel, Shape};
use crate::plot::drawing::picture::{HEAD, Picture, WIDTH, shown};
use crate::plot::drawing::surface::{DASHED, DOTTED};
use crate::report::context::{CaptureView, Envelope, Inset, ModelCurve, TraceView};

const RIGHT: f64 = WIDTH - 24.0;
/// Key above and plotting area of a channel's chart.
const CHANNEL: f64 = 190.0;
const RESIDUAL: f64 = 110.0;
const KEY: f64 = 24.0;
/// Numbers and name under the last chart.
const UNDER: f64 = 40.0;
/// Residuals beyond are drawn at the edge.
const MOST_RESIDUAL: f64 = 6.0;

/// Title and subtitle of a capture.
fn head(view: &CaptureView) -> (String, String) {
    (
        shown(&format!("{} ({})", view.name, view.role)),
        shown(&format!("{}, {} samples", view.file, view.rows)),
    )
}

/// The whole record.
pub(in crate::plot) fn capture<'a>(
    view: &'a CaptureView,
    name: String,
    origin: &str,
) -> Picture<'a> {
    let channels =
        usize::from(view.trace.voltage_v.is_some()) + usize::from(view.trace.current_a.is_some());
    let residual = view.voltage_model.is_some() || view.current_model.is_some();
    let (title, mut subtitle) = head(view);
    if !residual {
        subtitle += "; no model is drawn with it";
    }
    Picture {
        name,
        title,
        subtitle,
        description: view.description.clone(),
        origin: origin.to_owned(),
        height: channels as f64 * (KEY + CHANNEL)
            + if residual { KEY + RESIDUAL } else { 0.0 }
            + UNDER,
        paint: Box::new(move |surface| {
            let x = time_axis(&view.trace.time_s);
            let mut top = HEAD;
            let mut charts: Vec<(Panel, f64)> = Vec::new();
            for (voltage, envelope, model) in [
                (true, &view.trace.voltage_v, &view.voltage_model),
                (false, &view.trace.current_a, &view.current_model),
            ] {
                if let Some(envelope) = envelope {
                    charts.push((
                        channel(view, &x, voltage, envelope, model.as_ref()),
                        CHANNEL,
                    ));
                }
            }
            if residual {
                charts.push((residuals(view, &x), RESIDUAL));
            }
            if let Some(last) = charts.last_mut() {
                last.0.below = Some("time");
            }
            for (chart, height) in &charts {
                let frame = Frame {
                    left: LEFT,
                    top: top + KEY,
                    right: RIGHT,
                    bottom: top + KEY + height,
                };
                panel::draw(surface, chart, frame)?;
                top = frame.bottom;
            }
            Ok(())
        }),
    }
}

fn time_axis(times: &[f64]) -> Axis {
    let mut ends = times.iter().copied().filter(|t| t.is_finite());
    let first = ends.next().unwrap_or(0.0);
    let last = ends.next_back().unwrap_or(first + 1.0);
    Axis::linear(first, if last > first { last } else { first + 1.0 }, "s")
}

fn channel<'a>(
    view: &'a CaptureView,
    x: &Axis,
    voltage: bool,
    envelope: &'a Envelope,
    model: Option<&'a ModelCurve>,
) -> Panel<'a> {
    let (colour, unit, label) = if voltage {
        (ink::VOLTAGE, "V", "voltage, mean of each bin")
    } else {
        (ink::CURRENT, "A", "current, mean of each bin")
    };
    let times = &view.trace.time_s;
    let mut layers = vec![
        Layer {
            x: times,
            shape: Shape::Band {
                low: &envelope.least,
                high: &envelope.most,
            },
            ink: colour.pale(0.28),
            right: false,
            label: None,
        },
        Layer {
            x: times,
            shape: Shape::Line {
                y: &envelope.mean,
                width: 1.2,
                dash: None,
            },
            ink: colour,
            right: false,
            label: Some(label),
        },
        Layer {
            x: &[],
            shape: Shape::Band {
                low: &[],
                high: &[],
            },
            ink: colour.pale(0.28),
            right: false,
            label: Some("lowest to highest sample"),
        },
    ];
    layers.extend(model.into_iter().flat_map(|m| model_layers(m, "model")));
    Panel {
        x: x.clone(),
        left: Axis::around(envelope.least.iter().chain(&envelope.most).copied(), unit),
        right: None,
        layers,
        cuts: view.cuts.iter().map(|c| (c.from_s, c.to_s)).collect(),
        marks: marks(view),
        levels: Vec::new(),
        below: None,
        left_ink: colour,
        right_ink: colour,
    }
}

fn marks(view: &CaptureView) -> Vec<(f64, &str)> {
    view.instants
        .iter()
        .map(|i| (i.time_s, i.name.as_str()))
        .collect()
}

/// The model's band and its dashed line.
fn model_layers<'a>(model: &'a ModelCurve, label: &'a str) -> [Layer<'a>; 2] {
    [
        Layer {
            x: &model.time_s,
            shape: Shape::Band {
                low: &model.lower,
                high: &model.upper,
            },
            ink: ink::MODEL.pale(0.16),
            right: false,
            label: None,
        },
        Layer {
            x: &model.time_s,
            shape: Shape::Line {
                y: &model.value,
                width: 1.4,
                dash: DASHED,
            },
            ink: ink::MODEL,
            right: false,
            label: Some(label),
        },
    ]
}

fn residuals<'a>(view: &'a CaptureView, x: &Axis) -> Panel<'a> {
    let both = [
        (&view.voltage_model, ink::VOLTAGE, "residual of the voltage"),
        (&view.current_model, ink::CURRENT, "residual of the current"),
    ];
    let largest = both
        .iter()
        .filter_map(|(model, ..)| model.as_ref())
        .flat_map(|model| &model.residual)
        .filter(|r| r.is_finite())
        .fold(3.0, |most: f64, r| most.max(r.abs()))
        .min(MOST_RESIDUAL);
    Panel {
        x: x.clone(),
        left: Axis::linear(-largest, largest, ""),
        right: None,
        layers: both
            .into_iter()
            .filter_map(|(model, ink, label)| Some((model.as_ref()?, ink, label)))
            .map(|(model, ink, label)| Layer {
                x: &model.time_s,
                shape: Shape::Line {
                    y: &model.residual,
                    width: 1.0,
                    dash: None,
                },
                ink,
                right: false,
                label: Some(label),
            })
            .collect(),
        cuts: view.cuts.iter().map(|c| (c.from_s, c.to_s)).collect(),
        marks: Vec::new(),
        levels: vec![-2.0, 0.0, 2.0],
        below: None,
        left_ink: ink::QUIET,
        right_ink: ink::QUIET,
    }
}

/// The first milliseconds, current on the left scale and voltage on the right.
pub(in crate::plot) fn beginning<'a>(
    view: &'a CaptureView,
    inset: &'a Inset,
    name: String,
    origin: &str,
) -> Picture<'a> {
    let (title, subtitle) = head(view);
    Picture {
        name,
        title: format!("{title}, its first milliseconds"),
        subtitle,
        description: inset.description.clone(),
        origin: origin.to_owned(),
        height: KEY + 300.0 + UNDER,
        paint: Box::new(move |surface| {
            let frame = Frame {
                left: LEFT,
                top: HEAD + KEY,
                right: RIGHT - 50.0,
                bottom: HEAD + KEY + 300.0,
            };
            panel::draw(surface, &first(view, inset), frame)
        }),
    }
}

fn first<'a>(view: &'a CaptureView, inset: &'a Inset) -> Panel<'a> {
    let TraceView {
        time_s,
        voltage_v,
        current_a,
    } = &inset.trace;
    let both = current_a.is_some();
    let mut layers = Vec::new();
    let curve = |envelope: &'a Envelope, ink, dash, right, label| Layer {
        x: time_s,
        shape: Shape::Line {
            y: &envelope.mean,
            width: 1.3,
            dash,
        },
        ink,
        right,
        label: Some(label),
    };
    if let Some(envelope) = voltage_v {
        layers.push(curve(envelope, ink::VOLTAGE, DOTTED, both, "voltage"));
    }
    if let Some(envelope) = current_a {
        layers.push(curve(envelope, ink::CURRENT, None, false, "current"));
        layers.extend(
            view.current_model
                .iter()
                .flat_map(|m| model_layers(m, "model of the current")),
        );
    }
    let scale = |envelope: &Envelope, unit| {
        Axis::around(envelope.least.iter().chain(&envelope.most).copied(), unit)
    };
    let (voltage, current) = (
        voltage_v.as_ref().map(|e| scale(e, "V")),
        current_a.as_ref().map(|e| scale(e, "A")),
    );
    let (left, right) = match (voltage, current) {
        (voltage, Some(current)) => (current, voltage),
        (Some(voltage), None) => (voltage, None),
        (None, None) => (Axis::linear(0.0, 1.0, ""), None),
    };
    Panel {
        x: Axis::linear(inset.from_s, inset.to_s, "s"),
        left_ink: if both { ink::CURRENT } else { ink::VOLTAGE },
        right_ink: ink::VOLTAGE,
        left,
        right,
        layers,
        cuts: view.cuts.iter().map(|c| (c.from_s, c.to_s)).collect(),
        marks: marks(view),
        levels: Vec::new(),
        below: Some("time"),
    }
}
