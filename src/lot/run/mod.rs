//! Every motor of a lot, several at a time, one thread a motor.

mod motor;
mod options;
mod panics;

use super::error::LotError;
use super::manifest::Manifest;
use super::results::Store;
use motor::fit_or_keep;
pub use options::{RunOptions, Step};
use std::num::NonZeroUsize;
use std::sync::{Mutex, PoisonError};

/// Threads for each core of the machine beyond which more are no help: each takes memory of its own.
const MOST_THREADS_PER_CORE: usize = 4;

/// Threads that the machine has, and how many are used at most.
pub fn usable_threads() -> (usize, usize) {
    let cores = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    (cores, MOST_THREADS_PER_CORE * cores)
}

/// Fits every motor of the manifest that is not done, and puts each down as soon as it ends. `progress` is called from many
/// threads. Memory is that of one motor a thread, however many there are. Gives how many motors were done before. An
/// interrupt of the fit's monitor lets no further motor begin; one that is not finished is left as it was.
///
/// # Errors
/// A result that cannot be written. What goes wrong with a motor is its record.
pub fn run(
    manifest: &Manifest,
    store: &Store,
    options: &RunOptions,
    progress: &(dyn Fn(Step) + Sync),
) -> Result<u64, LotError> {
    let (cores, most) = usable_threads();
    let threads = options.threads.map_or(cores, NonZeroUsize::get).min(most);
    let interrupt = options.fit.monitor.interrupt.clone();
    let entries = manifest.entries(options.part);
    let queue = Mutex::new(Queue {
        entries: entries.take_while(|_| !interrupt.requested()),
        kept: 0,
        fault: None,
    });
    // A panic of another thread does not spoil it: its state is always whole.
    let lock = || queue.lock().unwrap_or_else(PoisonError::into_inner);
    let next = || {
        let mut queue = lock();
        queue.entries.next().filter(|_| queue.fault.is_none())
    };
    let work = || {
        while let Some(entry) = next() {
            match fit_or_keep(entry, store, options) {
                Ok(Some(step)) => {
                    lock().kept += u64::from(matches!(step, Step::Kept(_)));
                    progress(step);
                }
                Ok(None) => {}
                Err(error) => {
                    lock().fault.get_or_insert(error);
                }
            }
        }
    };
    // A pool of one thread each: what a motor does in parallel elsewhere it does in turn here, and no thread starts a
    // second motor while it waits for the first.
    let pools = (0..threads)
        .map(|_| rayon::ThreadPoolBuilder::new().num_threads(1).build())
        .collect::<Result<Vec<_>, _>>()?;
    std::thread::scope(|scope| {
        for pool in &pools {
            scope.spawn(|| pool.install(work));
        }
    });
    let queue = queue.into_inner().unwrap_or_else(PoisonError::into_inner);
    queue.fault.map_or(Ok(queue.kept), Err)
}

/// What became of all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counts {
    pub motors: u64,
    /// Those with a result that stands.
    pub stand: u64,
    /// Those with one that should not be trusted.
    pub doubtful: u64,
    /// Those without one.
    pub failed: u64,
}

/// The motors still to be done, shared by the threads.
struct Queue<I> {
    entries: I,
    /// Motors that were done before.
    kept: u64,
    /// Why no further motor is begun.
    fault: Option<LotError>,
}
