//! One motor of a lot: fitted, or taken over as it is where nothing has changed.

use super::panics::guarded;
use super::{RunOptions, Step};
use crate::bench::{Bench, CaptureWarning, LoadOptions};
use crate::identify::{Identified, check_roles, identify};
use crate::lot::results::{self, FORMAT};
use crate::lot::{Entry, LotError, MotorRecord, Outcome, Store};
use crate::motor_file::MotorFile;

/// Fits the motor and puts its result down, unless it is done already. `None` where an interrupt ended the work: nothing is
/// put down then.
pub(super) fn fit_or_keep(
    entry: &Entry,
    store: &Store,
    options: &RunOptions,
) -> Result<Option<Step>, LotError> {
    let id = entry.id();
    // Taken before the work: a file that changes meanwhile is done again next time.
    let fingerprint = results::of_files(entry, &options.settings());
    if !options.again
        && let Some(record) = store.is_done(&id, &fingerprint)
    {
        return Ok(Some(Step::Kept(record.outcome)));
    }
    let ended = guarded(|| fitted(entry, options)).unwrap_or_else(|panic| {
        Ended::failed(
            None,
            format!("a fault in this program, please report it: {panic}"),
        )
    });
    if ended.file.is_none() && options.fit.monitor.interrupt.requested() {
        return Ok(None);
    }
    let name = ended.motor.or_else(|| entry.motor.clone());
    let record = MotorRecord {
        format: FORMAT.to_owned(),
        fingerprint,
        motor: name.unwrap_or_else(|| entry.named.clone()),
        named: entry.named.clone(),
        outcome: ended.outcome,
        reason: ended.reason,
        motor_file_sha256: None,
    };
    store.put(&id, record, ended.file.as_ref())?;
    Ok(Some(Step::Done(ended.outcome)))
}

/// How the work on a motor ended.
struct Ended {
    /// Its name, as far as it is known.
    motor: Option<String>,
    outcome: Outcome,
    reason: Option<String>,
    file: Option<MotorFile>,
}

impl Ended {
    fn failed(motor: Option<String>, reason: String) -> Ended {
        Ended {
            motor,
            outcome: Outcome::Failed,
            reason: Some(reason),
            file: None,
        }
    }
}

fn fitted(entry: &Entry, options: &RunOptions) -> Ended {
    let load = LoadOptions {
        allow_outside: options.allow_outside,
    };
    let bench = match entry.load(&load) {
        Ok(bench) => bench,
        Err(error) => return Ended::failed(None, chain(&error)),
    };
    let motor = Some(bench.motor.name.clone());
    // One capture under a wrong role must not keep a whole lot waiting.
    if let Err(error) = check_roles(&bench) {
        return Ended::failed(motor, chain(&error));
    }
    let found = match identify(&bench, &options.fit, |_| {}) {
        Ok(found) => found,
        Err(error) => {
            let warnings = error.warnings(&bench);
            let reasons: Vec<String> = std::iter::once(chain(&error)).chain(warnings).collect();
            return Ended::failed(motor, reasons.join("; "));
        }
    };
    let (outcome, reason) = if found.stands(&bench) {
        (Outcome::Stands, None)
    } else {
        (Outcome::Doubtful, Some(why_spoiled(&bench, &found)))
    };
    Ended {
        motor,
        outcome,
        reason,
        file: Some(found.file),
    }
}

fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let words = error.to_string();
        if !text.contains(&words) {
            text.push_str(": ");
            text.push_str(&words);
        }
        cause = error.source();
    }
    text
}

/// Why a result should not be trusted, in short; the motor file's warnings say it at length.
fn why_spoiled(bench: &Bench, found: &Identified) -> String {
    let mut words: Vec<String> = Vec::new();
    if !found.estimate.converged() {
        words.push(found.estimate.reason().to_string());
    }
    let all = bench
        .capture_warnings
        .iter()
        .chain(found.timelines.iter().flat_map(|t| &t.capture_warnings))
        .chain(&found.estimate.capture_warnings);
    for warning in all.filter(|w| w.spoils_estimate()) {
        let reason = match warning {
            CaptureWarning::WrongPolarity => "voltage or current is the wrong way round",
            CaptureWarning::ProbeRatio => {
                "a voltage contradicts the supply by the ratio of a probe"
            }
            CaptureWarning::Slipped => "a rotor that was to be held turned",
            CaptureWarning::TimeBase => {
                "the times of a capture are off by a factor of a thousand or so"
            }
            CaptureWarning::TenTimesOff => "a meter contradicts the captures by a factor of ten",
            CaptureWarning::Unit => "the unit of a column contradicts its use",
            CaptureWarning::Record => "a record was read only by an assumption, or only in part",
            CaptureWarning::NoEvent => "nothing happens in a capture",
            CaptureWarning::AcCoupled => "a voltage was AC coupled",
            CaptureWarning::RiseBetweenSamples => {
                "the rise of the current falls between two samples"
            }
        };
        if !words.iter().any(|w| w == reason) {
            words.push(reason.to_owned());
        }
    }
    words.join("; ")
}
