//! One capture as the model sees it: legs, the parameters that act on them, and the prediction with its derivatives.

use super::layout::{Layout, Parameter, Slot, Source};
use super::legs::{Bin, Leg, LegKind};
use crate::bench::{Bench, Capture, Role};
use crate::motor::Real;
use crate::motor::{Condition, Constants, Dual, State, advance};
use nalgebra::DVector;
use std::f64::consts::FRAC_PI_2;

/// Directions in which one capture's prediction is differentiated.
pub const DIRECTIONS: usize = 26;
/// A number with its derivatives in the directions of one capture.
pub type Local = Dual<DIRECTIONS>;

/// Names of the directions; each maps to none, one or several entries of the parameter vector.
pub mod direction {
    pub const RESISTANCE: usize = 0;
    pub const INDUCTANCE: usize = 1;
    pub const CAPACITANCE: usize = 2;
    pub const FRICTION: usize = 3;
    pub const VISCOUS: usize = 4;
    pub const WINDAGE: usize = 5;
    pub const BRUSH_DROP: usize = 6;
    pub const BRUSH_SCALE: usize = 7;
    pub const VOLTAGE_GAIN: usize = 8;
    pub const VOLTAGE_ZERO: usize = 9;
    pub const CURRENT_GAIN: usize = 10;
    pub const CURRENT_ZERO: usize = 11;
    pub const SHUNT: usize = 12;
    pub const POSITION: usize = 13;
    pub const SATURATION: usize = 14;
    pub const REACTION: usize = 15;
    pub const EDDY_SHARE: usize = 16;
    pub const EDDY_RESISTANCE: usize = 17;
    pub const LOOP: usize = 18;
    /// Two unknown back-EMFs.
    pub const EMF: [usize; 2] = [19, 20];
    /// Three unknown currents.
    pub const CURRENT: [usize; 3] = [21, 22, 23];
    /// ln K, where a known inertia or torque in newton metres makes the terminals see it.
    pub const CONSTANT: usize = 24;
    /// Relative error of that inertia or torque.
    pub const ATTACHED: usize = 25;
}

/// Which channel a row compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    Voltage,
    Current,
}

/// One comparison of recorded and predicted.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    pub time_s: f64,
    pub quantity: Quantity,
    /// Index of the leg.
    pub leg: usize,
    pub samples: usize,
    pub recorded: f64,
    pub predicted: Local,
    /// For rows that stand for a whole leg's zero: the standard uncertainty of the recorded mean.
    pub zero_uncertainty: Option<f64>,
}

/// What a capture's simulation gives.
pub struct Prediction {
    pub rows: Vec<Row>,
    /// Back-EMF while running freely on the supply, where the capture shows it.
    pub running_emf: Option<Local>,
    /// Back-EMF at each instant of [`CaptureModel::probes`]; `None` where no current is simulated then.
    pub probed_emf: Vec<Option<Local>>,
}

/// A capture prepared for the fit.
#[derive(Clone, Debug)]
pub struct CaptureModel {
    pub capture: usize,
    pub name: String,
    pub role: Role,
    pub legs: Vec<Leg>,
    /// For each direction the entries of the parameter vector it moves with, and by how much.
    pub links: Vec<Vec<(usize, f64)>>,
    held: bool,
    series_ohm: f64,
    loop_ohm: f64,
    source_v: Option<f64>,
    current_lag_s: Option<f64>,
    /// Resistance at this capture's temperature over that at the reference capture's.
    temperature_ratio: f64,
    /// Inertia added to the rotor, kg·m², and load torque, N·m.
    attached: (f64, f64),
    /// Whether the screened share of the inductance is simulated.
    pub with_eddy: bool,
    /// Instants on the capture's time axis at which the back-EMF is asked for, s.
    pub probes: Vec<f64>,
}

