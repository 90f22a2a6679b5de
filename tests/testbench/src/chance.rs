//! Random draws of the simulated bench: the same numbers from the same seed on every machine.

use rand::rngs::StdRng;
use rand::{Rng, RngCore, SeedableRng};

/// A stream of draws. Streams with other labels are independent, so that one capture more changes no other draw.
pub(crate) struct Dice {
    source: StdRng,
    spare: Option<f64>,
}

impl Dice {
    /// Stream `label` of the bench `seed`.
    pub fn new(seed: u64, label: &str) -> Self {
        // FNV-1a: the standard hasher may change between versions of the compiler.
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        for byte in label.bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        Dice {
            source: StdRng::seed_from_u64(mix(seed) ^ hash),
            spare: None,
        }
    }

    /// Uniform in `low .. high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.source.random::<f64>()
    }

    /// Standard normal draw, polar method of Marsaglia and Bray (SIAM Review 6 (1964) 260).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let x = self.uniform(-1.0, 1.0);
            let y = self.uniform(-1.0, 1.0);
            let square = x * x + y * y;
            if square > 0.0 && square < 1.0 {
                let factor = (-2.0 * libm::log(square) / square).sqrt();
                self.spare = Some(y * factor);
                return x * factor;
            }
        }
    }

    /// Integer in `low ..= high`.
    pub fn integer(&mut self, low: u32, high: u32) -> u32 {
        self.source.random_range(low..=high.max(low))
    }

    /// Raw bits, as a seed for [`lattice`].
    pub fn bits(&mut self) -> u64 {
        self.source.next_u64()
    }
}

/// Finaliser of SplitMix64: neighbouring inputs give unrelated outputs.
fn mix(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Uniform number in `0 .. 1` that belongs to lattice point `cell` of `seed`.
pub(crate) fn lattice(seed: u64, cell: i64) -> f64 {
    // One step of SplitMix64 a cell: the sequence of a generator, entered at any place.
    let place = (cell as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    (mix(seed.wrapping_add(place)) >> 11) as f64 / (1_u64 << 53) as f64
}

/// Noise of unit variance over a line, linear between lattice points one apart.
pub(crate) fn lattice_noise(seed: u64, place: f64) -> f64 {
    let floor = place.floor();
    let fraction = place - floor;
    let cell = floor as i64;
    let here = lattice(seed, cell) - 0.5;
    let next = lattice(seed, cell + 1) - 0.5;
    // A uniform number of width 1 has variance 1/12; the mean over the cell of (1-f)^2 + f^2 is 2/3.
    (here + (next - here) * fraction) * 18.0_f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lattice_noise_has_unit_variance_and_no_mean() {
        let count = 200_000;
        let values: Vec<f64> = (0..count)
            .map(|k| lattice_noise(7, 0.37 * f64::from(k)))
            .collect();
        let mean = values.iter().sum::<f64>() / f64::from(count);
        let variance = values.iter().map(|v| v * v).sum::<f64>() / f64::from(count);
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((variance - 1.0).abs() < 0.01, "{variance}");
    }

    #[test]
    fn normal_draws_have_the_moments_of_a_normal_distribution() {
        let mut dice = Dice::new(3, "moments");
        let count = 200_000;
        let values: Vec<f64> = (0..count).map(|_| dice.normal()).collect();
        let moment = |power: i32| values.iter().map(|v| v.powi(power)).sum::<f64>() / count as f64;
        assert!(moment(1).abs() < 0.01);
        assert!((moment(2) - 1.0).abs() < 0.015);
        assert!((moment(4) - 3.0).abs() < 0.1);
    }

    #[test]
    fn streams_differ_by_label_and_by_seed() {
        let first = Dice::new(1, "a").bits();
        assert_ne!(first, Dice::new(1, "b").bits());
        assert_ne!(first, Dice::new(2, "a").bits());
        assert_eq!(first, Dice::new(1, "a").bits());
    }
}
