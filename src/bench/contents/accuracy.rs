//! Stated accuracies and stated quantities, as typed and as standard uncertainties.
//!
//! A data sheet or certificate states an accuracy in one of three ways, and each key of an accuracy table begins with the way:
//!
//! * `limit_` (or `half_width_`): bounds without a level of confidence, a rectangular distribution of half width *a*,
//!   *u* = *a*/√3 (JCGM 100:2008, 4.3.7);
//! * `coverage_95_`: an expanded uncertainty at about 95 %, coverage factor 2, *u* = *a*/2 (JCGM 100:2008, 4.3.4 and 6.3.3);
//! * `standard_`: a standard uncertainty, *u* = *a*.
//!
//! The key ends with the unit: `percent` or `ppm` of reading, `full_scale_percent` of the range, `divisions` of the screen, or the quantity's own unit.
//! Parts stated the same way add up as a data sheet's `± (1 % + 2 digits)` does, except standard uncertainties, which
//! add in squares; parts stated in different ways add in squares.

/// A stated value with its standard uncertainty, in the unit of its name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// The value as stated.
    pub value: f64,
    /// Standard uncertainty, in the unit of `value`.
    pub standard_uncertainty: f64,
}

/// The distribution that a stated accuracy stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ErrorDistribution {
    /// A limit without a level of confidence.
    Rectangular,
    /// An expanded or a standard uncertainty.
    Normal,
    /// Parts of both kinds.
    Combined,
}

impl ErrorDistribution {
    /// As tables print it.
    pub fn label(self) -> &'static str {
        match self {
            ErrorDistribution::Rectangular => "rectangular",
            ErrorDistribution::Normal => "normal",
            ErrorDistribution::Combined => "combined",
        }
    }
}

/// Coverage factor of a level of about 95 % (JCGM 100:2008, 6.3.3).
const COVERAGE_FACTOR: f64 = 2.0;

/// The parts of an accuracy that were stated in one way.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(in crate::bench) struct Parts {
    /// Of the reading.
    pub relative: f64,
    /// In the SI unit of the quantity.
    pub absolute: f64,
    pub divisions: f64,
    /// Of the full scale of the range.
    pub full_scale: f64,
}

/// The vertical range of a channel in the unit of its readings.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Range {
    pub per_division: f64,
    pub full_scale: f64,
    /// Stated, or read from the converter's codes; else estimated from the span of a record.
    pub is_known: bool,
}

/// An accuracy as stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Accuracy {
    pub(in crate::bench) limit: Parts,
    pub(in crate::bench) coverage_95: Parts,
    pub(in crate::bench) standard: Parts,
}

impl Accuracy {
    fn of_limit(limit: Parts) -> Self {
        Accuracy {
            limit,
            ..Accuracy::default()
        }
    }

    /// A limit relative to the reading, e.g. 0.02 for 2 %.
    pub fn limit_relative(relative: f64) -> Self {
        Accuracy::of_limit(Parts {
            relative,
            ..Parts::default()
        })
    }

    /// A limit in the SI unit of the quantity.
    pub fn limit_absolute(absolute: f64) -> Self {
        Accuracy::default().and_limit_absolute(absolute)
    }

    /// A limit in divisions of the screen.
    pub fn limit_divisions(divisions: f64) -> Self {
        Accuracy::of_limit(Parts {
            divisions,
            ..Parts::default()
        })
    }

