//! Stated accuracies and stated quantities, as typed and as standard uncertainties.
//!
//! A data sheet states an accuracy in one of three ways, and each key of an accuracy table begins with the way:
//!
//! * `limit_`: bounds that are about two standard deviations, *u* = *a*/2 (how hobby and service instruments are
//!   usually specified; the default reading of a stated accuracy);
//! * `standard_`: a standard uncertainty, *u* = *a*;
//! * `half_width_`: a rectangular distribution of half width *a*, *u* = *a*/√3 (JCGM 100:2008, 4.3.7).
//!
//! The key ends with the unit: `percent` or `ppm` of reading, `divisions` of the screen, or the quantity's own unit.
//! Parts stated the same way add up as a data sheet's `± (1 % + 2 digits)` does, except standard uncertainties, which
//! add in squares; parts stated in different ways add in squares.

use super::setup::Stated;

/// Bounds given as a limit are this many standard deviations wide.
const LIMIT_SIGMAS: f64 = 2.0;

/// The parts of an accuracy that were stated in one way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Parts {
    /// Of the reading.
    pub relative: f64,
    /// In the SI unit of the quantity.
    pub absolute: f64,
    pub divisions: f64,
}

/// An accuracy as stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Accuracy {
    pub(super) limit: Parts,
    pub(super) standard: Parts,
    pub(super) half_width: Parts,
}

impl Accuracy {
    /// A limit relative to the reading, e.g. 0.02 for 2 %.
    pub fn limit_relative(relative: f64) -> Self {
        Accuracy {
            limit: Parts {
                relative,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// A limit in the SI unit of the quantity.
    pub fn limit_absolute(absolute: f64) -> Self {
        Accuracy {
            limit: Parts {
                absolute,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// A limit in divisions of the screen.
    pub fn limit_divisions(divisions: f64) -> Self {
        Accuracy {
            limit: Parts {
                divisions,
                ..Parts::default()
            },
            ..Accuracy::default()
        }
    }

    /// With a further limit in the SI unit of the quantity.
    pub fn and_limit_absolute(mut self, absolute: f64) -> Self {
        self.limit.absolute += absolute;
        self
    }

    /// True when nothing was stated.
    pub fn is_empty(&self) -> bool {
        *self == Accuracy::default()
    }

    /// True when a part is stated in divisions, so that a vertical scale is needed.
    pub fn needs_scale(&self) -> bool {
        [self.limit, self.standard, self.half_width]
            .iter()
            .any(|p| p.divisions != 0.0)
    }

    /// Standard uncertainty of `reading`, in the SI unit of the quantity; `per_division` is the vertical scale.
    pub fn standard_uncertainty(&self, reading: f64, per_division: f64) -> f64 {
        let parts = |p: &Parts| {
            [
                p.relative * reading.abs(),
                p.absolute,
                p.divisions * per_division,
            ]
        };
        let linear = |p: &Parts| parts(p).iter().sum::<f64>();
        let squared: f64 = parts(&self.standard).iter().map(|u| u * u).sum();
        let limit = linear(&self.limit) / LIMIT_SIGMAS;
        let half_width = linear(&self.half_width) / 3f64.sqrt();
        (squared + limit * limit + half_width * half_width).sqrt()
    }

    /// The stated value of `reading`.
    pub fn state(&self, reading: f64) -> Stated {
        Stated {
            value: reading,
            standard_uncertainty: self.standard_uncertainty(reading, 0.0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_limit_is_two_standard_deviations() {
        let gain = Accuracy::limit_relative(0.02);
        assert_relative_eq!(gain.standard_uncertainty(1.0, 0.0), 0.01);
        assert_relative_eq!(gain.standard_uncertainty(-50.0, 0.0), 0.5);
    }

    #[test]
    fn parts_of_one_data_sheet_limit_add_up_before_they_are_halved() {
        // ± (1 % + 0.02 Ω) at 10 Ω is ± 0.12 Ω.
        let meter = Accuracy::limit_relative(0.01).and_limit_absolute(0.02);
        assert_relative_eq!(meter.standard_uncertainty(10.0, 0.0), 0.06, epsilon = 1e-15);
    }

    /// JCGM 100:2008, 4.3.7: a rectangular distribution of half width a has u² = a²/3.
    #[test]
    fn val_a_rectangular_half_width_is_divided_by_root_three() {
        let mut accuracy = Accuracy::default();
        accuracy.half_width.absolute = 0.3;
        assert_relative_eq!(
            accuracy.standard_uncertainty(7.0, 0.0),
            0.3 / 3f64.sqrt(),
            epsilon = 1e-15
        );
    }

    #[test]
    fn divisions_take_the_vertical_scale() {
        let zero = Accuracy::limit_divisions(0.1);
        assert!(zero.needs_scale());
        assert_relative_eq!(zero.standard_uncertainty(0.0, 5.0), 0.25);
    }
}
