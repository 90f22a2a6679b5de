//! The judgement of each claim and of the sheet.

use super::conformity::{Limits, Rule, Verdict, guard_band, judge as decide, needed_uncertainty};
use super::consistency::{self, Consistency};
use super::entry::Entry;
use super::prediction::{Method, Predictor};
use super::sheet::{Claim, Sheet};
use crate::motor_file::MotorFile;
use crate::motor_file::draw::Population;

/// One claim judged. Numbers are in SI units; an absent one is unknown.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Finding {
    /// What the sheet claims.
    pub entry: Entry,
    /// As the sheet prints it.
    pub printed: String,
    /// Unit of the sheet.
    pub unit: &'static str,
    /// Printed value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub claimed: Option<f64>,
    /// Least value that the sheet allows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower_limit: Option<f64>,
    /// Greatest value that it allows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper_limit: Option<f64>,
    /// Value that the motor file predicts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub predicted: Option<f64>,
    /// Standard uncertainty of the prediction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub standard_uncertainty: Option<f64>,
    /// How it was propagated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
    /// Monte Carlo draws it took; absent where it was propagated to first order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub draws: Option<usize>,
    /// Digits of the standard uncertainty to which the prediction is stable (JCGM 101:2008, 7.9): 2, 1 or 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stable_digits: Option<u32>,
    /// Probability that the motor lies within the limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conformance_probability: Option<f64>,
    /// Width of the guard band for one limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard_band: Option<f64>,
    /// Absent where the sheet prints neither tolerance nor limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
    /// With "cannot tell yet": the standard uncertainty that would give a verdict at the present prediction.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub needed_standard_uncertainty: Option<f64>,
    /// Why there is no prediction, or what to know of the verdict.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// A sheet judged.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Judgement {
    /// Name of the motor.
    pub motor: String,
    /// Name of the sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<String>,
    /// Voltage of the claims.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal_voltage_v: Option<f64>,
    /// Temperature of the claims.
    pub reference_temperature_c: f64,
    /// How verdicts are reached.
    pub rule: Rule,
    /// Seed of the Monte Carlo draws.
    pub seed: u64,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// The sheet against itself.
    pub consistency: Consistency,
    /// Each claim judged.
    pub findings: Vec<Finding>,
}

impl Judgement {
    /// Number of claims with this verdict.
    pub fn count(&self, verdict: Verdict) -> usize {
        self.findings
            .iter()
            .filter(|finding| finding.verdict == Some(verdict))
            .count()
    }

    /// True when at least one claim was judged, every judged one agrees, and the sheet does not contradict itself.
    pub fn stands(&self) -> bool {
        self.count(Verdict::Agrees) > 0
            && self.count(Verdict::Disagrees) == 0
            && self.count(Verdict::CannotTellYet) == 0
            && !self.consistency.is_broken()
    }
}

/// Judges every claim of a sheet. `seed` makes the Monte Carlo check repeat.
pub fn judge(file: &MotorFile, sheet: &Sheet, rule: Rule, seed: u64) -> Judgement {
    let population = Population::new(file);
    let mut predictor = Predictor::new(file, sheet, &population, seed);
    let findings = sheet
        .claims
        .values()
        .map(|claim| finding(&mut predictor, claim, rule))
        .collect();
    let mut assumptions = sheet.assumptions.clone();
    assumptions.extend(predictor.notes());
    Judgement {
        motor: file.motor_name().to_owned(),
        sheet: sheet.name.clone(),
        nominal_voltage_v: sheet.nominal_voltage_v,
        reference_temperature_c: sheet.reference_temperature_c,
        rule,
        seed,
        assumptions,
        consistency: consistency::test(sheet),
        findings,
    }
}

fn finding(predictor: &mut Predictor<'_>, claim: &Claim, rule: Rule) -> Finding {
    let limits = claim.limits.unwrap_or(Limits {
        lower: None,
        upper: None,
    });
    let mut finding = Finding {
        entry: claim.entry,
        printed: claim.printed.clone(),
        unit: claim.unit.text,
        claimed: claim.value,
        lower_limit: limits.lower,
        upper_limit: limits.upper,
        predicted: None,
        standard_uncertainty: None,
        method: None,
        draws: None,
        stable_digits: None,
        conformance_probability: None,
        guard_band: None,
        verdict: claim.limits.map(|_| Verdict::CannotTellYet),
        needed_standard_uncertainty: None,
        remark: None,
    };
    let prediction = match predictor.predict(claim.entry) {
        Ok(prediction) => prediction,
        Err(reason) => {
            finding.remark = Some(reason.to_string());
            return finding;
        }
    };
    let knowledge = prediction.knowledge;
    finding.predicted = Some(knowledge.estimate);
    finding.standard_uncertainty = Some(knowledge.standard_uncertainty);
    finding.method = Some(prediction.method);
    finding.draws = prediction.draws();
    finding.stable_digits = prediction.stable_digits;
    if claim.limits.is_none() {
        finding.remark = Some(
            "the datasheet states no tolerance or limit, so it is not judged; add one, or default_tolerance under [sheet]"
                .to_owned(),
        );
        return finding;
    }
    let probability = prediction.conformance_probability(limits);
    let verdict = decide(probability, knowledge.estimate, limits, rule);
    finding.conformance_probability = Some(probability);
    finding.guard_band = Some(guard_band(knowledge.standard_uncertainty, rule));
    finding.verdict = Some(verdict);
    if verdict == Verdict::CannotTellYet
        && let Rule::Guarded(risk) = rule
    {
        finding.needed_standard_uncertainty = needed_uncertainty(knowledge.estimate, limits, risk);
        if finding.needed_standard_uncertainty.is_none() {
            finding.remark = Some(
                "the prediction is at a limit: no uncertainty, however small, would decide it"
                    .to_owned(),
            );
        }
    }
    finding
}
