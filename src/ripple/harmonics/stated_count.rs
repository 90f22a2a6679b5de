//! A segment count that somebody stated, held against the comb.

use super::cycles::{USUAL_POLES, cycles_per_revolution};
use crate::ripple::result::{Candidate, RippleResult};

/// Evidence of a stated count over that of the best one, from the comb alone, below which the two disagree. A comb that shows one line
/// only leaves all counts about as probable, each a few per cent: a bare probability would doubt every one of them.
const LEAST_LIKELY: f64 = 0.05;

impl RippleResult {
    /// What the comb says of a stated segment count, in words; `None` without a line. `anchored`: the candidate whose K is the one that other
    /// speed anchors say. Which line is the strongest is then no longer in question, and only what the comb says of that K counts.
    pub fn on_stated_count(&self, given: u32, anchored: Option<&Candidate>) -> Option<String> {
        words(&self.candidates, given, anchored)
    }
}

fn words(candidates: &[Candidate], given: u32, anchored: Option<&Candidate>) -> Option<String> {
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
        return Some(format!(
            "the given {given} segments agree with the comb (its K has probability {like:.3} from the comb alone)"
        ));
    }
    if let Some(k) = anchored.map(|c| c.back_emf_constant_v_s_per_rad)
        && agree_with(candidates, given, k)
    {
        return Some(format!(
            "the given {given} segments agree with the comb where K is what the other speed anchors say; from the comb alone it would be {} segments",
            best.segments
        ));
    }
    // Of a multiple every line that is seen is one of unevenness too, and the constant is the same.
    let multiple = first.back_emf_constant_v_s_per_rad == best.back_emf_constant_v_s_per_rad
        && stated.map(|g| g.cycles_per_revolution).is_some_and(|n| {
            n != best.cycles_per_revolution && n.is_multiple_of(best.cycles_per_revolution)
        });
    if multiple {
        return Some(format!(
            "the given {given} segments make a multiple of the {} ripple cycles per revolution that the comb reads: the lines that are seen may be those of unevenness, and K is the same either way",
            best.cycles_per_revolution
        ));
    }
    let with_it = candidates.iter().filter(|c| c.segments == given);
    let comb: f64 = with_it.map(|c| c.comb_probability).sum();
    Some(format!(
        "the given {given} segments do not agree with the comb: probability {comb:.1e} from the comb alone, which reads {} segments, {} ripple cycles per revolution. A wrong count makes K wrong by a ratio of small whole numbers",
        best.segments, best.cycles_per_revolution
    ))
}

/// Whether the comb's evidence at this K allows the stated count beside the best one there.
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
        let alone = words(&all, 8, None).expect("a line");
        assert!(alone.contains("do not agree with the comb"), "{alone}");
        let anchored = words(&all, 8, all.last()).expect("a line");
        assert!(
            anchored.contains("agree with the comb where K"),
            "{anchored}"
        );
        // At that K the comb has nothing for nine segments.
        let wrong = words(&all, 9, all.last()).expect("a line");
        assert!(wrong.contains("do not agree with the comb"), "{wrong}");
    }

    #[test]
    fn a_comb_that_leaves_every_count_open_contradicts_none() {
        let open: Vec<(u32, u32, f64)> = (3..=32).map(|s| (s, s, 1.0 / 30.0)).collect();
        let told = words(&candidates(&open), 12, None).expect("a line");
        assert!(told.contains("12 segments agree with the comb"), "{told}");
        let sharp = candidates(&[(13, 26, 0.9), (26, 26, 0.1), (12, 12, 1e-6)]);
        let told = words(&sharp, 12, None).expect("a line");
        assert!(told.contains("do not agree with the comb"), "{told}");
    }

    #[test]
    fn a_multiple_of_what_the_comb_reads_makes_the_same_constant() {
        let all = candidates(&[(12, 12, 0.99), (24, 24, 1e-4), (24, 12, 1e-6)]);
        let told = words(&all, 24, None).expect("a line");
        assert!(told.contains("make a multiple of the 12"), "{told}");
    }
}
