//! Drives the plant through a schedule of makes and breaks, and notes what stands at the channels row by row.

use super::pickup::{Filter, Pickup, Ring};
use super::schedule::{Action, Event, Rows, Tape};
use crate::chance::Dice;
use crate::motor::{Circuit, Loop, Plant, Shaft, State};
use crate::rig::Rig;

/// The phase of an opening contact.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Opening {
    None,
    Plateau { until_s: f64, base: Loop },
    Spark,
    Diode,
}

pub(crate) struct Run<'p, 'm> {
    pub plant: &'p mut Plant<'m>,
    pub state: State,
    pub now_s: f64,
    rig: &'p Rig,
    circuit: Circuit,
    opening: Opening,
    ring: Option<Ring>,
    /// Shunt inside the voltage channel, Ω.
    inside_ohm: f64,
    full_current_a: f64,
    filter: Option<Filter>,
    skew_s: f64,
    supply_phase: f64,
    spark_v: f64,
    switched_s: f64,
    stopped_s: Option<f64>,
    rest_s: Option<f64>,
    peak_a: f64,
    /// Charge that has flowed through the motor, A·s.
    charge_as: f64,
}

impl<'p, 'm> Run<'p, 'm> {
    pub fn new(
        plant: &'p mut Plant<'m>,
        rig: &'p Rig,
        state: State,
        circuit: Circuit,
        pickup: Pickup,
        dice: &mut Dice,
    ) -> Self {
        let full_current_a = rig.supply_v / plant.resistance_ohm;
        Run {
            plant,
            rig,
            now_s: 0.0,
            circuit,
            opening: Opening::None,
            ring: None,
            inside_ohm: pickup.inside_ohm,
            full_current_a,
            filter: pickup
                .bandwidth_hz
                .map(|corner_hz| Filter::new(corner_hz, state.current_a)),
            skew_s: pickup.skew_s,
            supply_phase: dice.uniform(0.0, std::f64::consts::TAU),
            spark_v: rig.arc.spark_v[0],
            switched_s: f64::NEG_INFINITY,
            stopped_s: None,
            rest_s: None,
            peak_a: 0.0,
            charge_as: 0.0,
            state,
        }
    }

    /// The present circuit with the ripple of the supply at the present time.
    fn present(&self) -> Circuit {
        match (self.circuit, self.rig.supply_ripple) {
            (Circuit::Loop(outside), Some(ripple)) if outside.source_v > 0.0 => {
                let angle =
                    std::f64::consts::TAU * ripple.frequency_hz * self.now_s + self.supply_phase;
                Circuit::Loop(Loop {
                    source_v: outside.source_v + ripple.amplitude_v * libm::sin(angle),
                    ..outside
                })
            }
            (circuit, _) => circuit,
        }
    }

    fn longest_step(&self) -> f64 {
        let since_s = self.now_s - self.switched_s;
        let mut longest = self.plant.longest_step(&self.state, &self.circuit, since_s);
        if self.opening != Opening::None
            && let Circuit::Loop(outside) = self.circuit
        {
            // The current falls almost as a straight line; eight steps down it.
            let (_, rate) = self.plant.terminals(&self.state, &Circuit::Loop(outside));
            if rate != 0.0 {
                longest = longest.min((self.state.current_a / rate).abs() / 8.0 + 1e-9);
            }
        }
        if let (Circuit::Loop(_), Some(ripple)) = (self.circuit, self.rig.supply_ripple) {
            longest = longest.min(1.0 / (24.0 * ripple.frequency_hz));
        }
        longest
    }

