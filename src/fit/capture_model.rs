//! One capture as the model sees it: legs, the parameters that act on them, and the prediction with its derivatives.

use super::layout::{Layout, Parameter, Slot, Source};
use super::legs::{Bin, Leg, LegKind};
use crate::bench::{Bench, Capture, Role};
use crate::motor::Real;
use crate::motor::{Condition, Constants, Dual, State, advance};
use nalgebra::DVector;
use std::f64::consts::{FRAC_PI_2, TAU};

/// Directions in which a capture's settings can move.
pub const DIRECTIONS: usize = 28 + UNEVENNESS;
/// Cosine and sine of the first four waves of the back-EMF constant over a turn.
pub const UNEVENNESS: usize = 8;
/// A setting with its derivatives.
type Setting = Dual<DIRECTIONS>;
/// Lanes in which one capture's prediction is differentiated: the twelve constants of the model, then [`lane`]; one is spare.
pub const LANES: usize = 32;
/// A number with its derivatives in the lanes of one capture.
pub type Local = Dual<LANES>;

/// Lanes after those of the constants.
mod lane {
    pub const VOLTAGE_GAIN: usize = 12;
    pub const VOLTAGE_ZERO: usize = 13;
    pub const CURRENT_GAIN: usize = 14;
    pub const CURRENT_ZERO: usize = 15;
    pub const EMF: [usize; 2] = [16, 17];
    pub const CURRENT: [usize; 3] = [18, 19, 20];
    /// The first of [`super::UNEVENNESS`].
    pub const UNEVENNESS: usize = 21;
    pub const LAG: usize = 29;
    pub const SKEW: usize = 30;
    /// With the direction that each stands for.
    pub const OF_DIRECTIONS: [(usize, usize); 11] = {
        use super::direction as d;
        [
            (VOLTAGE_GAIN, d::VOLTAGE_GAIN),
            (VOLTAGE_ZERO, d::VOLTAGE_ZERO),
            (CURRENT_GAIN, d::CURRENT_GAIN),
            (CURRENT_ZERO, d::CURRENT_ZERO),
            (EMF[0], d::EMF[0]),
            (EMF[1], d::EMF[1]),
            (CURRENT[0], d::CURRENT[0]),
            (CURRENT[1], d::CURRENT[1]),
            (CURRENT[2], d::CURRENT[2]),
            (LAG, d::LAG),
            (SKEW, d::SKEW),
        ]
    };
}

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
    /// ln of the current probe's time constant over its stated one.
    pub const LAG: usize = 26;
    /// Delay of the current channel.
    pub const SKEW: usize = 27;
    /// The first of [`super::UNEVENNESS`].
    pub const UNEVENNESS: usize = 28;
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
    /// For each lane the entries of the parameter vector it moves with, and by how much.
    pub slopes: Vec<Vec<(usize, f64)>>,
    /// Angle at the middle of each bin of a leg that lasts a few turns, and over it, in recorded volt-seconds.
    angles: Vec<Vec<[f64; 2]>>,
    /// Back-EMF while running freely on the supply, where the capture shows it.
    pub running_emf: Option<Local>,
    /// Back-EMF at each instant of the probes of the capture; `None` where no current is simulated then.
    pub probed_emf: Vec<Option<Local>>,
}

impl Prediction {
    /// The same without its rows.
    pub fn without_rows(&self) -> Self {
        Prediction {
            rows: Vec::new(),
            slopes: self.slopes.clone(),
            angles: Vec::new(),
            probed_emf: self.probed_emf.clone(),
            running_emf: self.running_emf,
        }
    }
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

/// Standard deviation of the cosine and of the sine of each wave of the relative back-EMF constant over a turn, before the capture is
/// seen: segments and coils of a small motor differ by a per cent or so (common practice, no source).
const UNEVENNESS_SD: f64 = 0.006;

/// Whether a leg lasts for a few turns from a known instant, so that what repeats with the turn does not average out: one that
/// is no longer whole turns a bin, as steady running is, nor switched.
fn is_transient(role: Role, number: usize, leg: &Leg) -> bool {
    leg.kind == LegKind::Connected && number > 0 && !matches!(role, Role::Pwm | Role::PwmLocked)
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
            for wave in 0..UNEVENNESS {
                let slot = Slot::Unevenness {
                    capture: index,
                    wave,
                };
                let parameter =
                    Parameter::free(slot, 0.0).with_prior(0.0, UNEVENNESS_SD, Source::Position);
                links[direction::UNEVENNESS + wave].push((layout.add(parameter), 1.0));
            }
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
            current_lag_s,
            temperature_ratio,
            attached,
            with_eddy: shared.with_eddy,
            turn_v_s,
            waves: Vec::new(),
            probes: Vec::new(),
        }
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
        })
    }
}

/// Turns after which the unevenness is half faded: by then it averages out, and its phase is no longer known.
const FADING_TURNS: f64 = 8.0;

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

/// Means of the waves over a bin, from its middle and width.
fn waves([middle_v_s, step_v_s]: [f64; 2], turn_v_s: f64) -> [f64; UNEVENNESS] {
    let left = 1.0 / (1.0 + (middle_v_s / turn_v_s / FADING_TURNS).powi(2));
    let mut out = [0.0; UNEVENNESS];
    for (wave, pair) in out.chunks_exact_mut(2).enumerate() {
        let per_v_s = TAU * (wave + 1) as f64 / turn_v_s;
        let half = 0.5 * step_v_s * per_v_s;
        let kept = if half.abs() < 1e-3 {
            1.0 - half * half / 6.0
        } else {
            half.sin() / half
        };
        let (sin, cos) = (middle_v_s * per_v_s).sin_cos();
        pair[0] = left * kept * cos;
        pair[1] = left * kept * sin;
    }
    out
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

/// Relative standard uncertainty of the corner frequency that a sheet states for a probe (common practice, no source).
const CORNER_SD: f64 = 0.2;

/// The current probe's lag and delay; returns the time constant of its stated bandwidth, s, that of the slowest hardware on the way.
fn add_lag(
    bench: &Bench,
    capture: &Capture,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) -> Option<f64> {
    let chain = capture.current_chain.iter().flat_map(|c| &c.instruments);
    for &instrument in chain.clone() {
        let hardware = &bench.instruments[instrument];
        if let Some(limit_s) = hardware.skew_s {
            // Anything within the limit is as likely (JCGM 100:2008, 4.3.7).
            let sd = limit_s / 3f64.sqrt();
            let slot = Parameter::free(Slot::Skew { instrument }, 0.0);
            let slot = slot.with_prior(0.0, sd, Source::Lag(hardware.name.clone()));
            links[direction::SKEW].push((layout.add(slot), 1.0));
        }
    }
    let (instrument, corner_hz) = chain
        .filter_map(|&k| Some((k, bench.instruments[k].bandwidth_hz?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let source = Source::Lag(bench.instruments[instrument].name.clone());
    let slot = Parameter::free(Slot::ProbeLag { instrument }, 0.0);
    let slot = slot.with_prior(0.0, CORNER_SD, source).stepping(0.5);
    links[direction::LAG].push((layout.add(slot), 1.0));
    Some(1.0 / (TAU * corner_hz))
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
