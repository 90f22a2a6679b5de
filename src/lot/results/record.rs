//! What is kept of one motor beside its motor file: how it ended, why, and from what.

use serde::{Deserialize, Serialize};

/// Value of the key `format`.
pub(crate) const FORMAT: &str = "rundown-lot-record/1";

/// How the work on one motor ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// There is a result without a conflict.
    Ok,
    /// There is a result, but evidence contradicts other evidence.
    InConflict,
    /// There is none.
    Failed,
}

impl Outcome {
    /// As tables write it.
    pub fn words(self) -> &'static str {
        match self {
            Outcome::Ok => "OK",
            Outcome::InConflict => "in conflict",
            Outcome::Failed => "failed",
        }
    }
}

/// The record of one motor: as long as its `fingerprint` is that of the files, the work is done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MotorRecord {
    pub format: String,
    /// SHA-256 over program version, settings, bench sheet and captures.
    pub fingerprint: String,
    pub motor: String,
    pub named: String,
    pub outcome: Outcome,
    /// Why it is in conflict or failed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// SHA-256 of the motor file beside this record; absent where there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub motor_file_sha256: Option<String>,
}
