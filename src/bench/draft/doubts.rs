//! What makes one capture of a folder look as if it were of another motor, or recorded with another scale.

/// What one capture shows beside the others.
#[derive(Default)]
pub(super) struct Shown {
    /// Level that the voltage reaches while the source drives, V.
    pub supply_v: Option<f64>,
    /// Voltage over the largest current, Ω, of a capture that shows close to the whole stall current.
    pub resistance_ohm: Option<f64>,
}

/// Ratio to the others' median from which a capture is doubted: a start whose speed follows its current shows up to 1.6 times the resistance (common practice, no source).
const SUPPLY_RATIO: f64 = 1.5;
const RESISTANCE_RATIO: f64 = 2.5;

/// A sentence for each capture that differs from the median of the others; `None` for those that do not, and where there are fewer than three.
pub(super) fn of_another_motor(shown: &[Shown]) -> Vec<Option<String>> {
    let supply = beside(shown, |s| s.supply_v, SUPPLY_RATIO);
    let resistance = beside(shown, |s| s.resistance_ohm, RESISTANCE_RATIO);
    let both = supply.into_iter().zip(resistance);
    both.map(|(supply, resistance)| match (supply, resistance) {
        (_, Some((here, others))) => Some(format!(
            "its voltage over its largest current is about {here:.2} Ω, {others:.2} Ω in the other captures: another motor, another current scale or another role?"
        )),
        (Some((here, others)), None) => Some(format!(
            "its supply is about {here:.1} V, {others:.1} V in the other captures: another motor, another probe ratio, or another setting of the supply?"
        )),
        (None, None) => None,
    })
    .collect()
}

/// Own value and median of the others, where they are farther apart than a ratio.
fn beside(shown: &[Shown], of: fn(&Shown) -> Option<f64>, ratio: f64) -> Vec<Option<(f64, f64)>> {
    let compare = |k: usize| {
        let here = of(&shown[k]).filter(|v| *v > 0.0)?;
        let others = shown.iter().enumerate().filter(|(j, _)| *j != k);
        let mut others: Vec<f64> = others.filter_map(|(_, s)| of(s)).collect();
        others.sort_by(f64::total_cmp);
        let median = (others.len() > 1).then(|| others[others.len() / 2])?;
        (here / median > ratio || median / here > ratio).then_some((here, median))
    };
    (0..shown.len()).map(compare).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_capture_among_three_is_doubted_and_two_alone_are_not() {
        let shown = |ohm: &[f64]| -> Vec<Shown> {
            let one = |ohm: &f64| Shown {
                supply_v: Some(12.0),
                resistance_ohm: Some(*ohm),
            };
            ohm.iter().map(one).collect()
        };
        let doubts = of_another_motor(&shown(&[3.2, 3.4, 32.0, 3.0]));
        let doubted: Vec<bool> = doubts.iter().map(Option::is_some).collect();
        assert_eq!(doubted, [false, false, true, false]);
        assert!(
            of_another_motor(&shown(&[3.2, 32.0]))
                .iter()
                .all(Option::is_none)
        );
    }
}
