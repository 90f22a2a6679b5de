//! One pass over the results of a lot: the table, written as it goes, and what the summary needs of it.
//!
//! Of each motor about half a kilobyte stays in memory: its name, and some numbers a parameter.

use super::row::Row;
use super::table::table;
use super::values::{Instruments, values};
use crate::export::table::TableWriter;
use crate::lot::statistics::{Series, by_parameter};
use crate::lot::{LotError, Manifest, Part, Store};
use polars::prelude::*;
use std::path::PathBuf;

/// Rows written at once.
const BATCH: usize = 2048;
/// Columns of the table that the summary needs.
const NAMED: [&str; 5] = ["row", "motor", "source", "outcome", "reason"];

/// What the summary needs of a lot.
#[derive(Clone, Debug)]
pub struct Gathered {
    /// The parameters of the motors that stand.
    pub series: Vec<Series>,
    /// Columns `row`, `motor`, `source`, `outcome` and `reason` of the table of the motors.
    pub motors: DataFrame,
    /// Whose gain errors the motors share.
    pub instruments: Instruments,
    /// The tables written.
    pub written: [PathBuf; 2],
    /// Motors of the manifest that are not done.
    pub missing: u64,
}

/// Reads every result of a part of the manifest in its order, writes `motors.csv` and `motors.parquet` and collects the
/// numbers of the motors that stand.
///
/// # Errors
/// A motor file that cannot be read, a table that cannot be written.
pub fn gather(
    manifest: &Manifest,
    part: Part,
    store: &Store,
    instruments: Instruments,
) -> Result<Gathered, LotError> {
    let csv = store.path("motors.csv");
    let unwritten = |error: std::io::Error| LotError::unwritten(&csv, error);
    let none = table(&[])?;
    let mut writer = TableWriter::create(&csv, none.schema()).map_err(unwritten)?;
    let (mut motors, mut numbers) = (none.select(NAMED)?, values(&[], instruments)?);
    let mut entries = manifest.entries(part).peekable();
    let mut batch = Vec::new();
    let mut missing = 0;
    while let Some(entry) = entries.next() {
        match Row::read(store, entry)? {
            Some(row) => batch.push(row),
            None => missing += 1,
        }
        if batch.len() == BATCH || entries.peek().is_none() && !batch.is_empty() {
            let rows = table(&batch)?;
            writer.append(&rows).map_err(unwritten)?;
            motors.vstack_mut(&rows.select(NAMED)?)?;
            numbers.vstack_mut(&values(&batch, instruments)?)?;
            batch.clear();
        }
    }
    Ok(Gathered {
        series: by_parameter(&numbers)?,
        written: writer.finish().map_err(unwritten)?,
        motors,
        instruments,
        missing,
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::export::columns::{count, text};
    use crate::lot::statistics::spread;
    use crate::motor_file::ParameterName;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

    /// One motor as the summary sees it.
    pub fn motor(row: u64, name: &str, source: &str, outcome: &str, reason: &str) -> DataFrame {
        let columns = vec![
            count("row", [Some(row)].into_iter()),
            text("motor", [Some(name)].into_iter()),
            text("source", [Some(source)].into_iter()),
            text("outcome", [Some(outcome)].into_iter()),
            text("reason", [Some(reason)].into_iter()),
        ];
        DataFrame::new(1, columns).unwrap()
    }

    /// A lot of `n` motors with three parameters: spread 3 %, own uncertainty 1 to 3 %, `shift(motor, parameter)` added to
    /// the logarithm.
    pub fn lot(n: usize, seed: u64, shift: impl Fn(usize, usize) -> f64) -> Gathered {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        let mut normal = move || -> f64 { random.sample(StandardNormal) };
        let names = [
            ParameterName::TerminalResistance,
            ParameterName::ArmatureInductance,
            ParameterName::BackEmfConstant,
        ];
        let series = names.into_iter().enumerate().map(|(p, name)| {
            let own: Vec<f64> = (0..n).map(|k| 0.01 * (1 + k % 3) as f64).collect();
            Series {
                name,
                relative: true,
                at_25_c: false,
                values: (0..n)
                    .map(|k| 0.7 + 0.03 * normal() + own[k] * normal() + shift(k, p))
                    .collect(),
                common: vec![0.02; n],
                orders: (0..n).map(|k| k as f64).collect(),
                rows: (0..n as u64).collect(),
                own,
            }
        });
        let series = series.collect();
        let motors = (0..n).map(|k| {
            let (name, source) = (format!("motor {k}"), format!("m{k}/bench.toml"));
            motor(k as u64, &name, &source, "stands", "")
        });
        Gathered {
            series,
            motors: motors.reduce(|all, one| all.vstack(&one).unwrap()).unwrap(),
            instruments: Instruments::Common,
            written: Default::default(),
            missing: 0,
        }
    }

    #[test]
    fn the_spread_between_motors_is_had_back_without_that_of_the_measurement() {
        let mut held = 0;
        let lots = 300;
        let mut squares = 0.0;
        for seed in 0..lots {
            let gathered = lot(40, 7000 + seed, |_, _| 0.0);
            let found = spread(&gathered.series[0], &[true; 40], 0.95).unwrap();
            squares += found.deviation * found.deviation / lots as f64;
            held += u32::from(found.deviation_lower <= 0.03 && 0.03 <= found.deviation_upper);
            assert!(found.observed_deviation > found.deviation);
        }
        // The variance is had without bias; its own scatter over 300 lots of 40 is about 1.6 %.
        assert!((squares / 9e-4 - 1.0).abs() < 0.06, "{squares}");
        // Binomial at 0.95: standard deviation 3.8 of 300.
        assert!((273..=297).contains(&held), "{held}");
    }

    #[test]
    fn what_all_motors_share_is_in_the_mean_and_not_in_the_spread() {
        let gathered = lot(40, 1, |_, _| 0.0);
        let found = spread(&gathered.series[0], &[true; 40], 0.95).unwrap();
        assert!(found.mean_uncertainty > 0.02 * found.mean);
        assert!(
            found.deviation > 0.02 && found.deviation < 0.045,
            "{found:?}"
        );
    }
}
