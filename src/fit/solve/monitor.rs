//! What a long solve reports while it runs, and the request to end it.

use argmin::core::observers::Observe;
use argmin::core::{Error, IterState, KV, KvValue, State};
use nalgebra::DVector;
use std::fmt;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// argmin's record of the iteration: parameters and cost; gradient and matrix stay with the solver.
pub(super) type SolverState = IterState<DVector<f64>, (), (), (), (), f64>;

/// A request to end, made from elsewhere, as by a signal. Clones share it.
#[derive(Clone, Debug, Default)]
pub struct Interrupt(Arc<AtomicBool>);

impl Interrupt {
    /// Asks for the end.
    pub fn request(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// True once the end was asked for.
    pub fn requested(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// The flag itself, for a signal handler to set.
    pub fn flag(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.0)
    }
}

/// How far a solve is, after each trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Trials so far.
    pub iteration: u64,
    /// Cost at the best point so far.
    pub cost: f64,
    /// Damping λ for the next trial.
    pub damping: f64,
}

type Report = dyn Fn(&Progress) + Send + Sync;

/// Notified of every trial, and asked before each whether to go on. Clones share both.
#[derive(Clone, Default)]
pub struct Monitor {
    /// Ends the solve before its next trial.
    pub interrupt: Interrupt,
    report: Option<Arc<Report>>,
}

impl Monitor {
    /// `report` is called after each trial, from any thread.
    pub fn new(
        interrupt: Interrupt,
        report: impl Fn(&Progress) + Send + Sync + 'static,
    ) -> Monitor {
        Monitor {
            interrupt,
            report: Some(Arc::new(report)),
        }
    }

    /// True where somebody wants to be told.
    pub(super) fn reports(&self) -> bool {
        self.report.is_some()
    }
}

impl From<Interrupt> for Monitor {
    fn from(interrupt: Interrupt) -> Monitor {
        Monitor {
            interrupt,
            report: None,
        }
    }
}

impl fmt::Debug for Monitor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Monitor")
            .field("interrupt", &self.interrupt)
            .field("reports", &self.reports())
            .finish()
    }
}

impl Observe<SolverState> for Monitor {
    fn observe_iter(&mut self, state: &SolverState, log: &KV) -> Result<(), Error> {
        if let Some(report) = &self.report {
            report(&Progress {
                iteration: state.get_iter() + 1,
                cost: state.get_best_cost(),
                damping: log
                    .get("damping")
                    .and_then(KvValue::get_float)
                    .unwrap_or(f64::NAN),
            });
        }
        Ok(())
    }
}
