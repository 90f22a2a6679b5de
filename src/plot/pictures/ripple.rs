//! Speed from ripple: the spectrum of a run-down, and speed over time.

use super::frame::frame;
use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink;
use crate::plot::drawing::panel::{self, Layer, Panel, Shape};
use crate::plot::drawing::picture::{HEAD, Picture, shown};
use crate::plot::drawing::surface::{DASHED, DOTTED};
use crate::report::context::{MotionView, RippleView};

const KEY: f64 = 24.0;
const UNDER: f64 = 40.0;
const CHART: f64 = 230.0;

/// Spectrum with the harmonic pattern, and speed over time under it.
pub(in crate::plot) fn ripple<'a>(
    view: &'a RippleView,
    name: String,
    origin: &str,
) -> Option<Picture<'a>> {
    let spectrum = Spectrum::of(view)?;
    let speed = view.speed_time_s.len() > 2;
    let under = if speed {
        KEY + 0.7 * CHART + UNDER
    } else {
        0.0
    };
    Some(Picture {
        name,
        title: shown(&format!("{}: speed from commutation ripple", view.capture)),
        subtitle: shown(&view.words),
        description: format!("{} {}", view.words, view.speed_words),
        origin: origin.to_owned(),
        height: KEY + CHART + UNDER + under,
        paint: Box::new(move |surface| {
            panel::draw(surface, &spectrum.chart(), frame(HEAD + KEY, CHART))?;
            if !speed {
                return Ok(());
            }
            let chart = speed_chart(
                &view.speed_time_s,
                &view.speed_rad_s,
                (&view.speed_lower_rad_s, &view.speed_upper_rad_s),
                &[],
            );
            let top = HEAD + 2.0 * KEY + CHART + UNDER;
            panel::draw(surface, &chart, frame(top, 0.7 * CHART))
        }),
    })
}

/// The spectrum on a logarithmic scale, where what is not above zero has no place.
struct Spectrum<'a> {
    view: &'a RippleView,
    axis: Axis,
    amplitude: Vec<f64>,
    floor: Vec<f64>,
    threshold: Vec<f64>,
    /// The harmonic pattern: frequency, amplitude and label of each line.
    tooth_x: Vec<f64>,
    tooth_y: Vec<f64>,
    labels: Vec<String>,
}

impl<'a> Spectrum<'a> {
    /// `None` where nothing is above zero.
    fn of(view: &'a RippleView) -> Option<Spectrum<'a>> {
        let least = view
            .floor
            .iter()
            .copied()
            .filter(|v| *v > 0.0)
            .fold(f64::INFINITY, f64::min);
        let most = view.amplitude.iter().copied().fold(0.0, f64::max);
        let mut teeth: Vec<_> = view
            .comb
            .iter()
            .filter(|t| t.amplitude > least / 3.0)
            .collect();
        teeth.sort_by(|a, b| a.frequency.total_cmp(&b.frequency));
        Some(Spectrum {
            view,
            axis: Axis::decades(0.3 * least, most, "%")?,
            amplitude: above_zero(&view.amplitude),
            floor: above_zero(&view.floor),
            threshold: above_zero(&view.threshold),
            tooth_x: teeth.iter().map(|t| t.frequency).collect(),
            tooth_y: teeth.iter().map(|t| t.amplitude).collect(),
            labels: teeth.iter().map(|t| t.label.clone()).collect(),
        })
    }

    fn chart(&self) -> Panel<'_> {
        let curve = |y, ink, width, dash, label| Layer {
            x: &self.view.frequency,
            shape: Shape::Line { y, width, dash },
            ink,
            right: false,
            label: Some(label),
        };
        let teeth = Layer {
            x: &self.tooth_x,
            shape: Shape::Dots {
                y: &self.tooth_y,
                words: &self.labels,
            },
            ink: ink::CURRENT,
            right: false,
            label: (!self.labels.is_empty()).then_some("comb"),
        };
        Panel {
            x: Axis::linear(self.view.view.0, self.view.view.1, ""),
            left: self.axis.clone(),
            right: None,
            layers: vec![
                curve(
                    &self.amplitude,
                    ink::VOLTAGE,
                    1.0,
                    None,
                    "share of the back-EMF",
                ),
                curve(&self.threshold, ink::MODEL, 1.0, DASHED, "threshold"),
                curve(&self.floor, ink::QUIET, 1.0, DOTTED, "floor of noise"),
                teeth,
            ],
            cuts: Vec::new(),
            marks: Vec::new(),
            levels: Vec::new(),
            below: Some(self.view.axis),
            left_ink: ink::QUIET,
            right_ink: ink::QUIET,
        }
    }
}

fn above_zero(values: &[f64]) -> Vec<f64> {
    let above = values.iter().map(|v| if *v > 0.0 { *v } else { f64::NAN });
    above.collect()
}

/// Speed from the ripple of a current.
pub(in crate::plot) fn motion<'a>(
    view: &'a MotionView,
    name: String,
    origin: &str,
) -> Option<Picture<'a>> {
    if view.speed_time_s.len() < 3 {
        return None;
    }
    let words: String = view.words.split_inclusive(". ").take(2).collect();
    Some(Picture {
        name,
        title: shown(&format!(
            "{}: speed from the ripple of its current, {}",
            view.capture, view.role
        )),
        subtitle: shown(words.trim_end()),
        description: view.words.clone(),
        origin: origin.to_owned(),
        height: KEY + CHART + UNDER,
        paint: Box::new(move |surface| {
            let chart = speed_chart(
                &view.speed_time_s,
                &view.speed_rad_s,
                (&view.speed_lower_rad_s, &view.speed_upper_rad_s),
                &view.model_rad_s,
            );
            panel::draw(surface, &chart, frame(HEAD + KEY, CHART))
        }),
    })
}

fn speed_chart<'a>(
    time: &'a [f64],
    speed: &'a [f64],
    (low, high): (&'a [f64], &'a [f64]),
    balance: &'a [f64],
) -> Panel<'a> {
    let (first, last) = (
        time.first().copied().unwrap_or(0.0),
        time.last().copied().unwrap_or(1.0),
    );
    let mut layers = vec![
        Layer {
            x: time,
            shape: Shape::Band { low, high },
            ink: ink::VOLTAGE.pale(0.28),
            right: false,
            label: None,
        },
        Layer {
            x: time,
            shape: Shape::Line {
                y: speed,
                width: 1.4,
                dash: None,
            },
            ink: ink::VOLTAGE,
            right: false,
            label: Some("speed from ripple, with its interval"),
        },
    ];
    if !balance.is_empty() {
        layers.push(Layer {
            x: time,
            shape: Shape::Line {
                y: balance,
                width: 1.2,
                dash: DASHED,
            },
            ink: ink::MODEL,
            right: false,
            label: Some("by voltage balance"),
        });
    }
    Panel {
        x: Axis::linear(first, last, "s"),
        left: Axis::around(low.iter().chain(high).chain(balance).copied(), "rad/s"),
        right: None,
        layers,
        cuts: Vec::new(),
        marks: Vec::new(),
        levels: Vec::new(),
        below: Some("time"),
        left_ink: ink::VOLTAGE,
        right_ink: ink::VOLTAGE,
    }
}