    /// Advances to `until_s`; no event may lie before it.
    fn glide(&mut self, until_s: f64) {
        while self.now_s < until_s {
            let mut stop_s = until_s;
            if let Opening::Plateau { until_s, .. } = self.opening {
                stop_s = stop_s.min(until_s);
            }
            let span = stop_s - self.now_s;
            // At most one longest step at a time is planned: currents and speeds change what is allowed.
            let count = (span / self.longest_step()).ceil().max(1.0);
            let block = count.min(64.0) as usize;
            let h = span / count;
            for index in 0..block {
                let before = self.state.current_a;
                let turning = self.state.direction != 0.0;
                let falling = self.opening != Opening::None;
                let circuit = self.present();
                let advanced = self.plant.step(&mut self.state, &circuit, h, falling);
                self.now_s += advanced;
                self.charge_as += 0.5 * (before + self.state.current_a) * advanced;
                if let Some(filter) = &mut self.filter {
                    filter.advance(before, self.state.current_a, advanced);
                }
                if self.state.current_a.abs() > self.peak_a.abs() {
                    self.peak_a = self.state.current_a;
                }
                if turning && self.state.direction == 0.0 {
                    self.rest_s = Some(self.now_s);
                }
                if falling && self.state.current_a == 0.0 {
                    self.current_stopped();
                    break;
                }
                if index + 1 == block && block as f64 == count {
                    self.now_s = stop_s;
                }
            }
            if let Opening::Plateau { until_s, base } = self.opening
                && self.now_s >= until_s
            {
                self.spark(base);
            }
        }
    }

    fn spark(&mut self, base: Loop) {
        let spark = self.spark_v;
        self.circuit = Circuit::Loop(Loop {
            source_v: base.source_v - self.state.current_a.signum() * spark,
            ..base
        });
        self.opening = Opening::Spark;
    }

    fn current_stopped(&mut self) {
        let before = self.motor_voltage();
        self.circuit = Circuit::Open;
        self.switched_s = self.now_s;
        self.opening = Opening::None;
        self.state.current_a = 0.0;
        self.state.lowered_v = 0.0;
        self.stopped_s = Some(self.now_s);
        let after = self.motor_voltage();
        let (inductance, capacitance) = (
            self.plant.machine.armature_inductance_h,
            self.rig.stray_capacitance_f,
        );
        let rate = 1.0 / (inductance * capacitance).sqrt();
        self.ring = Some(Ring {
            from_s: self.now_s,
            amplitude_v: before - after,
            rate,
            // Iron loss: about one and a half periods.
            decay_s: 1.5 * std::f64::consts::TAU / rate,
            current_per_v: 0.3 * capacitance * rate,
        });
    }

    fn motor_voltage(&self) -> f64 {
        let (outer, _) = self.plant.terminals(&self.state, &self.circuit);
        outer
    }

    /// `chance` in 0 .. 1 decides how long an arc holds and how high its spark goes.
    fn act(&mut self, action: Action, chance: [f64; 2]) {
        self.switched_s = self.now_s;
        let before = self.motor_voltage();
        match action {
            Action::Close(outside) => {
                self.circuit = Circuit::Loop(outside);
                self.opening = Opening::None;
                let after = self.motor_voltage();
                let lead = outside.inductance_h.max(1e-9);
                let rate = 1.0 / (lead * self.rig.stray_capacitance_f).sqrt();
                self.ring = Some(Ring {
                    from_s: self.now_s,
                    amplitude_v: 0.3 * (after - before),
                    rate,
                    decay_s: std::f64::consts::TAU / rate,
                    current_per_v: 0.0,
                });
            }
            Action::Break => {
                self.ring = None;
                match self.circuit {
                    Circuit::Loop(base) if self.state.current_a != 0.0 => {
                        let arc = self.rig.arc;
                        let plateau_s = arc.plateau_s * (0.3 + 0.7 * chance[0]);
                        self.spark_v =
                            arc.spark_v[0] + (arc.spark_v[1] - arc.spark_v[0]) * chance[1];
                        if plateau_s > 0.0 {
                            self.circuit = Circuit::Loop(Loop {
                                source_v: base.source_v
                                    - self.state.current_a.signum() * arc.plateau_v,
                                ..base
                            });
                            self.opening = Opening::Plateau {
                                until_s: self.now_s + plateau_s,
                                base,
                            };
                        } else {
                            self.spark(base);
                        }
                    }
                    _ => self.circuit = Circuit::Open,
                }
            }
            Action::Freewheel(outside) => {
                self.ring = None;
                if self.state.current_a > 0.0 {
                    self.circuit = Circuit::Loop(outside);
                    self.opening = Opening::Diode;
                } else {
                    self.circuit = Circuit::Open;
                    self.opening = Opening::None;
                }
            }
        }
    }

