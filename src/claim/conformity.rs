//! Conformity of one quantity with its limits, JCGM 106:2012.
//!
//! The knowledge of the quantity is a normal distribution with estimate y and standard uncertainty u. The conformance
//! probability is p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u) (7.2.2, 7.4), where an absent limit lies at infinity. The
//! decision rule is guarded on both sides: "agrees" only when the risk 1 − p_c of being wrong is at most the stated
//! one, "disagrees" only when p_c is. For one limit this is a guard band of width w = z·u with z = Φ⁻¹(1 − risk)
//! (8.3.2), and that width is what tables show.

use crate::stats::quantiles::{normal_cdf, normal_quantile};

/// A tolerance interval, closed; an absent end is no limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Least value allowed.
    pub lower: Option<f64>,
    /// Greatest value allowed.
    pub upper: Option<f64>,
}

/// Estimate and standard uncertainty in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knowledge {
    /// Best estimate.
    pub estimate: f64,
    /// Standard uncertainty of the estimate.
    pub standard_uncertainty: f64,
}

/// What may be said of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Within the limits at the stated risk.
    Agrees,
    /// Outside them at the stated risk.
    Disagrees,
    /// Neither can be said at that risk.
    CannotTellYet,
}

impl Verdict {
    /// As the table prints it.
    pub fn words(self) -> &'static str {
        match self {
            Verdict::Agrees => "agrees",
            Verdict::Disagrees => "disagrees",
            Verdict::CannotTellYet => "undecided",
        }
    }
}

/// How a verdict is reached.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// Guard bands on both sides; the number is the largest risk of a wrong "agrees" or "disagrees".
    Guarded(f64),
    /// Simple acceptance (8.2): the estimate alone decides, no guard band.
    Simple,
}

impl Limits {
    /// True when `value` lies inside or on a limit.
    pub fn contain(&self, value: f64) -> bool {
        self.lower.is_none_or(|lower| value >= lower)
            && self.upper.is_none_or(|upper| value <= upper)
    }
}

/// Width w of the guard band for one limit.
pub fn guard_band(standard_uncertainty: f64, rule: Rule) -> f64 {
    match rule {
        Rule::Guarded(risk) => normal_quantile(1.0 - risk) * standard_uncertainty,
        Rule::Simple => 0.0,
    }
}

/// Probability that the quantity lies within the limits. With u = 0 it is 0 or 1.
pub fn conformance_probability(knowledge: Knowledge, limits: Limits) -> f64 {
    let Knowledge {
        estimate,
        standard_uncertainty,
    } = knowledge;
    if standard_uncertainty <= 0.0 {
        return f64::from(u8::from(limits.contain(estimate)));
    }
    let z = |limit: f64| (limit - estimate) / standard_uncertainty;
    let below = limits.lower.map_or(0.0, |lower| normal_cdf(z(lower)));
    let above = limits.upper.map_or(0.0, |upper| normal_cdf(-z(upper)));
    (1.0 - below - above).max(0.0)
}

/// The verdict for a conformance probability and an estimate.
pub fn judge(probability: f64, estimate: f64, limits: Limits, rule: Rule) -> Verdict {
    match rule {
        Rule::Simple if limits.contain(estimate) => Verdict::Agrees,
        Rule::Simple => Verdict::Disagrees,
        Rule::Guarded(risk) if 1.0 - probability <= risk => Verdict::Agrees,
        Rule::Guarded(risk) if probability <= risk => Verdict::Disagrees,
        Rule::Guarded(_) => Verdict::CannotTellYet,
    }
}