/// Places in the parameter vector that every capture shares.
#[derive(Clone, Debug)]
pub struct Shared {
    /// Entry for each of the directions 0 to 7 and for saturation, reaction, eddy share and eddy resistance.
    pub entries: Vec<(usize, usize)>,
    /// Winding temperature to which R belongs, °C.
    pub reference_temperature_c: Option<f64>,
    /// Whether the eddy branch takes part.
    pub with_eddy: bool,
    /// Relative standard deviation of the resistance over rotor positions.
    pub position_sd: f64,
    /// First guess of R, Ω.
    pub resistance_guess_ohm: f64,
}

/// Share of V/R above which a motor about to be switched off counts as held: one that turns under load takes less than half
/// of it at its best power, one that runs freely far less.
const STALLED_SHARE: f64 = 0.65;

/// Whether the rotor stands still in the leg with which a turn-off begins.
fn stands_still(legs: &[Leg], resistance_ohm: f64) -> bool {
    let Some(first) = legs.first().filter(|l| l.kind == LegKind::Connected) else {
        return false;
    };
    let mean = |of: fn(&Bin) -> f64| {
        let values = first.bins.iter().map(of).filter(|v| v.is_finite());
        let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        sum / count
    };
    let (voltage, current) = (mean(|b| b.voltage_v), mean(|b| b.current_a));
    current.abs() * resistance_ohm > STALLED_SHARE * voltage.abs()
}

