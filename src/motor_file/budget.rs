//! The uncertainty budget of a motor file, one line a parameter and source (JCGM 100:2008, 4 and 5).
//!
//! A source's contribution to a parameter is |c| u, c the sensitivity (the change of the parameter by that of the input) and u the standard
//! uncertainty of the input before the fit. The contributions of a parameter add in squares to its standard uncertainty. Sources that stand
//! for several inputs (zeros of channels, noise of all rows) have a contribution only.

use super::{MotorFile, ParameterName};
use crate::bench::{Certificate, ErrorDistribution};

/// One line of a budget.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetLine {
    /// Parameter.
    pub parameter: ParameterName,
    /// Source of uncertainty.
    pub source: String,
    /// Estimate of the input after the fit, in its unit.
    pub estimate: Option<f64>,
    /// Standard uncertainty of the input before the fit, in its unit.
    pub standard_uncertainty: Option<f64>,
    /// UCUM code of the input's unit.
    pub unit: Option<String>,
    /// Distribution that the input's uncertainty stands for.
    pub distribution: Option<ErrorDistribution>,
    /// Size of the sensitivity, the parameter's SI unit by the input's.
    pub sensitivity: Option<f64>,
    /// |c| u in the parameter's SI unit.
    pub contribution: f64,
    /// Of what is estimated by statistics (type A); none for the rest, whose degrees are taken as infinite (JCGM 100:2008, G.4.3).
    pub degrees_of_freedom: Option<f64>,
    /// Calibration certificate of the instrument, where the sheet states one.
    pub certificate: Option<Certificate>,
}

/// The source that is estimated from the scatter of the rows.
const TYPE_A: &str = "noise and ripple";

/// All lines, in the order of the parameters, the largest contribution first.
pub fn budget_lines(file: &MotorFile) -> Vec<BudgetLine> {
    let mut lines: Vec<BudgetLine> = Vec::new();
    for (&parameter, p) in &file.parameters {
        let Some(total) = p.standard_uncertainty else {
            continue;
        };
        let first = lines.len();
        for (source, share) in &p.budget {
            lines.push(line(file, parameter, source, total * share.sqrt()));
        }
        lines[first..]
            .sort_by(|a: &BudgetLine, b: &BudgetLine| b.contribution.total_cmp(&a.contribution));
    }
    lines
}

fn line(file: &MotorFile, parameter: ParameterName, source: &str, contribution: f64) -> BudgetLine {
    let hardware = source.strip_prefix("gain of ");
    // A gain may be one number a channel, all with the same uncertainty.
    let inputs: Vec<_> = hardware
        .map(|name| format!("gain error of {name}"))
        .map(|name| {
            let of_channel = format!("{name}, ");
            let exact: Vec<_> = file
                .fit
                .nuisances
                .iter()
                .filter(|n| n.name == name)
                .collect();
            if exact.is_empty() {
                let channels = file.fit.nuisances.iter();
                channels
                    .filter(|n| n.name.starts_with(&of_channel))
                    .collect()
            } else {
                exact
            }
        })
        .unwrap_or_default();
    let first = inputs.first();
    let u = first.and_then(|n| n.prior_standard_uncertainty);
    let alike = inputs.iter().all(|n| n.prior_standard_uncertainty == u);
    let u = u.filter(|u| alike && *u > 0.0);
    let is_type_a = source == TYPE_A;
    BudgetLine {
        parameter,
        source: source.to_owned(),
        estimate: first.filter(|_| inputs.len() == 1).map(|n| n.value),
        standard_uncertainty: u,
        unit: first.map(|n| n.unit.clone()),
        distribution: match first {
            Some(input) => input.prior_distribution,
            None => is_type_a.then_some(ErrorDistribution::Normal),
        },
        sensitivity: u.map(|u| contribution / u),
        contribution,
        degrees_of_freedom: file.fit.degrees_of_freedom.filter(|_| is_type_a),
        certificate: hardware.and_then(|name| certificate_of(file, name)),
    }
}

/// The certificate of an instrument, or of the one whose channel or range is meant (`scope, CH1 at 5 V/div`).
fn certificate_of(file: &MotorFile, hardware: &str) -> Option<Certificate> {
    let mut certificates = file.certificates.iter();
    let found = certificates.find(|c| {
        let rest = hardware.strip_prefix(c.instrument.as_str());
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(", "))
    });
    found.cloned()
}
