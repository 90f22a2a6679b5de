//! Torque, speed, current, efficiency and power; ripple spectrum and speed over time.

use super::axis::Axis;
use super::ink::{self, Ink};
use super::panel::{self, Frame, Layer, Panel, Shape};
use super::picture::{HEAD, Picture, WIDTH, shown};
use super::surface::{DASHED, DOTTED};
use crate::report::Report;
use crate::report::context::{MotionView, Operating, RippleView};
use crate::report::operating::{Running, Spread};

const LEFT: f64 = 78.0;
const KEY: f64 = 24.0;
const UNDER: f64 = 40.0;
const CHART: f64 = 230.0;
/// States along the curves, and places of the bands.
const STATES: usize = 200;
const PLACES: usize = 80;

/// Curves as columns.
struct Columns {
    torque: Vec<f64>,
    middle: Vec<f64>,
    band_torque: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
}

fn columns(
    curve: &[Running],
    spread: &[Spread],
    of: fn(&Running) -> f64,
    ends: fn(&Spread) -> (f64, f64),
) -> Columns {
    Columns {
        torque: curve.iter().map(|s| s.torque_nm).collect(),
        middle: curve.iter().map(of).collect(),
        band_torque: spread.iter().map(|s| s.torque_nm).collect(),
        low: spread.iter().map(|s| ends(s).0.max(0.0)).collect(),
        high: spread.iter().map(|s| ends(s).1).collect(),
    }
}

/// Torque-speed-current-efficiency at the voltage of the report; `None` where the motor does not turn there.
pub(super) fn operating<'a>(report: &'a Report, origin: &str) -> Option<Picture<'a>> {
    let motor: &Operating = report.operating.as_ref()?;
    let curve = motor.curve(motor.voltage_v, STATES)?;
    let spread = motor.spread(motor.voltage_v, report.level, PLACES);
    let stall = *curve.last()?;
    let unseen = motor
        .largest_current_a
        .and_then(|most| curve.iter().find(|s| s.current_a > most))
        .map(|s| s.torque_nm);
    let percent = (report.level * 1000.0).round() / 10.0;
    let mut subtitle = format!("at {} V", motor.voltage_v);
    if let Some(celsius) = motor.temperature_c {
        subtitle += &format!(", winding at {celsius:.1} °C");
    }
    if !spread.is_empty() {
        subtitle += &format!("; bands at {percent} %");
    }
    if unseen.is_some() {
        subtitle += "; hatched: currents beyond those of the captures";
    }
    let best = curve
        .iter()
        .copied()
        .max_by(|a, b| a.efficiency.total_cmp(&b.efficiency))
        .unwrap_or(stall);
    let free = curve[0];
    let description = format!(
        "Without load {:.4} rad/s and {:.4} A; best efficiency {:.1} % at {:.4} N·m; stall {:.4} N·m and {:.4} A.",
        free.speed_rad_s,
        free.current_a,
        100.0 * best.efficiency,
        best.torque_nm,
        stall.torque_nm,
        stall.current_a
    );
    Some(Picture {
        name: "torque_speed".into(),
        title: shown(&format!(
            "{}: torque, speed, current and efficiency",
            report.motor
        )),
        subtitle,
        description,
        origin: origin.to_owned(),
        height: 2.0 * (KEY + CHART + UNDER),
        paint: Box::new(move |surface| {
            let speed = columns(&curve, &spread, |s| s.speed_rad_s, |s| s.speed_rad_s);
            let current = columns(&curve, &spread, |s| s.current_a, |s| s.current_a);
            let efficiency = columns(
                &curve,
                &spread,
                |s| 100.0 * s.efficiency,
                |s| (100.0 * s.efficiency.0, 100.0 * s.efficiency.1),
            );
            let power = columns(&curve, &spread, |s| s.power_w, |s| s.power_w);
            let mut top = HEAD + KEY;
            for (left, right) in [
                (
                    (&speed, "rad/s", ink::VOLTAGE, "speed"),
                    (&current, "A", ink::CURRENT, "current"),
                ),
                (
                    (&efficiency, "%", ink::THIRD, "efficiency"),
                    (&power, "W", ink::MODEL, "shaft power"),
                ),
            ] {
                let scale = |c: &Columns, unit: &str| {
                    let most = c.middle.iter().chain(&c.high).copied().fold(0.0, f64::max);
                    Axis::linear(0.0, if most > 0.0 { 1.06 * most } else { 1.0 }, unit)
                };
                let chart = Panel {
                    x: Axis::linear(0.0, stall.torque_nm, "N·m"),
                    left: scale(left.0, left.1),
                    right: Some(scale(right.0, right.1)),
                    layers: [band(left.0, left.2, false), band(right.0, right.2, true)]
                        .into_iter()
                        .chain([
                            line(left.0, left.2, false, left.3),
                            line(right.0, right.2, true, right.3),
                        ])
                        .collect(),
                    cuts: unseen
                        .map(|from| (from, stall.torque_nm))
                        .into_iter()
                        .collect(),
                    marks: Vec::new(),
                    levels: Vec::new(),
                    below: Some("torque at the shaft"),
                    left_ink: left.2,
                    right_ink: right.2,
                };
                let frame = Frame {
                    left: LEFT,
                    top,
                    right: WIDTH - 78.0,
                    bottom: top + CHART,
                };
                panel::draw(surface, &chart, frame)?;
                top += CHART + UNDER + KEY;
            }
            Ok(())
        }),
    })
}

