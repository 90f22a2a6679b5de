//! Captures that nobody has made yet: the fitted motor on the same bench, simulated without noise.
//!
//! A planned capture goes through the instruments of the recorded one most like it. Its zeros are scaled with its range: of
//! two recorded captures of different range the part that grows with the range is separated from the part that does not.

mod circuit;
mod kind;
mod recorder;

pub use kind::CaptureKind;

use crate::bench::{Bench, Capture, ChannelChain, Role, Stated, Trace, Waveform};
use crate::capture::TimeAxis;
use crate::events::{Event, EventKind, Timeline};
use crate::fit::PlannedCapture;
use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
use circuit::{Circuit, span_and_rows};

/// Longest step over L/R with which a rise is seen.
const LONGEST_STEP: f64 = 0.25;
/// Share of the first back-EMF at which a planned run-down ends.
const RUN_DOWN_TO: f64 = 0.12;

/// The fitted motor on its bench.
pub struct Rig<'b> {
    bench: &'b Bench,
    motor: TerminalParameters,
}

impl<'b> Rig<'b> {
    /// The motor on the bench that recorded it.
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
        kind: CaptureKind,
        supply_v: f64,
        added: Option<(f64, Stated)>,
    ) -> Option<PlannedCapture> {
        let template = self.template(kind.role())?;
        let added_f = added.map_or(0.0, |a| a.0);
        let motor = self.with_added(added_f);
        let from = match kind {
            CaptureKind::Start | CaptureKind::Locked => State::rest(),
            _ => self.running(supply_v),
        };
        let initial_emf_v = from.back_emf;
        let open_s = || self.run_down_s(initial_emf_v, RUN_DOWN_TO, added_f);
        let (span_s, rows) = span_and_rows(kind, &motor, open_s);
        let step_s = span_s / rows as f64;
        let series_ohm = template.series_in_voltage.map_or(0.0, |s| s.0);
        let circuit = Circuit { motor, series_ohm };
        let record = circuit.record(kind, supply_v, from, step_s, rows);
        let rest_rows = record.rest_rows();
        let seen =
            rest_rows > 0 && step_s < LONGEST_STEP * circuit.motor.electrical_time_constant_s();
        let voltage_chain = self.chain(template, voltage_channel, &record.voltage_v)?;
        let current_chain = self.chain(template, current_channel, &record.current_a)?;
        let start_s = -(rest_rows as f64) * step_s;
        let waveform = waveform(start_s, step_s, record.voltage_v, record.current_a);
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
                capture_warnings: Vec::new(),
            },
            capture: Capture {
                name: name.to_string(),
                path: std::path::PathBuf::new(),
                sha256: String::new(),
                further_files: Vec::new(),
                role: kind.role(),
                waveform,
                voltage_chain: Some(voltage_chain),
                current_chain: Some(current_chain),
                series_in_voltage: template.series_in_voltage,
                series_diode_sd_v: None,
                loop_resistance_ohm: None,
                source_v: None,
                coasting: None,
                winding_temperature_c: template.winding_temperature_c,
                added_inertia_kg_m2: added.map(|a| a.1),
                load_torque_nm: None,
                driven_speed_rad_s: None,
                speed: None,
                ac_coupled: false,
                by_hand: Default::default(),
            },
            initial_emf_v,
            ripple_relative: None,
        })
    }

    /// The chain of one channel of the template, its zero scaled to the range that `values` ask for.
    fn chain(
        &self,
        template: &Capture,
        channel: ChannelOf,
        values: &[f64],
    ) -> Option<ChannelChain> {
        let (chain, _) = channel(template)?;
        Some(ChannelChain {
            zero_uncertainty: self.zero_uncertainty(channel, &chain.column, largest(values))?,
            ..chain.clone()
        })
    }

    /// Zero of a channel on the range that a largest value of `peak` asks for, from the recorded captures of that channel:
    /// `z² = a² + (b·peak)²` through the smallest and the largest of them; with one range only, its own zero, or more
    /// where the range is larger.
    fn zero_uncertainty(&self, channel: ChannelOf, column: &str, peak: f64) -> Option<f64> {
        let mut seen: Vec<(f64, f64)> = self
            .bench
            .captures
            .iter()
            .filter_map(channel)
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

/// One channel of a capture, where it was recorded.
type ChannelOf = fn(&Capture) -> Option<(&ChannelChain, &Trace)>;

fn voltage_channel(capture: &Capture) -> Option<(&ChannelChain, &Trace)> {
    Some((
        capture.voltage_chain.as_ref()?,
        capture.waveform.voltage_v.as_ref()?,
    ))
}

fn current_channel(capture: &Capture) -> Option<(&ChannelChain, &Trace)> {
    Some((
        capture.current_chain.as_ref()?,
        capture.waveform.current_a.as_ref()?,
    ))
}

fn waveform(start_s: f64, step_s: f64, voltage_v: Vec<f64>, current_a: Vec<f64>) -> Waveform {
    let len = voltage_v.len();
    let trace = |values: Vec<f64>| Trace {
        clipped: vec![false; values.len()],
        values,
        quantisation_step: None,
    };
    Waveform {
        time: TimeAxis::Uniform {
            start_s,
            step_s,
            len,
        },
        voltage_v: Some(trace(voltage_v)),
        current_a: Some(trace(current_a)),
    }
}

fn largest(values: &[f64]) -> f64 {
    values
        .iter()
        .filter(|v| v.is_finite())
        .fold(0.0, |m, v| f64::max(m, v.abs()))
}
