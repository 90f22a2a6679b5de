//! What the motors of a lot say together.

mod outliers;
pub mod page;
mod picture;
pub mod text;

pub use outliers::Outlier;

use super::error::LotError;
use super::motors::{Gathered, Instruments};
use super::results::{LOT_FORMAT, Outcome};
use super::run::Counts;
use super::statistics::false_discovery::adjusted;
use super::statistics::{Drift, RATE, Series, Spread, drift, outliers, spread};
use crate::motor_file::{ParameterName, Program};
use outliers::by_motor;
use picture::{Picture, picture};
use polars::prelude::{ChunkCompareEq, DataFrame, PolarsResult};
use serde::Serialize;

/// One parameter over the lot.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct ParameterSummary {
    #[serde(serialize_with = "key")]
    pub name: ParameterName,
    /// SI unit, as the motor file writes it.
    pub unit: &'static str,
    /// True where spread and drift are relative to the mean; false for what may be zero, in its unit.
    pub relative: bool,
    /// True where every motor's value was brought to 25 °C.
    pub at_25_c: bool,
    /// Motors with a value that counts.
    pub motors: usize,
    /// Absent with too few motors.
    pub spread: Option<Spread>,
    /// Trend along the order of measurement; absent with too few motors.
    pub drift: Option<Drift>,
    /// Values and histogram for the page.
    #[serde(skip)]
    pub picture: Picture,
}

fn key<S: serde::Serializer>(name: &ParameterName, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(name.key())
}

/// The whole summary.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Summary {
    /// Name and version of this format.
    pub format: &'static str,
    pub program: Program,
    pub manifest: String,
    pub counts: Counts,
    pub level: f64,
    /// Expected share of false ones among outliers, and among drifts.
    pub false_discovery_rate: f64,
    /// True where the gains of the instruments count as common to all motors.
    pub common_instruments: bool,
    pub parameters: Vec<ParameterSummary>,
    /// Motors whose value lies too far from the others, by parameter.
    pub outliers: Vec<Outlier>,
    /// Motors that failed or are doubtful, with the reason; at most `MOST_LISTED`.
    pub troubles: Vec<Trouble>,
}

/// A motor without a result that stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trouble {
    pub motor: String,
    /// As the manifest names it.
    pub named: String,
    /// How it ended, as tables write it.
    pub outcome: String,
    pub reason: String,
}

/// Most troubles listed; the table has all.
const MOST_LISTED: usize = 200;

/// Works out the summary.
///
/// # Errors
/// [`LotError::Table`] where the table of the motors lacks a column.
pub fn summarise(gathered: &Gathered, manifest: &str, level: f64) -> Result<Summary, LotError> {
    let (flags, findings) = outliers(&gathered.series);
    let series = gathered.series.iter().zip(&flags);
    let mut parameters: Vec<ParameterSummary> = series
        .map(|(series, flags)| parameter_summary(series, flags, level))
        .collect();
    let drifts = || parameters.iter().filter_map(|p| p.drift.as_ref());
    let p_values: Vec<f64> = drifts().map(|drift| drift.p_value).collect();
    let drifts = parameters.iter_mut().filter_map(|p| p.drift.as_mut());
    for (drift, rate) in drifts.zip(adjusted(&p_values)) {
        drift.false_discovery_rate = rate;
    }
    Ok(Summary {
        format: LOT_FORMAT,
        program: Program::this(),
        manifest: manifest.to_owned(),
        counts: counts(&gathered.motors)?,
        level,
        false_discovery_rate: RATE,
        common_instruments: gathered.instruments == Instruments::Common,
        parameters,
        outliers: by_motor(findings, &gathered.motors)?,
        troubles: troubles(&gathered.motors)?,
    })
}

fn parameter_summary(series: &Series, flags: &[bool], level: f64) -> ParameterSummary {
    let counts: Vec<bool> = flags.iter().map(|flag| !flag).collect();
    let spread = spread(series, &counts, level);
    ParameterSummary {
        name: series.name,
        unit: series.name.si(),
        relative: series.relative,
        at_25_c: series.at_25_c,
        motors: series.values.len(),
        drift: drift(series, &counts, level),
        picture: picture(series, flags, spread.as_ref()),
        spread,
    }
}

/// How many motors ended how.
fn counts(motors: &DataFrame) -> PolarsResult<Counts> {
    let outcomes = motors.column("outcome")?.str()?;
    let number = |outcome: Outcome| {
        let those = outcomes.equal(outcome.words());
        u64::from(those.sum().unwrap_or(0))
    };
    Ok(Counts {
        motors: motors.height() as u64,
        stand: number(Outcome::Ok),
        doubtful: number(Outcome::InConflict),
        failed: number(Outcome::Failed),
    })
}

fn troubles(motors: &DataFrame) -> PolarsResult<Vec<Trouble>> {
    let outcomes = motors.column("outcome")?.str()?;
    let those = motors
        .filter(&outcomes.not_equal(Outcome::Ok.words()))?
        .head(Some(MOST_LISTED));
    let text = |name: &str| -> PolarsResult<Vec<String>> {
        let cells = those.column(name)?.str()?;
        Ok(cells
            .iter()
            .map(|cell| cell.unwrap_or_default().to_owned())
            .collect())
    };
    let causes = text("outcome")?.into_iter().zip(text("reason")?);
    let names = text("motor")?.into_iter().zip(text("source")?);
    let troubles = names
        .zip(causes)
        .map(|((motor, named), (outcome, reason))| Trouble {
            motor,
            named,
            outcome,
            reason,
        });
    Ok(troubles.collect())
}