fn band(of: &Columns, ink: Ink, right: bool) -> Layer<'_> {
    Layer {
        x: &of.band_torque,
        shape: Shape::Band {
            low: &of.low,
            high: &of.high,
        },
        ink: ink.pale(0.22),
        right,
        label: None,
    }
}

fn line<'a>(of: &'a Columns, ink: Ink, right: bool, label: &'a str) -> Layer<'a> {
    Layer {
        x: &of.torque,
        shape: Shape::Line {
            y: &of.middle,
            width: 1.5,
            dash: if right { DASHED } else { None },
        },
        ink,
        right,
        label: Some(label),
    }
}

/// Spectrum with comb, and speed over time under it.
pub(super) fn ripple<'a>(view: &'a RippleView, name: String, origin: &str) -> Option<Picture<'a>> {
    let above = |values: &[f64]| -> Vec<f64> {
        values
            .iter()
            .map(|v| if *v > 0.0 { *v } else { f64::NAN })
            .collect()
    };
    let least = view
        .floor
        .iter()
        .copied()
        .filter(|v| *v > 0.0)
        .fold(f64::INFINITY, f64::min);
    let most = view.amplitude.iter().copied().fold(0.0, f64::max);
    let amplitude_axis = Axis::decades(0.3 * least, most, "%")?;
    let mut teeth: Vec<(f64, f64, String)> = view
        .comb
        .iter()
        .filter(|t| t.amplitude > least / 3.0)
        .map(|t| (t.frequency, t.amplitude, t.label.clone()))
        .collect();
    teeth.sort_by(|a, b| a.0.total_cmp(&b.0));
    let speed = view.speed_time_s.len() > 2;
    Some(Picture {
        name,
        title: shown(&format!("{}: speed from commutation ripple", view.capture)),
        subtitle: shown(&view.words),
        description: format!("{} {}", view.words, view.speed_words),
        origin: origin.to_owned(),
        height: KEY
            + CHART
            + UNDER
            + if speed {
                KEY + 0.7 * CHART + UNDER
            } else {
                0.0
            },
        paint: Box::new(move |surface| {
            let (amplitude, floor, threshold) = (
                above(&view.amplitude),
                above(&view.floor),
                above(&view.threshold),
            );
            let (tooth_x, tooth_y): (Vec<f64>, Vec<f64>) = teeth.iter().map(|t| (t.0, t.1)).unzip();
            let words: Vec<String> = teeth.iter().map(|t| t.2.clone()).collect();
            let curve = |y, ink, width, dash, label| Layer {
                x: &view.frequency,
                shape: Shape::Line { y, width, dash },
                ink,
                right: false,
                label: Some(label),
            };
            let spectrum = Panel {
                x: Axis::linear(view.view.0, view.view.1, ""),
                left: amplitude_axis.clone(),
                right: None,
                layers: vec![
                    curve(&amplitude, ink::VOLTAGE, 1.0, None, "share of the back-EMF"),
                    curve(&threshold, ink::MODEL, 1.0, DASHED, "threshold"),
                    curve(&floor, ink::QUIET, 1.0, DOTTED, "floor of noise"),
                    Layer {
                        x: &tooth_x,
                        shape: Shape::Dots {
                            y: &tooth_y,
                            words: &words,
                        },
                        ink: ink::CURRENT,
                        right: false,
                        label: (!words.is_empty()).then_some("comb"),
                    },
                ],
                cuts: Vec::new(),
                marks: Vec::new(),
                levels: Vec::new(),
                below: Some(view.axis),
                left_ink: ink::QUIET,
                right_ink: ink::QUIET,
            };
            let frame = |top: f64, height: f64| Frame {
                left: LEFT,
                top,
                right: WIDTH - 24.0,
                bottom: top + height,
            };
            panel::draw(surface, &spectrum, frame(HEAD + KEY, CHART))?;
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

/// Speed from the ripple of a current.
pub(super) fn motion<'a>(view: &'a MotionView, name: String, origin: &str) -> Option<Picture<'a>> {
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
            let frame = Frame {
                left: LEFT,
                top: HEAD + KEY,
                right: WIDTH - 24.0,
                bottom: HEAD + KEY + CHART,
            };
            panel::draw(surface, &chart, frame)
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
