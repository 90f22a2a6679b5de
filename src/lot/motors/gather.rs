//! One pass over the results of a lot: the table, written as it goes, and the numbers that the statistics need.
//!
//! Of each motor about half a kilobyte stays in memory: its name, and four numbers a parameter.

use crate::export::columns::{Cells, TableWriter};
use crate::export::rows::suffix;
use crate::lot::summary::{MOST_TOLD, Trouble};
use crate::lot::{Counts, Entry, LotError, Manifest, MotorRecord, Outcome, RunOptions, Store};
use crate::motor_file::{MotorFile, Parameter, ParameterName, Status};
use std::path::PathBuf;

/// Rows written at once.
const BATCH: usize = 2048;

/// One parameter over the motors that have it: logarithms where [`Series::relative`], else SI values.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    pub name: ParameterName,
    /// True for what is above zero in every motor: its logarithm is looked at, so that deviations are relative.
    pub relative: bool,
    /// True where all values were brought to 25 °C.
    pub at_25_c: bool,
    pub values: Vec<f64>,
    /// Standard uncertainties of a motor's own, and what the motors have in common through the instruments.
    pub own: Vec<f64>,
    pub common: Vec<f64>,
    pub orders: Vec<f64>,
    /// Indices into [`Gathered::names`].
    pub motors: Vec<usize>,
}

impl Series {
    /// From the scale of `values` to the SI unit.
    pub fn back(&self, value: f64) -> f64 {
        if self.relative { value.exp() } else { value }
    }
}

/// What the statistics need of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct Gathered {
    pub series: Vec<Series>,
    /// Motor and its name in the manifest, of those that stand.
    pub names: Vec<(String, String)>,
    pub common_instruments: bool,
    pub troubles: Vec<Trouble>,
    /// The tables written.
    pub written: Vec<PathBuf>,
    /// Motors of the manifest without a record.
    pub missing: u64,
    pub counts: Counts,
}

/// Reads every result of the manifest in its order, writes `motors.csv` (and `motors.parquet`) and collects the numbers of
/// the motors that stand. `common_instruments`: gains of the instruments are the same for all motors.
///
/// # Errors
/// A manifest or motor file that cannot be read, a table that cannot be written.
pub fn gather(
    manifest: &Manifest,
    store: &Store,
    options: &RunOptions,
    common_instruments: bool,
) -> Result<Gathered, LotError> {
    let target = store.path("motors.csv");
    let fault = |error: std::io::Error| LotError::Write {
        path: target.clone(),
        reason: error.to_string(),
    };
    let mut writer = TableWriter::create(&target).map_err(fault)?;
    let mut rows: Vec<Row> = Vec::new();
    let mut collected = Collected::new(common_instruments);
    let mut empty = true;
    let mut flush = |rows: &mut Vec<Row>, last: bool| -> Result<(), LotError> {
        if rows.len() >= BATCH || (last && (empty || !rows.is_empty())) {
            writer.append(columns(rows)).map_err(fault)?;
            empty = false;
            rows.clear();
        }
        Ok(())
    };
    for entry in manifest.entries()? {
        let entry = entry?;
        if !options.takes(entry.row) {
            continue;
        }
        let id = entry.id();
        let Some(record) = store.record(&id) else {
            collected.missing += 1;
            continue;
        };
        let file = match record.motor_file_sha256 {
            Some(_) => Some(store.motor_file(&id)?),
            None => None,
        };
        collected.take(&entry, &record, file.as_ref());
        rows.push(Row {
            entry,
            record,
            file,
        });
        flush(&mut rows, false)?;
    }
    flush(&mut rows, true)?;
    let written = writer.finish().map_err(fault)?;
    Ok(collected.finish(written))
}

struct Row {
    entry: Entry,
    record: MotorRecord,
    file: Option<MotorFile>,
}