    /// A limit as a part of full scale, e.g. 0.03 for 3 %.
    pub fn limit_full_scale(full_scale: f64) -> Self {
        Accuracy::of_limit(Parts {
            full_scale,
            ..Parts::default()
        })
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

    /// True when a part is stated in divisions or of full scale, so that a vertical scale is needed.
    pub fn needs_scale(&self) -> bool {
        self.parts()
            .iter()
            .any(|p| p.divisions != 0.0 || p.full_scale != 0.0)
    }

    fn parts(&self) -> [Parts; 3] {
        [self.limit, self.coverage_95, self.standard]
    }

    /// Standard uncertainty of `reading` in a range, in the SI unit of the quantity.
    pub(in crate::bench) fn standard_uncertainty(&self, reading: f64, range: Range) -> f64 {
        let parts = |p: &Parts| {
            [
                p.relative * reading.abs(),
                p.absolute,
                p.divisions * range.per_division,
                p.full_scale * range.full_scale,
            ]
        };
        let linear = |p: &Parts| parts(p).iter().sum::<f64>();
        let squared: f64 = parts(&self.standard).iter().map(|u| u * u).sum();
        let limit = linear(&self.limit) / 3f64.sqrt();
        let coverage = linear(&self.coverage_95) / COVERAGE_FACTOR;
        (squared + limit * limit + coverage * coverage).sqrt()
    }

    /// How it was stated, as a budget names the distribution; nothing where nothing was.
    pub fn distribution(&self) -> Option<ErrorDistribution> {
        let empty = Parts::default();
        let [limit, coverage, standard] = self.parts().map(|p| p != empty);
        match (limit, coverage || standard) {
            (true, false) => Some(ErrorDistribution::Rectangular),
            (false, true) => Some(ErrorDistribution::Normal),
            (true, true) => Some(ErrorDistribution::Combined),
            (false, false) => None,
        }
    }

    /// Standard uncertainties of the part that grows with the reading (relative) and of the part that does not (in the quantity's SI
    /// unit): a gain and a zero, each the same in all readings of one meter.
    pub fn gain_and_zero(&self) -> (f64, f64) {
        let mut growing = *self;
        for parts in [
            &mut growing.limit,
            &mut growing.coverage_95,
            &mut growing.standard,
        ] {
            parts.absolute = 0.0;
        }
        // At a reading of 0 the relative parts vanish.
        let none = Range::default();
        (
            growing.standard_uncertainty(1.0, none),
            self.standard_uncertainty(0.0, none),
        )
    }

    /// The stated value of `reading`.
    pub fn state(&self, reading: f64) -> Stated {
        Stated {
            value: reading,
            standard_uncertainty: self.standard_uncertainty(reading, Range::default()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn at(accuracy: Accuracy, reading: f64) -> f64 {
        accuracy.standard_uncertainty(reading, Range::default())
    }

    /// JCGM 100:2008, 4.3.7: a rectangular distribution of half width a has u² = a²/3.
    #[test]
    fn val_a_limit_is_rectangular() {
        let gain = Accuracy::limit_relative(0.03);
        assert_relative_eq!(at(gain, 1.0), 0.03 / 3f64.sqrt());
        assert_relative_eq!(at(gain, -50.0), 1.5 / 3f64.sqrt());
        assert_eq!(gain.distribution(), Some(ErrorDistribution::Rectangular));
    }

    /// JCGM 100:2008, 6.3.3: a coverage factor of 2 for a level of about 95 %.
    #[test]
    fn val_an_expanded_uncertainty_is_halved() {
        let mut accuracy = Accuracy::default();
        accuracy.coverage_95.absolute = 0.3;
        assert_relative_eq!(at(accuracy, 7.0), 0.15);
        accuracy.standard.absolute = 0.2;
        assert_relative_eq!(at(accuracy, 7.0), 0.25, epsilon = 1e-15);
        assert_eq!(accuracy.distribution(), Some(ErrorDistribution::Normal));
    }

    #[test]
    fn parts_of_one_data_sheet_limit_add_up_first() {
        // ± (1 % + 0.02 Ω) at 10 Ω is ± 0.12 Ω.
        let meter = Accuracy::limit_relative(0.01).and_limit_absolute(0.02);
        assert_relative_eq!(at(meter, 10.0), 0.12 / 3f64.sqrt(), epsilon = 1e-15);
    }

    #[test]
    fn divisions_and_full_scale_take_the_range() {
        let range = Range {
            per_division: 5.0,
            full_scale: 40.0,
            is_known: true,
        };
        let zero = Accuracy::limit_divisions(0.1);
        assert!(zero.needs_scale());
        let root = 3f64.sqrt();
        assert_relative_eq!(zero.standard_uncertainty(0.0, range), 0.5 / root);
        let gain = Accuracy::limit_full_scale(0.03);
        assert!(gain.needs_scale());
        // Of the range, whatever the reading.
        assert_relative_eq!(gain.standard_uncertainty(2.0, range), 1.2 / root);
    }
}
