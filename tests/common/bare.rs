//! A motor file in which only the required keys stand.

use rundown::motor_file::{
    Covariance, FORMAT, Fit, MotorFile, Program, Stop, StopReason, Validity,
};
use std::collections::BTreeMap;

pub fn bare() -> MotorFile {
    MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: None,
        inputs: Vec::new(),
        certificates: Vec::new(),
        parameters: BTreeMap::new(),
        covariance: Covariance::default(),
        distribution: None,
        model: None,
        operating: None,
        inductance_at: Vec::new(),
        thermal: None,
        constant_candidates: Vec::new(),
        confrontations: Vec::new(),
        fit: Fit {
            stop: Stop {
                reason: StopReason::Converged,
                text: "converged".to_owned(),
                iterations: None,
            },
            chi_squared: None,
            degrees_of_freedom: None,
            assumption: None,
            identifiability: None,
            captures: Vec::new(),
            terms: Vec::new(),
            nuisances: Vec::new(),
        },
        warnings: Vec::new(),
        validity: Validity::default(),
        content_sha256: None,
    }
}