    /// Runs to `until_s` through `events` without noting rows, and gives the mean speed (rad/s) and mean current (A) of the
    /// second half.
    pub fn settle(
        &mut self,
        from_s: f64,
        until_s: f64,
        events: &[Event],
        dice: &mut Dice,
    ) -> (f64, f64) {
        let half_s = 0.5 * (from_s + until_s);
        self.now_s = from_s;
        let mut mark = (self.state.theta, 0.0);
        let mut coming = events.iter().peekable();
        for until_s in [half_s, until_s] {
            mark = (self.state.theta, self.charge_as);
            self.advance(&mut coming, until_s, dice);
        }
        self.peak_a = 0.0;
        let span_s = until_s - half_s;
        (
            (self.state.theta - mark.0) / span_s,
            (self.charge_as - mark.1) / span_s,
        )
    }

    /// The winding as warm as it was before settling: the person waited between shots.
    pub fn rewarm(&mut self, resistance_ohm: f64) {
        self.plant.resistance_ohm = resistance_ohm;
    }

    /// Glides to `until_s` through the events due by then.
    fn advance(
        &mut self,
        coming: &mut std::iter::Peekable<std::slice::Iter<'_, Event>>,
        until_s: f64,
        dice: &mut Dice,
    ) {
        while let Some(event) = coming.next_if(|event| event.at_s <= until_s) {
            self.glide(event.at_s);
            let chance = [dice.uniform(0.0, 1.0), dice.uniform(0.0, 1.0)];
            self.act(event.action, chance);
        }
        self.glide(until_s);
    }

    /// Voltage at the channel and current at the sensor now.
    fn channels(&self) -> (f64, f64) {
        let circuit = self.present();
        let (motor_v, current_rate) = self.plant.terminals(&self.state, &circuit);
        let mut current = match &self.filter {
            Some(filter) => filter.output,
            None => self.state.current_a,
        };
        current -= current_rate * self.skew_s;
        let mut voltage = motor_v;
        if let Circuit::Loop(_) = circuit {
            voltage += self.inside_ohm * self.state.current_a;
        }
        if let Some((by_v, by_a)) = self.ring.and_then(|ring| ring.at(self.now_s)) {
            voltage += by_v;
            current += by_a;
        }
        if self.plant.shaft != Shaft::Held {
            voltage += self.plant.commutation.needle(
                self.state.theta,
                self.state.omega,
                self.state.current_a / self.full_current_a,
            );
        }
        (voltage, current)
    }

    /// Runs through `events` (in order of time) and notes every row. With `averaged` a row is the mean over its interval.
    pub fn record(
        &mut self,
        events: &[Event],
        rows: &Rows,
        averaged: bool,
        dice: &mut Dice,
    ) -> Tape {
        let mut tape = Tape {
            voltage_v: Vec::with_capacity(rows.count),
            current_a: Vec::with_capacity(rows.count),
            speed_rad_s: Vec::with_capacity(rows.count),
            ..Tape::default()
        };
        let mut coming = events.iter().peekable();
        const SLICES: usize = 4;
        for row in 0..rows.count {
            let at_s = rows.true_time(row);
            let (voltage, current) = if averaged {
                let mut sum = (0.0, 0.0);
                for slice in 0..SLICES {
                    let shift = (slice as f64 + 0.5) / SLICES as f64 - 0.5;
                    self.advance(&mut coming, at_s + shift * rows.step_s, dice);
                    let (voltage, current) = self.channels();
                    sum.0 += voltage;
                    sum.1 += current;
                }
                (sum.0 / SLICES as f64, sum.1 / SLICES as f64)
            } else {
                self.advance(&mut coming, at_s, dice);
                self.channels()
            };
            tape.voltage_v.push(voltage);
            tape.current_a.push(current);
            tape.speed_rad_s.push(self.state.omega);
        }
        tape.peak_a = self.peak_a;
        tape.current_stopped_s = self.stopped_s;
        tape.rest_s = self.rest_s.filter(|_| self.state.direction == 0.0);
        tape
    }
}
