//! The harmonic pattern of a run-down's ripple beside a known back-EMF constant and a stated segment count.
//!
//! The pattern knows K/N to parts in ten thousand, N only with a probability p each. A constant known otherwise to its standard
//! uncertainty has the support `ln p − z²/2` of each candidate, z the distance in standard uncertainties. By how much the best of these
//! falls short of the most probable candidate gives the deviation, as a signed root of twice the log likelihood ratio (S. S. Wilks, Annals of
//! Mathematical Statistics 9, 1938, 60-62, from memory).

use super::super::speeds::Ratio;
use crate::fit::confrontation::{Agreement, Confrontation, EvidenceKind};
use crate::fit::wording::Contradiction;
use crate::ripple::{Candidate, Counted};

/// Deviation from which a pattern is in conflict: 1 to 450. The pattern keeps a part of its prior whatever the data show, for what it leaves out, so that
/// even what it excludes hardly reaches five. Sound drawn benches stay below three.
const RULED_OUT: f64 = 3.5;

/// Deviation from which it is doubtful: three, and what a motor of two poles, as most are, leaves of the prior to those with more (0.3) besides.
const DOUBTFUL: f64 = 3.12;

/// What else is known of the constant, as this capture's voltage channel shows it: its ln and the standard uncertainty of that.
#[derive(Clone, Copy, Debug)]
pub struct KnownConstant {
    pub log_constant: f64,
    pub sd: f64,
}

/// The candidates of one run-down, and what else is known.
#[derive(Clone, Copy)]
pub struct PatternCheck<'a> {
    /// Name of the capture.
    pub name: &'a str,
    pub candidates: &'a [Candidate],
    pub known: Option<KnownConstant>,
}

impl<'a> PatternCheck<'a> {
    /// ln of the constant that a candidate makes less what is known, and the standard uncertainty of that; nothing where nothing is known.
    fn off(&self, c: &Candidate) -> Option<(f64, f64)> {
        let known = self.known?;
        let k = c.back_emf_constant_v_s_per_rad;
        let sd = known.sd.hypot(c.standard_uncertainty / k).max(1e-3);
        Some((k.ln() - known.log_constant, sd))
    }

    /// Distance of a candidate's constant from what is known, in standard uncertainties; 0 where nothing is.
    pub fn sigmas(&self, c: &Candidate) -> f64 {
        self.off(c).map_or(0.0, |(off, sd)| off / sd)
    }

    fn support(&self, probability: f64, c: &Candidate) -> f64 {
        probability.max(1e-300).ln() - 0.5 * self.sigmas(c).powi(2)
    }

    /// Probability of a candidate's constant by the pattern alone.
    pub fn of_constant(&self, c: &Candidate) -> f64 {
        self.sum(|other| other.back_emf_constant_v_s_per_rad == c.back_emf_constant_v_s_per_rad)
    }

    /// Probability of a candidate's constant with its cycles a revolution by the pattern alone.
    fn of_cycles(&self, c: &Candidate) -> f64 {
        self.sum(|other| {
            other.back_emf_constant_v_s_per_rad == c.back_emf_constant_v_s_per_rad
                && other.cycles_per_revolution == c.cycles_per_revolution
        })
    }

    fn sum(&self, alike: impl Fn(&Candidate) -> bool) -> f64 {
        let alike = self.candidates.iter().filter(|c| alike(c));
        alike.map(|c| c.comb_probability).sum()
    }

    /// The candidate that pattern and known constant together support best, and by how much; of equal ones the most probable.
    pub fn best(&self) -> Option<(usize, &'a Candidate, f64)> {
        let each = self.candidates.iter().enumerate();
        each.map(|(k, c)| (k, c, self.support(self.of_constant(c), c)))
            .reduce(|a, b| if b.2 > a.2 { b } else { a })
    }

