//! One commutator and constant that may have made a pattern.

use super::cycles::Commutator;

/// Probability of a constant from which it is named beside a more probable one, and how many are.
const POSSIBLE: f64 = 0.02;
const MOST_RIVALS: usize = 4;

/// One hypothesis of what made the comb.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Candidate {
    /// Segments, poles and brushes.
    pub commutator: Commutator,
    /// Ripple cycles per revolution N of that commutator.
    pub cycles_per_revolution: u32,
    /// Harmonic of one revolution that the strongest line is.
    pub harmonic: u32,
    /// K in V·s/rad, relative to the gain of the voltage channel.
    pub back_emf_constant_v_s_per_rad: f64,
    /// One standard deviation of K under this candidate, V·s/rad.
    pub standard_uncertainty: f64,
    /// Probability of this commutator, with what was counted at it (if anything) weighed in.
    pub probability: f64,
    /// Probability of this commutator from the pattern alone.
    pub comb_probability: f64,
    /// Probability of this K: of all commutators that share it, summed.
    pub constant_probability: f64,
}

/// The most probable of each constant that is not out of the question, of candidates in the order of a result.
pub(crate) fn rivals(candidates: &[Candidate]) -> Vec<Candidate> {
    let mut all: Vec<Candidate> = Vec::new();
    for c in candidates {
        let known = all.iter().any(|r| r.harmonic == c.harmonic);
        if !known && c.constant_probability > POSSIBLE && all.len() < MOST_RIVALS {
            all.push(c.clone());
        }
    }
    all
}
