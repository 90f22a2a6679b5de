//! The model simulated through the segments of a capture, with derivatives or without: one code for both.

use super::capture_model::CaptureModel;
use super::channels::Channels;
use super::coasting::Coasting;
use super::gradient::{Component, Number, Slopes};
use super::prediction::Prediction;
use super::turned::Turning;
use super::unevenness::is_transient;
use super::warming::Heat;
use crate::bench::Role;
use crate::fit::data::{Bin, Quantity, Row, Segment, SegmentKind, zero_row};
use crate::fit::unknowns::{Direction, UNEVENNESS};
use crate::motor::{Advance, Condition, Constants, State, advance};
use nalgebra::DVector;
use std::f64::consts::FRAC_PI_2;

/// Where the model stands on its way through the segments.
struct Simulation<'a, S> {
    model: &'a CaptureModel,
    x: &'a DVector<f64>,
    constants: &'a Constants<S>,
    channels: Channels<S>,
    coasting: Option<Coasting<S>>,
    amplitudes: [S; UNEVENNESS],
    state: State<S>,
    heat: Option<Heat<S>>,
    /// Angle since the first transient began, in recorded volt-seconds.
    passed_v_s: f64,
    turning: Turning<S>,
    last_voltage: f64,
    /// Unknown beginnings met so far: back-EMFs and currents.
    begun: (usize, usize),
    out: Prediction<S>,
    steps: &'a mut u64,
    most_steps: u64,
}

impl CaptureModel {
    /// Simulates every segment at the unknowns `x`, without the slopes of the components; `None` where the model cannot be evaluated, or only in far more
    /// steps than a motor on its own voltage takes. The model steps it took are added to `steps`.
    pub(crate) fn simulate<S: Number>(
        &self,
        x: &DVector<f64>,
        constants: &Constants<S>,
        steps: &mut u64,
    ) -> Option<Prediction<S>> {
        let mut simulation = Simulation::new(self, x, constants, steps);
        simulation.run()?;
        let heat = simulation.heat;
        let mut out = simulation.out;
        out.warmed_k = heat.map_or(0.0, |h| h.kelvin(constants.resistance.value()));
        Some(out)
    }
}

impl<'a, S: Number> Simulation<'a, S> {
    fn new(
        model: &'a CaptureModel,
        x: &'a DVector<f64>,
        constants: &'a Constants<S>,
        steps: &'a mut u64,
    ) -> Self {
        let variable = |direction, component| S::variable(model.local(x, direction), component);
        let bins: usize = model
            .segments
            .iter()
            .map(|segment| segment.bins.len())
            .sum();
        let heat = model
            .warming
            .map(|warming| Heat::none_yet(warming, variable(Direction::HEAT, Component::HEAT)));
        let channels = Channels::of(model, x);
        let coasting = model.coasting.as_ref().zip(model.source_v);
        let coasting = coasting.map(|(bridge, source)| {
            Coasting::new(bridge, channels.zero_v + source, channels.gain_v)
        });
        Simulation {
            model,
            x,
            constants,
            channels,
            coasting,
            amplitudes: std::array::from_fn(|k| variable(Direction::wave(k), Component::wave(k))),
            state: State::rest(),
            heat,
            passed_v_s: 0.0,
            turning: Turning::new(&model.instants),
            last_voltage: 0.0,
            begun: (0, 0),
            out: Prediction {
                rows: Vec::with_capacity(bins + 2 * model.segments.len()),
                slopes: Slopes::default(),
                angles: vec![Vec::new(); model.segments.len()],
                running_emf: None,
                probed_emf: vec![None; model.probes.len()],
                turned: vec![None; model.instants.len()],
                warmed_k: 0.0,
            },
            most_steps: *steps + model.most_steps(),
            steps,
        }
    }

