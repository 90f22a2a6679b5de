//! Tables of readings beside the fitted motor.

use crate::bench::{Bench, ReadingTable};
use crate::fit::{Estimate, TableCourse, TablePoint};
use crate::quantity::rounding::significant;
use crate::quantity::units::{self, Quantity};
use crate::report::context::TableView;
use crate::stats::quantiles::normal_quantile;

/// One picture for each quantity of each table that took part in the fit.
pub fn views(bench: &Bench, estimate: &Estimate) -> Vec<TableView> {
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let read = |table: usize, quantity, row: usize| {
        let column = bench.tables.get(table)?.column(quantity)?;
        column.values.get(row).copied()
    };
    let courses = estimate.table_courses(&read).into_iter();
    let drawn = courses.filter_map(|course| view(&bench.tables[course.table], &course, z));
    drawn.collect()
}

/// Common name, unit and factor of a quantity.
fn shown(quantity: Quantity) -> Option<(&'static str, &'static str, f64)> {
    let (name, unit) = match quantity {
        Quantity::Voltage => ("voltage", "V"),
        Quantity::Current => ("current", "A"),
        Quantity::Speed => ("speed", "rpm"),
        Quantity::Torque => ("torque", "mN·m"),
        Quantity::Frequency => ("frequency", "Hz"),
        Quantity::Inductance => ("inductance", "mH"),
        _ => return None,
    };
    Some((name, unit, units::find(quantity, unit).ok()?.to_si(1.0)))
}

fn view(table: &ReadingTable, course: &TableCourse, z: f64) -> Option<TableView> {
    let y = table.column(course.quantity)?;
    let against = match course.quantity {
        Quantity::Current => [Quantity::Torque, Quantity::Speed, Quantity::Voltage],
        Quantity::Voltage => [Quantity::Speed, Quantity::Current, Quantity::Torque],
        _ => [Quantity::Frequency; 3],
    };
    let x = against.into_iter().find_map(|q| table.column(q))?;
    let (x_name, x_unit, x_factor) = shown(x.quantity)?;
    let (y_name, y_unit, y_factor) = shown(course.quantity)?;
    let mut points: Vec<&TablePoint> = course.points.iter().collect();
    points.sort_by(|a, b| x.values[a.row].total_cmp(&x.values[b.row]));
    let all = |of: &dyn Fn(&TablePoint) -> f64, factor: f64| {
        let values = points.iter().map(|p| significant(of(p) / factor, 6));
        values.collect()
    };
    let departure = |p: &&TablePoint| (p.difference / p.standard_deviation).abs();
    let furthest = points.iter().map(departure).fold(0.0, f64::max);
    Some(TableView {
        table: table.name.clone(),
        kind: table.kind.name(),
        words: format!(
            "{} readings of the {y_name}; the furthest departs by {furthest:.1} standard deviations.",
            points.len()
        ),
        x_name,
        x_unit,
        y_name,
        y_unit,
        x: all(&|p| x.values[p.row], x_factor),
        read: all(&|p| y.values[p.row], y_factor),
        lower: all(&|p| y.values[p.row] - z * p.standard_deviation, y_factor),
        upper: all(&|p| y.values[p.row] + z * p.standard_deviation, y_factor),
        model: all(&|p| y.values[p.row] - p.difference, y_factor),
    })
}
