//! Captures that nobody has made yet: the fitted motor on the same bench, simulated without noise.
//!
//! A planned capture goes through the instruments of the recorded one most like it. Its zeros are scaled with its range: of
//! two recorded captures of different range the part that grows with the range is told from the part that does not.

use crate::bench::{Bench, Capture, ChannelChain, Role, Stated, Trace, Waveform};
use crate::capture::TimeAxis;
use crate::events::{Phase, PhaseKind, Timeline};
use crate::fit::PlannedCapture;
use crate::motor::{Condition, Constants, State, TerminalParameters, advance};

/// Rows of a planned record, and most where the rise needs a finer grid.
const ROWS: usize = 8_000;
const MOST_ROWS: usize = 24_000;
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

/// Recorded means of one stretch of rows.
#[derive(Default)]
struct Tape {
    voltage_v: Vec<f64>,
    current_a: Vec<f64>,
    phases: Vec<Phase>,
}

impl Tape {
    fn phase(&mut self, kind: PhaseKind, first: usize) {
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
        let fine = |span_s: f64| ((20.0 * span_s / tau_e) as usize).clamp(ROWS, MOST_ROWS);
        let mut tape = Tape::default();
        let mut state = match deed {
            Deed::Start | Deed::Locked => State::rest(),
            _ => {
                let mut s = State::rest();
                s.back_emf = self.running(supply_v).back_emf;
                s.current = self.running(supply_v).current;
                s.eddy_current = s.current;
                s
            }
        };
        let initial_emf_v = state.back_emf;
        let held = deed == Deed::Locked;
        let mut drive = |tape: &mut Tape,
                         kind: PhaseKind,
                         constants: &Constants<f64>,
                         condition: Condition<f64>,
                         shown: &dyn Fn(f64, f64) -> f64,
                         step_s: f64,
                         rows: usize| {
            let first = tape.voltage_v.len();
            if matches!(condition, Condition::Open) {
                (state.current, state.eddy_current) = (0.0, 0.0);
            }
            for _ in 0..rows {
                let next = advance(constants, state, condition, step_s, held);
                tape.voltage_v
                    .push(shown(next.mean_current, next.mean_back_emf));
                tape.current_a.push(next.mean_current);
                state = next.end;
            }
            tape.phase(kind, first);
        };
        let supply = |_: f64, _: f64| supply_v;
        let emf = |_: f64, e: f64| e;
        let on = Condition::Voltage(supply_v);
        let mut make = None;
        let step_s;
        match deed {
            Deed::Start | Deed::Locked => {
                let span_s = if deed == Deed::Start {
                    8.0 * tau_m
                } else {
                    40.0 * tau_e
                };
                let rows = fine(span_s);
                step_s = span_s / rows as f64;
                let rest = rows / 8;
                tape.voltage_v.resize(rest, 0.0);
                tape.current_a.resize(rest, 0.0);
                tape.phase(PhaseKind::Rest, 0);
                make = (step_s < 0.25 * tau_e).then_some(0.0);
                drive(
                    &mut tape,
                    PhaseKind::Driven,
                    &closed,
                    on,
                    &supply,
                    step_s,
                    rows,
                );
            }
            Deed::RunDown => {
                let span_s = self.run_down_s(initial_emf_v, RUN_DOWN_TO, added_f);
                step_s = span_s / ROWS as f64;
                drive(
                    &mut tape,
                    PhaseKind::Driven,
                    &closed,
                    on,
                    &supply,
                    step_s,
                    ROWS / 10,
                );
                drive(
                    &mut tape,
                    PhaseKind::Open,
                    &closed,
                    Condition::Open,
                    &emf,
                    step_s,
                    ROWS,
                );
            }
            Deed::Brake { through_ohm } => {
                let shorted = loop_of(through_ohm);
                let share =
                    (motor.terminal_resistance_ohm + through_ohm) / motor.terminal_resistance_ohm;
                let span_s = 5.0 * tau_m * share;
                let rows = fine(span_s);
                step_s = span_s / rows as f64;
                let few = rows / 10;
                let braking = |i: f64, _: f64| -through_ohm * i;
                let zero = Condition::Voltage(0.0);
                drive(
                    &mut tape,
                    PhaseKind::Driven,
                    &closed,
                    on,
                    &supply,
                    step_s,
                    few,
                );
                drive(
                    &mut tape,
                    PhaseKind::Open,
                    &closed,
                    Condition::Open,
                    &emf,
                    step_s,
                    few,
                );
                drive(
                    &mut tape,
                    PhaseKind::Shorted,
                    &shorted,
                    zero,
                    &braking,
                    step_s,
                    rows,
                );
            }
            Deed::Steady => {
                let span_s = (20.0 * tau_m).max(1.0);
                step_s = span_s / ROWS as f64;
                drive(
                    &mut tape,
                    PhaseKind::Driven,
                    &closed,
                    on,
                    &supply,
                    step_s,
                    ROWS,
                );
            }
        }
        let rest_rows = tape.phases.first().filter(|p| p.kind == PhaseKind::Rest);
        let start_s = -(rest_rows.map_or(0, |p| p.end) as f64) * step_s;
        let len = tape.voltage_v.len();
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
            &tape.voltage_v,
        )?;
        let current_chain = chain(
            &|c| Some((c.current_chain.as_ref()?, c.waveform.current_a.as_ref()?)),
            &tape.current_a,
        )?;
        Some(PlannedCapture {
            timeline: Timeline {
                phases: tape.phases,
                instants: make.map(|t| ("make".to_string(), t)).into_iter().collect(),
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
                        start_s,
                        step_s,
                        len,
                    },
                    voltage_v: Some(trace(tape.voltage_v)),
                    current_a: Some(trace(tape.current_a)),
                },
                voltage_chain: Some(voltage_chain),
                current_chain: Some(current_chain),
                series_in_voltage: template.series_in_voltage,
                loop_resistance_ohm: None,
                source_v: None,
                winding_temperature_c: template.winding_temperature_c,
                added_inertia_kg_m2: added.map(|a| a.1),
                load_torque_nm: None,
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
