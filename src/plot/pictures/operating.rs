//! Torque, speed, current, efficiency and power at one voltage.

use super::frame::LEFT;
use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink::{self, Ink};
use crate::plot::drawing::panel::{self, Frame, Layer, Panel, Shape};
use crate::plot::drawing::picture::{HEAD, Picture, WIDTH, shown};
use crate::plot::drawing::surface::{DASHED, Surface};
use crate::plot::error::PlotError;
use crate::report::Report;
use crate::report::context::Operating;
use crate::report::operating::{Running, Spread};

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
pub(in crate::plot) fn operating<'a>(report: &'a Report, origin: &str) -> Option<Picture<'a>> {
    let motor: &Operating = report.operating.as_ref()?;
    let curve = motor.curve(motor.voltage_v, STATES)?;
    let spread = motor.spread(motor.voltage_v, report.level, PLACES);
    let unseen = motor
        .largest_current_a
        .and_then(|most| curve.iter().find(|s| s.current_a > most))
        .map(|s| s.torque_nm);
    let curves = Curves::new(&curve, &spread, unseen)?;
    Some(Picture {
        name: "torque_speed".into(),
        title: shown(&format!(
            "{}: torque, speed, current and efficiency",
            report.motor
        )),
        subtitle: subtitle(motor, report.level, !spread.is_empty(), unseen.is_some()),
        description: description(&curve)?,
        origin: origin.to_owned(),
        height: 2.0 * (KEY + CHART + UNDER),
        paint: Box::new(move |surface| curves.paint(surface)),
    })
}

fn subtitle(motor: &Operating, level: f64, bands: bool, unseen: bool) -> String {
    let percent = (level * 1000.0).round() / 10.0;
    let mut subtitle = format!("at {} V", motor.voltage_v);
    if let Some(celsius) = motor.temperature_c {
        subtitle += &format!(", winding at {celsius:.1} °C");
    }
    if bands {
        subtitle += &format!("; bands at {percent} %");
    }
    if unseen {
        subtitle += "; hatched: currents beyond those of the captures";
    }
    subtitle
}

/// The same in words; the curve runs from no load to stall.
fn description(curve: &[Running]) -> Option<String> {
    let (free, stall) = (curve.first()?, curve.last()?);
    let best = curve
        .iter()
        .max_by(|a, b| a.efficiency.total_cmp(&b.efficiency))?;
    Some(format!(
        "Without load {:.4} rad/s and {:.4} A; best efficiency {:.1} % at {:.4} N·m; stall {:.4} N·m and {:.4} A.",
        free.speed_rad_s,
        free.current_a,
        100.0 * best.efficiency,
        best.torque_nm,
        stall.torque_nm,
        stall.current_a
    ))
}

/// The curves of the two charts over the torque.
struct Curves {
    speed: Columns,
    current: Columns,
    efficiency: Columns,
    power: Columns,
    stall_nm: f64,
    /// Torque above which the current is beyond those of the captures.
    unseen_nm: Option<f64>,
}

/// A curve with the look it has in a chart.
struct Styled<'a> {
    columns: &'a Columns,
    unit: &'static str,
    ink: Ink,
    label: &'static str,
}

impl Curves {
    fn new(curve: &[Running], spread: &[Spread], unseen_nm: Option<f64>) -> Option<Curves> {
        Some(Curves {
            speed: columns(curve, spread, |s| s.speed_rad_s, |s| s.speed_rad_s),
            current: columns(curve, spread, |s| s.current_a, |s| s.current_a),
            efficiency: columns(
                curve,
                spread,
                |s| 100.0 * s.efficiency,
                |s| (100.0 * s.efficiency.0, 100.0 * s.efficiency.1),
            ),
            power: columns(curve, spread, |s| s.power_w, |s| s.power_w),
            stall_nm: curve.last()?.torque_nm,
            unseen_nm,
        })
    }

    /// Speed with current, and under it efficiency with power.
    fn paint(&self, surface: &mut dyn Surface) -> Result<(), PlotError> {
        let styled = |columns, unit, ink, label| Styled {
            columns,
            unit,
            ink,
            label,
        };
        let mut top = HEAD + KEY;
        for (left, right) in [
            (
                styled(&self.speed, "rad/s", ink::VOLTAGE, "speed"),
                styled(&self.current, "A", ink::CURRENT, "current"),
            ),
            (
                styled(&self.efficiency, "%", ink::THIRD, "efficiency"),
                styled(&self.power, "W", ink::MODEL, "shaft power"),
            ),
        ] {
            let frame = Frame {
                left: LEFT,
                top,
                right: WIDTH - 78.0,
                bottom: top + CHART,
            };
            panel::draw(surface, &self.chart(&left, &right), frame)?;
            top += CHART + UNDER + KEY;
        }
        Ok(())
    }

    fn chart<'a>(&self, left: &Styled<'a>, right: &Styled<'a>) -> Panel<'a> {
        Panel {
            x: Axis::linear(0.0, self.stall_nm, "N·m"),
            left: left.scale(),
            right: Some(right.scale()),
            layers: vec![
                band(left.columns, left.ink, false),
                band(right.columns, right.ink, true),
                line(left.columns, left.ink, false, left.label),
                line(right.columns, right.ink, true, right.label),
            ],
            cuts: self
                .unseen_nm
                .map(|from| (from, self.stall_nm))
                .into_iter()
                .collect(),
            marks: Vec::new(),
            levels: Vec::new(),
            below: Some("torque at the shaft"),
            left_ink: left.ink,
            right_ink: right.ink,
        }
    }
}

impl Styled<'_> {
    fn scale(&self) -> Axis {
        let values = self.columns.middle.iter().chain(&self.columns.high);
        let most = values.copied().fold(0.0, f64::max);
        Axis::linear(0.0, if most > 0.0 { 1.06 * most } else { 1.0 }, self.unit)
    }
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