impl CaptureModel {
    /// Prepares a capture and adds its own parameters to the layout.
    pub fn new(
        bench: &Bench,
        index: usize,
        legs: Vec<Leg>,
        shared: &Shared,
        layout: &mut Layout,
    ) -> Self {
        let capture = &bench.captures[index];
        let mut links = vec![Vec::new(); DIRECTIONS];
        for &(direction, entry) in &shared.entries {
            links[direction].push((entry, 1.0));
        }
        let held = matches!(capture.role, Role::LockedRotor | Role::PwmLocked)
            || (capture.role == Role::TurnOff && stands_still(&legs, shared.resistance_guess_ohm));
        add_channels(bench, capture, index, layout, &mut links);
        if held {
            let slot = Parameter::free(Slot::Position { capture: index }, 0.0);
            let slot = slot
                .with_prior(0.0, shared.position_sd, Source::Position)
                .stepping(0.1);
            links[direction::POSITION].push((layout.add(slot), 1.0));
        }
        let loop_ohm = capture.loop_resistance_ohm.map_or(0.0, |r| {
            if capture.waveform.voltage_v.is_none() && r.standard_uncertainty > 0.0 {
                let slot = Parameter::free(Slot::Loop { capture: index }, 0.0);
                let entry = layout.add(slot.with_prior(0.0, r.standard_uncertainty, Source::Loop));
                links[direction::LOOP].push((entry, 1.0));
            }
            if capture.waveform.voltage_v.is_none() {
                r.value
            } else {
                0.0
            }
        });
        let attached = add_attached(bench, index, layout, &mut links);
        add_unknown_states(&legs, index, held, layout, &mut links);
        let temperature_ratio = match (
            shared.reference_temperature_c,
            capture.winding_temperature_c,
        ) {
            (Some(reference), Some(here)) => {
                crate::motor::temperature::copper_ratio(reference, here.value)
            }
            _ => 1.0,
        };
        let slowest = capture
            .current_chain
            .iter()
            .flat_map(|c| &c.instruments)
            .filter_map(|&k| bench.instruments[k].bandwidth_hz)
            .fold(f64::INFINITY, f64::min);
        CaptureModel {
            capture: index,
            name: capture.name.clone(),
            role: capture.role,
            legs,
            links,
            held,
            series_ohm: capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm),
            loop_ohm,
            source_v: if capture.waveform.voltage_v.is_none() {
                capture.source_v.map(|v| v.value)
            } else {
                None
            },
            current_lag_s: slowest
                .is_finite()
                .then(|| 1.0 / (std::f64::consts::TAU * slowest)),
            temperature_ratio,
            attached,
            with_eddy: shared.with_eddy,
            probes: Vec::new(),
        }
    }

    fn local(&self, x: &DVector<f64>, which: usize) -> f64 {
        self.links[which]
            .iter()
            .map(|&(entry, factor)| factor * x[entry])
            .sum()
    }

    fn variable(&self, x: &DVector<f64>, which: usize) -> Local {
        Local::variable(self.local(x, which), which)
    }

    fn exponential(&self, x: &DVector<f64>, which: usize) -> Local {
        let value = self.local(x, which).exp();
        let mut out = Local::from(value);
        out.gradient[which] = value;
        out
    }

    /// Predicts every row at the parameter vector `x`; `None` where the model cannot be evaluated.
    pub fn predict(&self, x: &DVector<f64>) -> Option<Prediction> {
        use direction as d;
        let winding = self.exponential(x, d::RESISTANCE)
            * self.temperature_ratio
            * (self.variable(x, d::POSITION) + 1.0);
        let series = (self.variable(x, d::SHUNT) + 1.0) * self.series_ohm;
        // J' /K² and T/K of what was attached to the shaft.
        let per_k = self.exponential(x, d::CONSTANT);
        let per_k = Local::from(1.0) / per_k;
        let actual = self.variable(x, d::ATTACHED) + 1.0;
        let added_capacitance = per_k * per_k * actual * self.attached.0;
        let load_current = per_k * actual * self.attached.1;
        let constants = Constants {
            resistance: winding + series + self.variable(x, d::LOOP) + self.loop_ohm,
            inductance: self.exponential(x, d::INDUCTANCE),
            capacitance: self.exponential(x, d::CAPACITANCE) + added_capacitance,
            friction_current: self.variable(x, d::FRICTION) + load_current,
            viscous_conductance: self.variable(x, d::VISCOUS),
            windage: self.variable(x, d::WINDAGE),
            brush_drop: self.variable(x, d::BRUSH_DROP),
            brush_scale: self.exponential(x, d::BRUSH_SCALE),
            saturation: self.variable(x, d::SATURATION),
            reaction: self.variable(x, d::REACTION),
            eddy_share: self.variable(x, d::EDDY_SHARE),
            eddy_resistance: self.exponential(x, d::EDDY_RESISTANCE),
            with_eddy: self.with_eddy,
        };
        let gain_v = self.exponential(x, d::VOLTAGE_GAIN);
        let zero_v = self.variable(x, d::VOLTAGE_ZERO);
        let gain_i = self.exponential(x, d::CURRENT_GAIN);
        let zero_i = self.variable(x, d::CURRENT_ZERO);
        let mut state = State::<Local>::rest();
        let mut rows = Vec::new();
        let mut running = None;
        let mut probed_emf = vec![None; self.probes.len()];
        let (mut emfs, mut currents) = (0, 0);
        let mut emf_known =
            matches!(self.legs.first().map(|l| l.kind), Some(LegKind::Rest)) || self.held;
        let mut last_voltage = 0.0;
        for (number, leg) in self.legs.iter().enumerate() {
            if !emf_known && matches!(leg.kind, LegKind::Connected | LegKind::Open) {
                let Some(&which) = d::EMF.get(emfs).filter(|&&w| !self.links[w].is_empty()) else {
                    break;
                };
                emfs += 1;
                state.back_emf = self.variable(x, which);
                emf_known = true;
            }
            match leg.kind {
                LegKind::Rest => {
                    state = State::rest();
                    emf_known = true;
                    rows.extend(zero_row(leg, number, Quantity::Voltage, zero_v));
                    rows.extend(zero_row(leg, number, Quantity::Current, zero_i));
                }
                LegKind::Lost => emf_known = self.held,
                LegKind::Carried => {
                    for bin in &leg.bins {
                        let current = (zero_i * -1.0 + bin.current_a) / gain_i;
                        state = advance(
                            &constants,
                            state,
                            Condition::Current(current),
                            bin.width_s,
                            self.held,
                        )
                        .end;
                    }
                }
                LegKind::Connected => {
                    let Some(&which) = d::CURRENT
                        .get(currents)
                        .filter(|&&w| !self.links[w].is_empty())
                    else {
                        break;
                    };
                    currents += 1;
                    state.current = self.variable(x, which);
                    state.eddy_current = state.current;
                    // The model follows the mean of a rippling current, over which the contact drop is rounder than at
                    // one current: E tanh((i + σξ)/I_b) ≈ tanh(i/√(I_b² + πσ²/2)) for Gaussian ξ (MacKay 1992, Neural
                    // Computation 4, 720-736, for the logistic function).
                    let variance = FRAC_PI_2 * leg.current_ripple_a * leg.current_ripple_a;
                    let constants = Constants {
                        brush_scale: (constants.brush_scale * constants.brush_scale + variance)
                            .sqrt(),
                        ..constants
                    };
                    let mut lagged = state.current;
                    let mut mean_emf = Local::from(0.0);
                    let mut total = 0.0;
                    for (k, bin) in leg.bins.iter().enumerate() {
                        let voltage = match self.source_v {
                            Some(source) => zero_v + source,
                            None => {
                                if bin.voltage_v.is_finite() {
                                    last_voltage = bin.voltage_v;
                                }
                                (zero_v * -1.0 + last_voltage) / gain_v
                            }
                        };
                        let condition = if bin.conducting {
                            Condition::Voltage(voltage)
                        } else {
                            Condition::Open
                        };
                        let next = advance(&constants, state, condition, bin.width_s, self.held);
                        for (seen, &time_s) in probed_emf.iter_mut().zip(&self.probes) {
                            let part = (time_s - bin.time_s) / bin.width_s + 0.5;
                            if (0.0..=1.0).contains(&part) {
                                let gained = next.end.back_emf - state.back_emf;
                                *seen = Some(state.back_emf + gained * part);
                            }
                        }
                        state = next.end;
                        if !(state.current.value.is_finite() && state.back_emf.value.is_finite()) {
                            return None;
                        }
                        let seen = match self.current_lag_s {
                            Some(lag) => {
                                let ratio = bin.width_s / lag;
                                let kept = (-ratio).exp();
                                let difference = lagged - next.mean_current;
                                lagged = next.mean_current + difference * kept;
                                next.mean_current + difference * ((1.0 - kept) / ratio)
                            }
                            None => next.mean_current,
                        };
                        mean_emf += next.mean_back_emf * bin.width_s;
                        total += bin.width_s;
                        if k < leg.compared && bin.current_a.is_finite() {
                            rows.push(Row {
                                time_s: bin.time_s,
                                quantity: Quantity::Current,
                                leg: number,
                                samples: bin.samples,
                                recorded: bin.current_a,
                                predicted: gain_i * seen + zero_i,
                                zero_uncertainty: None,
                            });
                        }
                    }
                    running = match self.role {
                        Role::Steady => Some(mean_emf * (1.0 / total.max(1e-300))),
                        Role::RunDown | Role::Brake => running.or(Some(state.back_emf)),
                        Role::Start => Some(state.back_emf),
                        _ => None,
                    };
                }
                LegKind::Open => {
                    state.current = 0.0.into();
                    state.eddy_current = 0.0.into();
                    if running.is_none() && matches!(self.role, Role::RunDown | Role::Brake) {
                        running = Some(state.back_emf);
                    }
                    for (k, bin) in leg.bins.iter().enumerate() {
                        let next =
                            advance(&constants, state, Condition::Open, bin.width_s, self.held);
                        state = next.end;
                        if k < leg.compared && bin.voltage_v.is_finite() {
                            rows.push(Row {
                                time_s: bin.time_s,
                                quantity: Quantity::Voltage,
                                leg: number,
                                samples: bin.samples,
                                recorded: bin.voltage_v,
                                predicted: gain_v * next.mean_back_emf + zero_v,
                                zero_uncertainty: None,
                            });
                        }
                    }
                    rows.extend(zero_row(leg, number, Quantity::Current, zero_i));
                }
            }
        }
        Some(Prediction {
            rows,
            running_emf: running,
            probed_emf,
        })
    }
}

