//! What a disagreement of two speed references usually means: on a bench it is mostly a factor of small whole numbers.
//!
//! A commutator counted wrongly makes `K = N/(2πf)` wrong by `N/N'`, N the ripple cycles a revolution; a tachometer that takes
//! two marks for two turns shows twice the speed and so half of K.

use crate::ripple::{SEGMENTS, USUAL_POLES, segment_counts};

/// Largest numerator and denominator that count as small.
const LARGEST: u32 = 13;
/// Standard deviations of the ratio within which it is taken for a fraction.
const WITHIN: f64 = 3.0;

/// Ratio of the back-EMF constants that two references say.
#[derive(Clone, Copy, Debug)]
pub struct Ratio {
    pub of_constants: f64,
    pub relative_sd: f64,
    /// Ripple cycles a revolution that the first was read with, where it comes from ripple.
    pub cycles_per_revolution: Option<u32>,
}

impl Ratio {
    /// The simplest fraction other than one that the ratio cannot be text from.
    fn fraction(&self) -> Option<(u32, u32)> {
        let fits = |&(p, q): &(u32, u32)| {
            let error = self.of_constants * f64::from(q) / f64::from(p) - 1.0;
            let within = (WITHIN * self.relative_sd).max(1e-3);
            // Fractions of that size are that far apart: a vaguer ratio is none of them.
            error.abs() < within && within < 0.5 / f64::from(p * q)
        };
        let coprime =
            |p: u32, q: u32| (2..=p.min(q)).all(|d| !(p.is_multiple_of(d) && q.is_multiple_of(d)));
        (1..=LARGEST)
            .flat_map(|p| (1..=LARGEST).map(move |q| (p, q)))
            .filter(|&(p, q)| (p, q) != (1, 1) && coprime(p, q))
            .filter(fits)
            .min_by_key(|(p, q)| p + q)
    }

    /// "K from a is 3/2 of K from b (ratio 1.497): ..." with what would make both agree; `None` where no small fraction fits.
    /// A tachometer, where there is one, is taken to be behind `b`.
    pub fn describe(&self, a: &str, b: &str) -> Option<String> {
        let (p, q) = self.fraction()?;
        let whole = if q == 1 {
            format!("{p} times")
        } else {
            format!("{p}/{q} of")
        };
        let mut causes = Vec::new();
        if let Some(cycles) = self.cycles_per_revolution {
            let named = |cycles| {
                let counts = segment_counts(cycles, USUAL_POLES, SEGMENTS.0, SEGMENTS.1);
                let texts: Vec<String> = counts.iter().map(u32::to_string).collect();
                (!texts.is_empty())
                    .then(|| texts.join(" (or ") + if texts.len() > 1 { ")" } else { "" })
            };
            if (cycles * q).is_multiple_of(p)
                && let (Some(now), Some(then)) = (named(cycles), named(cycles * q / p))
            {
                causes.push(format!("a commutator of {then} instead of {now} segments"));
            }
            match (p, q) {
                (1, 2) => causes.push("twice the field poles".into()),
                (2, 1) => causes.push("half the field poles".into()),
                _ => {}
            }
        }
        match (p, q) {
            (2, 1) => causes.push("a tachometer that counted two marks a turn as two turns".into()),
            (1, 2) => causes.push("a tachometer set for two marks that saw one".into()),
            _ => {}
        }
        let would = if causes.is_empty() {
            String::new()
        } else {
            format!(": {} would make them agree", causes.join(", or "))
        };
        Some(format!(
            "{a} is {whole} {b} (ratio {:.4}){would}",
            self.of_constants
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(of_constants: f64, cycles: Option<u32>) -> Ratio {
        Ratio {
            of_constants,
            relative_sd: 2e-3,
            cycles_per_revolution: cycles,
        }
    }

    #[test]
    fn a_wrong_count_is_told_with_the_right_one() {
        let text = ratio(1.4985, Some(12)).describe("K of the ripple", "K of the tachometer");
        assert_eq!(
            text.as_deref(),
            Some(
                "K of the ripple is 3/2 of K of the tachometer (ratio 1.4985): a commutator of 8 instead of 12 segments would make them agree"
            )
        );
        // Seven segments make fourteen cycles, eight make eight.
        let text = ratio(0.5715, Some(8)).describe("A", "B").expect("4/7");
        assert!(
            text.contains("4/7") && text.contains("7 (or 14) instead of 8"),
            "{text}"
        );
    }

    #[test]
    fn two_marks_make_a_factor_of_two() {
        let text = ratio(2.003, Some(14)).describe("A", "B").expect("2");
        assert!(
            text.starts_with("A is 2 times B") && text.contains("two marks"),
            "{text}"
        );
        assert!(
            !text.contains("commutator"),
            "no commutator makes seven cycles: {text}"
        );
    }

    #[test]
    fn what_is_no_small_fraction_is_not_named_one() {
        assert_eq!(ratio(1.04, Some(12)).describe("A", "B"), None);
        assert_eq!(ratio(1.0, Some(12)).describe("A", "B"), None);
        // Too vague to distinguish 5/4 from 6/5 or 11/9.
        let vague = Ratio {
            relative_sd: 0.1,
            ..ratio(1.2345, None)
        };
        assert_eq!(vague.describe("A", "B"), None);
    }
}
