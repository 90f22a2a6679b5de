//! Captures that nobody has made yet: the fitted motor on the same bench, simulated without noise.
//!
//! A planned capture goes through the instruments of the recorded one most like it. Its zeros are scaled with its range: of
//! two recorded captures of different range the part that grows with the range is told from the part that does not.

use crate::bench::{Bench, Capture, ChannelChain, Role, Stated, Trace, Waveform};
use crate::capture::TimeAxis;
use crate::events::{Event, EventKind, Phase, PhaseKind, Timeline};
use crate::fit::PlannedCapture;
use crate::motor::{Condition, Constants, State, TerminalParameters, advance};

/// Rows of a planned record, and most where the rise needs a finer grid.
const ROWS: usize = 8_000;
const MOST_ROWS: usize = 24_000;
/// Rows within L/R where memory allows, and the longest step over L/R with which a rise is seen.
const FINE_ROWS: f64 = 20.0;
const LONGEST_STEP: f64 = 0.25;
/// Share of the first back-EMF at which a planned run-down ends.
const RUN_DOWN_TO: f64 = 0.12;

/// What is done in a planned capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    Start,
    RunDown,
    /// Shorted through this resistance.
    Brake {
        through_ohm: f64,
    },
    Locked,
    Steady,
}

impl Deed {
    /// Its role in a bench sheet.
    pub fn role(self) -> Role {
        match self {
            Deed::Start => Role::Start,
            Deed::RunDown => Role::RunDown,
            Deed::Brake { .. } => Role::Brake,
            Deed::Locked => Role::LockedRotor,
            Deed::Steady => Role::Steady,
        }
    }
}

/// The fitted motor on its bench.
pub struct Rig<'b> {
    bench: &'b Bench,
    motor: TerminalParameters,
}

/// A record as it grows: means over every row, phase by phase.
struct Recorder {
    state: State<f64>,
    held: bool,
    step_s: f64,
    voltage_v: Vec<f64>,
    current_a: Vec<f64>,
    phases: Vec<Phase>,
}

impl Recorder {
    fn new(state: State<f64>, held: bool, step_s: f64) -> Self {
        Recorder {
            state,
            held,
            step_s,
            voltage_v: Vec::new(),
            current_a: Vec::new(),
            phases: Vec::new(),
        }
    }

    fn rest(&mut self, rows: usize) {
        self.add(PhaseKind::Rest, rows, |_| (0.0, 0.0));
    }

    /// `voltage`: what the voltage channel shows for a mean current and back-EMF.
    fn drive(
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
}

impl<'b> Rig<'b> {
    pub fn new(bench: &'b Bench, motor: TerminalParameters) -> Self {
        Rig { bench, motor }
    }

    /// The recorded capture through whose instruments one of `role` would go.
    fn template(&self, role: Role) -> Option<&'b Capture> {
        let both = |c: &&Capture| c.voltage_chain.is_some() && c.current_chain.is_some();
        let captures = &self.bench.captures;
        captures
            .iter()
            .find(|c| c.role == role && both(c))
            .or_else(|| captures.iter().find(both))
    }

    /// Resistance of a shunt inside the voltage channel, Ω.
    fn series_ohm(&self, role: Role) -> f64 {
        self.template(role)
            .and_then(|c| c.series_in_voltage)
            .map_or(0.0, |s| s.0)
    }

    /// State of the motor running freely on a voltage.
    pub fn running(&self, voltage_v: f64) -> State<f64> {
        let constants = Constants::new(&self.motor);
        let step_s = self.motor.mechanical_time_constant_s();
        let mut state = State::rest();
        for _ in 0..60 {
            let next = advance(
                &constants,
                state,
                Condition::Voltage(voltage_v),
                step_s,
                false,
            );
            state = next.end;
        }
        state
    }

