//! What repeats with the rotor's angle: back-EMF constant, resistance, brush noise, cogging and unbalance.

use super::machine::Machine;
use crate::chance::{Dice, lattice, lattice_noise};
use std::f64::consts::TAU;

/// Points of a turn in the tables; linear between them.
const POINTS: usize = 2048;

/// Relative back-EMF constant and resistance over a turn, both with mean 1 over the turn.
///
/// Each commutation interval is a lobe of the rectified EMF of the coils: a rounded top between two cusps, as the sum of the
/// coils in series gives it. Lobes differ in height and their borders in position by errors that belong to the segments: edge j of
/// S meets brush b of 2p, one at every pole, at j/S + b/2p of a turn, so that each error shows 2p times a turn.
pub(crate) struct Commutation {
    /// Relative back-EMF constant, relative resistance, and torque of position in N·m.
    table: Vec<[f64; 3]>,
    lines: f64,
    brush_noise: f64,
    needle_v: f64,
    needle_s: f64,
    noise_seed: u64,
    flat: bool,
    /// Amplitude, cycles a turn and phase of each wave of the relative inductance.
    inductance: Vec<[f64; 3]>,
}

impl Commutation {
    pub fn draw(machine: &Machine, dice: &mut Dice) -> Self {
        let commutator = &machine.commutator;
        let lines = machine.lines_per_turn() as usize;
        let segments = commutator.segments as usize;
        let segment_height: Vec<f64> = (0..segments)
            .map(|_| commutator.unevenness * dice.normal())
            .collect();
        // The position of a segment's edge, in commutation intervals: a few times its relative height error.
        let segment_place: Vec<f64> = (0..segments)
            .map(|_| (2.0 * commutator.unevenness * dice.normal()).clamp(-0.3, 0.3))
            .collect();
        let poles = commutator.poles as usize;
        let of_line = |values: &[f64], line: usize| {
            let (mut sum, mut count) = (0.0, 0.0);
            for brush in 0..poles {
                // The edge that this brush meets then, if any.
                let since = (line + lines - brush * (lines / poles)) % lines;
                if since.is_multiple_of(lines / segments) {
                    sum += values[since / (lines / segments)];
                    count += 1.0;
                }
            }
            sum / f64::sqrt(count)
        };
        let borders: Vec<f64> = (0..lines)
            .map(|line| line as f64 + of_line(&segment_place, line))
            .collect();
        let once = [
            0.5 * commutator.unevenness * dice.normal(),
            0.25 * commutator.unevenness * dice.normal(),
        ];
        let phases: Vec<f64> = (0..6).map(|_| dice.uniform(0.0, TAU)).collect();

        let half_pitch = std::f64::consts::PI / lines as f64;
        // Height of a whole lobe of cos between its cusps, which emf_ripple is the scaled version of.
        let lobe = 1.0 - libm::cos(half_pitch);
        let mut table: Vec<[f64; 3]> = Vec::with_capacity(POINTS);
        for point in 0..POINTS {
            let turn = point as f64 / POINTS as f64;
            let place = turn * lines as f64;
            let mut line = place.floor() as usize % lines;
            // Borders move by less than half an interval: the right lobe is this one or a neighbour.
            let wrapped = |line: usize, place: f64| {
                let mut offset = place - borders[line];
                if offset > 0.5 * lines as f64 {
                    offset -= lines as f64;
                } else if offset < -0.5 * lines as f64 {
                    offset += lines as f64;
                }
                offset
            };
            if wrapped(line, place) < 0.0 {
                line = (line + lines - 1) % lines;
            } else if wrapped((line + 1) % lines, place) >= 0.0 {
                line = (line + 1) % lines;
            }
            let since = wrapped(line, place);
            let left = -wrapped((line + 1) % lines, place);
            let x = since / (since + left).max(1e-9) - 0.5;
            let dip = (1.0 - libm::cos(2.0 * x * half_pitch)) / lobe;
            let emf = (1.0 - commutator.emf_ripple * dip) * (1.0 + of_line(&segment_height, line))
                + once[0] * libm::cos(TAU * turn + phases[0])
                + once[1] * libm::cos(2.0 * TAU * turn + phases[1]);
            let angle = TAU * place;
            let resistance = 0.55 * libm::cos(angle + phases[2])
                + 0.25 * libm::cos(2.0 * angle + phases[3])
                + 0.2 * libm::cos(TAU * turn + phases[4]);
            let position_nm = machine.cogging_nm * libm::sin(angle)
                + machine.unbalance_nm * libm::sin(TAU * turn);
            table.push([
                emf,
                commutator.resistance_variation * resistance,
                position_nm,
            ]);
        }
        smooth(&mut table, (POINTS / (16 * lines)).max(1));
        let count = POINTS as f64;
        let emf_mean = table.iter().map(|row| row[0]).sum::<f64>() / count;
        let resistance_mean = table.iter().map(|row| row[1]).sum::<f64>() / count;
        for row in &mut table {
            row[0] /= emf_mean;
            row[1] += 1.0 - resistance_mean;
        }
        let noise_seed = dice.bits();
        let inductance = inductance_waves(machine, dice);
        Commutation {
            table,
            lines: lines as f64,
            brush_noise: commutator.brush_noise,
            needle_v: commutator.needle_v,
            needle_s: commutator.needle_s,
            noise_seed,
            inductance,
            flat: commutator.emf_ripple == 0.0
                && commutator.unevenness == 0.0
                && commutator.resistance_variation == 0.0
                && machine.cogging_nm == 0.0
                && machine.unbalance_nm == 0.0,
        }
    }

