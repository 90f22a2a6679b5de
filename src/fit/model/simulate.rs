//! The model followed through the legs of a capture, with derivatives or without: one code for both.

use super::capture_model::CaptureModel;
use super::gradient::{Number, UNEVENNESS, direction, lane};
use super::prediction::{Prediction, Quantity, Row, zero_row};
use super::unevenness::is_transient;
use super::warming::Heat;
use crate::bench::Role;
use crate::fit::data::{Bin, Leg, LegKind};
use crate::motor::{Condition, Constants, State, advance};
use nalgebra::DVector;
use std::f64::consts::FRAC_PI_2;

/// The exponential of a value that is its own lane.
fn exponential<S: Number>(value: f64, lane: usize) -> S {
    let mut out = S::from(value.exp());
    out.lean(lane, value.exp());
    out
}

/// What the instruments make of voltage and current.
struct Channels<S> {
    gain_v: S,
    zero_v: S,
    gain_i: S,
    zero_i: S,
    current_lag_s: Option<f64>,
    skew: Option<S>,
}

/// Where the model stands on its way through the legs.
struct Follower<'a, S> {
    model: &'a CaptureModel,
    constants: &'a Constants<S>,
    channels: Channels<S>,
    amplitudes: [S; UNEVENNESS],
    state: State<S>,
    heat: Option<Heat<S>>,
    /// Angle since the first transient began, in recorded volt-seconds.
    passed_v_s: f64,
    last_voltage: f64,
    out: Prediction<S>,
    steps: &'a mut u64,
    most_steps: u64,
}

impl CaptureModel {
    /// Follows every leg at the parameter vector `x`, without the slopes of the lanes; `None` where the model cannot be evaluated, or only in far more steps than a
    /// motor on its own voltage takes. The model steps it took are added to `steps`.
    pub(crate) fn follow<S: Number>(
        &self,
        x: &DVector<f64>,
        constants: &Constants<S>,
        steps: &mut u64,
    ) -> Option<Prediction<S>> {
        use direction as d;
        let bins: usize = self.legs.iter().map(|leg| leg.bins.len()).sum();
        let variable = |direction, lane| S::in_lane(self.local(x, direction), lane);
        let mut follower = Follower {
            model: self,
            constants,
            channels: Channels {
                gain_v: exponential(self.local(x, d::VOLTAGE_GAIN), lane::VOLTAGE_GAIN),
                zero_v: variable(d::VOLTAGE_ZERO, lane::VOLTAGE_ZERO),
                gain_i: exponential(self.local(x, d::CURRENT_GAIN), lane::CURRENT_GAIN),
                zero_i: variable(d::CURRENT_ZERO, lane::CURRENT_ZERO),
                current_lag_s: self
                    .current_lag_s
                    .map(|lag| lag * self.local(x, d::LAG).exp()),
                skew: (!self.links[d::SKEW].is_empty()).then(|| variable(d::SKEW, lane::SKEW)),
            },
            amplitudes: std::array::from_fn(|k| variable(d::UNEVENNESS + k, lane::UNEVENNESS + k)),
            state: State::rest(),
            heat: self
                .warming
                .map(|warming| Heat::none_yet(warming, variable(d::HEAT, lane::HEAT))),
            passed_v_s: 0.0,
            last_voltage: 0.0,
            out: Prediction {
                rows: Vec::with_capacity(bins + 2 * self.legs.len()),
                slopes: Vec::new(),
                angles: vec![Vec::new(); self.legs.len()],
                running_emf: None,
                probed_emf: vec![None; self.probes.len()],
                warmed_k: 0.0,
            },
            most_steps: *steps + self.most_steps(),
            steps,
        };
        let (mut emfs, mut currents) = (0, 0);
        let mut emf_known =
            matches!(self.legs.first().map(|l| l.kind), Some(LegKind::Rest)) || self.held;
        for (number, leg) in self.legs.iter().enumerate() {
            if !emf_known && matches!(leg.kind, LegKind::Connected | LegKind::Open) {
                let Some(&which) = d::EMF.get(emfs).filter(|&&w| !self.links[w].is_empty()) else {
                    break;
                };
                follower.state.back_emf = variable(which, lane::EMF[emfs]);
                emfs += 1;
                emf_known = true;
            }
            match leg.kind {
                LegKind::Rest => {
                    emf_known = true;
                    follower.rest(number, leg);
                }
                LegKind::Lost => emf_known = self.held,
                LegKind::Carried => follower.carried(leg),
                LegKind::Connected => {
                    let known = d::CURRENT.get(currents);
                    let Some(&which) = known.filter(|&&w| !self.links[w].is_empty()) else {
                        break;
                    };
                    follower.state.current = variable(which, lane::CURRENT[currents]);
                    follower.state.eddy_current = follower.state.current;
                    currents += 1;
                    follower.connected(number, leg)?;
                }
                LegKind::Open => follower.open(number, leg),
            }
        }
        let mut out = follower.out;
        out.warmed_k = follower
            .heat
            .map_or(0.0, |h| h.kelvin(constants.resistance.value()));
        Some(out)
    }
}

