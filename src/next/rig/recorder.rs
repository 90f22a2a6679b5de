//! A record as it grows: means over every row, phase by phase.

use crate::events::{Phase, PhaseKind};
use crate::motor::{Condition, Constants, State, advance};

/// Voltage, current and phases so far, and the state they lead to.
pub(super) struct Recorder {
    state: State<f64>,
    held: bool,
    step_s: f64,
    pub voltage_v: Vec<f64>,
    pub current_a: Vec<f64>,
    pub phases: Vec<Phase>,
}

impl Recorder {
    pub fn new(state: State<f64>, held: bool, step_s: f64) -> Self {
        Recorder {
            state,
            held,
            step_s,
            voltage_v: Vec::new(),
            current_a: Vec::new(),
            phases: Vec::new(),
        }
    }

    pub fn rest(&mut self, rows: usize) {
        self.add(PhaseKind::Rest, rows, |_| (0.0, 0.0));
    }

    /// `voltage`: what the voltage channel shows for a mean current and back-EMF.
    pub fn drive(
        &mut self,
        kind: PhaseKind,
        constants: &Constants<f64>,
        condition: Condition<f64>,
        rows: usize,
        voltage: impl Fn(f64, f64) -> f64,
    ) {
        if matches!(condition, Condition::Open) {
            (self.state.current, self.state.eddy_current) = (0.0, 0.0);
        }
        self.add(kind, rows, |recorder| {
            let (step_s, held) = (recorder.step_s, recorder.held);
            let next = advance(constants, recorder.state, condition, step_s, held);
            recorder.state = next.end;
            (
                voltage(next.mean_current, next.mean_back_emf),
                next.mean_current,
            )
        });
    }

    fn add(&mut self, kind: PhaseKind, rows: usize, row: impl Fn(&mut Self) -> (f64, f64)) {
        let first = self.voltage_v.len();
        for _ in 0..rows {
            let (voltage, current) = row(self);
            self.voltage_v.push(voltage);
            self.current_a.push(current);
        }
        let end = self.voltage_v.len();
        self.phases.push(Phase { kind, first, end });
    }

    /// Rows before anything happens.
    pub fn rest_rows(&self) -> usize {
        let first = self.phases.first().filter(|p| p.kind == PhaseKind::Rest);
        first.map_or(0, |phase| phase.end)
    }
}
