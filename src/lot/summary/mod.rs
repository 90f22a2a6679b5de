//! What the motors of a lot say together.

pub mod page;
mod picture;
pub mod text;

use super::motors::Gathered;
use super::results::{LOT_FORMAT, Outcome};
use super::run::Counts;
use super::statistics::false_discovery::adjusted;
use super::statistics::{Drift, Outlier, RATE, Spread, drift, outliers, spread};
use crate::motor_file::{ParameterName, Program};
use picture::{Picture, picture};
use serde::Serialize;

/// One parameter over the lot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ParameterSummary {
    #[serde(serialize_with = "key")]
    pub name: ParameterName,
    pub unit: &'static str,
    /// True where spread and drift are relative to the mean; false for what may be zero, in its unit.
    pub relative: bool,
    /// True where every motor's value was brought to 25 °C.
    pub at_25_c: bool,
    /// Motors with a value that counts.
    pub motors: usize,
    /// Absent with too few motors.
    pub spread: Option<Spread>,
    pub drift: Option<Drift>,
    #[serde(skip)]
    pub picture: Picture,
}

fn key<S: serde::Serializer>(name: &ParameterName, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(name.key())
}

/// The whole summary.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Summary {
    pub format: &'static str,
    pub program: Program,
    /// The manifest, as given.
    pub manifest: String,
    pub counts: Counts,
    /// Level of the intervals.
    pub level: f64,
    /// Expected share of false ones among outliers, and among drifts.
    pub false_discovery_rate: f64,
    /// True where the gains of the instruments count as common to all motors.
    pub common_instruments: bool,
    pub parameters: Vec<ParameterSummary>,
    pub outliers: Vec<Outlier>,
    /// Motors that failed or are doubtful, with the reason; at most `MOST_TOLD`.
    pub troubles: Vec<Trouble>,
}

/// A motor without a result that stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trouble {
    pub motor: String,
    pub named: String,
    pub outcome: Outcome,
    pub reason: String,
}

/// Most troubles listed; the table has all.
pub const MOST_TOLD: usize = 200;

/// Works out the summary.
pub fn summarise(gathered: &Gathered, manifest: &str, counts: Counts, level: f64) -> Summary {
    let (flags, found) = outliers(gathered);
    let mut parameters: Vec<ParameterSummary> = gathered
        .series
        .iter()
        .zip(&flags)
        .map(|(series, flags)| {
            let counts: Vec<bool> = flags.iter().map(|f| !f).collect();
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
        })
        .collect();
    let p_values: Vec<f64> = parameters
        .iter()
        .filter_map(|p| p.drift.as_ref())
        .map(|d| d.p_value)
        .collect();
    let drifts = parameters.iter_mut().filter_map(|p| p.drift.as_mut());
    for (drift, rate) in drifts.zip(adjusted(&p_values)) {
        drift.false_discovery_rate = rate;
    }
    Summary {
        format: LOT_FORMAT,
        program: Program::this(),
        manifest: manifest.to_owned(),
        counts,
        level,
        false_discovery_rate: RATE,
        common_instruments: gathered.common_instruments,
        parameters,
        outliers: found,
        troubles: gathered.troubles.clone(),
    }
}
