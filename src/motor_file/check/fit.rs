//! The numbers of a file's fit, model and facts. JSON knows no infinity and no not-a-number: they must not reach the writer.

use super::fault::{Checked, fault};
use crate::motor_file::{Fit, ModelTerms, MotorFile};

/// A number and its place in the file; `None` where it is unknown.
type Placed = (String, Option<f64>);

pub(super) fn check_fit(file: &MotorFile) -> Checked {
    let mut numbers = of_fit(&file.fit);
    numbers.extend(of_model(file));
    numbers.extend(of_captures(&file.fit));
    numbers.extend(of_terms(&file.fit));
    numbers.extend(of_nuisances(&file.fit));
    let supply_v = file.motor.as_ref().and_then(|motor| motor.supply_v);
    numbers.push(("motor.supply_v".to_owned(), supply_v));
    let infinite = |(_, number): &&Placed| number.is_some_and(|number| !number.is_finite());
    match numbers.iter().find(infinite) {
        Some((place, number)) => fault(
            place.clone(),
            number.unwrap_or(f64::NAN),
            "a finite number, or nothing where it is unknown",
        ),
        None => Ok(()),
    }
}

fn of_fit(fit: &Fit) -> Vec<Placed> {
    let rank = fit.identifiability.as_ref();
    [
        ("chi_squared", fit.chi_squared),
        ("degrees_of_freedom", fit.degrees_of_freedom),
        (
            "identifiability.condition_number",
            rank.map(|rank| rank.condition_number),
        ),
        ("identifiability.threshold", rank.map(|rank| rank.threshold)),
    ]
    .map(|(field, number)| (format!("fit.{field}"), number))
    .to_vec()
}

fn of_model(file: &MotorFile) -> impl Iterator<Item = Placed> {
    let listed = file.model.iter().flat_map(ModelTerms::listed);
    listed.flat_map(|(key, term)| {
        [
            (format!("model.{key}.value"), Some(term.value)),
            (
                format!("model.{key}.standard_uncertainty"),
                term.standard_uncertainty,
            ),
        ]
    })
}

fn of_captures(fit: &Fit) -> Vec<Placed> {
    let mut numbers = Vec::new();
    for (row, capture) in fit.captures.iter().enumerate() {
        let runs = capture.runs_test.as_ref();
        for (field, number) in [
            ("chi_squared_per_point", capture.chi_squared_per_point),
            ("current_residual_rms_a", capture.current_residual_rms_a),
            ("voltage_residual_rms_v", capture.voltage_residual_rms_v),
            ("autocorrelation_lag_one", capture.autocorrelation_lag_one),
            ("runs_test.expected", runs.map(|test| test.expected)),
            ("runs_test.z", runs.map(|test| test.z)),
            ("pull", capture.pull),
        ] {
            numbers.push((format!("fit.captures[{row}].{field}"), number));
        }
        for (place, cut) in capture.cuts.iter().enumerate() {
            let place = format!("fit.captures[{row}].cuts[{place}]");
            numbers.push((format!("{place}.start_s"), Some(cut.start_s)));
            numbers.push((format!("{place}.end_s"), Some(cut.end_s)));
        }
    }
    numbers
}

fn of_terms(fit: &Fit) -> impl Iterator<Item = Placed> {
    fit.terms.iter().enumerate().flat_map(|(row, term)| {
        [
            (
                "information_criterion_change",
                term.information_criterion_change,
            ),
            ("likelihood_ratio", term.likelihood_ratio),
            ("p_value", term.p_value),
        ]
        .map(|(field, number)| (format!("fit.terms[{row}].{field}"), number))
    })
}

fn of_nuisances(fit: &Fit) -> impl Iterator<Item = Placed> {
    fit.nuisances
        .iter()
        .enumerate()
        .flat_map(|(row, nuisance)| {
            [
                ("value", Some(nuisance.value)),
                ("standard_uncertainty", Some(nuisance.standard_uncertainty)),
                ("prior_value", nuisance.prior_value),
                (
                    "prior_standard_uncertainty",
                    nuisance.prior_standard_uncertainty,
                ),
            ]
            .map(|(field, number)| (format!("fit.nuisances[{row}].{field}"), number))
        })
}
