//! Efficiency over voltage and torque, as regions above each share.

use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink;
use crate::plot::drawing::panel::{Layer, Panel, Shape};
use crate::plot::drawing::picture::Picture;
use crate::report::Report;
use crate::report::operating::State;

const CHART: f64 = 380.0;
/// States along a curve, voltages and torques of the map.
const STATES: usize = 300;
const VOLTAGES: usize = 120;
const TORQUES: usize = 160;
/// Efficiencies whose regions are drawn.
const SHARES: [f64; 9] = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9];

/// Where the efficiency is at least a share: at each torque from the one voltage to the other; not a number where nowhere.
struct Region {
    share: f64,
    low_v: Vec<f64>,
    high_v: Vec<f64>,
    /// The word, and its place.
    label: [String; 1],
    at: [[f64; 1]; 2],
}

/// Efficiency at a torque along a curve from no load to stall; 0 beyond both.
fn efficiency(curve: &[State], torque_nm: f64) -> f64 {
    let after = curve.partition_point(|state| state.torque_nm < torque_nm);
    let (Some(one), Some(other)) = (curve.get(after.wrapping_sub(1)), curve.get(after)) else {
        return 0.0;
    };
    let way = (torque_nm - one.torque_nm) / (other.torque_nm - one.torque_nm);
    one.efficiency + way * (other.efficiency - one.efficiency)
}

/// The map; `None` where the motor does not turn at the voltage of the report.
pub(in crate::plot) fn map(report: &Report, origin: &str) -> Option<Picture> {
    let motor = report.operating.as_ref()?;
    let top_v = motor.voltage_v;
    let stall_nm = motor.curve(top_v, STATES)?.last()?.torque_nm;
    let volts: Vec<f64> = (1..=VOLTAGES)
        .map(|k| top_v * k as f64 / VOLTAGES as f64)
        .collect();
    let torques: Vec<f64> = (0..=TORQUES)
        .map(|k| stall_nm * k as f64 / TORQUES as f64)
        .collect();
    let grid: Vec<Vec<f64>> = volts
        .iter()
        .map(|v| match motor.curve(*v, STATES) {
            Some(curve) => torques.iter().map(|t| efficiency(&curve, *t)).collect(),
            None => vec![0.0; torques.len()],
        })
        .collect();
    let regions: Vec<Region> = SHARES
        .iter()
        .filter_map(|share| region(*share, &volts, &torques, &grid))
        .collect();
    let best = grid.iter().flatten().copied().fold(0.0, f64::max);
    let seen = motor
        .largest_current_a
        .map(|a| format!("; the captures reach {a:.3} A"));
    let words = format!(
        "estimates up to {top_v} V{}; at most {:.0} %{}; bounds: rundown export --to efficiency-map",
        motor
            .temperature_c
            .map_or(String::new(), |c| format!(", winding at {c:.1} °C")),
        100.0 * best,
        seen.unwrap_or_default()
    );
    let bands = regions.iter().map(|of| {
        let band = Shape::Band(&of.low_v, &of.high_v);
        Layer::new(&torques, band, ink::THIRD.pale(0.13))
    });
    let edges = regions.iter().flat_map(|of| {
        let edge = Shape::Line(&of.low_v, 0.6 + of.share, None);
        let word = Shape::Dots(&of.at[1], &of.label);
        [
            Layer::new(&torques, edge, ink::THIRD),
            Layer::new(&of.at[0], word, ink::THIRD),
        ]
    });
    let chart = Panel::new(
        Axis::linear(0.0, stall_nm, "N·m"),
        Axis::linear(0.0, 1.04 * top_v, "V"),
        "torque at the shaft; upwards: voltage at the motor",
        bands.chain(edges).collect(),
    );
    Some(Picture {
        name: "efficiency_map".into(),
        title: format!("{}: efficiency over voltage and torque", report.motor),
        subtitle: words.clone(),
        description: words,
        origin: origin.to_owned(),
        ..Picture::of_charts(&[(chart, CHART)])
    })
}

fn region(share: f64, volts: &[f64], torques: &[f64], grid: &[Vec<f64>]) -> Option<Region> {
    let (mut low_v, mut high_v) = (Vec::new(), Vec::new());
    for (place, _) in torques.iter().enumerate() {
        let inside = |k: &usize| grid[*k][place] >= share;
        let ends = (0..volts.len())
            .find(inside)
            .zip((0..volts.len()).rev().find(inside));
        // Between two voltages of the grid by a straight line.
        let between = |k: usize, other: Option<usize>| {
            let Some(other) = other.filter(|other| *other < volts.len()) else {
                return volts[k];
            };
            let (a, b) = (grid[k][place], grid[other][place]);
            volts[k] + (volts[other] - volts[k]) * (a - share) / (a - b)
        };
        low_v.push(ends.map_or(f64::NAN, |(first, _)| between(first, first.checked_sub(1))));
        high_v.push(ends.map_or(f64::NAN, |(_, last)| between(last, Some(last + 1))));
    }
    // The word stands where the region reaches furthest to the right, at its lower edge.
    let right = low_v.iter().rposition(|v| v.is_finite())?;
    Some(Region {
        share,
        label: [format!("{:.0} %", 100.0 * share)],
        at: [[torques[right]], [low_v[right]]],
        low_v,
        high_v,
    })
}