    /// Through every segment, or as far as the beginnings are known; `None` where the model cannot be evaluated.
    fn run(&mut self) -> Option<()> {
        let model = self.model;
        let first = model.segments.first().map(|l| l.kind);
        let mut emf_known = first == Some(SegmentKind::Rest) || model.held;
        let mut screened_known = false;
        for (number, segment) in model.segments.iter().enumerate() {
            if !emf_known && matches!(segment.kind, SegmentKind::Connected | SegmentKind::Open) {
                let Some(back_emf) = self.next_back_emf() else {
                    break;
                };
                self.state.back_emf = back_emf;
                emf_known = true;
            }
            match segment.kind {
                SegmentKind::Rest => {
                    emf_known = true;
                    screened_known = true;
                    self.rest(number, segment);
                }
                SegmentKind::Lost => {
                    self.turning.interrupt();
                    emf_known = model.held;
                    screened_known = false;
                }
                SegmentKind::Carried => self.carried(segment),
                SegmentKind::Connected => {
                    let Some(current) = self.next_current() else {
                        break;
                    };
                    self.state.current = current;
                    // Steady before the record began; else where it was left.
                    if !screened_known {
                        self.state.eddy_current = current;
                    }
                    screened_known = true;
                    self.connected(number, segment)?;
                }
                SegmentKind::Open => {
                    screened_known = true;
                    self.open(number, segment);
                }
            }
        }
        Some(())
    }

    /// The back-EMF with which the next stretch begins, where it is among the unknowns.
    fn next_back_emf(&mut self) -> Option<S> {
        let number = self.begun.0;
        let direction = *Direction::EMF.get(number)?;
        self.begun.0 += 1;
        self.beginning(direction, Component::EMF[number])
    }

    /// The current with which the next stretch begins, where it is among the unknowns.
    fn next_current(&mut self) -> Option<S> {
        let number = self.begun.1;
        let direction = *Direction::CURRENT.get(number)?;
        self.begun.1 += 1;
        self.beginning(direction, Component::CURRENT[number])
    }

    fn beginning(&self, direction: Direction, component: Component) -> Option<S> {
        let known = !self.model.links.is_fixed(direction);
        known.then(|| S::variable(self.model.local(self.x, direction), component))
    }

    fn rest(&mut self, number: usize, segment: &Segment) {
        self.state = State::rest();
        for bin in &segment.bins {
            self.turning.rest(bin, &mut self.out.turned);
        }
        let Channels { zero_v, zero_i, .. } = self.channels;
        let rows = &mut self.out.rows;
        rows.extend(zero_row(segment, number, Quantity::Voltage, zero_v));
        rows.extend(zero_row(segment, number, Quantity::Current, zero_i));
    }

    /// The recorded current carries the back-EMF on.
    fn carried(&mut self, segment: &Segment) {
        for bin in &segment.bins {
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
            let start = self.state.back_emf;
            self.turning.step(bin, start, &next, &mut self.out.turned);
            self.state = next.end;
            if let Some(heat) = &mut self.heat {
                heat.take(current, 0.0, bin.width_s);
            }
        }
    }