    /// Time in which an open motor slows from `emf_v` to a share of it, s.
    pub fn run_down_s(&self, emf_v: f64, to_share: f64, added_capacitance_f: f64) -> f64 {
        let constants = Constants::new(&self.with_added(added_capacitance_f));
        let most = 400.0
            * (self.motor.mechanical_time_constant_s()
                + self.motor.terminal_resistance_ohm * added_capacitance_f);
        let mut state = State::rest();
        state.back_emf = emf_v;
        let step_s = most / 8000.0;
        let mut total = 0.0;
        while state.back_emf > to_share * emf_v && total < most {
            state = advance(&constants, state, Condition::Open, step_s, false).end;
            total += step_s;
        }
        total
    }

    fn with_added(&self, added_capacitance_f: f64) -> TerminalParameters {
        TerminalParameters {
            inertia_capacitance_f: self.motor.inertia_capacitance_f + added_capacitance_f,
            ..self.motor
        }
    }

    /// A capture at `supply_v`, with an inertia of `added_capacitance_f` (as the terminals see it) on the shaft. `None` where
    /// no recorded capture has both channels.
    pub fn capture(
        &self,
        name: &str,
        deed: Deed,
        supply_v: f64,
        added: Option<(f64, Stated)>,
    ) -> Option<PlannedCapture> {
        let role = deed.role();
        let template = self.template(role)?;
        let added_f = added.map_or(0.0, |a| a.0);
        let motor = self.with_added(added_f);
        let series_ohm = self.series_ohm(role);
        let loop_of = |through_ohm: f64| {
            Constants::<f64>::new(&TerminalParameters {
                terminal_resistance_ohm: motor.terminal_resistance_ohm + series_ohm + through_ohm,
                ..motor
            })
        };
        let closed = loop_of(0.0);
        let (tau_e, tau_m) = (
            motor.electrical_time_constant_s(),
            motor.mechanical_time_constant_s(),
        );
        let fine = |span_s: f64| ((FINE_ROWS * span_s / tau_e) as usize).clamp(ROWS, MOST_ROWS);
        let from = match deed {
            Deed::Start | Deed::Locked => State::rest(),
            _ => self.running(supply_v),
        };
        let initial_emf_v = from.back_emf;
        let (span_s, rows) = match deed {
            Deed::Start => (8.0 * tau_m, fine(8.0 * tau_m)),
            Deed::Locked => (40.0 * tau_e, ROWS),
            Deed::RunDown => (self.run_down_s(initial_emf_v, RUN_DOWN_TO, added_f), ROWS),
            Deed::Brake { through_ohm } => {
                let slower = 1.0 + through_ohm / motor.terminal_resistance_ohm;
                (5.0 * slower * tau_m, fine(5.0 * slower * tau_m))
            }
            Deed::Steady => ((20.0 * tau_m).max(1.0), ROWS),
        };
        let step_s = span_s / rows as f64;
        let mut record = Recorder::new(from, deed == Deed::Locked, step_s);
        let (on, few) = (Condition::Voltage(supply_v), rows / 10);
        match deed {
            Deed::Start | Deed::Locked => {
                record.rest(rows / 8);
                record.drive(PhaseKind::Driven, &closed, on, rows, |_, _| supply_v);
            }
            Deed::RunDown => {
                record.drive(PhaseKind::Driven, &closed, on, few, |_, _| supply_v);
                record.drive(PhaseKind::Open, &closed, Condition::Open, rows, |_, e| e);
            }
            Deed::Brake { through_ohm } => {
                let (shorted, zero) = (loop_of(through_ohm), Condition::Voltage(0.0));
                record.drive(PhaseKind::Driven, &closed, on, few, |_, _| supply_v);
                record.drive(PhaseKind::Open, &closed, Condition::Open, few, |_, e| e);
                record.drive(PhaseKind::Shorted, &shorted, zero, rows, |i, _| {
                    -through_ohm * i
                });
            }
            Deed::Steady => record.drive(PhaseKind::Driven, &closed, on, rows, |_, _| supply_v),
        }
        let rest = record.phases.first().filter(|p| p.kind == PhaseKind::Rest);
        let rest_rows = rest.map_or(0, |p| p.end);
        let seen = rest_rows > 0 && step_s < LONGEST_STEP * tau_e;
        let len = record.voltage_v.len();
        let trace = |values: Vec<f64>| Trace {
            clipped: vec![false; values.len()],
            values,
            quantisation_step: None,
        };
        let chain = |of: &dyn Fn(&Capture) -> Option<(&ChannelChain, &Trace)>, values: &[f64]| {
            let (chain, _) = of(template)?;
            Some(ChannelChain {
                zero_uncertainty: self.zero_uncertainty(of, &chain.column, largest(values))?,
                ..chain.clone()
            })
        };
        let voltage_chain = chain(
            &|c| Some((c.voltage_chain.as_ref()?, c.waveform.voltage_v.as_ref()?)),
            &record.voltage_v,
        )?;
        let current_chain = chain(
            &|c| Some((c.current_chain.as_ref()?, c.waveform.current_a.as_ref()?)),
            &record.current_a,
        )?;
        Some(PlannedCapture {
            timeline: Timeline {
                phases: record.phases,
                events: seen
                    .then_some(Event {
                        kind: EventKind::SwitchOn,
                        time_s: 0.0,
                    })
                    .into_iter()
                    .collect(),
                remarks: Vec::new(),
                doubts: Vec::new(),
            },
            capture: Capture {
                name: name.to_string(),
                path: std::path::PathBuf::new(),
                sha256: String::new(),
                role,
                waveform: Waveform {
                    time: TimeAxis::Uniform {
                        start_s: -(rest_rows as f64) * step_s,
                        step_s,
                        len,
                    },
                    voltage_v: Some(trace(record.voltage_v)),
                    current_a: Some(trace(record.current_a)),
                },
                voltage_chain: Some(voltage_chain),
                current_chain: Some(current_chain),
                series_in_voltage: template.series_in_voltage,
                loop_resistance_ohm: None,
                source_v: None,
                winding_temperature_c: template.winding_temperature_c,
                added_inertia_kg_m2: added.map(|a| a.1),
                load_torque_nm: None,
                driven_speed_rad_s: None,
                ac_coupled: false,
            },
            initial_emf_v,
            ripple_relative: None,
        })
    }

