//! The functions φ of a number.

/// Size of the number below which the closed forms lose digits, and the series is short.
pub const LEAST: f64 = 1.0;
/// Terms of φ₃'s series up to |z| = 1: the next is 1e-18.
const TERMS: usize = 16;

/// φ₁, φ₂ and φ₃ of a number, and their derivatives.
pub struct Phi {
    pub at: [f64; 3],
    pub slope: [f64; 3],
}

impl Phi {
    #[inline(always)]
    pub fn new(z: f64) -> Self {
        if z.abs() < LEAST {
            return Phi::by_series(z);
        }
        let exponential = z.exp();
        let by_z = 1.0 / z;
        let phi1 = (exponential - 1.0) * by_z;
        let phi2 = (phi1 - 1.0) * by_z;
        let phi3 = (phi2 - 0.5) * by_z;
        Phi {
            at: [phi1, phi2, phi3],
            slope: [
                (exponential - phi1) * by_z,
                (phi1 - 2.0 * phi2) * by_z,
                (phi2 - 3.0 * phi3) * by_z,
            ],
        }
    }

    #[inline(always)]
    fn by_series(z: f64) -> Self {
        // z^k/(k+3)!, by Horner.
        let (mut phi3, mut slope3) = (1.0, 0.0);
        for k in (1..=TERMS).rev() {
            let part = 1.0 / (k as f64 + 3.0);
            slope3 = (phi3 + z * slope3) * part;
            phi3 = 1.0 + z * phi3 * part;
        }
        let (phi3, slope3) = (phi3 / 6.0, slope3 / 6.0);
        let (phi2, slope2) = (0.5 + z * phi3, phi3 + z * slope3);
        Phi {
            at: [1.0 + z * phi2, phi2, phi3],
            slope: [phi2 + z * slope2, slope2, slope3],
        }
    }
}
