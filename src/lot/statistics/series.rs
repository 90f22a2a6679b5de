//! One parameter over the motors of a lot, as the statistics look at it.

use super::random_effects::Sample;
use crate::motor_file::ParameterName;
use polars::prelude::*;

/// One parameter over the motors that have it: logarithms where [`Series::relative`], else SI values.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
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
    pub orders: Vec<f64>,
    pub rows: Vec<u64>,
}

impl Series {
    /// From the scale of `values` to the SI unit.
    pub fn back(&self, value: f64) -> f64 {
        if self.relative { value.exp() } else { value }
    }

    /// The motors for which `counts` is true, with `orders` for a trend.
    pub(super) fn sample(&self, counts: &[bool], trend: bool) -> Sample {
        let pick = |of: &[f64]| counted(of, counts).collect::<Vec<f64>>();
        Sample {
            values: pick(&self.values),
            variances: counted(&self.own, counts).map(|own| own * own).collect(),
            orders: trend.then(|| pick(&self.orders)),
        }
    }
}

/// Those of a column for which `counts` is true.
pub(super) fn counted<'a>(of: &'a [f64], counts: &'a [bool]) -> impl Iterator<Item = f64> + 'a {
    let all = of.iter().zip(counts);
    all.filter_map(|(value, counts)| counts.then_some(*value))
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
    let brought = match at_25_c {
        true => Some((column("value_at_25_c")?, column("uncertainty_at_25_c")?)),
        false => None,
    };
    let mut out = Series {
        name,
        relative,
        at_25_c,
        values: Vec::new(),
        own: Vec::new(),
        common: Vec::new(),
        orders: Vec::new(),
        rows: Vec::new(),
    };
    for (k, row) in rows.into_iter().enumerate() {
        let (mut value, mut own, mut common) = (plain[k], own[k], common[k]);
        if let Some((values, uncertainties)) = &brought {
            // Own and common parts keep their share when the value is brought to 25 °C; the correction adds to the own part.
            common *= values[k] / value;
            value = values[k];
            let u = uncertainties[k];
            own = (u * u - common * common).max(0.0).sqrt().max(1e-6 * u);
        }
        // A value known without any doubt has no weight that could be stated; it is left out.
        if !(own > 0.0 && own.is_finite() && value.is_finite()) {
            continue;
        }
        let scale = if relative { value } else { 1.0 };
        out.values.push(if relative { value.ln() } else { value });
        out.own.push(own / scale);
        out.common.push(common / scale);
        out.orders.push(orders[k]);
        out.rows.push(row);
    }
    Ok(out)
}