impl<S: Number> Follower<'_, S> {
    fn rest(&mut self, number: usize, leg: &Leg) {
        self.state = State::rest();
        let Channels { zero_v, zero_i, .. } = self.channels;
        let rows = &mut self.out.rows;
        rows.extend(zero_row(leg, number, Quantity::Voltage, zero_v));
        rows.extend(zero_row(leg, number, Quantity::Current, zero_i));
    }

    /// The recorded current carries the back-EMF on.
    fn carried(&mut self, leg: &Leg) {
        for bin in &leg.bins {
            let current = (self.channels.zero_i * -1.0 + bin.current_a) / self.channels.gain_i;
            let condition = Condition::Current(current);
            let next = advance(
                self.constants,
                self.state,
                condition,
                bin.width_s,
                self.model.held,
            );
            *self.steps += u64::from(next.steps);
            self.state = next.end;
            if let Some(heat) = &mut self.heat {
                heat.take(current, 0.0, bin.width_s);
            }
        }
    }

    /// The voltage that drives a bin, V.
    fn driving_voltage(&mut self, bin: &Bin) -> S {
        let zero_v = self.channels.zero_v;
        match self.model.source_v {
            Some(source) => zero_v + source,
            None => {
                if bin.voltage_v.is_finite() {
                    self.last_voltage = bin.voltage_v;
                }
                (zero_v * -1.0 + self.last_voltage) / self.channels.gain_v
            }
        }
    }

    /// The relative departure of the back-EMF constant over a bin.
    fn departure(&self, shapes: &[f64; UNEVENNESS]) -> S {
        let mut wave = S::from(0.0);
        for (k, (amplitude, shape)) in self.amplitudes.iter().zip(shapes).enumerate() {
            wave += S::from(amplitude.value() * shape);
            wave.lean(lane::UNEVENNESS + k, *shape);
        }
        wave
    }

    /// The mean current over a bin as a slow probe shows it. `lagged`: what it showed at the bin's beginning.
    fn seen_through(&self, lag_s: f64, mean: S, lagged: &mut S, width_s: f64) -> S {
        let ratio = width_s / lag_s;
        let kept = (-ratio).exp();
        let share = (1.0 - kept) / ratio;
        let difference = *lagged - mean;
        *lagged = mean + difference * kept;
        lagged.lean(lane::LAG, difference.value() * kept * ratio);
        let mut seen = mean + difference * share;
        seen.lean(lane::LAG, difference.value() * (share - kept));
        seen
    }

    /// `None` where the model cannot be evaluated.
    fn connected(&mut self, number: usize, leg: &Leg) -> Option<()> {
        let model = self.model;
        // The model follows the mean of a rippling current, over which the contact drop is rounder than at one current:
        // E tanh((i + σξ)/I_b) ≈ tanh(i/√(I_b² + πσ²/2)) for Gaussian ξ (MacKay 1992, Neural Computation 4, 720-736, for the
        // logistic function).
        let variance = FRAC_PI_2 * leg.current_ripple_a * leg.current_ripple_a;
        let scale = self.constants.brush_scale;
        let mut constants = Constants {
            brush_scale: (scale * scale + variance).sqrt(),
            ..*self.constants
        };
        let friction = constants.friction_current;
        let waves = model.waves.get(number).filter(|w| !w.is_empty());
        let transient = model.turn_v_s.is_some() && is_transient(model.role, number, leg);
        let mut lagged = self.state.current;
        let mut mean_emf = S::from(0.0);
        let mut total = 0.0;
        for (k, bin) in leg.bins.iter().enumerate() {
            let mut voltage = self.driving_voltage(bin);
            if let Some(waves) = waves {
                let wave = self.departure(&waves[k]);
                // K(1 + ε) makes the back-EMF larger by ε, and the torque: a friction smaller by ε i.
                let turning = if self.state.back_emf.value() == 0.0 {
                    self.state.current.value().signum()
                } else {
                    self.state.back_emf.value().signum()
                };
                constants.friction_current = friction + wave * self.state.current * -turning;
                voltage += wave * self.state.back_emf * -1.0;
            }
            if let Some(heat) = &self.heat {
                let drop = heat.drop_v(constants.resistance, self.state.current, bin.width_s);
                voltage += drop * -1.0;
            }
            let condition = if bin.conducting {
                Condition::Voltage(voltage)
            } else {
                Condition::Open
            };
            let start = self.state;
            let next = advance(&constants, start, condition, bin.width_s, model.held);
            self.probe(bin, &start, &next.end);
            self.state = next.end;
            let gained = next.end.current - start.current;
            if let Some(heat) = &mut self.heat {
                heat.take(next.mean_current, gained.value(), bin.width_s);
            }
            *self.steps += u64::from(next.steps);
            let end = next.end.values();
            if *self.steps > self.most_steps
                || !(end.current.is_finite() && end.back_emf.is_finite())
            {
                return None;
            }
            let mut seen = match self.channels.current_lag_s {
                Some(lag) => self.seen_through(lag, next.mean_current, &mut lagged, bin.width_s),
                None => next.mean_current,
            };
            if let Some(skew) = self.channels.skew {
                seen = seen - gained * (1.0 / bin.width_s) * skew;
            }
            if transient {
                let step = next.mean_back_emf.value() * self.channels.gain_v.value() * bin.width_s;
                self.out.angles[number].push([self.passed_v_s + 0.5 * step, step]);
                self.passed_v_s += step;
            }
            mean_emf += next.mean_back_emf * bin.width_s;
            total += bin.width_s;
            if k < leg.compared && bin.current_a.is_finite() {
                let predicted = self.channels.gain_i * seen + self.channels.zero_i;
                self.out
                    .rows
                    .push(row(bin, Quantity::Current, number, predicted));
            }
        }
        let at_end = self.state.back_emf;
        let running = &mut self.out.running_emf;
        *running = match model.role {
            Role::Steady => Some(mean_emf * (1.0 / total.max(1e-300))),
            Role::RunDown | Role::Brake => running.or(Some(at_end)),
            Role::Start => Some(at_end),
            _ => None,
        };
        Some(())
    }

    /// Reads the back-EMF at the probes within a bin.
    fn probe(&mut self, bin: &Bin, start: &State<S>, end: &State<S>) {
        for (seen, &time_s) in self.out.probed_emf.iter_mut().zip(&self.model.probes) {
            let part = (time_s - bin.time_s) / bin.width_s + 0.5;
            if (0.0..=1.0).contains(&part) {
                let gained = end.back_emf - start.back_emf;
                *seen = Some(start.back_emf + gained * part);
            }
        }
    }

    fn open(&mut self, number: usize, leg: &Leg) {
        self.state.current = 0.0.into();
        self.state.eddy_current = 0.0.into();
        if self.out.running_emf.is_none() && matches!(self.model.role, Role::RunDown | Role::Brake)
        {
            self.out.running_emf = Some(self.state.back_emf);
        }
        for (k, bin) in leg.bins.iter().enumerate() {
            let next = advance(
                self.constants,
                self.state,
                Condition::Open,
                bin.width_s,
                self.model.held,
            );
            *self.steps += u64::from(next.steps);
            self.state = next.end;
            let Channels { gain_v, zero_v, .. } = self.channels;
            self.passed_v_s += next.mean_back_emf.value() * gain_v.value() * bin.width_s;
            if k < leg.compared && bin.voltage_v.is_finite() {
                let predicted = gain_v * next.mean_back_emf + zero_v;
                self.out
                    .rows
                    .push(row(bin, Quantity::Voltage, number, predicted));
            }
        }
        let zero_i = self.channels.zero_i;
        self.out
            .rows
            .extend(zero_row(leg, number, Quantity::Current, zero_i));
    }
}

fn row<S>(bin: &Bin, quantity: Quantity, leg: usize, predicted: S) -> Row<S> {
    Row {
        time_s: bin.time_s,
        quantity,
        leg,
        samples: bin.samples,
        recorded: match quantity {
            Quantity::Voltage => bin.voltage_v,
            Quantity::Current => bin.current_a,
        },
        predicted,
        zero_uncertainty: None,
    }
}
