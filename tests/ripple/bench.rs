//! A simulated run-down: commutator, unevenness, needles, friction, zero offset, noise, converter.
//!
//! The simulation shares no code with the library. Angle is integrated in closed form, `dω/dt = -(ω + c)/τ` (viscous and Coulomb friction), so
//! nothing here depends on the analysis it tests.

use rand::{Rng, SeedableRng, rngs::StdRng};
use rand_distr::StandardNormal;
use rundown::ripple::{RippleOptions, RippleResult, Unreadable, analyse_run_down};
use std::f64::consts::PI;

/// The analysis of a run-down sampled at `k·step_s`.
pub fn evenly_sampled(
    step_s: f64,
    voltage_v: &[f64],
    options: &RippleOptions,
) -> Result<RippleResult, Unreadable> {
    let time_s: Vec<f64> = (0..voltage_v.len()).map(|k| step_s * k as f64).collect();
    analyse_run_down(&time_s, voltage_v, options)
}

/// What is simulated.
#[derive(Clone, Debug)]
pub struct Bench {
    pub segments: u32,
    pub poles: u32,
    pub constant_v_s_per_rad: f64,
    pub start_v: f64,
    pub revolutions: f64,
    pub samples: usize,
    /// Coulomb over viscous drag at the start.
    pub coulomb: f64,
    /// Amplitude of the commutation line over the EMF; 0 for a motor without ripple.
    pub ripple: f64,
    /// Standard deviation of the EMF from coil to coil, and amplitude once per revolution, over the EMF.
    pub unevenness: f64,
    pub eccentric: bool,
    pub needles: bool,
    /// Noise in V.
    pub noise_v: f64,
    /// Zero offset in V.
    pub zero_v: f64,
    /// Converter step in V; 0 for none.
    pub code_v: f64,
    pub hum_v: f64,
    pub hum_hz: f64,
    /// Rows after standstill over the rows before.
    pub rest: f64,
    pub seed: u64,
}

impl Default for Bench {
    fn default() -> Self {
        let start_v = 12.0;
        let code_v = 1.25 * start_v / 256.0;
        Bench {
            segments: 7,
            poles: 2,
            constant_v_s_per_rad: 0.021,
            start_v,
            revolutions: 40.0,
            samples: 8000,
            coulomb: 1.0,
            ripple: 0.012,
            unevenness: 0.01,
            eccentric: true,
            needles: true,
            noise_v: 0.5 * code_v,
            zero_v: 0.2 * code_v,
            code_v,
            hum_v: 0.0,
            hum_hz: 50.0,
            rest: 0.1,
            seed: 1,
        }
    }
}

/// A simulated record and its truth.
pub struct Made {
    pub step_s: f64,
    pub voltage_v: Vec<f64>,
    pub cycles: u32,
    /// N/(2πK), cycles per V·s.
    pub line: f64,
}

/// Ripple cycles a revolution under two poles.
pub fn count(segments: u32) -> u32 {
    least_common_multiple(segments, 2)
}

pub fn least_common_multiple(a: u32, b: u32) -> u32 {
    (1..=b).map(|k| k * a).find(|m| m % b == 0).unwrap_or(a * b)
}

