//! A capture: voltage, current and residuals on one time axis; the first milliseconds of a start on their own.

use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink::{self, Ink};
use crate::plot::drawing::marks::{DASHED, DOTTED};
use crate::plot::drawing::panel::{Layer, Panel, Shape};
use crate::plot::drawing::picture::Picture;
use crate::report::context::{CaptureView, Envelope, Inset, ModelCurve};

/// Heights of the charts.
const CHANNEL: f64 = 190.0;
const RESIDUAL: f64 = 110.0;
const BEGINNING: f64 = 300.0;
/// Residuals beyond are drawn at the edge.
const MOST_RESIDUAL: f64 = 6.0;

/// The whole record.
pub(in crate::plot) fn capture(view: &CaptureView, name: String, origin: &str) -> Picture {
    let x = time_axis(&view.trace.time_s);
    let models = [
        (view.voltage_model.as_ref(), ink::VOLTAGE, "voltage"),
        (view.current_model.as_ref(), ink::CURRENT, "current"),
    ];
    let envelopes = [(&view.trace.voltage_v, "V"), (&view.trace.current_a, "A")];
    let labels = models.map(|(.., name)| {
        (
            format!("{name}, mean of each bin"),
            format!("residual of the {name}"),
        )
    });
    let mut charts = Vec::new();
    for (((envelope, unit), (model, ink, _)), label) in
        envelopes.into_iter().zip(models).zip(&labels)
    {
        if let Some(envelope) = envelope {
            let mut layers = recorded(&view.trace.time_s, envelope, ink, &label.0);
            layers.extend(model.into_iter().flat_map(|m| model_layers(m, "model")));
            let chart = Panel {
                marks: marks(view),
                left_ink: ink,
                ..Panel::new(x.clone(), axis(envelope, unit), "", layers)
            };
            charts.push((chart, CHANNEL));
        }
    }
    let residuals: Vec<Layer> = models
        .into_iter()
        .zip(&labels)
        .filter_map(|((model, ink, _), label)| {
            let model = model?;
            let shape = Shape::Line(&model.residual, 1.0, None);
            Some(Layer::new(&model.time_s, shape, ink).named(&label.1))
        })
        .collect();
    let mut subtitle = subtitle(view);
    if residuals.is_empty() {
        subtitle += "; no model is drawn with it";
    } else {
        let models = models.into_iter().filter_map(|(model, ..)| model);
        let largest = models
            .flat_map(|model| &model.residual)
            .filter(|r| r.is_finite())
            .fold(3.0, |most: f64, r| most.max(r.abs()))
            .min(MOST_RESIDUAL);
        let chart = Panel {
            levels: vec![-2.0, 0.0, 2.0],
            ..Panel::new(x, Axis::linear(-largest, largest, ""), "", residuals)
        };
        charts.push((chart, RESIDUAL));
    }
    let last = charts.len().saturating_sub(1);
    for (k, (chart, _)) in charts.iter_mut().enumerate() {
        chart.cuts = cuts(view);
        // The charts share the axis under the last.
        chart.below = (k == last).then_some("time");
    }
    Picture {
        name,
        title: format!("{} ({})", view.name, view.role),
        subtitle,
        description: view.description.clone(),
        origin: origin.to_owned(),
        ..Picture::of_charts(&charts)
    }
}

fn subtitle(view: &CaptureView) -> String {
    format!("{}, {} samples", view.file, view.rows)
}

fn time_axis(times: &[f64]) -> Axis {
    let mut ends = times.iter().copied().filter(|t| t.is_finite());
    let first = ends.next().unwrap_or(0.0);
    let last = ends.next_back().unwrap_or(first + 1.0);
    Axis::linear(first, if last > first { last } else { first + 1.0 }, "s")
}

fn axis(envelope: &Envelope, unit: &str) -> Axis {
    Axis::around(envelope.least.iter().chain(&envelope.most).copied(), unit)
}

/// Mean of each bin over the band from its lowest to its highest sample.
fn recorded<'a>(times: &'a [f64], of: &'a Envelope, ink: Ink, label: &'a str) -> Vec<Layer<'a>> {
    let pale = ink.pale(0.28);
    vec![
        Layer::new(times, Shape::Band(&of.least, &of.most), pale),
        Layer::new(times, Shape::Line(&of.mean, 1.2, None), ink).named(label),
        Layer::new(&[], Shape::Band(&[], &[]), pale).named("lowest to highest sample"),
    ]
}

fn marks(view: &CaptureView) -> Vec<(f64, &str)> {
    let instants = view.instants.iter();
    instants.map(|i| (i.time_s, i.name.as_str())).collect()
}

fn cuts(view: &CaptureView) -> Vec<(f64, f64)> {
    view.cuts.iter().map(|c| (c.from_s, c.to_s)).collect()
}

/// The model's band and its dashed line.
fn model_layers<'a>(model: &'a ModelCurve, label: &'a str) -> [Layer<'a>; 2] {
    let band = Shape::Band(&model.lower, &model.upper);
    let line = Shape::Line(&model.value, 1.4, DASHED);
    [
        Layer::new(&model.time_s, band, ink::MODEL.pale(0.16)),
        Layer::new(&model.time_s, line, ink::MODEL).named(label),
    ]
}

/// The first milliseconds, current on the left scale and voltage on the right.
pub(in crate::plot) fn beginning(
    view: &CaptureView,
    inset: &Inset,
    name: String,
    origin: &str,
) -> Picture {
    let trace = &inset.trace;
    let mut layers = Vec::new();
    let mut scales = Vec::new();
    if let Some(envelope) = &trace.current_a {
        scales.push((axis(envelope, "A"), ink::CURRENT));
    }
    if let Some(envelope) = &trace.voltage_v {
        let line = Shape::Line(&envelope.mean, 1.3, DOTTED);
        layers.push(Layer {
            right: !scales.is_empty(),
            ..Layer::new(&trace.time_s, line, ink::VOLTAGE).named("voltage")
        });
        scales.push((axis(envelope, "V"), ink::VOLTAGE));
    }
    if let Some(envelope) = &trace.current_a {
        let line = Shape::Line(&envelope.mean, 1.3, None);
        layers.push(Layer::new(&trace.time_s, line, ink::CURRENT).named("current"));
        let model = view.current_model.iter();
        layers.extend(model.flat_map(|m| model_layers(m, "model of the current")));
    }
    let mut scales = scales.into_iter();
    let empty = || (Axis::linear(0.0, 1.0, ""), ink::VOLTAGE);
    let (left, left_ink) = scales.next().unwrap_or_else(empty);
    let chart = Panel {
        right: scales.next().map(|scale| scale.0),
        cuts: cuts(view),
        marks: marks(view),
        left_ink,
        right_ink: ink::VOLTAGE,
        ..Panel::new(
            Axis::linear(inset.from_s, inset.to_s, "s"),
            left,
            "time",
            layers,
        )
    };
    Picture {
        name,
        title: format!("{} ({}), its first milliseconds", view.name, view.role),
        subtitle: subtitle(view),
        description: inset.description.clone(),
        origin: origin.to_owned(),
        ..Picture::of_charts(&[(chart, BEGINNING)])
    }
}
