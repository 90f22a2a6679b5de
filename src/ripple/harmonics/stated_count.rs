//! What somebody counted at the commutator, compared with the harmonic pattern.

use super::cycles::{Commutator, Counted};
use crate::ripple::harmonics::candidate::Candidate;
use crate::ripple::result::RippleResult;
use std::fmt;

/// Evidence of a stated count over that of the best one, from the pattern alone, below which the two disagree. A pattern that shows one line
/// only leaves all counts about as probable, each a few per cent: a bare probability would doubt every one of them.
const LEAST_LIKELY: f64 = 0.05;

/// What the harmonic pattern says of a stated count.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct StatedCount {
    /// What was counted.
    pub counted: Counted,
    /// The commutator that the pattern alone suggests most.
    pub best: Commutator,
    /// How the two go together.
    pub verdict: CountVerdict,
}

/// How a count and the harmonic pattern go together.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CountVerdict {
    /// Its constant has this probability from the pattern alone.
    Agrees(f64),
    /// Agrees where K is that of the other speed references, not from the pattern alone.
    AgreesAtReference,
    /// Makes a multiple of these cycles a revolution, which the pattern shows.
    Multiple(u32),
    /// Its probability from the pattern alone, and the cycles a revolution that the pattern shows.
    Disagrees(f64, u32),
}

impl fmt::Display for StatedCount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let StatedCount { counted, best, .. } = self;
        match self.verdict {
            CountVerdict::Agrees(probability) => write!(
                f,
                "the stated {counted} agree with the harmonic pattern of the ripple (their K has probability {probability:.3} from the pattern alone)"
            ),
            CountVerdict::AgreesAtReference => write!(
                f,
                "the stated {counted} agree with the harmonic pattern of the ripple at the K of the other speed references; the pattern alone suggests {best}"
            ),
            CountVerdict::Multiple(cycles) => write!(
                f,
                "the stated {counted} make a multiple of the {cycles} ripple cycles per revolution that the pattern shows: its lines may be those of unevenness, and K is the same either way"
            ),
            CountVerdict::Disagrees(probability, cycles) => write!(
                f,
                "the stated {counted} disagree with the harmonic pattern of the ripple: probability {} from the pattern alone, which suggests {best}, {cycles} ripple cycles per revolution. A wrong count makes K wrong by a ratio of small whole numbers",
                if probability < 1e-4 {
                    "below 0.0001".to_owned()
                } else {
                    format!("{probability:.4}")
                }
            ),
        }
    }
}

impl RippleResult {
    /// What the pattern says of a stated count; `None` without a line or a count. `anchored`: the candidate whose K is the one that other
    /// speed references give. Which line is the strongest is then no longer in question, and only what the pattern says of that K counts.
    pub fn stated_count(
        &self,
        counted: Counted,
        anchored: Option<&Candidate>,
    ) -> Option<StatedCount> {
        judge(&self.candidates, counted, anchored)
    }
}

fn judge(
    candidates: &[Candidate],
    counted: Counted,
    anchored: Option<&Candidate>,
) -> Option<StatedCount> {
    if counted.is_empty() {
        return None;
    }
    let allowed = || candidates.iter().filter(|c| counted.allows(&c.commutator));
    let best = candidates
        .iter()
        .max_by(|a, b| a.comb_probability.total_cmp(&b.comb_probability))?;
    let of_constant = |harmonic: u32| sum(candidates, |c| c.harmonic == harmonic);
    let like = allowed()
        .map(|c| of_constant(c.harmonic))
        .fold(0.0, f64::max);
    let multiple = || {
        allowed().any(|c| {
            let (n, shown) = (c.cycles_per_revolution, best.cycles_per_revolution);
            c.harmonic == best.harmonic && n != shown && n.is_multiple_of(shown)
        })
    };
    let verdict = if multiple() && !agree_with(candidates, &counted, best.harmonic) {
        // Of a multiple every line that is seen is one of unevenness too, and the constant is the same.
        CountVerdict::Multiple(best.cycles_per_revolution)
    } else if like >= LEAST_LIKELY * of_constant(best.harmonic) {
        CountVerdict::Agrees(like)
    } else if anchored.is_some_and(|c| agree_with(candidates, &counted, c.harmonic)) {
        CountVerdict::AgreesAtReference
    } else {
        let probability = allowed().map(|c| c.comb_probability).sum();
        CountVerdict::Disagrees(probability, best.cycles_per_revolution)
    };
    Some(StatedCount {
        counted,
        best: best.commutator,
        verdict,
    })
}

