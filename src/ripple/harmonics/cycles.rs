//! How many ripple cycles a revolution a commutator makes.
//!
//! `N = lcm(S, 2p)` for S segments and 2p poles; for two poles N = S for even S and 2S for odd S. Common practice, no source; it
//! follows from the symmetry of coil and field.

/// Field poles of nearly all small motors (common practice, no source).
pub const USUAL_POLES: u32 = 2;

/// Fewest and most commutator segments that are considered.
pub const SEGMENTS: (u32, u32) = (3, 48);

/// Ripple cycles per revolution of `segments` commutator segments under `poles` field poles; `None` for fewer than 2 segments or an odd
/// or zero number of poles.
pub fn cycles_per_revolution(segments: u32, poles: u32) -> Option<u32> {
    if segments < 2 || poles == 0 || !poles.is_multiple_of(2) {
        return None;
    }
    (segments / greatest_common_divisor(segments, poles)).checked_mul(poles)
}

/// All segment counts from `least` to `most` that give `cycles` cycles per revolution.
pub fn segment_counts(cycles: u32, poles: u32, least: u32, most: u32) -> Vec<u32> {
    (least..=most)
        .filter(|&s| cycles_per_revolution(s, poles) == Some(cycles))
        .collect()
}

pub(crate) fn greatest_common_divisor(mut a: u32, mut b: u32) -> u32 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice, no source: 3, 5, 7, 8, 12, 13 segments make 6, 10, 14, 8, 12, 26 cycles.
    #[test]
    fn val_two_pole_counts_follow_the_rule_of_practice() {
        let counts = [3, 5, 7, 8, 12, 13].map(|s| cycles_per_revolution(s, 2));
        assert_eq!(counts, [6, 10, 14, 8, 12, 26].map(Some));
        assert_eq!(cycles_per_revolution(10, 4), Some(20));
        assert_eq!(cycles_per_revolution(1, 2), None);
        assert_eq!(cycles_per_revolution(7, 0), None);
        assert_eq!(cycles_per_revolution(7, 3), None);
    }

    #[test]
    fn an_odd_count_and_its_double_cannot_be_told_apart() {
        assert_eq!(segment_counts(14, 2, 3, 48), [7, 14]);
        assert_eq!(segment_counts(12, 2, 3, 48), [12]);
        assert!(segment_counts(7, 2, 3, 48).is_empty());
    }
}
