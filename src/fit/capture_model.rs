//! One capture as the model sees it: legs, the parameters that act on them, and the prediction with its derivatives.

use super::capture_entries::{
    add_attached, add_channels, add_lag, add_unknown_states, stands_still,
};
use super::lanes::{DIRECTIONS, LANES, Local, Setting, UNEVENNESS, direction, lane};
use super::layout::{Layout, Parameter, Slot, Source};
use super::legs::{Leg, LegKind};
use super::prediction::{Prediction, Quantity, Row, zero_row};
use super::unevenness::{add_waves, is_transient, waves};
use super::warming::{Heat, Warming};
use crate::bench::{Bench, Role};
use crate::motor::{Condition, Constants, Real, State, advance};
use nalgebra::DVector;
use std::f64::consts::FRAC_PI_2;

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
    /// How its own current warms the winding, where that is followed.
    warming: Option<Warming>,
    /// Resistance at this capture's temperature over that at the reference capture's.
    temperature_ratio: f64,
    /// Inertia added to the rotor, kg·m², and load torque, N·m.
    attached: (f64, f64),
    /// Whether the screened share of the inductance is simulated.
    pub with_eddy: bool,
    /// Volt-seconds of back-EMF in a turn, as recorded, where this capture's unevenness over a turn is followed.
    turn_v_s: Option<f64>,
    /// Cosine and sine of the waves of each bin of each leg; empty where a leg has none or its angles are not known yet.
    waves: Vec<Vec<[f64; UNEVENNESS]>>,
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
    /// Volt-seconds of back-EMF in a turn, where the ripple told it.
    pub turn_v_s: Option<f64>,
}