    /// Zero of a channel on the range that a largest value of `peak` asks for, from the recorded captures of that channel:
    /// `z² = a² + (b·peak)²` through the smallest and the largest of them; with one range only, its own zero, or more
    /// where the range is larger.
    fn zero_uncertainty(
        &self,
        of: &dyn Fn(&Capture) -> Option<(&ChannelChain, &Trace)>,
        column: &str,
        peak: f64,
    ) -> Option<f64> {
        let mut seen: Vec<(f64, f64)> = self
            .bench
            .captures
            .iter()
            .filter_map(of)
            .filter(|(chain, _)| chain.column == column)
            .map(|(chain, trace)| (largest(&trace.values), chain.zero_uncertainty))
            .filter(|(p, _)| *p > 0.0)
            .collect();
        seen.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (first, last) = (*seen.first()?, *seen.last()?);
        if last.0 < 1.3 * first.0 {
            return Some(last.1 * (peak / last.0).max(1.0));
        }
        let slope =
            ((last.1.powi(2) - first.1.powi(2)) / (last.0.powi(2) - first.0.powi(2))).max(0.0);
        let fixed = (first.1.powi(2) - slope * first.0.powi(2)).max(0.0);
        Some((fixed + slope * peak * peak).sqrt())
    }
}

fn largest(values: &[f64]) -> f64 {
    values
        .iter()
        .filter(|v| v.is_finite())
        .fold(0.0, |m, v| f64::max(m, v.abs()))
}
