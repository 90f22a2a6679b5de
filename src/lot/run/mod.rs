//! Every motor of a lot, several at a time, one thread a motor.

mod counts;
mod motor;
mod panics;

pub use counts::{Counts, Step};

use super::error::LotError;
use super::manifest::{Entry, Manifest, Part};
use super::results::Store;
use crate::fit::FitOptions;
use motor::fit_or_keep;
use std::num::NonZeroUsize;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Threads for each core of the machine beyond which more are no help: each takes memory of its own.
const MOST_THREADS_PER_CORE: usize = 4;

/// Threads that the machine has, and how many are used at most.
pub fn usable_threads() -> (usize, usize) {
    let cores = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    (cores, MOST_THREADS_PER_CORE * cores)
}

/// How a lot is run.
#[derive(Clone, Debug)]
pub struct RunOptions {
    /// How each motor is fitted.
    pub fit: FitOptions,
    /// Lets sheets name files outside their own folder.
    pub allow_outside: bool,
    /// Motors at a time; `None`: as many as the machine has threads.
    pub threads: Option<NonZeroUsize>,
    /// The share of the lot that is done.
    pub part: Part,
    /// Does everything again.
    pub again: bool,
}

impl RunOptions {
    /// What of these decides a result.
    fn settings(&self) -> String {
        format!(
            "level {:?}, guess factors {:?}, outside {}",
            self.fit.level, self.fit.guess_factors, self.allow_outside
        )
    }
}

/// Fits every motor of the manifest that is not done, and puts each down as soon as it ends. `progress` is called from many
/// threads. Memory is that of one motor a thread, however many there are. Gives how many motors were done before. An
/// interrupt of the fit's monitor lets no further motor begin; one that is not finished is left as it was.
///
/// # Errors
/// A manifest that cannot be read, a result that cannot be written. What goes wrong with a motor is its record.
pub fn run(
    manifest: &Manifest,
    store: &Store,
    options: &RunOptions,
    progress: &(dyn Fn(Step) + Sync),
) -> Result<u64, LotError> {
    let (cores, most) = usable_threads();
    let threads = options.threads.map_or(cores, NonZeroUsize::get).min(most);
    let interrupt = options.fit.monitor.interrupt.clone();
    let entries = manifest
        .entries(options.part)
        .take_while(|_| !interrupt.requested());
    let queue = Queue::new(entries);
    let work = || {
        while let Some(entry) = queue.next() {
            match fit_or_keep(&entry, store, options) {
                Ok(Some(step)) => {
                    queue.count(step);
                    progress(step);
                }
                Ok(None) => {}
                Err(error) => queue.stop(error),
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
    queue.end()
}

/// The motors still to be done, shared by the threads.
struct Queue<I>(Mutex<QueueState<I>>);

struct QueueState<I> {
    entries: I,
    /// Motors that were done before.
    kept: u64,
    /// Why no further motor is begun.
    fault: Option<LotError>,
}

impl<I: Iterator<Item = Result<Entry, LotError>>> Queue<I> {
    fn new(entries: I) -> Queue<I> {
        Queue(Mutex::new(QueueState {
            entries,
            kept: 0,
            fault: None,
        }))
    }

    /// A panic of another thread does not spoil it: its state is always whole.
    fn lock(&self) -> MutexGuard<'_, QueueState<I>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn next(&self) -> Option<Entry> {
        let mut state = self.lock();
        if state.fault.is_some() {
            return None;
        }
        match state.entries.next()? {
            Ok(entry) => Some(entry),
            Err(error) => {
                state.fault = Some(error);
                None
            }
        }
    }

    fn count(&self, step: Step) {
        self.lock().kept += u64::from(step.is_kept());
    }

    fn stop(&self, fault: LotError) {
        self.lock().fault.get_or_insert(fault);
    }

    fn end(self) -> Result<u64, LotError> {
        let state = self.0.into_inner().unwrap_or_else(PoisonError::into_inner);
        match state.fault {
            Some(fault) => Err(fault),
            None => Ok(state.kept),
        }
    }
}
