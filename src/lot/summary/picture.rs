//! One parameter over the lot as a picture: a point a motor in order of measurement, in percent of width and height.

use crate::lot::{Series, Spread};
use serde::Serialize;

/// Most points drawn; of a larger lot each stands for the mean of as many motors in a row.
const MOST: usize = 400;

/// Places in percent from the left and from the top.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Picture {
    pub points: Vec<Point>,
    /// Mean, and mean less and plus one standard deviation between motors.
    pub mean: Option<[f64; 3]>,
    /// Values at bottom and top, in the SI unit.
    pub bottom: f64,
    pub top: f64,
    /// Motors a point stands for.
    pub each: usize,
}

/// A motor, or several in a row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    pub x: f64,
    pub y: f64,
    /// Ends of the bar of one standard uncertainty.
    pub low: f64,
    pub high: f64,
    pub outlier: bool,
}

pub(super) fn picture(series: &Series, flags: &[bool], spread: Option<&Spread>) -> Picture {
    let n = series.values.len();
    if n == 0 {
        return Picture::default();
    }
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| series.orders[a].total_cmp(&series.orders[b]));
    let each = n.div_ceil(MOST);
    // Outliers stay points of their own.
    let (alone, together): (Vec<usize>, Vec<usize>) =
        order.into_iter().partition(|&k| each > 1 && flags[k]);
    let mean_of = |group: &[usize], of: &dyn Fn(usize) -> f64| {
        group.iter().map(|&k| of(k)).sum::<f64>() / group.len() as f64
    };
    let groups = together.chunks(each).chain(alone.chunks(1));
    let raw: Vec<(f64, f64, f64, f64, bool)> = groups
        .map(|group| {
            let value = mean_of(group, &|k| series.values[k]);
            let squares = mean_of(group, &|k| series.own[k] * series.own[k]);
            let own = (squares / group.len() as f64).sqrt();
            (
                mean_of(group, &|k| series.orders[k]),
                series.back(value),
                series.back(value - own),
                series.back(value + own),
                flags[group[0]],
            )
        })
        .collect();
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
    };
    let (first, last) = range(&mut raw.iter().map(|p| p.0));
    let (mut bottom, mut top) = range(&mut raw.iter().flat_map(|p| [p.2, p.3]));
    let room = 0.06 * (top - bottom).max(1e-12 * top.abs()).max(f64::MIN_POSITIVE);
    bottom -= room;
    top += room;
    let across = |t: f64| {
        2.0 + 96.0
            * if last > first {
                (t - first) / (last - first)
            } else {
                0.5
            }
    };
    let down = |v: f64| (100.0 * (top - v) / (top - bottom)).clamp(-5.0, 105.0);
    let short = |v: f64| (v * 100.0).round() / 100.0;
    Picture {
        points: raw
            .iter()
            .map(|p| Point {
                x: short(across(p.0)),
                y: short(down(p.1)),
                low: short(down(p.2)),
                high: short(down(p.3)),
                outlier: p.4,
            })
            .collect(),
        mean: spread.map(|s| {
            let away = if series.relative {
                s.mean * s.deviation
            } else {
                s.deviation
            };
            [s.mean, s.mean - away, s.mean + away].map(|v| short(down(v)))
        }),
        bottom,
        top,
        each,
    }
}
