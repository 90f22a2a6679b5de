//! Every motor of a lot, several at a time, one thread a motor.

mod panics;

use super::error::LotError;
use super::manifest::{Entry, Manifest};
use super::results::{self, FORMAT, MotorRecord, Outcome, Store};
use crate::bench::{Bench, CaptureWarning, LoadOptions};
use crate::fit::FitOptions;
use crate::identify::{Identified, check_roles, identify};
use crate::motor_file::MotorFile;
use panics::guarded;
use std::num::NonZeroUsize;
use std::sync::Mutex;

/// How a lot is run.
#[derive(Clone, Debug)]
pub struct RunOptions {
    pub fit: FitOptions,
    pub allow_outside: bool,
    /// Motors at a time; `None`: as many as the machine has threads.
    pub threads: Option<NonZeroUsize>,
    /// `(k, n)`: only every n-th motor from the k-th, counted from 1, so that n machines share a lot.
    pub part: Option<(u64, u64)>,
    /// Does everything again.
    pub again: bool,
}

impl RunOptions {
    /// True when a row belongs to this part of the lot.
    pub fn takes(&self, row: u64) -> bool {
        self.part.is_none_or(|(k, n)| row % n == k - 1)
    }

    /// What of these decides a result.
    fn settings(&self) -> String {
        format!(
            "level {:?}, guess factors {:?}, outside {}",
            self.fit.level, self.fit.guess_factors, self.allow_outside
        )
    }
}

/// What became of one motor, told as it happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    Done(Outcome),
    /// Was done before and is unchanged.
    Kept(Outcome),
}

/// What became of all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counts {
    pub motors: u64,
    pub stand: u64,
    pub doubtful: u64,
    pub failed: u64,
    /// Those among them that were done before.
    pub kept: u64,
}

impl Counts {
    fn add(&mut self, step: Step) {
        let (Step::Done(outcome) | Step::Kept(outcome)) = step;
        self.motors += 1;
        self.kept += u64::from(matches!(step, Step::Kept(_)));
        match outcome {
            Outcome::Stands => self.stand += 1,
            Outcome::Doubtful => self.doubtful += 1,
            Outcome::Failed => self.failed += 1,
        }
    }
}

/// Fits every motor of the manifest that is not done, and puts each down as soon as it ends. `tell` is called from many
/// threads. Memory is that of one motor a thread, however many there are.
///
/// # Errors
/// A manifest that cannot be read, a result that cannot be written. What goes wrong with a motor is its record.
pub fn run(
    manifest: &Manifest,
    store: &Store,
    options: &RunOptions,
    tell: &(dyn Fn(Step) + Sync),
) -> Result<Counts, LotError> {
    let wanted = options
        .threads
        .or_else(|| std::thread::available_parallelism().ok());
    let threads = wanted.map_or(1, NonZeroUsize::get);
    let settings = options.settings();
    let entries = Mutex::new(manifest.entries()?.fuse());
    let counts = Mutex::new(Counts::default());
    let fault: Mutex<Option<LotError>> = Mutex::new(None);
    let next = || -> Option<Entry> {
        let mut entries = lock(&entries);
        loop {
            if lock(&fault).is_some() {
                return None;
            }
            match entries.next()? {
                Ok(entry) if options.takes(entry.row) => return Some(entry),
                Ok(_) => {}
                Err(error) => {
                    lock(&fault).get_or_insert(error);
                    return None;
                }
            }
        }
    };
    let work = || {
        while let Some(entry) = next() {
            match one(&entry, store, options, &settings) {
                Ok(step) => {
                    lock(&counts).add(step);
                    tell(step);
                }
                Err(error) => {
                    lock(&fault).get_or_insert(error);
                }
            }
        }
    };
    // A pool of one thread each: what a motor does in parallel elsewhere it does in turn here, and no thread starts a
    // second motor while it waits for the first.
    let pools = (0..threads)
        .map(|_| rayon::ThreadPoolBuilder::new().num_threads(1).build())
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| LotError::Threads(error.to_string()))?;
    std::thread::scope(|scope| {
        for pool in &pools {
            scope.spawn(|| pool.install(work));
        }
    });
    let fault = lock(&fault).take();
    match fault {
        Some(error) => Err(error),
        None => Ok(*lock(&counts)),
    }
}

/// A lock that a panic of another thread does not spoil: the data under these locks are always whole.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

fn one(
    entry: &Entry,
    store: &Store,
    options: &RunOptions,
    settings: &str,
) -> Result<Step, LotError> {
    let id = entry.id();
    // Taken before the work: a file that changes meanwhile is done again next time.
    let fingerprint = results::of_files(entry, settings);
    if !options.again
        && let Some(record) = store.is_done(&id, &fingerprint)
    {
        return Ok(Step::Kept(record.outcome));
    }
    let ended = guarded(|| fitted(entry, options)).unwrap_or_else(|panic| Ended {
        motor: None,
        outcome: Outcome::Failed,
        reason: Some(format!(
            "a fault in this program, please report it: {panic}"
        )),
        file: None,
    });
    let record = MotorRecord {
        format: FORMAT.to_owned(),
        fingerprint,
        motor: ended
            .motor
            .or_else(|| entry.motor.clone())
            .unwrap_or_else(|| entry.named.clone()),
        named: entry.named.clone(),
        outcome: ended.outcome,
        reason: ended.reason,
        motor_file_sha256: None,
    };
    store.put(&id, record, ended.file.as_ref())?;
    Ok(Step::Done(ended.outcome))
}

struct Ended {
    motor: Option<String>,
    outcome: Outcome,
    reason: Option<String>,
    file: Option<MotorFile>,
}

fn fitted(entry: &Entry, options: &RunOptions) -> Ended {
    let load = LoadOptions {
        allow_outside: options.allow_outside,
    };
    let bench = match entry.load(&load) {
        Ok(bench) => bench,
        Err(error) => {
            return Ended {
                motor: None,
                outcome: Outcome::Failed,
                reason: Some(chain(&error)),
                file: None,
            };
        }
    };
    let motor = Some(bench.motor.name.clone());
    // One capture under a wrong role must not keep a whole lot waiting.
    if let Err(error) = check_roles(&bench) {
        return Ended {
            motor,
            outcome: Outcome::Failed,
            reason: Some(chain(&error)),
            file: None,
        };
    }
    match identify(&bench, &options.fit, |_| {}) {
        Ok(found) => {
            let stands = found.stands(&bench);
            Ended {
                motor,
                outcome: if stands {
                    Outcome::Stands
                } else {
                    Outcome::Doubtful
                },
                reason: (!stands).then(|| why_spoiled(&bench, &found)),
                file: Some(found.file),
            }
        }
        Err(error) => {
            let mut reason = chain(&error);
            for warning in error.warnings(&bench) {
                reason.push_str("; ");
                reason.push_str(&warning);
            }
            Ended {
                motor,
                outcome: Outcome::Failed,
                reason: Some(reason),
                file: None,
            }
        }
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
        let told = match warning {
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
        if !words.iter().any(|w| w == told) {
            words.push(told.to_owned());
        }
    }
    words.join("; ")
}