/// Largest standard uncertainty with which the present estimate would give a verdict under a guarded rule with
/// `risk` below one half; `None` when the estimate lies on a limit, where no uncertainty above 0 would do.
pub fn needed_uncertainty(estimate: f64, limits: Limits, risk: f64) -> Option<f64> {
    let distance =
        |limit: Option<f64>| limit.map_or(f64::INFINITY, |limit| (limit - estimate).abs());
    let nearest = distance(limits.lower).min(distance(limits.upper));
    if nearest <= 0.0 || !nearest.is_finite() {
        return None;
    }
    // One limit alone: exact. The second one only matters inside, and only makes the bound tighter.
    let one_limit = nearest / normal_quantile(1.0 - risk);
    if !limits.contain(estimate) || limits.lower.is_none() || limits.upper.is_none() {
        return Some(one_limit);
    }
    let wrong = |standard_uncertainty: f64| {
        1.0 - conformance_probability(
            Knowledge {
                estimate,
                standard_uncertainty,
            },
            limits,
        )
    };
    let (mut good, mut bad) = (0.0, one_limit);
    if wrong(bad) <= risk {
        return Some(bad);
    }
    for _ in 0..60 {
        let middle = 0.5 * (good + bad);
        if wrong(middle) <= risk {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(good)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    fn knowledge(estimate: f64, standard_uncertainty: f64) -> Knowledge {
        Knowledge {
            estimate,
            standard_uncertainty,
        }
    }

    const fn upper(limit: f64) -> Limits {
        Limits {
            lower: None,
            upper: Some(limit),
        }
    }

    const fn lower(limit: f64) -> Limits {
        Limits {
            lower: Some(limit),
            upper: None,
        }
    }

    #[test]
    fn val_jcgm_106_table_1_one_sided_z() {
        // JCGM 106:2012, 7.3, table 1: 0.84, 1.28, 1.64, 2.33, 3.09 (from memory; more digits recomputed).
        for (probability, printed, z) in [
            (0.80, 0.84, 0.841_621),
            (0.90, 1.28, 1.281_552),
            (0.95, 1.64, 1.644_854),
            (0.99, 2.33, 2.326_348),
            (0.999, 3.09, 3.090_232),
        ] {
            let found = normal_quantile(probability);
            assert_abs_diff_eq!(found, z, epsilon = 1e-6);
            assert_abs_diff_eq!(found, printed, epsilon = 0.005_001);
            // An estimate z·u inside its limit conforms with that probability.
            let p = conformance_probability(knowledge(1.0 - 0.1 * z, 0.1), upper(1.0));
            assert_abs_diff_eq!(p, probability, epsilon = 1e-6);
        }
    }

    #[test]
    fn val_jcgm_106_breakdown_voltage_upper_limit() {
        // JCGM 106:2012, 7.3.2 example (from memory): y = -5.47 V, u = 0.05 V, T_U = -5.40 V; z = 1.40, p_c = 0.92.
        let p = conformance_probability(knowledge(-5.47, 0.05), upper(-5.40));
        assert_abs_diff_eq!(p, 0.919_243, epsilon = 1e-6);
    }

    #[test]
    fn val_jcgm_106_burst_pressure_lower_limit() {
        // JCGM 106:2012, 7.3.3 example (from memory): 509.7 kPa, 8.6 kPa, T_L = 490 kPa; p_c about 0.99.
        let p = conformance_probability(knowledge(509.7, 8.6), lower(490.0));
        assert_abs_diff_eq!(p, 0.989_010, epsilon = 1e-6);
    }

    #[test]
    fn val_jcgm_106_oil_viscosity_two_limits() {
        // JCGM 106:2012, 7.4 example (from memory): 13.6, u 1.8, limits 12.5 and 16.3 mm²/s; p_c = 0.66.
        let limits = Limits {
            lower: Some(12.5),
            upper: Some(16.3),
        };
        let p = conformance_probability(knowledge(13.6, 1.8), limits);
        assert_abs_diff_eq!(p, 0.662_630, epsilon = 1e-6);
        assert_eq!(
            judge(p, 13.6, limits, Rule::Guarded(0.05)),
            Verdict::CannotTellYet
        );
        assert_eq!(judge(p, 13.6, limits, Rule::Simple), Verdict::Agrees);
    }

    #[test]
    fn val_jcgm_106_speed_check_guarded_rejection() {
        // JCGM 106:2012, 8.3.3 example (from memory): limit 100 km/h, u = 2 % of the reading; with 99.9 % confidence
        // the limit was exceeded from about 107 km/h on: 100/(1 - 0.02·3.0902) = 106.5876.
        let rule = Rule::Guarded(0.001);
        let verdict = |reading: f64| {
            let p = conformance_probability(knowledge(reading, 0.02 * reading), upper(100.0));
            judge(p, reading, upper(100.0), rule)
        };
        assert_eq!(verdict(106.587), Verdict::CannotTellYet);
        assert_eq!(verdict(106.588), Verdict::Disagrees);
        assert_eq!(verdict(107.0), Verdict::Disagrees);
    }

    #[test]
    fn val_guard_band_of_the_expanded_uncertainty_leaves_a_risk_of_2_3_percent() {
        // JCGM 106:2012, 8.3.2: with w = U = 2u an estimate on the acceptance limit is wrong with 2.3 % at most.
        let risk = normal_cdf(-2.0);
        assert_abs_diff_eq!(risk, 0.023, epsilon = 0.000_5);
        assert_relative_eq!(
            guard_band(0.3, Rule::Guarded(risk)),
            0.6,
            max_relative = 1e-9
        );
        let p = conformance_probability(knowledge(9.4, 0.3), upper(10.0));
        assert_abs_diff_eq!(1.0 - p, risk, epsilon = 1e-9);
    }

    #[test]
    fn the_needed_uncertainty_turns_a_doubt_into_a_verdict_and_a_little_more_does_not() {
        let both = Limits {
            lower: Some(9.0),
            upper: Some(11.0),
        };
        for (estimate, limits) in [
            (9.2, both),
            (10.0, both),
            (11.4, both),
            (3.0, lower(2.5)),
            (2.0, lower(2.5)),
            (-5.47, upper(-5.40)),
        ] {
            let u = needed_uncertainty(estimate, limits, 0.05).expect("off the limits");
            let verdict = |u| {
                let p = conformance_probability(knowledge(estimate, u), limits);
                judge(p, estimate, limits, Rule::Guarded(0.05))
            };
            assert_ne!(verdict(0.999 * u), Verdict::CannotTellYet, "{estimate}");
            assert_eq!(verdict(1.001 * u), Verdict::CannotTellYet, "{estimate}");
        }
        assert_eq!(needed_uncertainty(9.0, both, 0.05), None);
    }

    #[test]
    fn an_exactly_known_quantity_is_inside_or_outside() {
        assert_relative_eq!(
            conformance_probability(knowledge(1.0, 0.0), upper(1.0)),
            1.0
        );
        assert_relative_eq!(
            conformance_probability(knowledge(1.1, 0.0), upper(1.0)),
            0.0
        );
    }
}
