//! One motor of a lot: fitted, or taken over as it is where nothing has changed.

use super::options::{RunOptions, Step};
use super::panics::guarded;
use crate::bench::LoadOptions;
use crate::identify::{check_roles, identify};
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
    let state = found.state();
    let (outcome, reason) = if state.is_good(true) {
        (Outcome::Ok, None)
    } else {
        (Outcome::InConflict, Some(state.line()))
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
