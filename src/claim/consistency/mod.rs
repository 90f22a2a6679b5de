//! The sheet against itself: entries that no motor can have together are named before the motor is blamed.
//!
//! Each relation is tried over everything that rounds to the printed digits; if it cannot be met there, over
//! everything within the printed tolerances. A relation that neglects friction or brush drop has an allowance for
//! that (common practice, no source; the sizes are in `docs/claim_sheet.md`).

mod candidates;

use super::entry::Entry;
use super::sheet::{Claim, Sheet};
use candidates::{Candidate, candidates};

/// How well entries fit together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Met by what rounds to the printed digits.
    Consistent,
    /// Met only by using up the printed tolerances: the middles belong to different motors.
    WithinTolerances,
    /// Not met anywhere.
    Inconsistent,
}

/// One relation between entries.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Relation {
    /// In words.
    pub formula: &'static str,
    /// Entries of the sheet in it.
    pub entries: Vec<Entry>,
    /// Left side over right side at the printed values.
    pub ratio: f64,
    /// Relative disagreement that the relation's own approximations may cause.
    pub allowance: f64,
    /// Whether it can be met.
    pub standing: Standing,
}

/// What the sheet's own arithmetic says.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
#[non_exhaustive]
pub struct Consistency {
    /// All that the sheet prints the entries of.
    pub relations: Vec<Relation>,
    /// Entries that stand in more failing relations than in met ones, the worst first.
    pub suspects: Vec<Entry>,
}

impl Consistency {
    /// True when a relation cannot be met.
    pub fn is_broken(&self) -> bool {
        self.relations
            .iter()
            .any(|relation| relation.standing == Standing::Inconsistent)
    }
}

/// Tests a sheet against itself.
pub fn test(sheet: &Sheet) -> Consistency {
    let relations: Vec<Relation> = candidates(sheet)
        .into_iter()
        .filter_map(|candidate| weigh(sheet, candidate))
        .collect();
    Consistency {
        suspects: suspects(&relations),
        relations,
    }
}

/// `None` where the sheet does not print all entries with a value.
fn weigh(sheet: &Sheet, candidate: Candidate) -> Option<Relation> {
    let claims: Vec<&Claim> = candidate
        .entries
        .iter()
        .map(|entry| sheet.claims.get(entry))
        .collect::<Option<_>>()?;
    let values: Vec<f64> = claims
        .iter()
        .map(|claim| claim.value)
        .collect::<Option<_>>()?;
    let rounding: Vec<(f64, f64)> = claims
        .iter()
        .map(|claim| claim.rounding)
        .collect::<Option<_>>()?;
    let tolerances: Vec<(f64, f64)> = claims
        .iter()
        .zip(&rounding)
        .map(|(claim, (low, high))| {
            let limits = claim.limits;
            let lower = limits.and_then(|limits| limits.lower).unwrap_or(*low);
            let upper = limits.and_then(|limits| limits.upper).unwrap_or(*high);
            (lower.min(*low), upper.max(*high))
        })
        .collect();
    let standing = if met(&rounding, &candidate) {
        Standing::Consistent
    } else if met(&tolerances, &candidate) {
        Standing::WithinTolerances
    } else {
        Standing::Inconsistent
    };
    Some(Relation {
        formula: candidate.formula,
        ratio: (candidate.ratio)(&values),
        allowance: candidate.allowance,
        entries: candidate.entries,
        standing,
    })
}

/// Whether the ratio can be 1 within the allowance somewhere in the box. Each ratio is monotonic in each entry, so the
/// corners hold its extremes.
fn met(ends: &[(f64, f64)], candidate: &Candidate) -> bool {
    let (mut least, mut greatest) = (f64::INFINITY, f64::NEG_INFINITY);
    for corner in 0..1_u32 << ends.len() {
        let values: Vec<f64> = ends
            .iter()
            .enumerate()
            .map(|(place, (low, high))| {
                if corner >> place & 1 == 0 {
                    *low
                } else {
                    *high
                }
            })
            .collect();
        let at = (candidate.ratio)(&values);
        // A negative or endless side means that a difference in it passes zero: anything beyond is possible.
        let at = if at.is_finite() && at > 0.0 {
            at
        } else {
            f64::INFINITY
        };
        least = least.min(at);
        greatest = greatest.max(at);
    }
    least <= 1.0 + candidate.allowance && greatest >= 1.0 - candidate.allowance
}

fn suspects(relations: &[Relation]) -> Vec<Entry> {
    let mut weights: Vec<(Entry, usize, usize)> = Vec::new();
    for entry in Entry::all() {
        let count = |failing: bool| {
            relations
                .iter()
                .filter(|relation| relation.entries.contains(&entry))
                .filter(|relation| (relation.standing == Standing::Inconsistent) == failing)
                .count()
        };
        weights.push((entry, count(true), count(false)));
    }
    weights.retain(|(_, failing, met)| failing > met);
    weights.sort_by_key(|(_, failing, met)| (std::cmp::Reverse(*failing), *met));
    weights.into_iter().map(|(entry, _, _)| entry).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::claim::sheet::from_text;
    use std::path::Path;

    /// Values of one motor without viscous friction or brush drop: R 2 Ω, K 20 mV·s/rad, I₀ 150 mA at 12 V.
    const GOOD: &str = r#"
        [sheet]
        nominal_voltage = "12 V"
        default_tolerance = "5 %"
        [claims]
        terminal_resistance = "2.00 Ω"
        armature_inductance = "1.50 mH"
        torque_constant = "20.0 mN·m/A"
        speed_constant = "477 rpm/V"
        rotor_inertia = "15.0 g·cm²"
        no_load_speed = "5590 rpm"
        no_load_current = "150 mA"
        stall_current = "6.00 A"
        stall_torque = "117 mN·m"
        electrical_time_constant = "0.750 ms"
        mechanical_time_constant = "7.50 ms"
        maximum_power = "17.1 W"
        maximum_efficiency = "70.9 %"
    "#;

    fn standing(text: &str) -> Consistency {
        test(&from_text(Path::new("sheet.toml"), text).expect("a good sheet"))
    }

    #[test]
    fn a_sheet_of_one_motor_meets_every_relation() {
        let found = standing(GOOD);
        assert_eq!(found.relations.len(), 8);
        for relation in &found.relations {
            assert_eq!(relation.standing, Standing::Consistent, "{relation:?}");
            assert!((relation.ratio - 1.0).abs() < 0.01, "{relation:?}");
        }
        assert!(!found.is_broken());
        assert!(found.suspects.is_empty());
    }

    #[test]
    fn a_wrong_entry_is_named_and_the_others_are_not() {
        // The torque constant printed in mN·m/A where oz·in/A was meant.
        let found = standing(&GOOD.replace("20.0 mN·m/A", "2.83 mN·m/A"));
        assert!(found.is_broken());
        assert_eq!(found.suspects.first(), Some(&Entry::TorqueConstant));
        let found = standing(&GOOD.replace("6.00 A", "9.00 A"));
        assert_eq!(found.suspects.first(), Some(&Entry::StallCurrent));
    }

    #[test]
    fn a_gap_that_tolerances_cover_is_told_apart() {
        let found = standing(&GOOD.replace("0.750 ms", "0.800 ms"));
        let relation = found
            .relations
            .iter()
            .find(|relation| relation.entries[0] == Entry::ElectricalTimeConstant)
            .expect("the relation");
        assert_eq!(relation.standing, Standing::WithinTolerances);
        assert!(!found.is_broken());
    }
}