/// One row for the mean of a channel over a leg in which its true value is zero.
fn zero_row(leg: &Leg, number: usize, quantity: Quantity, zero: Local) -> Option<Row> {
    let of = |b: &Bin| {
        if quantity == Quantity::Voltage {
            b.voltage_v
        } else {
            b.current_a
        }
    };
    let values: Vec<f64> = leg.bins.iter().map(of).filter(|v| v.is_finite()).collect();
    if values.len() < 4 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    // Blocks of bins hold hum and drift as well as noise.
    let blocks: Vec<f64> = values
        .chunks((values.len() / 5).max(1))
        .map(|c| c.iter().sum::<f64>() / c.len() as f64)
        .collect();
    let m = blocks.len() as f64;
    let variance = blocks.iter().map(|b| (b - mean).powi(2)).sum::<f64>() / (m - 1.0).max(1.0) / m;
    Some(Row {
        time_s: leg.bins[0].time_s,
        quantity,
        leg: number,
        samples: leg.bins.iter().map(|b| b.samples).sum(),
        recorded: mean,
        predicted: zero,
        zero_uncertainty: Some(variance.sqrt()),
    })
}

/// Share of a stated zero that drifts from capture to capture; the rest is one number a channel and range (common
/// practice, no source).
const DRIFT_SHARE: f64 = 0.3;