impl Bench {
    pub fn make(&self) -> Made {
        let mut random = StdRng::seed_from_u64(self.seed);
        let cycles = least_common_multiple(self.segments, self.poles);
        let speed = self.start_v / self.constant_v_s_per_rad;
        // ω = (ω0 + c) exp(-t/τ) - c, c = coulomb·ω0; standstill where it meets zero.
        let c = self.coulomb.max(0.05) * speed;
        let stop = ((speed + c) / c).ln();
        let turn = (speed + c) * (1.0 - (-stop).exp()) - c * stop;
        let tau = 2.0 * PI * self.revolutions / turn;
        let stop_s = stop * tau;
        let step_s = stop_s / self.samples as f64;
        let pulses = Pulses::new(self, cycles, &mut random);
        let total = (self.samples as f64 * (1.0 + self.rest)) as usize;
        let phase = 2.0 * PI * random.random::<f64>();
        let voltage_v = (0..total)
            .map(|k| {
                let t = (k as f64 + 0.5) * step_s;
                let mut v = 0.0;
                if t < stop_s {
                    let decay = (-t / tau).exp();
                    let omega = (speed + c) * decay - c;
                    let theta = (speed + c) * tau * (1.0 - decay) - c * t;
                    v = self.constant_v_s_per_rad * omega * (1.0 + pulses.at(theta));
                }
                v += self.zero_v + self.hum_v * (2.0 * PI * self.hum_hz * t + phase).sin();
                v += self.noise_v * random.sample::<f64, _>(StandardNormal);
                if self.code_v > 0.0 {
                    (v / self.code_v).round() * self.code_v
                } else {
                    v
                }
            })
            .collect();
        Made {
            step_s,
            voltage_v,
            cycles,
            line: f64::from(cycles) / (2.0 * PI * self.constant_v_s_per_rad),
        }
    }
}

/// EMF ripple over one revolution.
struct Pulses {
    cycles: u32,
    harmonics: [(f64, f64); 3],
    once: (f64, f64),
    /// Excess of each commutation interval.
    excess: Vec<f64>,
    needle: f64,
    /// Taken off so that K is the mean over a turn.
    mean: f64,
}

impl Pulses {
    fn new(bench: &Bench, cycles: u32, random: &mut StdRng) -> Pulses {
        let mut phase = || 2.0 * PI * random.random::<f64>();
        let harmonics = [
            (bench.ripple, phase()),
            (0.25 * bench.ripple, phase()),
            (0.1 * bench.ripple, phase()),
        ];
        let once = (
            if bench.eccentric {
                bench.unevenness
            } else {
                0.0
            },
            phase(),
        );
        let coils: Vec<f64> = (0..bench.segments)
            .map(|_| bench.unevenness * random.sample::<f64, _>(StandardNormal))
            .collect();
        // Under equal poles a coil makes the same pulse at every brush: edge j of S and brush b of 2p meet at j/S + b/2p of a turn.
        let mut met = vec![(0.0, 0.0); cycles as usize];
        for (j, coil) in coils.iter().enumerate() {
            for b in 0..bench.poles {
                let at = j as u32 * (cycles / bench.segments) + b * (cycles / bench.poles);
                let (sum, count) = &mut met[(at % cycles) as usize];
                *sum += coil;
                *count += 1.0;
            }
        }
        let excess = met.into_iter().map(|(sum, count)| sum / count).collect();
        let needle = if bench.needles {
            0.5 * bench.ripple
        } else {
            0.0
        };
        let mut pulses = Pulses {
            cycles,
            harmonics,
            once,
            excess,
            needle,
            mean: 0.0,
        };
        let steps = 20_000;
        pulses.mean = (0..steps)
            .map(|k| pulses.at(2.0 * PI * f64::from(k) / f64::from(steps)))
            .sum::<f64>()
            / f64::from(steps);
        pulses
    }

    fn at(&self, theta: f64) -> f64 {
        let turn = (theta / (2.0 * PI)).fract();
        let place = turn * f64::from(self.cycles);
        let angle = 2.0 * PI * place;
        let mut sum = -self.mean + self.once.0 * (theta + self.once.1).cos();
        for (order, (amplitude, phase)) in self.harmonics.iter().enumerate() {
            sum += amplitude * ((order + 1) as f64 * angle + phase).cos();
        }
        // Raised cosine over its own interval and half of each neighbour.
        for side in -1..=1i32 {
            let centre = place.floor() + f64::from(side) + 0.5;
            let d = (place - centre).abs();
            if d < 1.0 {
                let k = (place.floor() as i32 + side).rem_euclid(self.cycles as i32) as usize;
                sum += self.excess[k] * 0.5 * (1.0 + (PI * d).cos());
            }
        }
        let from_edge = place - place.round();
        sum + self.needle * (-0.5 * (from_edge / 0.02).powi(2)).exp()
    }
}
