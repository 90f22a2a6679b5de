//! The motor in the circuit of a planned capture: how long it is recorded and what is done.

use super::kind::CaptureKind;
use super::recorder::Recorder;
use crate::events::PhaseKind;
use crate::motor::{Condition, Constants, State, TerminalParameters};

/// Rows of a planned record, and most where the rise needs a finer grid.
const ROWS: usize = 8_000;
const MOST_ROWS: usize = 24_000;
/// Rows within L/R where memory allows.
const FINE_ROWS: f64 = 20.0;

/// Length of a planned record in s and its rows after the rest; `open_s` gives the length of a run-down.
pub(super) fn span_and_rows(
    kind: CaptureKind,
    motor: &TerminalParameters,
    open_s: impl Fn() -> f64,
) -> (f64, usize) {
    let (tau_e, tau_m) = (
        motor.electrical_time_constant_s(),
        motor.mechanical_time_constant_s(),
    );
    let fine = |span_s: f64| ((FINE_ROWS * span_s / tau_e) as usize).clamp(ROWS, MOST_ROWS);
    match kind {
        CaptureKind::Start => (8.0 * tau_m, fine(8.0 * tau_m)),
        CaptureKind::Locked => (40.0 * tau_e, ROWS),
        CaptureKind::RunDown => (open_s(), ROWS),
        CaptureKind::Brake { through_ohm } => {
            let slower = 1.0 + through_ohm / motor.terminal_resistance_ohm;
            (5.0 * slower * tau_m, fine(5.0 * slower * tau_m))
        }
        CaptureKind::Steady => ((20.0 * tau_m).max(1.0), ROWS),
    }
}

/// A motor with what its loop holds.
pub(super) struct Circuit {
    pub motor: TerminalParameters,
    /// Resistance of a shunt inside the voltage channel.
    pub series_ohm: f64,
}

impl Circuit {
    fn closed(&self, through_ohm: f64) -> Constants<f64> {
        let motor = &self.motor;
        Constants::new(&TerminalParameters {
            terminal_resistance_ohm: motor.terminal_resistance_ohm + self.series_ohm + through_ohm,
            ..*motor
        })
    }

    /// What the channels show, phase by phase, from a state on.
    pub fn record(
        &self,
        kind: CaptureKind,
        supply_v: f64,
        from: State<f64>,
        step_s: f64,
        rows: usize,
    ) -> Recorder {
        let mut record = Recorder::new(from, kind == CaptureKind::Locked, step_s);
        let closed = self.closed(0.0);
        let (on, few) = (Condition::Voltage(supply_v), rows / 10);
        match kind {
            CaptureKind::Start | CaptureKind::Locked => {
                record.rest(rows / 8);
                record.drive(PhaseKind::Driven, &closed, on, rows, |_, _| supply_v);
            }
            CaptureKind::RunDown => {
                record.drive(PhaseKind::Driven, &closed, on, few, |_, _| supply_v);
                record.drive(PhaseKind::Open, &closed, Condition::Open, rows, |_, e| e);
            }
            CaptureKind::Brake { through_ohm } => {
                let (shorted, zero) = (self.closed(through_ohm), Condition::Voltage(0.0));
                record.drive(PhaseKind::Driven, &closed, on, few, |_, _| supply_v);
                record.drive(PhaseKind::Open, &closed, Condition::Open, few, |_, e| e);
                record.drive(PhaseKind::Shorted, &shorted, zero, rows, |i, _| {
                    -through_ohm * i
                });
            }
            CaptureKind::Steady => {
                record.drive(PhaseKind::Driven, &closed, on, rows, |_, _| supply_v);
            }
        }
        record
    }
}