/// Captures whose stated zeros differ by less than this factor stand on one range of their channel.
const RANGE_STEP: f64 = 1.2;

/// Gains, zeros and the unrecorded source of a capture.
fn add_channels(
    bench: &Bench,
    capture: &Capture,
    index: usize,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) {
    let shunt = capture
        .series_in_voltage
        .and_then(|(_, instrument)| instrument);
    let chains = [
        (
            &capture.voltage_chain,
            direction::VOLTAGE_GAIN,
            direction::VOLTAGE_ZERO,
            Slot::VoltageZero { capture: index },
        ),
        (
            &capture.current_chain,
            direction::CURRENT_GAIN,
            direction::CURRENT_ZERO,
            Slot::CurrentZero { capture: index },
        ),
    ];
    for (chain, gain, zero, slot) in chains {
        let Some(chain) = chain else { continue };
        for &k in &chain.instruments {
            let instrument = &bench.instruments[k];
            if instrument.gain_relative_uncertainty <= 0.0 {
                continue;
            }
            let column = instrument.gain_per_channel.then(|| chain.column.clone());
            let parameter = Parameter::free(
                Slot::Gain {
                    instrument: k,
                    column,
                },
                0.0,
            )
            .with_prior(
                0.0,
                instrument.gain_relative_uncertainty,
                Source::Instrument(instrument.name.clone()),
            )
            .stepping(0.1);
            let entry = layout.add(parameter);
            links[gain].push((entry, 1.0));
            if Some(k) == shunt {
                links[direction::SHUNT].push((entry, 1.0));
            }
        }
        let sd = chain.zero_uncertainty.max(1e-9);
        let own = Parameter::free(slot, 0.0).with_prior(0.0, DRIFT_SHARE * sd, Source::Zero);
        links[zero].push((layout.add(own), 1.0));
        let slot = Slot::RangeZero {
            current: gain == direction::CURRENT_GAIN,
            column: chain.column.clone(),
            range: (sd.ln() / RANGE_STEP.ln()).round() as i64,
        };
        let kept = (1.0 - DRIFT_SHARE * DRIFT_SHARE).sqrt() * sd;
        let shared = Parameter::free(slot, 0.0).with_prior(0.0, kept, Source::Zero);
        links[zero].push((layout.add(shared), 1.0));
    }
    if capture.waveform.voltage_v.is_none()
        && let Some(source) = capture.source_v
    {
        let parameter = Parameter::free(Slot::Source { capture: index }, 0.0);
        let parameter =
            parameter.with_prior(0.0, source.standard_uncertainty.max(1e-6), Source::Loop);
        links[direction::VOLTAGE_ZERO] = vec![(layout.add(parameter), 1.0)];
        links[direction::VOLTAGE_GAIN].clear();
    }
}

