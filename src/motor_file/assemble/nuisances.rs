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
    let within = |what: &str, k: &usize| format!("{what} in {}", bench.captures[*k].name);
    let departure = |what: &str, k: &usize| within(what, k) + ", departure";
    let instrument = |k: &usize| &bench.instruments[*k].name;
    let meter = |meter: &Option<String>| meter.clone().unwrap_or("the meter".to_owned());
    Some(match kind {
        ParameterKind::Gain {
            instrument: k,
            column,
        } => {
            let column = column.as_ref().map(|column| format!(", {column}"));
            let name = format!("gain error of {}", instrument(k));
            (name + &column.unwrap_or_default(), "1")
        }
        ParameterKind::VoltageZero { capture } => (within("voltage zero", capture), "V"),
        ParameterKind::CurrentZero { capture } => (within("current zero", capture), "A"),
        ParameterKind::Position { capture: k } => {
            let capture = &bench.captures[*k].name;
            let name = format!("resistance at the rotor position of {capture}, relative");
            (name, "1")
        }
        ParameterKind::InductancePosition { capture: k } => {
            let capture = &bench.captures[*k].name;
            let name = format!("inductance at the rotor position of {capture}, relative");
            (name, "1")
        }
        ParameterKind::ProbeLag { instrument: k } => {
            let name = instrument(k);
            let text = format!("time constant of {name} over that of its stated bandwidth, ln");
            (text, "1")
        }
        ParameterKind::Skew { instrument: k } => (
            format!("delay of the current through {}", instrument(k)),
            "s",
        ),
        ParameterKind::MeterError { quantity, meter: m } => {
            let of = format!("error of {}, every {}", meter(m), quantity.name());
            (of + ", in its stated standard uncertainties", "1")
        }
        ParameterKind::MeterZero { quantity, meter: m } => {
            let of = format!("zero of {}, {}", meter(m), quantity.name());
            (of + ", in its stated standard uncertainties", "1")
        }
        ParameterKind::Shaft { channel, of } => match of {
            ShaftUnknown::Gain => (format!("gain error of {channel}"), "1"),
            ShaftUnknown::Delay => (format!("delay of {channel}, departure"), "s"),
        },
        ParameterKind::ShaftZero { capture } => {
            (within("zero of the speed channel", capture), "rad/s")
        }
        ParameterKind::Source { capture } => (departure("source voltage", capture), "V"),
        ParameterKind::Duty { capture } => {
            let capture = &bench.captures[*capture].name;
            (format!("duty of the bridge in {capture}, ln"), "1")
        }
        ParameterKind::Loop { capture } => (departure("loop resistance", capture), "Ohm"),
        ParameterKind::SeriesDiode { capture } => (departure("drop of the diode", capture), "V"),
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
