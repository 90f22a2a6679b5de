//! Pictures of a sizing: a profile over time, and the torque at each speed.

use super::frame::frame;
use crate::drive::result::{Entry, Figure};
use crate::drive::{Sizing, Table};
use crate::plot::drawing::axis::Axis;
use crate::plot::drawing::ink::{self, Ink};
use crate::plot::drawing::panel::{self, Layer, Panel, Shape};
use crate::plot::drawing::picture::{HEAD, Picture, shown};
use crate::plot::drawing::surface::{DASHED, DOTTED, Dash, Surface};
use crate::plot::error::PlotError;
use crate::quantity::units::RPM;

const KEY: f64 = 24.0;
const UNDER: f64 = 40.0;
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
        let (mut middle, mut low, mut high) = (Vec::new(), Vec::new(), Vec::new());
        for line in &table.lines {
            let ends = match &line[place] {
                Entry::Exact(value) => [*value; 3],
                Entry::Figure(Figure::Known(at)) => [at.middle, at.lower, at.upper],
                Entry::Figure(Figure::Absent { .. }) => [f64::NAN; 3],
            };
            middle.push(factor * ends[0]);
            low.push(factor * ends[1]);
            high.push(factor * ends[2]);
        }
        Series { middle, low, high }
    }

    fn is_there(&self) -> bool {
        self.middle.iter().any(|value| value.is_finite())
    }

    /// The curve with its band.
    fn layers<'a>(&'a self, x: &'a [f64], ink: Ink, dash: Dash, label: &'a str) -> [Layer<'a>; 2] {
        let layer = |shape, ink, label| Layer {
            x,
            shape,
            ink,
            right: false,
            label,
        };
        let band = Shape::Band {
            low: &self.low,
            high: &self.high,
        };
        let line = Shape::Line {
            y: &self.middle,
            width: 1.5,
            dash,
        };
        [
            layer(band, ink.pale(0.22), None),
            layer(line, ink, Some(label)),
        ]
    }

    fn axis<'a>(all: impl IntoIterator<Item = &'a Series>, more: &[f64], unit: &str) -> Axis {
        let ends = all.into_iter().flat_map(|s| s.low.iter().chain(&s.high));
        Axis::around(ends.copied().chain(more.iter().copied()), unit)
    }
}

/// Every picture that a sizing allows.
pub fn drive_pictures(sizing: &Sizing) -> Vec<Picture<'_>> {
    [profile(sizing), regions(sizing)]
        .into_iter()
        .flatten()
        .collect()
}

fn origin(sizing: &Sizing) -> String {
    shown(&format!(
        "{} · rundown {}",
        sizing.motor,
        env!("CARGO_PKG_VERSION")
    ))
}

fn percent(sizing: &Sizing) -> f64 {
    (sizing.level * 1000.0).round() / 10.0
}

/// The columns of a profile's course.
struct Course {
    time: Vec<f64>,
    speed: Series,
    current: Series,
    supply: Series,
    once: Series,
    repeated: Series,
    supply_v: f64,
    limit_c: Option<f64>,
}

impl Course {
    fn of(sizing: &Sizing, table: &Table<Entry>) -> Course {
        Course {
            time: Series::of(table, 0, 1.0).middle,
            speed: Series::of(table, 1, 1.0 / RPM),
            current: Series::of(table, 2, 1.0),
            supply: Series::of(table, 3, 1.0),
            once: Series::of(table, 4, 1.0),
            repeated: Series::of(table, 5, 1.0),
            supply_v: sizing.supply_v,
            limit_c: sizing.winding_limit_c,
        }
    }

    fn moves(&self) -> bool {
        self.supply.is_there()
    }

    fn charts(&self) -> usize {
        1 + 2 * usize::from(self.moves()) + usize::from(self.once.is_there())
    }

