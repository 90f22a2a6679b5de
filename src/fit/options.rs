//! Settings of a fit.

use super::joint::memory::RippleMemory;
use super::solve::Monitor;

/// Settings of a fit.
#[derive(Clone, Debug)]
pub struct FitOptions {
    /// Level of the intervals, 0.95 by default.
    pub level: f64,
    /// Frequencies at which the inductance is asked for, Hz.
    pub inductance_at_hz: Vec<f64>,
    /// Multiplies the first guess of R, L and C_m, to test convergence.
    pub guess_factors: [f64; 3],
    /// Notified of every trial of the solver, and able to end the fit.
    pub monitor: Monitor,
    /// Analyses of the fit before.
    pub memory: RippleMemory,
}

impl Default for FitOptions {
    fn default() -> Self {
        FitOptions {
            level: 0.95,
            inductance_at_hz: vec![1e3, 10e3, 20e3],
            guess_factors: [1.0; 3],
            monitor: Monitor::default(),
            memory: RippleMemory::default(),
        }
    }
}