    /// Relative back-EMF constant, relative resistance with brush noise, and torque of position against positive rotation
    /// (N·m) at `theta` (rad, any number of turns).
    #[inline]
    pub fn at(&self, theta: f64) -> (f64, f64, f64) {
        let (emf, mut resistance, position_nm) = if self.flat {
            (1.0, 1.0, 0.0)
        } else {
            let place = theta * (POINTS as f64 / TAU);
            let floor = place.floor();
            let fraction = place - floor;
            let index = (floor as i64 as usize) & (POINTS - 1);
            let here = self.table[index];
            let next = self.table[(index + 1) & (POINTS - 1)];
            (
                here[0] + (next[0] - here[0]) * fraction,
                here[1] + (next[1] - here[1]) * fraction,
                here[2] + (next[2] - here[2]) * fraction,
            )
        };
        if self.brush_noise > 0.0 {
            let place = theta * (4.0 * self.lines / TAU);
            resistance *= 1.0 + self.brush_noise * lattice_noise(self.noise_seed, place);
        }
        (emf, resistance, position_nm)
    }

    /// Relative inductance at `theta`, and its derivative by the angle.
    #[inline]
    pub fn inductance(&self, theta: f64) -> (f64, f64) {
        let mut out = (1.0, 0.0);
        for [amplitude, cycles, phase] in &self.inductance {
            let (sine, cosine) = libm::sincos(cycles * theta + phase);
            out.0 += amplitude * cosine;
            out.1 -= amplitude * cycles * sine;
        }
        out
    }

    /// Voltage of the last commutation needle, V: an exponential from each commutation on, of random height that grows with
    /// the share `load` of the full current that is commutated.
    pub fn needle(&self, theta: f64, omega: f64, load: f64) -> f64 {
        if self.needle_v == 0.0 || omega == 0.0 {
            return 0.0;
        }
        let place = theta * (self.lines / TAU);
        let floor = place.floor();
        let fraction = if omega > 0.0 {
            place - floor
        } else {
            floor + 1.0 - place
        };
        let since_s = fraction * TAU / (self.lines * omega.abs());
        if since_s > 12.0 * self.needle_s {
            return 0.0;
        }
        let chance = lattice(self.noise_seed.rotate_left(17), floor as i64);
        let height = -libm::log(1.0 - chance) * self.needle_v * (0.1 + load.abs());
        height * libm::exp(-since_s / self.needle_s) * omega.signum()
    }

    /// Whether nothing varies with the angle.
    #[cfg(test)]
    pub fn is_flat(&self) -> bool {
        self.flat && self.brush_noise == 0.0
    }
}

