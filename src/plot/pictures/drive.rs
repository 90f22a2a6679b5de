//! Pictures of a sizing: a profile over time, and the torque at each speed.

use crate::drive::result::{Entry, Figure};
use crate::drive::{Sizing, Table};
use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink::{self, Ink};
use crate::plot::drawing::marks::{DASHED, DOTTED, Dash};
use crate::plot::drawing::panel::{Layer, Panel, Shape};
use crate::plot::drawing::picture::Picture;
use crate::quantity::rounding::percent;
use crate::quantity::units::RPM;

const CHART: f64 = 180.0;

/// Names of the files that a sizing can become.
pub const DRIVE_PICTURES: [&str; 2] = ["profile", "torque_regions"];

/// A column with its bounds; not a number where there is none.
struct Series {
    middle: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
}

impl Series {
    /// Column `place` of a table, each value times `factor`.
    fn of(table: &Table<Entry>, place: usize, factor: f64) -> Series {
        let ends: Vec<[f64; 3]> = table
            .lines
            .iter()
            .map(|line| match &line[place] {
                Entry::Exact(value) => [*value; 3],
                Entry::Figure(Figure::Known(at)) => [at.middle, at.lower, at.upper],
                Entry::Figure(Figure::Absent { .. }) => [f64::NAN; 3],
            })
            .collect();
        let column = |k: usize| ends.iter().map(|ends| factor * ends[k]).collect();
        Series {
            middle: column(0),
            low: column(1),
            high: column(2),
        }
    }

    fn is_there(&self) -> bool {
        self.middle.iter().any(|value| value.is_finite())
    }

    /// The curve with its band.
    fn layers<'a>(&'a self, x: &'a [f64], ink: Ink, dash: Dash, label: &'a str) -> [Layer<'a>; 2] {
        [
            Layer::new(x, Shape::Band(&self.low, &self.high), ink.pale(0.22)),
            Layer::new(x, Shape::Line(&self.middle, 1.5, dash), ink).named(label),
        ]
    }
}

/// Every picture that a sizing allows.
pub fn drive_pictures(sizing: &Sizing) -> Vec<Picture> {
    let both = [profile(sizing), regions(sizing)];
    both.into_iter().flatten().collect()
}

fn origin(sizing: &Sizing) -> String {
    format!("{} · rundown {}", sizing.motor, env!("CARGO_PKG_VERSION"))
}

/// Speed, current, supply and winding temperature over a profile.
fn profile(sizing: &Sizing) -> Option<Picture> {
    let table = sizing.table("profile_course")?;
    let time = Series::of(table, 0, 1.0).middle;
    let columns = [
        (1, 1.0 / RPM, ink::THIRD, None, "motor speed"),
        (2, 1.0, ink::CURRENT, None, "current"),
        (
            3,
            1.0,
            ink::VOLTAGE,
            None,
            "supply voltage needed; broken line: that of the supply",
        ),
        (
            4,
            1.0,
            ink::VOLTAGE,
            DASHED,
            "winding, once from room temperature",
        ),
        (
            5,
            1.0,
            ink::MODEL,
            None,
            "winding, repeated without a pause",
        ),
    ]
    .map(|(place, factor, ink, dash, label)| (Series::of(table, place, factor), ink, dash, label));
    let [speed, current, supply, once, repeated] = &columns;
    let limit: Vec<f64> = sizing.winding_limit_c.into_iter().collect();
    let (moves, warms) = (supply.0.is_there(), once.0.is_there());
    let charts = [
        (moves, vec![speed], "rpm", vec![0.0], vec![]),
        (true, vec![current], "A", vec![0.0], vec![]),
        (
            moves,
            vec![supply],
            "V",
            vec![0.0, sizing.supply_v],
            vec![sizing.supply_v],
        ),
        (warms, vec![once, repeated], "°C", limit.clone(), limit),
    ];
    let mut charts: Vec<(Panel, f64)> = charts
        .into_iter()
        .filter(|chart| chart.0)
        .map(|(_, curves, unit, more, levels)| {
            let ends = curves.iter().flat_map(|c| c.0.low.iter().chain(&c.0.high));
            let left = Axis::around(ends.copied().chain(more), unit);
            let layers = curves
                .into_iter()
                .flat_map(|(series, ink, dash, label)| series.layers(&time, *ink, *dash, label))
                .collect();
            let x = Axis::linear(time[0], time[time.len() - 1], "s");
            let chart = Panel {
                levels,
                ..Panel::new(x, left, "", layers)
            };
            (chart, CHART)
        })
        .collect();
    if let Some((last, _)) = charts.last_mut() {
        last.below = Some("time");
    }
    let verdict = sizing.profile.as_ref();
    let verdict = verdict.map_or("", |verdict| verdict.text.as_str());
    Some(Picture {
        name: DRIVE_PICTURES[0].into(),
        title: format!("{}: {}", sizing.motor, table.title),
        subtitle: format!(
            "at {} V; bands at {} %; {verdict}",
            sizing.supply_v,
            percent(sizing.level)
        ),
        description: format!("{}; {verdict}", table.title),
        origin: origin(sizing),
        ..Picture::of_charts(&charts)
    })
}

