//! Torque, speed, current, efficiency and power at one voltage.

use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink::{self, Ink};
use crate::plot::drawing::marks::DASHED;
use crate::plot::drawing::panel::{Layer, Panel, Shape};
use crate::plot::drawing::picture::Picture;
use crate::quantity::rounding::percent;
use crate::report::Report;
use crate::report::context::Operating;
use crate::report::operating::State;

const CHART: f64 = 230.0;
/// States along the curves, and places of the bands.
const STATES: usize = 200;
const PLACES: usize = 80;

/// Torque-speed-current-efficiency at the voltage of the report; `None` where the motor does not turn there.
pub(in crate::plot) fn operating(report: &Report, origin: &str) -> Option<Picture> {
    let motor: &Operating = report.operating.as_ref()?;
    let curve = motor.curve(motor.voltage_v, STATES)?;
    let spread = motor.spread(motor.voltage_v, report.level, PLACES);
    let unseen = motor
        .largest_current_a
        .and_then(|most| curve.iter().find(|s| s.current_a > most))
        .map(|s| s.torque_nm);
    let middle = State::columns(curve.iter().copied());
    let low = State::columns(spread.iter().map(|s| s.map(|ends| ends.0.max(0.0))));
    let high = State::columns(spread.iter().map(|s| s.map(|ends| ends.1)));
    let percent = |column: Vec<f64>| column.into_iter().map(|x| 100.0 * x).collect();
    let [middle, low, high] = [middle, low, high].map(|of| State {
        efficiency: percent(of.efficiency),
        ..of
    });
    let cuts = unseen.map(|from| (from, middle.torque_nm[STATES]));
    let chart = |one: Look, other: Look| {
        let curves = |(of, ink, label, _): Look, right: bool| {
            let band = Shape::Band(of(&low), of(&high));
            let line = Shape::Line(of(&middle), 1.5, if right { DASHED } else { None });
            [
                Layer::new(&high.torque_nm, band, ink.pale(0.22)),
                Layer::new(&middle.torque_nm, line, ink).named(label),
            ]
            .map(|layer| Layer { right, ..layer })
        };
        let scale = |(of, .., unit): Look| {
            let most = of(&middle)
                .iter()
                .chain(of(&high))
                .copied()
                .fold(0.0, f64::max);
            Axis::linear(0.0, if most > 0.0 { 1.06 * most } else { 1.0 }, unit)
        };
        // Both bands lie under both lines.
        let ([band, line], [other_band, other_line]) = (curves(one, false), curves(other, true));
        let layers = vec![band, other_band, line, other_line];
        let x = Axis::linear(0.0, middle.torque_nm[STATES], "N·m");
        let chart = Panel {
            right: Some(scale(other)),
            cuts: cuts.into_iter().collect(),
            left_ink: one.1,
            right_ink: other.1,
            ..Panel::new(x, scale(one), "torque at the shaft", layers)
        };
        (chart, CHART)
    };
    let charts = [
        chart(
            (|s| &s.speed_rad_s, ink::VOLTAGE, "speed", "rad/s"),
            (|s| &s.current_a, ink::CURRENT, "current", "A"),
        ),
        chart(
            (|s| &s.efficiency, ink::THIRD, "efficiency", "%"),
            (|s| &s.power_w, ink::MODEL, "shaft power", "W"),
        ),
    ];
    Some(Picture {
        name: "torque_speed".into(),
        title: format!("{}: torque, speed, current and efficiency", report.motor),
        subtitle: subtitle(motor, report.level, !spread.is_empty(), unseen.is_some()),
        description: description(&curve)?,
        origin: origin.to_owned(),
        ..Picture::of_charts(&charts)
    })
}

/// A column with its ink, name and unit.
type Look = (
    fn(&State<Vec<f64>>) -> &[f64],
    Ink,
    &'static str,
    &'static str,
);

fn subtitle(motor: &Operating, level: f64, bands: bool, unseen: bool) -> String {
    let percent = percent(level);
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
fn description(curve: &[State]) -> Option<String> {
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