/// The columns of a batch. Docs: docs/lot.md.
fn columns(rows: &[Row]) -> Vec<(String, Cells)> {
    let text = |of: &dyn Fn(&Row) -> Option<String>| Cells::Text(rows.iter().map(of).collect());
    let number = |of: &dyn Fn(&Row) -> Option<f64>| Cells::Number(rows.iter().map(of).collect());
    let count = |of: &dyn Fn(&Row) -> Option<u64>| Cells::Count(rows.iter().map(of).collect());
    let mut out: Vec<(String, Cells)> = vec![
        ("row".into(), count(&|r| Some(r.entry.row))),
        ("motor".into(), text(&|r| Some(r.record.motor.clone()))),
        ("source".into(), text(&|r| Some(r.record.named.clone()))),
        ("order".into(), number(&|r| Some(r.entry.order()))),
        (
            "outcome".into(),
            text(&|r| Some(r.record.outcome.words().to_owned())),
        ),
        ("reason".into(), text(&|r| r.record.reason.clone())),
    ];
    for name in ParameterName::ALL {
        let of = |r: &Row| -> Option<Parameter> { r.file.as_ref()?.parameters.get(&name).cloned() };
        let stem = format!("{}_{}", name.key(), suffix(name));
        out.push((stem.clone(), number(&|r| of(r)?.value)));
        out.push((
            format!("{stem}_standard_uncertainty"),
            number(&|r| of(r)?.standard_uncertainty),
        ));
        out.push((format!("{stem}_lower"), number(&|r| of(r)?.lower)));
        out.push((format!("{stem}_upper"), number(&|r| of(r)?.upper)));
        out.push((
            format!("{}_temperature_c", name.key()),
            number(&|r| of(r)?.temperature_c),
        ));
        out.push((
            format!("{stem}_at_25_c"),
            number(&|r| Some(of(r)?.at_25_c?.value)),
        ));
        out.push((
            format!("{stem}_at_25_c_standard_uncertainty"),
            number(&|r| Some(of(r)?.at_25_c?.standard_uncertainty)),
        ));
        out.push((
            format!("{}_status", name.key()),
            text(&|r| Some(of(r)?.status.label().to_owned())),
        ));
    }
    let fit = |r: &Row| r.file.as_ref().map(|f| f.fit.clone());
    out.extend([
        (
            "captures".to_owned(),
            count(&|r| Some(fit(r)?.captures.len() as u64)),
        ),
        (
            "samples".to_owned(),
            count(&|r| Some(fit(r)?.captures.iter().map(|c| c.samples).sum())),
        ),
        ("iterations".to_owned(), count(&|r| fit(r)?.stop.iterations)),
        ("stop".to_owned(), text(&|r| Some(fit(r)?.stop.text))),
        ("chi_squared".to_owned(), number(&|r| fit(r)?.chi_squared)),
        (
            "degrees_of_freedom".to_owned(),
            number(&|r| fit(r)?.degrees_of_freedom),
        ),
        (
            "condition_number".to_owned(),
            number(&|r| Some(fit(r)?.identifiability?.condition_number)),
        ),
        (
            "largest_autocorrelation_lag_one".to_owned(),
            number(&|r| {
                let captures = fit(r)?.captures;
                let lags = captures.iter().filter_map(|c| c.autocorrelation_lag_one);
                lags.reduce(f64::max)
            }),
        ),
        (
            "warnings".to_owned(),
            count(&|r| Some(r.file.as_ref()?.warnings.len() as u64)),
        ),
        (
            "program".to_owned(),
            text(&|r| {
                let program = &r.file.as_ref()?.program;
                Some(format!("{} {}", program.name, program.version))
            }),
        ),
        (
            "fingerprint".to_owned(),
            text(&|r| Some(r.record.fingerprint.clone())),
        ),
    ]);
    out
}

/// One value of one parameter: in SI units, at the temperature of the captures and at 25 °C.
#[derive(Clone, Copy)]
struct Value {
    value: f64,
    own: f64,
    common: f64,
    at_25_c: Option<(f64, f64)>,
    order: f64,
    motor: usize,
}

struct Collected {
    values: Vec<Vec<Value>>,
    names: Vec<(String, String)>,
    troubles: Vec<Trouble>,
    missing: u64,
    counts: Counts,
    common: bool,
}

impl Collected {
    fn new(common: bool) -> Collected {
        Collected {
            values: vec![Vec::new(); ParameterName::ALL.len()],
            names: Vec::new(),
            troubles: Vec::new(),
            missing: 0,
            counts: Counts::default(),
            common,
        }
    }

