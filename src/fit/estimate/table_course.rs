//! What the meters of a table read beside the fitted motor, for pictures.

use super::Estimate;
use crate::fit::references::ReadingTerm;
use crate::quantity::units::Quantity;

/// The readings of one quantity of one table.
#[derive(Clone, Debug, PartialEq)]
pub struct TableCourse {
    /// Index of the table in the bench.
    pub table: usize,
    /// Voltage, current or inductance.
    pub quantity: Quantity,
    /// In the order of the rows.
    pub points: Vec<TablePoint>,
}

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TablePoint {
    /// Row of the table, from 0.
    pub row: usize,
    /// Reading less what the fitted motor would give at the other readings of the row, V, A or H.
    pub difference: f64,
    /// With which the fit weighs it, likewise.
    pub standard_deviation: f64,
}

impl Estimate {
    /// Every table that took part in the fit; `read` gives a reading by table, quantity and row.
    pub fn table_courses(
        &self,
        read: &dyn Fn(usize, Quantity, usize) -> Option<f64>,
    ) -> Vec<TableCourse> {
        let mut out: Vec<TableCourse> = Vec::new();
        for reading in &self.problem.readings {
            let ReadingTerm::Row(term) = reading else {
                continue;
            };
            let quantity = term.quantity();
            let Some((value, at)) =
                read(term.table, quantity, term.row).zip(term.evaluate(&self.solution.x))
            else {
                continue;
            };
            let sd = term.standard_deviation(value);
            let point = TablePoint {
                row: term.row,
                difference: term.sign() * at.residual * sd,
                standard_deviation: sd,
            };
            let is = |c: &&mut TableCourse| c.table == term.table && c.quantity == quantity;
            match out.iter_mut().find(is) {
                Some(course) => course.points.push(point),
                None => out.push(TableCourse {
                    table: term.table,
                    quantity,
                    points: vec![point],
                }),
            }
        }
        out
    }
}