    fn paint(&self, surface: &mut dyn Surface) -> Result<(), PlotError> {
        let limit: Vec<f64> = self.limit_c.into_iter().collect();
        let mut list = Vec::new();
        if self.moves() {
            list.push((
                Series::axis([&self.speed], &[0.0], "rpm"),
                vec![(&self.speed, ink::THIRD, None, "motor speed")],
                vec![],
            ));
        }
        list.push((
            Series::axis([&self.current], &[0.0], "A"),
            vec![(&self.current, ink::CURRENT, None, "current")],
            vec![],
        ));
        if self.moves() {
            let axis = Series::axis([&self.supply], &[0.0, self.supply_v], "V");
            list.push((
                axis,
                vec![(
                    &self.supply,
                    ink::VOLTAGE,
                    None,
                    "supply voltage needed; broken line: that of the supply",
                )],
                vec![self.supply_v],
            ));
        }
        if self.once.is_there() {
            let axis = Series::axis([&self.once, &self.repeated], &limit, "°C");
            let curves = vec![
                (
                    &self.once,
                    ink::VOLTAGE,
                    DASHED,
                    "winding, once from room temperature",
                ),
                (
                    &self.repeated,
                    ink::MODEL,
                    None,
                    "winding, repeated without a pause",
                ),
            ];
            list.push((axis, curves, limit));
        }
        let last = list.len() - 1;
        let mut top = HEAD + KEY;
        for (number, (left, curves, levels)) in list.into_iter().enumerate() {
            let layers = curves
                .into_iter()
                .flat_map(|(series, ink, dash, label)| series.layers(&self.time, ink, dash, label))
                .collect();
            let panel = chart(
                Axis::linear(self.time[0], self.time[self.time.len() - 1], "s"),
                left,
                layers,
                levels,
                if number == last { "time" } else { "" },
            );
            panel::draw(surface, &panel, frame(top, CHART))?;
            top += CHART + UNDER + KEY;
        }
        Ok(())
    }
}

/// Speed, current, supply and winding temperature over a profile.
fn profile(sizing: &Sizing) -> Option<Picture<'_>> {
    let table = sizing.table("profile_course")?;
    let course = Course::of(sizing, table);
    let charts = course.charts();
    let verdict = sizing
        .profile
        .as_ref()
        .map_or("", |verdict| verdict.text.as_str());
    Some(Picture {
        name: DRIVE_PICTURES[0].into(),
        title: shown(&format!("{}: {}", sizing.motor, table.title)),
        subtitle: shown(&format!(
            "at {} V; bands at {} %; {verdict}",
            sizing.supply_v,
            percent(sizing)
        )),
        description: shown(&format!("{}; {verdict}", table.title)),
        origin: origin(sizing),
        height: charts as f64 * (KEY + CHART + UNDER),
        paint: Box::new(move |surface| course.paint(surface)),
    })
}

fn chart<'a>(
    x: Axis,
    left: Axis,
    layers: Vec<Layer<'a>>,
    levels: Vec<f64>,
    below: &'a str,
) -> Panel<'a> {
    Panel {
        x,
        left,
        right: None,
        layers,
        cuts: Vec::new(),
        marks: Vec::new(),
        levels,
        below: Some(below),
        left_ink: ink::QUIET,
        right_ink: ink::QUIET,
    }
}

/// Continuous and short-time torque over the speed.
fn regions(sizing: &Sizing) -> Option<Picture<'_>> {
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
    let description = format!(
        "Continuous torque {:.3} mN·m at rest, {:.3} mN·m at the highest speed; the supply allows {:.3} mN·m at rest.",
        curves[0].middle[0],
        curves[0].middle.last().copied().unwrap_or(f64::NAN),
        stall_nm
    );
    let limit = sizing
        .winding_limit_c
        .map(|c| format!(", winding up to {c} °C"));
    let paint = move |surface: &mut dyn Surface| -> Result<(), PlotError> {
        let ground = vec![0.0; speed.len()];
        // What holds in the worst case.
        let inside = Layer {
            x: &speed,
            shape: Shape::Band {
                low: &ground,
                high: &curves[0].low,
            },
            ink: ink::THIRD.pale(0.16),
            right: false,
            label: None,
        };
        let mut layers = vec![inside];
        for (series, ink, dash, label) in [
            (&curves[0], ink::THIRD, None, "continuous (S1)"),
            (&curves[1], ink::VOLTAGE, DASHED, "30 min (S2)"),
            (&curves[2], ink::CURRENT, DOTTED, "10 min (S2)"),
            (
                &curves[3],
                ink::MODEL,
                DASHED,
                "the supply allows, winding hot",
            ),
        ] {
            layers.extend(series.layers(&speed, ink, dash, label));
        }
        let panel = chart(
            Axis::linear(0.0, speed[speed.len() - 1], "rpm"),
            Axis::linear(0.0, most, "mN·m"),
            layers,
            Vec::new(),
            "speed",
        );
        panel::draw(surface, &panel, frame(HEAD + KEY, 2.0 * CHART))
    };
    Some(Picture {
        name: DRIVE_PICTURES[1].into(),
        title: shown(&format!("{}: torque at each speed", sizing.motor)),
        subtitle: shown(&format!(
            "at {} V{}; bands at {} %; shaded: continuous in the worst case",
            sizing.supply_v,
            limit.unwrap_or_default(),
            percent(sizing)
        )),
        description,
        origin: origin(sizing),
        height: KEY + 2.0 * CHART + UNDER,
        paint: Box::new(paint),
    })
}