fn sum(candidates: &[Candidate], alike: impl Fn(&Candidate) -> bool) -> f64 {
    let alike = candidates.iter().filter(|c| alike(c));
    alike.map(|c| c.comb_probability).sum()
}

/// Whether the pattern's evidence where the strongest line has this harmonic allows the stated count beside the best one there.
fn agree_with(candidates: &[Candidate], counted: &Counted, harmonic: u32) -> bool {
    let there = || candidates.iter().filter(|c| c.harmonic == harmonic);
    let of_cycles = |cycles: u32| {
        sum(candidates, |c| {
            c.harmonic == harmonic && c.cycles_per_revolution == cycles
        })
    };
    let most = there()
        .map(|c| of_cycles(c.cycles_per_revolution))
        .fold(0.0, f64::max);
    there()
        .filter(|c| counted.allows(&c.commutator))
        .any(|c| of_cycles(c.cycles_per_revolution) >= LEAST_LIKELY * most)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Segments, harmonic of the strongest line (which makes K) and probability from the comb.
    fn candidates(of: &[(u32, u32, f64)]) -> Vec<Candidate> {
        let one = |&(segments, harmonic, probability): &(u32, u32, f64)| Candidate {
            commutator: Commutator::new(segments, 2),
            cycles_per_revolution: Commutator::new(segments, 2).cycles().expect("a count"),
            harmonic,
            back_emf_constant_v_s_per_rad: 0.01 * f64::from(harmonic),
            standard_uncertainty: 1e-6,
            probability,
            comb_probability: probability,
            constant_probability: probability,
        };
        of.iter().map(one).collect()
    }

    fn segments(n: u32) -> Counted {
        Counted {
            segments: Some(n),
            ..Counted::default()
        }
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
        let alone = judge(&all, segments(8), None).expect("a line");
        assert!(
            matches!(alone.verdict, CountVerdict::Disagrees(..)),
            "{alone}"
        );
        let anchored = judge(&all, segments(8), all.last()).expect("a line");
        assert!(
            anchored.verdict == CountVerdict::AgreesAtReference,
            "{anchored}"
        );
        // At that K the comb has nothing for nine segments.
        let wrong = judge(&all, segments(9), all.last()).expect("a line");
        assert!(
            matches!(wrong.verdict, CountVerdict::Disagrees(..)),
            "{wrong}"
        );
    }

    #[test]
    fn a_comb_that_leaves_every_count_open_contradicts_none() {
        let open: Vec<(u32, u32, f64)> = (3..=32).map(|s| (s, s, 1.0 / 30.0)).collect();
        let found = judge(&candidates(&open), segments(12), None).expect("a line");
        assert!(matches!(found.verdict, CountVerdict::Agrees(_)), "{found}");
        let sharp = candidates(&[(13, 26, 0.9), (26, 26, 0.1), (12, 12, 1e-6)]);
        let found = judge(&sharp, segments(12), None).expect("a line");
        assert!(
            matches!(found.verdict, CountVerdict::Disagrees(..)),
            "{found}"
        );
    }

    #[test]
    fn a_multiple_of_what_the_comb_reads_makes_the_same_constant() {
        let all = candidates(&[(12, 12, 0.99), (24, 24, 1e-4), (24, 12, 1e-6)]);
        let found = judge(&all, segments(24), None).expect("a line");
        assert!(found.verdict == CountVerdict::Multiple(12), "{found}");
    }
}