/// Model steps a bin, on the average of a capture, beyond which a prediction is given up.
const MOST_STEPS_PER_BIN: u64 = 100;

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
        let turn_v_s = shared.turn_v_s.filter(|_| {
            !held
                && legs
                    .iter()
                    .enumerate()
                    .any(|(number, leg)| is_transient(capture.role, number, leg))
        });
        if turn_v_s.is_some() {
            add_waves(index, layout, &mut links);
        }
        let temperature_ratio = match (
            shared.reference_temperature_c,
            capture.winding_temperature_c,
        ) {
            (Some(reference), Some(here)) => {
                crate::motor::temperature::copper_ratio(reference, here.value)
            }
            _ => 1.0,
        };
        let current_lag_s = add_lag(bench, capture, layout, &mut links);
        let series_ohm = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
        let warming = (!links[direction::HEAT].is_empty()).then(|| {
            let winding = shared.resistance_guess_ohm;
            Warming::of(capture, winding / (winding + series_ohm + loop_ohm))
        });
        CaptureModel {
            capture: index,
            name: capture.name.clone(),
            role: capture.role,
            legs,
            links,
            held,
            series_ohm,
            loop_ohm,
            source_v: if capture.waveform.voltage_v.is_none() {
                capture.source_v.map(|v| v.value)
            } else {
                None
            },
            current_lag_s,
            warming,
            temperature_ratio,
            attached,
            with_eddy: shared.with_eddy,
            turn_v_s,
            waves: Vec::new(),
            probes: Vec::new(),
        }
    }

    /// Relative rise of the winding's resistance when it is so much warmer than at the capture's beginning, K.
    pub(super) fn warmed_share(&self, kelvin: f64) -> f64 {
        self.warming.map_or(0.0, |w| w.rise(kelvin))
    }

    /// Model steps beyond which one prediction is given up.
    fn most_steps(&self) -> u64 {
        MOST_STEPS_PER_BIN * self.bins()
    }

    /// Bins of all legs.
    pub fn bins(&self) -> u64 {
        self.legs.iter().map(|l| l.bins.len() as u64).sum()
    }

    fn local(&self, x: &DVector<f64>, which: usize) -> f64 {
        self.links[which]
            .iter()
            .map(|&(entry, factor)| factor * x[entry])
            .sum()
    }

    fn variable(&self, x: &DVector<f64>, which: usize) -> Setting {
        Setting::variable(self.local(x, which), which)
    }

    fn exponential(&self, x: &DVector<f64>, which: usize) -> Setting {
        let value = self.local(x, which).exp();
        let mut out = Setting::from(value);
        out.gradient[which] = value;
        out
    }

    /// The model's constants with their derivatives in this capture's directions.
    fn settings(&self, x: &DVector<f64>) -> Constants<Setting> {
        use direction as d;
        let winding = self.exponential(x, d::RESISTANCE)
            * self.temperature_ratio
            * (self.variable(x, d::POSITION) + 1.0);
        let series = (self.variable(x, d::SHUNT) + 1.0) * self.series_ohm;
        // J' /K² and T/K of what was attached to the shaft.
        let per_k = self.exponential(x, d::CONSTANT);
        let per_k = Setting::from(1.0) / per_k;
        let actual = self.variable(x, d::ATTACHED) + 1.0;
        let added_capacitance = per_k * per_k * actual * self.attached.0;
        let load_current = per_k * actual * self.attached.1;
        Constants {
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
            own_directions: false,
        }
    }

    /// For each lane the entries of the parameter vector it moves with.
    fn slopes(&self, settings: &Constants<Setting>) -> Vec<Vec<(usize, f64)>> {
        let mut out = vec![Vec::new(); LANES];
        for (entries, constant) in out.iter_mut().zip(settings.each()) {
            for (links, slope) in self.links.iter().zip(&constant.gradient) {
                if *slope != 0.0 {
                    entries.extend(links.iter().map(|&(entry, factor)| (entry, factor * slope)));
                }
            }
        }
        for (lane, direction) in lane::OF_DIRECTIONS {
            out[lane].clone_from(&self.links[direction]);
        }
        for wave in 0..UNEVENNESS {
            out[lane::UNEVENNESS + wave].clone_from(&self.links[direction::UNEVENNESS + wave]);
        }
        out
    }

    /// Predicts every row at the parameter vector `x`; `None` where the model cannot be evaluated, or only in far more steps than a
    /// motor on its own voltage takes. The model steps it took are added to `steps`.
    pub fn predict(&self, x: &DVector<f64>, steps: &mut u64) -> Option<Prediction> {
        use direction as d;
        let most = *steps + self.most_steps();
        let settings = self.settings(x);
        let constants = settings.in_own_directions();
        let variable = |direction, lane| Local::variable(self.local(x, direction), lane);
        let exponential = |direction, lane| {
            let value = self.local(x, direction).exp();
            let mut out = Local::from(value);
            out.gradient[lane] = value;
            out
        };
        let gain_v = exponential(d::VOLTAGE_GAIN, lane::VOLTAGE_GAIN);
        let zero_v = variable(d::VOLTAGE_ZERO, lane::VOLTAGE_ZERO);
        let gain_i = exponential(d::CURRENT_GAIN, lane::CURRENT_GAIN);
        let zero_i = variable(d::CURRENT_ZERO, lane::CURRENT_ZERO);
        let current_lag_s = self
            .current_lag_s
            .map(|lag| lag * self.local(x, d::LAG).exp());
        let skew = (!self.links[d::SKEW].is_empty()).then(|| variable(d::SKEW, lane::SKEW));
        let mut heat = self
            .warming
            .map(|warming| Heat::none_yet(warming, self.local(x, d::HEAT)));
        let mut state = State::<Local>::rest();
        let mut rows = Vec::new();
        let mut running = None;
        let mut probed_emf = vec![None; self.probes.len()];
        let (mut emfs, mut currents) = (0, 0);
        let mut emf_known =
            matches!(self.legs.first().map(|l| l.kind), Some(LegKind::Rest)) || self.held;
        let mut last_voltage = 0.0;
        let amplitudes: [Local; UNEVENNESS] =
            std::array::from_fn(|k| variable(d::UNEVENNESS + k, lane::UNEVENNESS + k));
        let mut angles = vec![Vec::new(); self.legs.len()];
        // Angle since the first transient began, in recorded volt-seconds.
        let mut passed_v_s = 0.0;
        for (number, leg) in self.legs.iter().enumerate() {
            if !emf_known && matches!(leg.kind, LegKind::Connected | LegKind::Open) {
                let Some(&which) = d::EMF.get(emfs).filter(|&&w| !self.links[w].is_empty()) else {
                    break;
                };
                state.back_emf = variable(which, lane::EMF[emfs]);
                emfs += 1;
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
                        let next = advance(
                            &constants,
                            state,
                            Condition::Current(current),
                            bin.width_s,
                            self.held,
                        );
                        *steps += u64::from(next.steps);
                        state = next.end;
                        if let Some(heat) = &mut heat {
                            heat.take(current, 0.0, bin.width_s);
                        }
                    }
                }
                LegKind::Connected => {
                    let Some(&which) = d::CURRENT
                        .get(currents)
                        .filter(|&&w| !self.links[w].is_empty())
                    else {
                        break;
                    };
                    state.current = variable(which, lane::CURRENT[currents]);
                    currents += 1;
                    state.eddy_current = state.current;
                    // The model follows the mean of a rippling current, over which the contact drop is rounder than at
                    // one current: E tanh((i + σξ)/I_b) ≈ tanh(i/√(I_b² + πσ²/2)) for Gaussian ξ (MacKay 1992, Neural
                    // Computation 4, 720-736, for the logistic function).
                    let variance = FRAC_PI_2 * leg.current_ripple_a * leg.current_ripple_a;
                    let mut constants = Constants {
                        brush_scale: (constants.brush_scale * constants.brush_scale + variance)
                            .sqrt(),
                        ..constants
                    };
                    let friction = constants.friction_current;
                    let waves = self.waves.get(number).filter(|w| !w.is_empty());
                    let transient = self.turn_v_s.is_some() && is_transient(self.role, number, leg);
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
                        let voltage = match waves {
                            Some(waves) => {
                                let mut wave = Local::from(0.0);
                                for (k, (amplitude, shape)) in
                                    amplitudes.iter().zip(&waves[k]).enumerate()
                                {
                                    wave.value += amplitude.value * shape;
                                    wave.gradient[lane::UNEVENNESS + k] = *shape;
                                }
                                // K(1 + ε) makes the back-EMF larger by ε, and the torque: a friction smaller by ε i.
                                let turning = if state.back_emf.value == 0.0 {
                                    state.current.value.signum()
                                } else {
                                    state.back_emf.value.signum()
                                };
                                constants.friction_current =
                                    friction + wave * state.current * -turning;
                                voltage + wave * state.back_emf * -1.0
                            }
                            None => voltage,
                        };
                        let voltage = match &heat {
                            Some(heat) => {
                                let drop =
                                    heat.drop_v(constants.resistance, state.current, bin.width_s);
                                voltage + drop * -1.0
                            }
                            None => voltage,
                        };
                        let condition = if bin.conducting {
                            Condition::Voltage(voltage)
                        } else {
                            Condition::Open
                        };
                        let start_current = state.current;
                        let next = advance(&constants, state, condition, bin.width_s, self.held);
                        for (seen, &time_s) in probed_emf.iter_mut().zip(&self.probes) {
                            let part = (time_s - bin.time_s) / bin.width_s + 0.5;
                            if (0.0..=1.0).contains(&part) {
                                let gained = next.end.back_emf - state.back_emf;
                                *seen = Some(state.back_emf + gained * part);
                            }
                        }
                        state = next.end;
                        if let Some(heat) = &mut heat {
                            let gained_a = state.current.value - start_current.value;
                            heat.take(next.mean_current, gained_a, bin.width_s);
                        }
                        *steps += u64::from(next.steps);
                        if *steps > most
                            || !(state.current.value.is_finite()
                                && state.back_emf.value.is_finite())
                        {
                            return None;
                        }
                        let mut seen = match current_lag_s {
                            Some(lag) => {
                                let ratio = bin.width_s / lag;
                                let kept = (-ratio).exp();
                                let share = (1.0 - kept) / ratio;
                                let difference = lagged - next.mean_current;
                                lagged = next.mean_current + difference * kept;
                                lagged.gradient[lane::LAG] += difference.value * kept * ratio;
                                let mut seen = next.mean_current + difference * share;
                                seen.gradient[lane::LAG] += difference.value * (share - kept);
                                seen
                            }
                            None => next.mean_current,
                        };
                        if let Some(skew) = skew {
                            let slope = (next.end.current - start_current) * (1.0 / bin.width_s);
                            seen = seen - slope * skew;
                        }
                        if transient {
                            let step = next.mean_back_emf.value * gain_v.value * bin.width_s;
                            angles[number].push([passed_v_s + 0.5 * step, step]);
                            passed_v_s += step;
                        }
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
                        *steps += u64::from(next.steps);
                        state = next.end;
                        passed_v_s += next.mean_back_emf.value * gain_v.value * bin.width_s;
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
            slopes: self.slopes(&settings),
            angles,
            running_emf: running,
            probed_emf,
            warmed_k: heat.map_or(0.0, |h| h.kelvin(constants.resistance.value)),
        })
    }
}

impl CaptureModel {
    /// Lays the waves of the back-EMF constant over the angles that were predicted. They stay where they are until the next call:
    /// the phase of a wave is no information on the parameters that the fit should use.
    pub fn lay_waves(&mut self, prediction: &Prediction) {
        let Some(turn_v_s) = self.turn_v_s else {
            return;
        };
        self.waves = prediction
            .angles
            .iter()
            .map(|leg| leg.iter().map(|at| waves(*at, turn_v_s)).collect())
            .collect();
    }
}