    fn take(&mut self, entry: &Entry, record: &MotorRecord, file: Option<&MotorFile>) {
        self.counts.motors += 1;
        match record.outcome {
            Outcome::Stands => self.counts.stand += 1,
            Outcome::Doubtful => self.counts.doubtful += 1,
            Outcome::Failed => self.counts.failed += 1,
        }
        let (Outcome::Stands, Some(file)) = (record.outcome, file) else {
            if self.troubles.len() < MOST_TOLD {
                self.troubles.push(Trouble {
                    motor: record.motor.clone(),
                    named: record.named.clone(),
                    outcome: record.outcome,
                    reason: record.reason.clone().unwrap_or_default(),
                });
            }
            return;
        };
        let motor = self.names.len();
        self.names
            .push((record.motor.clone(), record.named.clone()));
        for (values, name) in self.values.iter_mut().zip(ParameterName::ALL) {
            let Some(parameter) = file.parameters.get(&name) else {
                continue;
            };
            // What sits at its bound or comes from a prior says nothing of this motor.
            if parameter.status != Status::Measured || parameter.one_sided.is_some() {
                continue;
            }
            let (Some(value), Some(uncertainty)) =
                (parameter.value, parameter.standard_uncertainty)
            else {
                continue;
            };
            let share: f64 = match self.common {
                true => parameter
                    .budget
                    .iter()
                    .filter(|(source, _)| source.starts_with("gain of "))
                    .map(|(_, share)| share)
                    .sum(),
                false => 0.0,
            };
            let share = share.clamp(0.0, 0.999);
            values.push(Value {
                value,
                own: uncertainty * (1.0 - share).sqrt(),
                common: uncertainty * share.sqrt(),
                at_25_c: parameter
                    .at_25_c
                    .as_ref()
                    .map(|at| (at.value, at.standard_uncertainty)),
                order: entry.order(),
                motor,
            });
        }
    }

    fn finish(self, written: Vec<PathBuf>) -> Gathered {
        let series = ParameterName::ALL
            .into_iter()
            .zip(self.values)
            .filter(|(_, values)| !values.is_empty())
            .map(|(name, values)| series(name, &values))
            .collect();
        Gathered {
            series,
            names: self.names,
            common_instruments: self.common,
            troubles: self.troubles,
            written,
            missing: self.missing,
            counts: self.counts,
        }
    }
}

fn series(name: ParameterName, values: &[Value]) -> Series {
    let at_25_c = values.iter().all(|v| v.at_25_c.is_some());
    // Own and common parts keep their share when the value is brought to 25 °C; the correction adds to the own part.
    let at = |v: &Value| match v.at_25_c.filter(|_| at_25_c) {
        Some((value, uncertainty)) => {
            let common = v.common * value / v.value;
            let own = (uncertainty * uncertainty - common * common)
                .max(0.0)
                .sqrt();
            (value, own.max(1e-6 * uncertainty), common)
        }
        None => (v.value, v.own, v.common),
    };
    let relative = !name.may_be_zero() && values.iter().all(|v| v.value > 0.0);
    let mut out = Series {
        name,
        relative,
        at_25_c,
        values: Vec::with_capacity(values.len()),
        own: Vec::with_capacity(values.len()),
        common: Vec::with_capacity(values.len()),
        orders: Vec::with_capacity(values.len()),
        motors: Vec::with_capacity(values.len()),
    };
    for v in values {
        let (value, own, common) = at(v);
        // A value known without any doubt has no weight that could be stated; it is left out.
        if !(own > 0.0 && own.is_finite() && value.is_finite()) {
            continue;
        }
        let scale = if relative { value } else { 1.0 };
        out.values.push(if relative { value.ln() } else { value });
        out.own.push(own / scale);
        out.common.push(common / scale);
        out.orders.push(v.order);
        out.motors.push(v.motor);
    }
    out
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::StandardNormal;

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
                motors: (0..n).collect(),
                own,
            }
        });
        Gathered {
            series: series.collect(),
            names: (0..n)
                .map(|k| (format!("motor {k}"), format!("m{k}/bench.toml")))
                .collect(),
            common_instruments: true,
            troubles: Vec::new(),
            written: Vec::new(),
            missing: 0,
            counts: Counts::default(),
        }
    }

    #[test]
    fn the_spread_between_motors_is_had_back_without_that_of_the_measurement() {
        let mut held = 0;
        let lots = 300;
        let mut squares = 0.0;
        for seed in 0..lots {
            let gathered = lot(40, 7000 + seed, |_, _| 0.0);
            let found =
                crate::lot::statistics::spread(&gathered.series[0], &[true; 40], 0.95).unwrap();
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
        let found = crate::lot::statistics::spread(&gathered.series[0], &[true; 40], 0.95).unwrap();
        assert!(found.mean_uncertainty > 0.02 * found.mean);
        assert!(
            found.deviation > 0.02 && found.deviation < 0.045,
            "{found:?}"
        );
    }
}
