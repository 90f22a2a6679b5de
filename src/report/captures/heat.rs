//! The thermal model, and temperatures over the heat records.

use crate::bench::Bench;
use crate::motor_file::{MotorFile, Thermal, ThermalName};
use crate::quantity::rounding::{self, Scale, significant};
use crate::report::context::{HeatSection, HeatView};
use crate::thermal::{Temperatures, courses};

/// Most points of a curve.
const POINTS: usize = 400;

/// The parameters of the thermal model; `None` without one.
pub fn section(file: &MotorFile) -> Option<HeatSection> {
    let thermal = file.thermal.as_ref()?;
    let row = |name: &ThermalName| row(thermal, *name);
    Some(HeatSection {
        rows: thermal.parameters.keys().map(row).collect(),
        records: Vec::new(),
    })
}

fn row(thermal: &Thermal, name: ThermalName) -> [String; 4] {
    let parameter = &thermal.parameters[&name];
    let unit = name.ucum();
    let [symbol, words] = name.label();
    let known = parameter.value.zip(parameter.standard_uncertainty);
    let ends = parameter.lower.zip(parameter.upper);
    let (value, interval) = match known.zip(ends) {
        Some(((value, u), (lower, upper))) => (
            rounding::write(value, Some(u), unit, Scale::Plain),
            rounding::write_interval(lower, upper, unit, Scale::Plain),
        ),
        None => (
            "undetermined".to_owned(),
            parameter.suggestion.clone().unwrap_or_default(),
        ),
    };
    [symbol.to_owned(), words.to_owned(), value, interval]
}

/// The same with the temperatures over the heat records of the bench.
pub fn with_records(bench: &Bench, file: &MotorFile, level: f64) -> Option<HeatSection> {
    let mut section = section(file)?;
    section.records = courses(bench, file, level)
        .into_iter()
        .map(|course| {
            let stride = course.time_s.len().div_ceil(POINTS).max(1);
            let thin = |values: &[f64]| -> Vec<Option<f64>> {
                let kept = values.iter().step_by(stride);
                kept.map(|v| v.is_finite().then(|| significant(*v, 5)))
                    .collect()
            };
            let body = |of: &Temperatures| {
                [&of.model_c, &of.lower_c, &of.upper_c, &of.seen_c].map(|values| thin(values))
            };
            let most = |of: &Temperatures| of.model_c.iter().copied().fold(f64::MIN, f64::max);
            HeatView {
                words: format!(
                    "Hottest winding {:.1} °C, hottest housing {:.1} °C.",
                    most(&course.winding),
                    most(&course.housing)
                ),
                time_s: course
                    .time_s
                    .iter()
                    .step_by(stride)
                    .map(|t| significant(*t, 6))
                    .collect(),
                winding_c: body(&course.winding),
                housing_c: body(&course.housing),
                record: course.record,
            }
        })
        .collect();
    Some(section)
}
