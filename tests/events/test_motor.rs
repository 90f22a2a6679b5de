//! A small motor on a small bench, for these tests: Euler steps of the model of two lines, contact states by
//! a list, noise and codes. It shares nothing with the estimator's simulator.

use rundown::bench::{Trace, Waveform};
use rundown::capture::TimeAxis;

/// What the terminals see from an instant on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Contact {
    /// To the source.
    Source,
    /// Open: the current dies within microseconds against the arc, then the back-EMF stands.
    Open,
    /// Across a resistance, Ω.
    Short(f64),
    /// Through a freewheel diode with this forward voltage, V, until the current ends.
    Diode(f64),
}

/// Motor, source and instruments.
#[derive(Clone, Debug)]
pub struct TestMotor {
    pub r: f64,
    pub l: f64,
    pub k: f64,
    pub inertia: f64,
    pub friction: f64,
    pub viscous: f64,
    pub source_v: f64,
    pub source_r: f64,
    /// Rotor clamped.
    pub held: bool,
    /// Commutation ripple: share of the back-EMF and cycles a revolution.
    pub ripple: (f64, f64),
    /// Speed at the first row, rad/s.
    pub speed: f64,
    /// Current at the first row, A.
    pub current: f64,
    pub step_s: f64,
    pub rows: usize,
    pub start_s: f64,
    /// Contact states with the instants they begin at; the first must begin before the record.
    pub contacts: Vec<(f64, Contact)>,
    pub noise_v: f64,
    pub noise_a: f64,
    pub code_v: f64,
    pub code_a: f64,
    pub zero_a: f64,
    pub zero_v: f64,
    pub mains_v: f64,
    pub seed: u64,
}

impl Default for TestMotor {
    fn default() -> TestMotor {
        TestMotor {
            r: 2.0,
            l: 1.0e-3,
            k: 0.03,
            inertia: 5.0e-6,
            friction: 3.0e-3,
            viscous: 2.0e-6,
            source_v: 12.0,
            source_r: 0.15,
            held: false,
            ripple: (0.03, 10.0),
            speed: 0.0,
            current: 0.0,
            step_s: 10e-6,
            rows: 10_000,
            start_s: -10e-3,
            contacts: vec![(-1.0, Contact::Open), (0.0, Contact::Source)],
            noise_v: 0.02,
            noise_a: 0.01,
            code_v: 0.08,
            code_a: 0.04,
            zero_a: 0.0,
            zero_v: 0.0,
            mains_v: 0.0,
            seed: 1,
        }
    }
}

impl TestMotor {
    /// Running freely at the source before the record begins.
    pub fn running(mut self) -> TestMotor {
        let r = self.r + self.source_r;
        let drag = |w: f64| self.friction + self.viscous * w;
        let mut speed = self.source_v / self.k;
        for _ in 0..200 {
            speed = (self.source_v - r * drag(speed) / self.k) / self.k;
        }
        self.current = drag(speed) / self.k;
        self.speed = speed;
        self
    }

    /// Simulates and samples; the voltage of a row is the terminal voltage at its instant.
    pub fn record(&self) -> Waveform {
        let sub = ((self.step_s / (self.l / self.r / 40.0)).ceil() as usize).clamp(1, 4000);
        let h = self.step_s / sub as f64;
        let mut state = State {
            current: self.current,
            speed: self.speed,
            angle: 0.3,
            voltage: 0.0,
        };
        let mut noise = Noise(self.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        let (mut volts, mut amps) = (Vec::new(), Vec::new());
        for row in 0..self.rows {
            let t0 = self.start_s + row as f64 * self.step_s;
            for step in 0..sub {
                self.step(&mut state, t0 + step as f64 * h, h);
            }
            let hum = self.mains_v * (std::f64::consts::TAU * 50.0 * t0).sin();
            let volt = state.voltage + self.zero_v + hum + self.noise_v * noise.normal();
            volts.push(code(volt, self.code_v));
            let amp = state.current + self.zero_a + self.noise_a * noise.normal();
            amps.push(code(amp, self.code_a));
        }
        let trace = |values: Vec<f64>, step: f64| Trace {
            clipped: vec![false; values.len()],
            quantisation_step: (step > 0.0).then_some(step),
            values,
        };
        Waveform {
            time: TimeAxis::Uniform {
                start_s: self.start_s,
                step_s: self.step_s,
                len: self.rows,
            },
            voltage_v: Some(trace(volts, self.code_v)),
            current_a: Some(trace(amps, self.code_a)),
        }
    }

    /// One Euler step of `h` s from time `t`.
    fn step(&self, state: &mut State, t: f64, h: f64) {
        let contact = self.contacts.iter().rev().find(|c| c.0 <= t);
        let contact = contact.map_or(Contact::Open, |c| c.1);
        let (r, l, k) = (self.r, self.l, self.k);
        let e = k * state.speed * (1.0 + self.ripple.0 * (self.ripple.1 * state.angle).sin());
        let i = state.current;
        state.voltage = match contact {
            Contact::Source => self.source_v - self.source_r * i,
            Contact::Short(ohm) => -ohm * i,
            Contact::Diode(forward_v) if i > 1e-3 => -forward_v,
            Contact::Open if i.abs() > 0.02 * self.source_v / r => {
                e - 4.0 * self.source_v * i.signum()
            }
            Contact::Open | Contact::Diode(_) => {
                state.current = 0.0;
                e
            }
        };
        let before = state.current;
        state.current += h * (state.voltage - r * before - e) / l;
        if contact == Contact::Open && state.current * before <= 0.0 {
            state.current = 0.0;
        }
        if !self.held {
            self.turn(state, h);
        }
    }

    /// The rotor over one step: it rests where friction holds it.
    fn turn(&self, state: &mut State, h: f64) {
        let w = state.speed;
        let torque = self.k * state.current;
        let drag = self.friction + self.viscous * w.abs();
        state.speed = if w.abs() < 1e-9 && torque.abs() < drag {
            0.0
        } else if w == 0.0 {
            h * (torque - drag * torque.signum()) / self.inertia
        } else {
            let next = w + h * (torque - drag * w.signum()) / self.inertia;
            if w * next < 0.0 { 0.0 } else { next }
        };
        state.angle += h * state.speed;
    }
}

/// What changes from step to step.
struct State {
    current: f64,
    speed: f64,
    angle: f64,
    voltage: f64,
}

/// Nearly normal numbers from a shift register.
struct Noise(u64);

impl Noise {
    fn normal(&mut self) -> f64 {
        let mut sum = 0.0;
        for _ in 0..12 {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            sum += (self.0 >> 11) as f64 / (1u64 << 53) as f64;
        }
        sum - 6.0
    }
}

/// The nearest code of a converter; no step, no codes.
fn code(x: f64, step: f64) -> f64 {
    if step > 0.0 {
        (x / step).round() * step
    } else {
        x
    }
}

/// Contact states of a supply switched with this period and duty from time 0 on, off through a diode.
pub fn chopped(period_s: f64, duty: f64, from_s: f64, until_s: f64) -> Vec<(f64, Contact)> {
    let count = ((until_s - from_s) / period_s).ceil() as usize;
    (0..count)
        .flat_map(|k| {
            let t = from_s + k as f64 * period_s;
            [
                (t, Contact::Source),
                (t + duty * period_s, Contact::Diode(0.6)),
            ]
        })
        .collect()
}
