//! A segment count that somebody stated, compared with the harmonic pattern.

use super::cycles::{USUAL_POLES, cycles_per_revolution};
use crate::ripple::result::{Candidate, RippleResult};
use std::fmt;

/// Evidence of a stated count over that of the best one, from the pattern alone, below which the two disagree. A pattern that shows one line
/// only leaves all counts about as probable, each a few per cent: a bare probability would doubt every one of them.
const LEAST_LIKELY: f64 = 0.05;

/// What the harmonic pattern says of a stated count.
#[derive(Clone, Debug, PartialEq)]
pub enum StatedCount {
    /// Its constant has this probability from the pattern alone.
    Agrees {
        /// The stated segment count.
        segments: u32,
        /// Probability of its constant from the pattern alone.
        probability: f64,
    },
    /// Agrees where K is that of the other speed references; from the pattern alone it would be `best` segments.
    AgreesAtReference {
        /// The stated segment count.
        segments: u32,
        /// The segment count that the pattern shows.
        best: u32,
    },
    /// Makes a multiple of the cycles a revolution that the pattern shows.
    Multiple {
        /// The stated segment count.
        segments: u32,
        /// Ripple cycles a revolution that the pattern shows.
        cycles: u32,
    },
    /// The probability of the count from the pattern alone, and what the pattern shows.
    Disagrees {
        /// The stated segment count.
        segments: u32,
        /// Probability of its constant from the pattern alone.
        probability: f64,
        /// The segment count that the pattern shows.
        best: u32,
        /// Ripple cycles a revolution that the pattern shows.
        cycles: u32,
    },
}

impl fmt::Display for StatedCount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StatedCount::Agrees {
                segments,
                probability,
            } => write!(
                f,
                "the given {segments} segments agree with the comb (its K has probability {probability:.3} from the comb alone)"
            ),
            StatedCount::AgreesAtReference { segments, best } => write!(
                f,
                "the given {segments} segments agree with the comb where K is what the other speed anchors say; from the comb alone it would be {best} segments"
            ),
            StatedCount::Multiple { segments, cycles } => write!(
                f,
                "the given {segments} segments make a multiple of the {cycles} ripple cycles per revolution that the comb reads: the lines that are seen may be those of unevenness, and K is the same either way"
            ),
            StatedCount::Disagrees {
                segments,
                probability,
                best,
                cycles,
            } => write!(
                f,
                "the given {segments} segments do not agree with the comb: probability {probability:.1e} from the comb alone, which reads {best} segments, {cycles} ripple cycles per revolution. A wrong count makes K wrong by a ratio of small whole numbers"
            ),
        }
    }
}

impl RippleResult {
    /// What the pattern says of a stated segment count; `None` without a line. `anchored`: the candidate whose K is the one that other
    /// speed references give. Which line is the strongest is then no longer in question, and only what the pattern says of that K counts.
    pub fn stated_count(&self, given: u32, anchored: Option<&Candidate>) -> Option<StatedCount> {
        judge(&self.candidates, given, anchored)
    }
}

fn judge(
    candidates: &[Candidate],
    given: u32,
    anchored: Option<&Candidate>,
) -> Option<StatedCount> {
    let first = candidates.first()?;
    let best = candidates
        .iter()
        .max_by(|a, b| a.comb_probability.total_cmp(&b.comb_probability))?;
    let stated = candidates.iter().find(|c| c.segments == given);
    let of_constant = |k: f64| -> f64 {
        let same = |c: &&Candidate| c.back_emf_constant_v_s_per_rad == k;
        let alike = candidates.iter().filter(same);
        alike.map(|c| c.comb_probability).sum()
    };
    let [like, most] = [stated, Some(best)]
        .map(|c| c.map_or(0.0, |c| of_constant(c.back_emf_constant_v_s_per_rad)));
    if like >= LEAST_LIKELY * most {
        return Some(StatedCount::Agrees {
            segments: given,
            probability: like,
        });
    }
    if let Some(k) = anchored.map(|c| c.back_emf_constant_v_s_per_rad)
        && agree_with(candidates, given, k)
    {
        return Some(StatedCount::AgreesAtReference {
            segments: given,
            best: best.segments,
        });
    }
    // Of a multiple every line that is seen is one of unevenness too, and the constant is the same.
    let multiple = first.back_emf_constant_v_s_per_rad == best.back_emf_constant_v_s_per_rad
        && stated.map(|g| g.cycles_per_revolution).is_some_and(|n| {
            n != best.cycles_per_revolution && n.is_multiple_of(best.cycles_per_revolution)
        });
    if multiple {
        return Some(StatedCount::Multiple {
            segments: given,
            cycles: best.cycles_per_revolution,
        });
    }
    let with_it = candidates.iter().filter(|c| c.segments == given);
    Some(StatedCount::Disagrees {
        segments: given,
        probability: with_it.map(|c| c.comb_probability).sum(),
        best: best.segments,
        cycles: best.cycles_per_revolution,
    })
}