    /// Closed on a voltage; `None` where the model cannot be evaluated.
    fn connected(&mut self, number: usize, segment: &Segment) -> Option<()> {
        let model = self.model;
        let mut constants = self.with_rounded_contact(segment.current_ripple_a);
        let friction = constants.friction_current;
        let waves = model.waves.get(number).filter(|w| !w.is_empty());
        let transient = model.turn_v_s.is_some() && is_transient(model.role, number, segment);
        let mut lagged = self.state.current;
        let mut mean_emf = S::from(0.0);
        let mut total = 0.0;
        for (k, bin) in segment.bins.iter().enumerate() {
            let mut voltage = self.driving_voltage(bin);
            if let Some(waves) = waves {
                let wave = self.departure(&waves[k]);
                // K(1 + ε) makes the back-EMF larger by ε, and the torque: a friction smaller by ε i.
                constants.friction_current =
                    friction + wave * self.state.current * -self.sense_of_rotation();
                voltage += wave * self.state.back_emf * -1.0;
            }
            if let Some(heat) = &self.heat {
                let drop = heat.drop_v(constants.resistance, self.state.current, bin.width_s);
                voltage += drop * -1.0;
            }
            let (next, gained) = self.close(&constants, voltage, bin)?;
            let shown = self
                .channels
                .shown(next.mean_current, gained, &mut lagged, bin.width_s);
            if transient {
                let step = next.mean_back_emf.value() * self.channels.gain_v.value() * bin.width_s;
                self.out.angles[number].push([self.passed_v_s + 0.5 * step, step]);
                self.passed_v_s += step;
            }
            mean_emf += next.mean_back_emf * bin.width_s;
            total += bin.width_s;
            if k < segment.compared && bin.current_a.is_finite() {
                let predicted = self.channels.gain_i * shown + self.channels.zero_i;
                let row = Row::of_bin(bin, Quantity::Current, number, predicted);
                self.out.rows.push(row);
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

    /// The model follows the mean of a rippling current, over which the contact drop is rounder than at one current:
    /// `E tanh((i + σξ)/I_b) ≈ tanh(i/√(I_b² + πσ²/2))` for Gaussian ξ (MacKay 1992, Neural Computation 4, 720-736, for the
    /// logistic function).
    fn with_rounded_contact(&self, ripple_a: f64) -> Constants<S> {
        let variance = FRAC_PI_2 * ripple_a * ripple_a;
        let scale = self.constants.brush_scale;
        Constants {
            brush_scale: (scale * scale + variance).sqrt(),
            ..*self.constants
        }
    }

    /// The voltage that drives a bin, V.
    fn driving_voltage(&mut self, bin: &Bin) -> S {
        let zero_v = self.channels.zero_v;
        if let Some(bridge) = &self.coasting {
            return bridge.flowing_v;
        }
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
            wave.add_derivative(Component::wave(k), *shape);
        }
        wave
    }

    /// 1 or −1: that of the back-EMF, or of the current that is about to turn a rotor at rest.
    fn sense_of_rotation(&self) -> f64 {
        if self.state.back_emf.value() == 0.0 {
            self.state.current.value().signum()
        } else {
            self.state.back_emf.value().signum()
        }
    }

    /// One bin of a closed segment, with the change of the current over it; `None` where the model cannot be evaluated, or not in the steps that
    /// it may take.
    fn close(
        &mut self,
        constants: &Constants<S>,
        voltage: S,
        bin: &Bin,
    ) -> Option<(Advance<S>, S)> {
        let condition = if bin.conducting {
            Condition::Voltage(voltage)
        } else {
            Condition::Open
        };
        let start = self.state;
        let held = self.model.held;
        let next = match &mut self.coasting {
            Some(bridge) => bridge.step(constants, start, (voltage, bin.width_s, held)),
            None => advance(constants, start, condition, bin.width_s, held),
        };
        self.probe(bin, &start, &next.end);
        self.turning
            .step(bin, start.back_emf, &next, &mut self.out.turned);
        self.state = next.end;
        let gained = next.end.current - start.current;
        if let Some(heat) = &mut self.heat {
            heat.take(next.mean_current, gained.value(), bin.width_s);
        }
        *self.steps += u64::from(next.steps);
        let end = next.end.values();
        let sound =
            *self.steps <= self.most_steps && end.current.is_finite() && end.back_emf.is_finite();
        sound.then_some((next, gained))
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

    fn open(&mut self, number: usize, segment: &Segment) {
        self.state.current = 0.0.into();
        self.state.eddy_current = 0.0.into();
        if self.out.running_emf.is_none() && matches!(self.model.role, Role::RunDown | Role::Brake)
        {
            self.out.running_emf = Some(self.state.back_emf);
        }
        for (k, bin) in segment.bins.iter().enumerate() {
            let next = advance(
                self.constants,
                self.state,
                Condition::Open,
                bin.width_s,
                self.model.held,
            );
            *self.steps += u64::from(next.steps);
            let start = self.state.back_emf;
            self.turning.step(bin, start, &next, &mut self.out.turned);
            self.state = next.end;
            let Channels { gain_v, zero_v, .. } = self.channels;
            self.passed_v_s += next.mean_back_emf.value() * gain_v.value() * bin.width_s;
            if k < segment.compared && bin.voltage_v.is_finite() {
                let predicted = gain_v * next.mean_back_emf + zero_v;
                let row = Row::of_bin(bin, Quantity::Voltage, number, predicted);
                self.out.rows.push(row);
            }
        }
        let zero_i = self.channels.zero_i;
        self.out
            .rows
            .extend(zero_row(segment, number, Quantity::Current, zero_i));
    }
}