/// Waves of the inductance over a turn: teeth that pass the poles' edges and coils that the brushes short, with each commutation; a
/// stack that is not round, with each pole and turn.
fn inductance_waves(machine: &Machine, dice: &mut Dice) -> Vec<[f64; 3]> {
    if machine.inductance_variation == 0.0 {
        return Vec::new();
    }
    let poles = f64::from(machine.commutator.poles);
    [
        (0.5, f64::from(machine.lines_per_turn())),
        (0.3, poles),
        (0.2, 1.0),
    ]
    .into_iter()
    .map(|(share, cycles)| {
        let phase = dice.uniform(0.0, TAU);
        [share * machine.inductance_variation, cycles, phase]
    })
    .collect()
}

/// Moving mean over `2 * reach + 1` points around the turn: commutation takes a share of the interval.
fn smooth(table: &mut [[f64; 3]], reach: usize) {
    let source = table.to_vec();
    let count = source.len();
    for (index, row) in table.iter_mut().enumerate() {
        let mut sum = 0.0;
        for step in 0..=2 * reach {
            sum += source[(index + count + step - reach) % count][0];
        }
        row[0] = sum / (2 * reach + 1) as f64;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::presets;

    fn mean_over_a_turn(commutation: &Commutation) -> (f64, f64) {
        let count = 10_000;
        let mut sum = (0.0, 0.0);
        for k in 0..count {
            let (emf, resistance, _) = commutation.at(TAU * f64::from(k) / f64::from(count));
            sum.0 += emf;
            sum.1 += resistance;
        }
        (sum.0 / f64::from(count), sum.1 / f64::from(count))
    }

    #[test]
    fn constant_and_resistance_have_mean_one_over_a_turn() {
        for scenario in presets::all() {
            let mut machine = scenario.machine;
            machine.commutator.brush_noise = 0.0;
            let (emf, resistance) =
                mean_over_a_turn(&Commutation::draw(&machine, &mut Dice::new(5, "x")));
            assert!((emf - 1.0).abs() < 1e-5, "{emf}");
            assert!((resistance - 1.0).abs() < 1e-5, "{resistance}");
        }
    }

    /// Share of the ripple at `harmonic` cycles a turn.
    fn line(commutation: &Commutation, harmonic: f64) -> f64 {
        let count = 4096;
        let (mut real, mut imaginary) = (0.0, 0.0);
        for k in 0..count {
            let angle = TAU * f64::from(k) / f64::from(count);
            let emf = commutation.at(angle).0;
            real += emf * libm::cos(harmonic * angle);
            imaginary += emf * libm::sin(harmonic * angle);
        }
        2.0 * libm::hypot(real, imaginary) / f64::from(count)
    }

    #[test]
    fn ripple_stands_at_twice_the_segments_when_odd_and_at_the_segments_when_even() {
        for (segments, strong, weak) in [(5, 10.0, 5.0), (7, 14.0, 7.0), (12, 12.0, 6.0)] {
            let mut machine = presets::all()[0].machine.clone();
            machine.commutator.segments = segments;
            machine.commutator.emf_ripple = 0.06;
            machine.commutator.brush_noise = 0.0;
            machine.commutator.unevenness = 0.0;
            let even = Commutation::draw(&machine, &mut Dice::new(11, "x"));
            assert!(line(&even, strong) > 0.01, "{segments}");
            assert!(line(&even, weak) < 1e-4, "{segments}");
            assert!(line(&even, 1.0) < 1e-6, "{segments}");
            machine.commutator.unevenness = 0.02;
            let uneven = Commutation::draw(&machine, &mut Dice::new(11, "x"));
            assert!(line(&uneven, 1.0) + line(&uneven, 2.0) > 1e-3, "{segments}");
        }
    }

    #[test]
    fn peak_to_peak_ripple_is_what_was_asked() {
        let mut machine = presets::all()[0].machine.clone();
        machine.commutator.segments = 7;
        machine.commutator.emf_ripple = 0.05;
        machine.commutator.unevenness = 0.0;
        machine.commutator.brush_noise = 0.0;
        let commutation = Commutation::draw(&machine, &mut Dice::new(1, "x"));
        let values: Vec<f64> = (0..4096)
            .map(|k| commutation.at(TAU * f64::from(k) / 4096.0).0)
            .collect();
        let high = values.iter().fold(f64::MIN, |a, &b| a.max(b));
        let low = values.iter().fold(f64::MAX, |a, &b| a.min(b));
        // The overlap of commutation rounds the cusps, so a little less than asked.
        assert!(high - low > 0.035 && high - low < 0.052, "{}", high - low);
    }
}
