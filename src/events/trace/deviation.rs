//! How far ranked numbers lie from a level, without a copy of them.

/// The deviation from `level` before which `rank` others stand in increasing order, of numbers in increasing order; of fewer
/// numbers the largest, of none 0.
pub(crate) fn ranked_deviation(ranked: &[f64], level: f64, rank: usize) -> f64 {
    let away = |number: &f64| (number - level).abs();
    // Either way from where the level stands the deviations grow.
    let (mut below, mut above) = ranked.split_at(ranked.partition_point(|number| *number < level));
    let mut nearest = 0.0;
    for _ in 0..ranked.len().min(rank + 1) {
        let down = below.last().map_or(f64::INFINITY, away);
        let up = above.first().map_or(f64::INFINITY, away);
        if down < up {
            below = &below[..below.len() - 1];
            nearest = down;
        } else {
            above = above.get(1..).unwrap_or_default();
            nearest = up;
        }
    }
    nearest
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_rank_is_the_one_by_sorting(mut x in prop::collection::vec(-20i32..20, 1..40), level in -25i32..25) {
            x.sort_unstable();
            let ranked: Vec<f64> = x.iter().map(|v| 0.5 * f64::from(*v)).collect();
            let level = 0.5 * f64::from(level);
            let mut sorted: Vec<f64> = ranked.iter().map(|v| (v - level).abs()).collect();
            sorted.sort_unstable_by(f64::total_cmp);
            for (rank, deviation) in sorted.iter().enumerate() {
                prop_assert_eq!(ranked_deviation(&ranked, level, rank), *deviation);
            }
            prop_assert_eq!(ranked_deviation(&[], level, 0), 0.0);
        }
    }
}
