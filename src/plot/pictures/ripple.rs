//! Speed from ripple: the spectrum of a run-down, and speed over time.

use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink;
use crate::plot::drawing::marks::{DASHED, DOTTED};
use crate::plot::drawing::panel::{Layer, Panel, Shape};
use crate::plot::drawing::picture::Picture;
use crate::report::context::{MotionView, RippleView, SpeedCurve};

const CHART: f64 = 230.0;

/// Spectrum with the harmonic pattern on a logarithmic scale, and speed over time under it. `None` where nothing is above zero.
pub(in crate::plot) fn ripple(view: &RippleView, name: String, origin: &str) -> Option<Picture> {
    let positive = view.floor.iter().copied().filter(|v| *v > 0.0);
    let least = positive.fold(f64::INFINITY, f64::min);
    let most = view.amplitude.iter().copied().fold(0.0, f64::max);
    let left = Axis::decades(0.3 * least, most, "%")?;
    let seen = view.comb.iter().filter(|t| t.amplitude > least / 3.0);
    let mut teeth: Vec<_> = seen.collect();
    teeth.sort_by(|a, b| a.frequency.total_cmp(&b.frequency));
    let at: Vec<f64> = teeth.iter().map(|t| t.frequency).collect();
    let heights: Vec<f64> = teeth.iter().map(|t| t.amplitude).collect();
    let labels: Vec<String> = teeth.iter().map(|t| t.label.clone()).collect();
    let curves = [&view.amplitude, &view.threshold, &view.floor].map(|y| above_zero(y));
    let looks = [
        (ink::VOLTAGE, None, "share of the back-EMF"),
        (ink::MODEL, DASHED, "threshold"),
        (ink::QUIET, DOTTED, "floor of noise"),
    ];
    let curves = curves.iter().zip(looks).map(|(y, (ink, dash, label))| {
        Layer::new(&view.frequency, Shape::Line(y, 1.0, dash), ink).named(label)
    });
    let teeth = Layer {
        label: (!labels.is_empty()).then_some("comb"),
        ..Layer::new(&at, Shape::Dots(&heights, &labels), ink::CURRENT)
    };
    let x = Axis::linear(view.view.0, view.view.1, "");
    let layers = curves.chain([teeth]).collect();
    let mut charts = vec![(Panel::new(x, left, view.axis, layers), CHART)];
    if view.curve.speed_time_s.len() > 2 {
        charts.push((speed_chart(&view.curve, &[]), 0.7 * CHART));
    }
    Some(Picture {
        name,
        title: format!("{}: speed from commutation ripple", view.capture),
        subtitle: view.words.clone(),
        description: format!("{} {}", view.words, view.speed_words),
        origin: origin.to_owned(),
        ..Picture::of_charts(&charts)
    })
}

/// What is not above zero has no place on a logarithmic scale.
fn above_zero(values: &[f64]) -> Vec<f64> {
    let above = values.iter().map(|v| if *v > 0.0 { *v } else { f64::NAN });
    above.collect()
}

/// Speed from the ripple of a current.
pub(in crate::plot) fn motion(view: &MotionView, name: String, origin: &str) -> Option<Picture> {
    let chart = speed_chart(&view.curve, &view.model_rad_s);
    let words: String = view.words.split_inclusive(". ").take(2).collect();
    (view.curve.speed_time_s.len() > 2).then(|| Picture {
        name,
        title: format!(
            "{}: speed from the ripple of its current, {}",
            view.capture, view.role
        ),
        subtitle: words.trim_end().to_owned(),
        description: view.words.clone(),
        origin: origin.to_owned(),
        ..Picture::of_charts(&[(chart, CHART)])
    })
}

fn speed_chart<'a>(curve: &'a SpeedCurve, balance: &'a [f64]) -> Panel<'a> {
    let (low, high) = (&curve.speed_lower_rad_s, &curve.speed_upper_rad_s);
    let time = &curve.speed_time_s;
    let ends = time.first().zip(time.last());
    let (first, last) = ends.map_or((0.0, 1.0), |(first, last)| (*first, *last));
    let mut layers = vec![
        Layer::new(time, Shape::Band(low, high), ink::VOLTAGE.pale(0.28)),
        Layer::new(
            time,
            Shape::Line(&curve.speed_rad_s, 1.4, None),
            ink::VOLTAGE,
        )
        .named("speed from ripple, with its interval"),
    ];
    if !balance.is_empty() {
        let line = Shape::Line(balance, 1.2, DASHED);
        layers.push(Layer::new(time, line, ink::MODEL).named("by voltage balance"));
    }
    let left = Axis::around(low.iter().chain(high).chain(balance).copied(), "rad/s");
    Panel {
        left_ink: ink::VOLTAGE,
        ..Panel::new(Axis::linear(first, last, "s"), left, "time", layers)
    }
}