/// Whether the pattern's evidence at this K allows the stated count beside the best one there.
fn agree_with(candidates: &[Candidate], given: u32, k: f64) -> bool {
    let of_cycles = |cycles: u32| -> f64 {
        let there = |c: &&Candidate| {
            c.back_emf_constant_v_s_per_rad == k && c.cycles_per_revolution == cycles
        };
        let alike = candidates.iter().filter(there);
        alike.map(|c| c.comb_probability).sum()
    };
    let every = candidates
        .iter()
        .map(|c| of_cycles(c.cycles_per_revolution));
    let most = every.fold(0.0, f64::max);
    cycles_per_revolution(given, USUAL_POLES).is_some_and(|n| of_cycles(n) >= LEAST_LIKELY * most)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Segments, harmonic of the strongest line (which makes K) and probability from the comb.
    fn candidates(of: &[(u32, u32, f64)]) -> Vec<Candidate> {
        let one = |&(segments, harmonic, probability): &(u32, u32, f64)| Candidate {
            segments,
            cycles_per_revolution: cycles_per_revolution(segments, USUAL_POLES).expect("a count"),
            back_emf_constant_v_s_per_rad: 0.01 * f64::from(harmonic),
            standard_uncertainty: 1e-6,
            probability,
            comb_probability: probability,
            constant_probability: probability,
        };
        of.iter().map(one).collect()
    }

    /// Two a revolution outweigh the eight of the commutator, so the comb takes them for the commutation line of seven segments.
    #[test]
    fn a_true_count_whose_unevenness_is_strongest_stands_where_anchors_tell_the_constant() {
        let all = candidates(&[
            (7, 14, 0.6),
            (4, 4, 0.3),
            (8, 8, 5e-3),
            (24, 2, 1e-3),
            (8, 2, 5e-4),
        ]);
        let alone = judge(&all, 8, None).expect("a line");
        assert!(matches!(alone, StatedCount::Disagrees { .. }), "{alone}");
        let anchored = judge(&all, 8, all.last()).expect("a line");
        assert!(
            matches!(anchored, StatedCount::AgreesAtReference { .. }),
            "{anchored}"
        );
        // At that K the comb has nothing for nine segments.
        let wrong = judge(&all, 9, all.last()).expect("a line");
        assert!(matches!(wrong, StatedCount::Disagrees { .. }), "{wrong}");
    }

    #[test]
    fn a_comb_that_leaves_every_count_open_contradicts_none() {
        let open: Vec<(u32, u32, f64)> = (3..=32).map(|s| (s, s, 1.0 / 30.0)).collect();
        let found = judge(&candidates(&open), 12, None).expect("a line");
        assert!(
            matches!(found, StatedCount::Agrees { segments: 12, .. }),
            "{found}"
        );
        let sharp = candidates(&[(13, 26, 0.9), (26, 26, 0.1), (12, 12, 1e-6)]);
        let found = judge(&sharp, 12, None).expect("a line");
        assert!(matches!(found, StatedCount::Disagrees { .. }), "{found}");
    }

    #[test]
    fn a_multiple_of_what_the_comb_reads_makes_the_same_constant() {
        let all = candidates(&[(12, 12, 0.99), (24, 24, 1e-4), (24, 12, 1e-6)]);
        let found = judge(&all, 24, None).expect("a line");
        assert!(
            matches!(found, StatedCount::Multiple { cycles: 12, .. }),
            "{found}"
        );
    }
}
