//! One parameter over the motors of a lot, as the statistics look at it.

use crate::motor_file::ParameterName;
use polars::prelude::*;

/// One parameter over the motors that have it: logarithms where [`Series::relative`], else SI values.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The parameter.
    pub name: ParameterName,
    /// True for what is above zero in every motor: its logarithm is looked at, so that deviations are relative.
    pub relative: bool,
    /// True where all values were brought to 25 °C.
    pub at_25_c: bool,
    /// One value a motor.
    pub values: Vec<f64>,
    /// Standard uncertainties of a motor's own.
    pub own: Vec<f64>,
    /// What the uncertainties of the motors have in common through the instruments.
    pub common: Vec<f64>,
    /// Orders of measurement.
    pub orders: Vec<f64>,
    /// Rows of the motors in the manifest.
    pub rows: Vec<u64>,
}

impl Series {
    /// From the scale of `values` to the SI unit.
    pub fn back(&self, value: f64) -> f64 {
        if self.relative { value.exp() } else { value }
    }
}

/// A series for each parameter in a table of values (see `motors/values.rs`), in the order of [`ParameterName::ALL`].
pub(crate) fn by_parameter(values: &DataFrame) -> PolarsResult<Vec<Series>> {
    let mut found = Vec::new();
    for of_one in values.partition_by_stable(["parameter"], true)? {
        let place = of_one
            .column("parameter")?
            .u32()?
            .get(0)
            .unwrap_or_default() as usize;
        found.push((place, series(ParameterName::ALL[place], &of_one)?));
    }
    found.sort_by_key(|(place, _)| *place);
    Ok(found.into_iter().map(|(_, series)| series).collect())
}

fn series(name: ParameterName, values: &DataFrame) -> PolarsResult<Series> {
    let column = |name: &str| -> PolarsResult<Vec<f64>> {
        Ok(values.column(name)?.f64()?.into_no_null_iter().collect())
    };
    let rows: Vec<u64> = values.column("row")?.u64()?.into_no_null_iter().collect();
    let orders = column("order")?;
    let (plain, own, common) = (
        column("value")?,
        column("own_uncertainty")?,
        column("common_uncertainty")?,
    );
    let at_25_c = values.column("value_at_25_c")?.null_count() == 0;
    let relative = !name.may_be_zero() && plain.iter().all(|value| *value > 0.0);
    let points = if at_25_c {
        // Own and common parts keep their share when the value is brought to 25 °C; the correction adds to the own part.
        let corrected = column("value_at_25_c")?
            .into_iter()
            .zip(column("uncertainty_at_25_c")?);
        let brought = |((value, uncertainty), (plain, common)): ((f64, f64), (&f64, &f64))| {
            let common = common * value / plain;
            let own = (uncertainty * uncertainty - common * common)
                .max(0.0)
                .sqrt();
            (value, own.max(1e-6 * uncertainty), common)
        };
        corrected
            .zip(plain.iter().zip(&common))
            .map(brought)
            .collect()
    } else {
        let points = plain.into_iter().zip(own).zip(common);
        points
            .map(|((value, own), common)| (value, own, common))
            .collect::<Vec<_>>()
    };
    let mut out = Series {
        name,
        relative,
        at_25_c,
        values: Vec::with_capacity(rows.len()),
        own: Vec::with_capacity(rows.len()),
        common: Vec::with_capacity(rows.len()),
        orders: Vec::with_capacity(rows.len()),
        rows: Vec::with_capacity(rows.len()),
    };
    for ((value, own, common), (row, order)) in points.into_iter().zip(rows.into_iter().zip(orders))
    {
        // A value known without any doubt has no weight that could be stated; it is left out.
        if !(own > 0.0 && own.is_finite() && value.is_finite()) {
            continue;
        }
        let scale = if relative { value } else { 1.0 };
        out.values.push(if relative { value.ln() } else { value });
        out.own.push(own / scale);
        out.common.push(common / scale);
        out.orders.push(order);
        out.rows.push(row);
    }
    Ok(out)
}