/// Continuous and short-time torque over the speed.
fn regions(sizing: &Sizing) -> Option<Picture> {
    let table = sizing.table("regions")?;
    let speed = Series::of(table, 0, 1.0 / RPM).middle;
    let mut curves = [1, 2, 3, 4].map(|place| Series::of(table, place, 1e3));
    if !curves.iter().all(Series::is_there) {
        return None;
    }
    // The supply's line over its whole length would press the rest together.
    let ends = |series: &Series| series.high.iter().copied().fold(0.0, f64::max);
    let most = 1.06 * ends(&curves[3]).min(3.0 * ends(&curves[2]));
    let stall_nm = curves[3].middle[0];
    let supply = &mut curves[3];
    for place in 0..speed.len() {
        if supply.high[place] > most {
            (supply.middle[place], supply.high[place]) = (f64::NAN, f64::NAN);
        }
    }
    let ground = vec![0.0; speed.len()];
    // What holds in the worst case.
    let inside = Shape::Band(&ground, &curves[0].low);
    let mut layers = vec![Layer::new(&speed, inside, ink::THIRD.pale(0.16))];
    let looks = [
        (ink::THIRD, None, "continuous (S1)"),
        (ink::VOLTAGE, DASHED, "30 min (S2)"),
        (ink::CURRENT, DOTTED, "10 min (S2)"),
        (ink::MODEL, DASHED, "the supply allows, winding hot"),
    ];
    for (series, (ink, dash, label)) in curves.iter().zip(looks) {
        layers.extend(series.layers(&speed, ink, dash, label));
    }
    let chart = Panel::new(
        Axis::linear(0.0, speed[speed.len() - 1], "rpm"),
        Axis::linear(0.0, most, "mN·m"),
        "speed",
        layers,
    );
    let limit = sizing.winding_limit_c;
    let limit = limit.map(|c| format!(", winding up to {c} °C"));
    Some(Picture {
        name: DRIVE_PICTURES[1].into(),
        title: format!("{}: torque at each speed", sizing.motor),
        subtitle: format!(
            "at {} V{}; bands at {} %; shaded: continuous in the worst case",
            sizing.supply_v,
            limit.unwrap_or_default(),
            percent(sizing.level)
        ),
        description: format!(
            "Continuous torque {:.3} mN·m at rest, {:.3} mN·m at the highest speed; the supply allows {:.3} mN·m at rest.",
            curves[0].middle[0],
            curves[0].middle.last().copied().unwrap_or(f64::NAN),
            stall_nm
        ),
        origin: origin(sizing),
        ..Picture::of_charts(&[(chart, 2.0 * CHART)])
    })
}
