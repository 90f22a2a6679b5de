//! What the result was made from.

use crate::motor_file::{MotorFile, Nuisance};
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::{self, Quantity};
use serde::Serialize;
use std::collections::BTreeMap;

/// Where all this comes from.
#[derive(Clone, Debug, Serialize)]
pub struct Provenance {
    pub inputs: Vec<InputRow>,
    pub fit: Vec<String>,
    pub terms: Vec<TermRow>,
    pub nuisances: Vec<NuisanceRow>,
    /// Units of the switch, per quantity: SI unit, common unit, SI value of one common unit.
    pub units: BTreeMap<&'static str, (&'static str, &'static str, f64)>,
}

/// A file that went in.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InputRow {
    pub path: String,
    pub role: String,
    pub sha256: String,
}

/// A model term weighed by evidence.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TermRow {
    pub term: String,
    pub decision: &'static str,
    pub evidence: String,
    pub reason: String,
}

/// A quantity of the bench fitted beside the motor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NuisanceRow {
    pub name: String,
    pub value: String,
    /// Before the fit.
    pub prior: String,
}

impl Provenance {
    /// What a motor file says of it.
    pub fn of(file: &MotorFile) -> Provenance {
        Provenance {
            inputs: file
                .inputs
                .iter()
                .map(|input| InputRow {
                    path: input.path.clone(),
                    role: input.role.clone().unwrap_or_default(),
                    sha256: input.sha256.clone(),
                })
                .collect(),
            fit: fit_lines(file),
            terms: file
                .fit
                .terms
                .iter()
                .map(|term| TermRow {
                    term: term.term.replace('_', " "),
                    decision: if term.kept { "kept" } else { "dropped" },
                    evidence: [
                        term.likelihood_ratio
                            .map(|v| format!("likelihood ratio {v:.1}")),
                        term.information_criterion_change.map(|v| {
                            format!(
                                "information criterion {}{:.1}",
                                if v < 0.0 { "−" } else { "+" },
                                v.abs()
                            )
                        }),
                    ]
                    .into_iter()
                    .flatten()
                    .collect::<Vec<_>>()
                    .join(", "),
                    reason: term.reason.clone(),
                })
                .collect(),
            nuisances: file.fit.nuisances.iter().map(nuisance).collect(),
            units: units_of_the_switch(),
        }
    }
}

fn nuisance(n: &Nuisance) -> NuisanceRow {
    let unit = match n.unit.as_str() {
        "1" => "",
        "Ohm" => "Ω",
        "A-1" => "1/A",
        "A-2" => "1/A²",
        other => other,
    };
    let write = |value, u| {
        // Relative departures read best in per cent.
        if unit.is_empty() && n.name.starts_with("gain error") {
            rounding::write(100.0 * value, Some(100.0 * u), "%", Scale::Plain)
        } else {
            rounding::write(value, Some(u), unit, Scale::Plain)
        }
    };
    NuisanceRow {
        name: n.name.clone(),
        value: write(n.value, n.standard_uncertainty),
        prior: match (n.prior_value, n.prior_standard_uncertainty) {
            (Some(value), Some(u)) => write(value, u),
            _ => String::new(),
        },
    }
}

fn fit_lines(file: &MotorFile) -> Vec<String> {
    let fit = &file.fit;
    let mut lines = vec![match fit.stop.iterations {
        Some(n) => format!("Ended after {n} iterations: {}.", fit.stop.text),
        None => format!("Ended: {}.", fit.stop.text),
    }];
    if let (Some(chi), Some(freedom)) = (fit.chi_squared, fit.degrees_of_freedom) {
        lines.push(format!(
            "Chi-squared {chi:.1} for {freedom:.0} degrees of freedom."
        ));
    }
    if let Some(assumption) = &fit.assumption {
        lines.push(format!("Assumed: {assumption}."));
    }
    if let Some(i) = &fit.identifiability {
        lines.push(format!(
            "{} of {} fitted quantities are free; condition number {:.1e}.",
            i.rank, i.size, i.condition_number
        ));
    }
    lines
}

fn units_of_the_switch() -> BTreeMap<&'static str, (&'static str, &'static str, f64)> {
    [
        ("speed", Quantity::Speed, "rad/s", "rpm"),
        ("torque", Quantity::Torque, "N·m", "mN·m"),
    ]
    .into_iter()
    .filter_map(|(key, quantity, si, trade)| {
        let unit = units::find(quantity, trade).ok()?;
        Some((key, (si, trade, unit.to_si(1.0))))
    })
    .collect()
}