    /// The candidate whose constant the pattern alone supports best.
    pub fn most_probable(&self) -> Option<&'a Candidate> {
        first_largest(self.candidates, |c| self.of_constant(c))
    }

    /// The pattern against the known constant. `None` without one, or without a line.
    pub fn against_constant(&self) -> Option<Confrontation> {
        let known = self.known?;
        let ((_, _, support), alone) = (self.best()?, self.most_probable()?);
        let short = (self.of_constant(alone).ln() - support).max(0.0);
        let deviation = (2.0 * short).sqrt();
        let k = alone.back_emf_constant_v_s_per_rad;
        let item = format!("ripple pattern ({})", self.name);
        let mut line =
            Confrontation::with_deviation(EvidenceKind::SpeedReference, item, deviation, || {
                self.contradiction(alone, deviation)
            });
        if deviation > RULED_OUT {
            line.agreement = Agreement::InConflict;
        } else if deviation < DOUBTFUL {
            (line.agreement, line.text) = (Agreement::Agrees, None);
        }
        let sd = self.off(alone).map_or(known.sd, |(_, sd)| sd);
        let model = known.log_constant.exp();
        Some(line.with_values(k, Some(model), Some(sd * model), "V.s/rad"))
    }

    fn contradiction(&self, alone: &Candidate, deviation: f64) -> Contradiction {
        let k = alone.back_emf_constant_v_s_per_rad;
        let (off, sd) = self.off(alone).unwrap_or((0.0, f64::INFINITY));
        let ratio = Ratio {
            of_constants: off.exp(),
            relative_sd: sd,
            cycles_per_revolution: Some(alone.cycles_per_revolution),
        };
        Contradiction::RipplePattern {
            capture: self.name.to_string(),
            commutator: alone.commutator.to_string(),
            constant_v_s_per_rad: k,
            others_v_s_per_rad: (k.ln() - off).exp(),
            deviation,
            cause: ratio.describe("K from this ripple", "K from the other references"),
        }
    }

    /// What was counted at the commutator against the pattern and the known constant; `None` without a line or a count.
    pub fn against_count(
        &self,
        counted: Counted,
    ) -> Option<(Confrontation, Option<&'a Candidate>)> {
        if counted.is_empty() {
            return None;
        }
        let support = |c: &Candidate| self.support(self.of_cycles(c), c);
        let best = first_largest(self.candidates, support)?;
        let allowed = self.candidates.iter();
        let allowed = allowed.filter(|c| counted.allows(&c.commutator));
        let agreeing = first_largest(allowed.clone(), support);
        // Of a multiple every line that is seen is one of unevenness too, and the constant is the same.
        let multiple = allowed.clone().any(|c| {
            c.harmonic == best.harmonic
                && c.cycles_per_revolution
                    .is_multiple_of(best.cycles_per_revolution)
        });
        let short = match agreeing {
            _ if multiple => 0.0,
            Some(agreeing) => support(best) - support(agreeing),
            None => f64::INFINITY,
        };
        let deviation = (2.0 * short.max(0.0)).sqrt();
        let line = Confrontation::with_deviation(
            EvidenceKind::SegmentCount,
            "commutator segments",
            deviation,
            || Contradiction::SegmentCount {
                counted: counted.to_string(),
                commutator: best.commutator.to_string(),
                capture: self.name.to_string(),
                with_references: self.known.is_some(),
                deviation,
            },
        );
        let line = match counted.segments {
            Some(stated) => {
                let shown = f64::from(best.commutator.segments);
                line.with_values(f64::from(stated), Some(shown), None, "1")
            }
            None => line,
        };
        Some((line, agreeing))
    }
}

/// The first of the items with the largest number.
fn first_largest<'a>(
    all: impl IntoIterator<Item = &'a Candidate>,
    of: impl Fn(&Candidate) -> f64,
) -> Option<&'a Candidate> {
    let numbered = all.into_iter().map(|c| (c, of(c)));
    numbered
        .reduce(|a, b| if b.1 > a.1 { b } else { a })
        .map(|(c, _)| c)
}
