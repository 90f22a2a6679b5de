//! Resampling a correlated record in blocks, so that the copy keeps the correlation (Künsch 1989).

use super::Invalid;
use rand::Rng;

/// Indices of one moving-block resample of a record made of groups: for each group as many indices as it has
/// members, drawn as runs of `block_length` consecutive members of that same group. A group shorter than a block
/// is drawn from with blocks of its own length, so it comes back whole.
///
/// # Errors
/// For a block length of zero.
pub fn moving_block_indices(
    group_lengths: &[usize],
    block_length: usize,
    random: &mut impl Rng,
) -> Result<Vec<usize>, Invalid> {
    if block_length == 0 {
        return Err(Invalid("a block holds one observation or more"));
    }
    let mut indices = Vec::with_capacity(group_lengths.iter().sum());
    let mut offset = 0;
    for &length in group_lengths {
        let block = block_length.min(length);
        let mut missing = length;
        while missing > 0 {
            let start = random.random_range(0..=length - block);
            let taken = block.min(missing);
            indices.extend(offset + start..offset + start + taken);
            missing -= taken;
        }
        offset += length;
    }
    Ok(indices)
}

/// Block length that makes the bootstrap variance of a mean best in mean square for a first-order autoregression of
/// lag-one correlation r: `(√6 |r| / (1 − r²))^(2/3) n^(1/3)`, at least 1 (Carlstein 1986, widened by (3/2)^(1/3)
/// for overlapping blocks, Künsch 1989). It equals the bandwidth of [`super::hac::Lag::AndrewsAr1`].
///
/// # Errors
/// For r outside −1 to 1.
pub fn block_length_ar1(samples: usize, correlation: f64) -> Result<usize, Invalid> {
    if !(correlation > -1.0 && correlation < 1.0) {
        return Err(Invalid("a correlation lies between -1 and 1"));
    }
    let shape = 6.0_f64.sqrt() * correlation.abs() / (1.0 - correlation * correlation);
    let length = shape.powf(2.0 / 3.0) * (samples as f64).cbrt();
    Ok((length.round() as usize).clamp(1, samples.max(1)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;
    use rand::rngs::StdRng;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn blocks_are_runs_that_stay_inside_their_group() {
        let mut random = StdRng::seed_from_u64(1);
        let lengths = [10, 3, 7];
        for _ in 0..200 {
            let indices = moving_block_indices(&lengths, 4, &mut random).unwrap();
            assert_eq!(indices.len(), 20);
            assert!(indices[..10].iter().all(|&i| i < 10));
            assert_eq!(indices[10..13], [10, 11, 12]);
            assert!(indices[13..].iter().all(|&i| (13..20).contains(&i)));
            for block in [&indices[0..4], &indices[4..8], &indices[13..17]] {
                assert!(block.windows(2).all(|pair| pair[1] == pair[0] + 1));
            }
        }
        assert!(moving_block_indices(&lengths, 0, &mut random).is_err());
        assert!(
            moving_block_indices(&[], 3, &mut random)
                .unwrap()
                .is_empty()
        );
    }

    #[test]
    fn variance_of_a_mean_follows_the_correlation() {
        // A first-order autoregression of r = 0.6: the mean of n varies (1 + r)/(1 − r) = 4 times as much as for
        // independent samples; blocks lose a little of it, single draws nearly all.
        let r = 0.6;
        let n = 4000;
        let mut random = StdRng::seed_from_u64(9);
        let mut value = 0.0;
        let record: Vec<f64> = (0..n)
            .map(|_| {
                let z: f64 = StandardNormal.sample(&mut random);
                value = r * value + z;
                value
            })
            .collect();
        let mean = record.iter().sum::<f64>() / n as f64;
        let variance = record.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / n as f64;
        let mut ratio_with = |block: usize| {
            let means: Vec<f64> = (0..600)
                .map(|_| {
                    let indices = moving_block_indices(&[n], block, &mut random).unwrap();
                    indices.iter().map(|&i| record[i] - mean).sum::<f64>() / n as f64
                })
                .collect();
            means.iter().map(|m| m * m).sum::<f64>() / means.len() as f64 * n as f64 / variance
        };
        let blocks = ratio_with(block_length_ar1(n, r).unwrap());
        let singles = ratio_with(1);
        assert!((3.2..4.6).contains(&blocks), "{blocks}");
        assert!((0.8..1.2).contains(&singles), "{singles}");
    }

    #[test]
    fn block_length_equals_the_bandwidth_of_the_bartlett_kernel() {
        // Andrews 1991: 1.1447 (4 r² n / (1 − r²)²)^(1/3).
        let expected = 1.1447 * (4.0 * 0.25 * 1000.0 / 0.75_f64.powi(2)).cbrt();
        let length = block_length_ar1(1000, 0.5).unwrap();
        assert_relative_eq!(length as f64, expected, epsilon = 0.51);
        assert_eq!(block_length_ar1(1000, 0.0).unwrap(), 1);
        assert!(block_length_ar1(1000, 1.0).is_err());
    }
}