/// A known inertia or load on the shaft lets the terminals see K: its ln and the relative error of what is attached.
fn add_attached(
    bench: &Bench,
    index: usize,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) -> (f64, f64) {
    let capture = &bench.captures[index];
    let (inertia, torque) = (capture.added_inertia_kg_m2, capture.load_torque_nm);
    let Some(stated) = inertia.or(torque).filter(|s| s.value > 0.0) else {
        return (0.0, 0.0);
    };
    // Some 3000 revolutions a minute at the supply: only a first guess.
    let guess = bench.motor.supply_v.unwrap_or(12.0).abs().max(0.1) / 300.0;
    let constant = Parameter::free(Slot::LogBackEmfConstant, guess.ln()).stepping(1.0);
    links[direction::CONSTANT].push((layout.add(constant), 1.0));
    let relative = (stated.standard_uncertainty / stated.value).max(1e-6);
    let error = Parameter::free(Slot::Attached { capture: index }, 0.0)
        .with_prior(0.0, relative, Source::Anchor)
        .stepping(0.2);
    links[direction::ATTACHED].push((layout.add(error), 1.0));
    (
        inertia.map_or(0.0, |s| s.value),
        torque.map_or(0.0, |s| s.value),
    )
}

/// Back-EMFs and currents with which stretches begin.
fn add_unknown_states(
    legs: &[Leg],
    index: usize,
    held: bool,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) {
    let mut known = held || matches!(legs.first().map(|l| l.kind), Some(LegKind::Rest));
    let (mut emfs, mut currents) = (0, 0);
    for (number, leg) in legs.iter().enumerate() {
        match leg.kind {
            LegKind::Rest => known = true,
            LegKind::Lost => known = held,
            LegKind::Carried => {}
            LegKind::Connected | LegKind::Open => {
                if !known && emfs < direction::EMF.len() {
                    let parameter = Parameter::free(
                        Slot::InitialEmf {
                            capture: index,
                            piece: emfs,
                        },
                        emf_guess(legs, number),
                    );
                    links[direction::EMF[emfs]].push((layout.add(parameter), 1.0));
                    emfs += 1;
                    known = true;
                }
                if leg.kind == LegKind::Connected && currents < direction::CURRENT.len() {
                    let seen = leg
                        .bins
                        .iter()
                        .find(|b| b.current_a.is_finite())
                        .map_or(0.0, |b| b.current_a);
                    let parameter = Parameter::free(
                        Slot::InitialCurrent {
                            capture: index,
                            piece: currents,
                        },
                        seen,
                    );
                    links[direction::CURRENT[currents]].push((layout.add(parameter), 1.0));
                    currents += 1;
                }
            }
        }
    }
}

/// The back-EMF nearest to leg `number` that the record shows: open-terminal voltage, else terminal voltage.
fn emf_guess(legs: &[Leg], number: usize) -> f64 {
    let first_voltage = |leg: &Leg| leg.bins.iter().map(|b| b.voltage_v).find(|v| v.is_finite());
    legs[number..]
        .iter()
        .filter(|l| l.kind == LegKind::Open)
        .find_map(first_voltage)
        .or_else(|| first_voltage(&legs[number]).map(|v| 0.95 * v))
        .unwrap_or(0.0)
}
