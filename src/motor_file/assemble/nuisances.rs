//! The unknowns of instruments and captures, as the file names them.

use crate::bench::Bench;
use crate::fit::{Estimate, ParameterKind, ShaftUnknown};
use crate::motor_file::Nuisance;

pub(super) fn nuisances(bench: &Bench, estimate: &Estimate) -> Vec<Nuisance> {
    let layout = &estimate.problem.layout;
    layout
        .entries()
        .filter(|(entry, _)| estimate.covariance.is_free(*entry))
        .filter_map(|(entry, p)| {
            let (name, unit) = name_and_unit(&p.kind, bench)?;
            Some(Nuisance {
                name,
                value: estimate.solution.x[entry],
                unit: unit.into(),
                standard_uncertainty: estimate.covariance.total[entry.diagonal()].max(0.0).sqrt(),
                prior_value: p.prior.map(|p| p.0),
                prior_standard_uncertainty: p.prior.map(|p| p.1),
                prior_distribution: match &p.kind {
                    ParameterKind::Gain { instrument, .. } => {
                        bench.instruments[*instrument].gain_distribution
                    }
                    _ => None,
                },
            })
        })
        .collect()
}

/// Name and UCUM unit of an unknown; `None` for the motor's own parameters.
fn name_and_unit(kind: &ParameterKind, bench: &Bench) -> Option<(String, &'static str)> {
    let capture = |k: usize| bench.captures[k].name.as_str();
    Some(match kind {
        ParameterKind::Gain { instrument, column } => {
            let instrument = &bench.instruments[*instrument].name;
            match column {
                Some(column) => (format!("gain error of {instrument}, {column}"), "1"),
                None => (format!("gain error of {instrument}"), "1"),
            }
        }
        ParameterKind::VoltageZero { capture: k } => {
            (format!("voltage zero in {}", capture(*k)), "V")
        }
        ParameterKind::CurrentZero { capture: k } => {
            (format!("current zero in {}", capture(*k)), "A")
        }
        ParameterKind::Position { capture: k } => (
            format!(
                "resistance at the rotor position of {}, relative",
                capture(*k)
            ),
            "1",
        ),
        ParameterKind::ProbeLag { instrument } => (
            format!(
                "time constant of {} over that of its stated bandwidth, ln",
                bench.instruments[*instrument].name
            ),
            "1",
        ),
        ParameterKind::Skew { instrument } => (
            format!(
                "delay of the current through {}",
                bench.instruments[*instrument].name
            ),
            "s",
        ),
        ParameterKind::MeterError { quantity, meter } => (
            format!(
                "error of {}, every {}, in its stated standard uncertainties",
                meter_name(meter),
                quantity.name()
            ),
            "1",
        ),
        ParameterKind::MeterZero { quantity, meter } => (
            format!(
                "zero of {}, {}, in its stated standard uncertainties",
                meter_name(meter),
                quantity.name()
            ),
            "1",
        ),
        ParameterKind::Shaft { channel, of } => match of {
            ShaftUnknown::Gain => (format!("gain error of {channel}"), "1"),
            ShaftUnknown::Delay => (format!("delay of {channel}, departure"), "s"),
        },
        ParameterKind::ShaftZero { capture: k } => (
            format!("zero of the speed channel in {}", capture(*k)),
            "rad/s",
        ),
        ParameterKind::Source { capture: k } => {
            (format!("source voltage in {}, departure", capture(*k)), "V")
        }
        ParameterKind::Loop { capture: k } => (
            format!("loop resistance in {}, departure", capture(*k)),
            "Ohm",
        ),
        ParameterKind::SeriesDiode { capture: k } => (
            format!("drop of the diode in {}, departure", capture(*k)),
            "V",
        ),
        ParameterKind::Saturation => ("reciprocal square of the saturation current".into(), "A-2"),
        ParameterKind::Reaction => (
            "armature reaction, relative loss of flux per ampere".into(),
            "A-1",
        ),
        ParameterKind::EddyShare => (
            "share of the inductance screened by eddy currents".into(),
            "1",
        ),
        ParameterKind::InverseHeatCapacity => {
            ("reciprocal of the winding's heat capacity".into(), "K.J-1")
        }
        ParameterKind::LogBrushScale => {
            ("ln of the brush drop's current scale in ampere".into(), "1")
        }
        _ => return None,
    })
}

fn meter_name(meter: &Option<String>) -> &str {
    meter.as_deref().unwrap_or("the meter")
}
