//! One item of evidence beside what all the others predict of it.
//!
//! The difference is a deletion residual: what was stated less what the fit predicts of it without it, over the standard uncertainty of
//! that difference (R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982, section 2.2, from memory: in the linear case
//! `r/√(1 − h)` with the leverage h). Up to three of these the item agrees; up to five it is doubtful; beyond, in conflict.

use crate::fit::wording::Contradiction;
use serde::{Deserialize, Serialize};

/// Deviations beyond which an item is doubtful, and beyond which it is in conflict.
const DOUBTFUL: f64 = 3.0;
const IN_CONFLICT: f64 = 5.0;

/// What an item of evidence is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum EvidenceKind {
    /// Ohmmeter, inductance meter.
    Reading,
    /// Tachometer, ripple, driven EMF, added inertia, load torque.
    SpeedReference,
    /// The number of commutator segments.
    SegmentCount,
    /// The stated supply voltage.
    Supply,
    /// A gain, a zero, a resistance or a source with a stated accuracy.
    Instrument,
    /// The current from which on the brush drop is flat, against what is usual beside the no-load current.
    Contact,
    /// A whole capture.
    Capture,
}

impl EvidenceKind {
    /// Place in a table.
    pub(crate) fn place(self) -> usize {
        self as usize
    }

    /// As the motor file names it.
    pub fn key(self) -> &'static str {
        match self {
            EvidenceKind::Reading => "reading",
            EvidenceKind::SpeedReference => "speed_reference",
            EvidenceKind::SegmentCount => "segment_count",
            EvidenceKind::Supply => "supply",
            EvidenceKind::Instrument => "instrument",
            EvidenceKind::Contact => "brush_contact",
            EvidenceKind::Capture => "capture",
        }
    }
}

/// How an item agrees with the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Agreement {
    /// Nothing else predicts it.
    NothingToCompare,
    /// Within three standard uncertainties of the difference.
    Agrees,
    /// Between three and five.
    Doubtful,
    /// Beyond five.
    InConflict,
}

impl Agreement {
    /// Of a deviation in standard uncertainties.
    pub fn of(deviation: f64) -> Self {
        match deviation.abs() {
            d if d <= DOUBTFUL => Agreement::Agrees,
            d if d <= IN_CONFLICT => Agreement::Doubtful,
            // What is not a number agrees with nothing.
            _ => Agreement::InConflict,
        }
    }
}

/// One item of evidence beside the others.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Confrontation {
    /// What it is.
    pub kind: EvidenceKind,
    /// E.g. `ohmmeter`, `tachometer (coast)`.
    pub item: String,
    /// As stated or read, in the SI unit of `unit`.
    pub stated: Option<f64>,
    /// What the others predict of it, likewise.
    pub model: Option<f64>,
    /// Standard uncertainty of the difference of the two, likewise.
    pub standard_uncertainty: Option<f64>,
    /// UCUM code of the SI unit; `1` for a plain number.
    pub unit: &'static str,
    /// Stated less predicted over the standard uncertainty of that difference.
    pub deviation: Option<f64>,
    /// What follows from it.
    pub agreement: Agreement,
    /// Where it does not agree: what was seen, and the usual causes.
    pub text: Option<Contradiction>,
}

impl Confrontation {
    /// An item that nothing else predicts.
    pub fn alone(kind: EvidenceKind, item: impl Into<String>) -> Self {
        Confrontation {
            kind,
            item: item.into(),
            stated: None,
            model: None,
            standard_uncertainty: None,
            unit: "1",
            deviation: None,
            agreement: Agreement::NothingToCompare,
            text: None,
        }
    }

    /// An item with its deviation; `text` is kept where it does not agree.
    pub fn with_deviation(
        kind: EvidenceKind,
        item: impl Into<String>,
        deviation: f64,
        text: impl FnOnce() -> Contradiction,
    ) -> Self {
        let agreement = Agreement::of(deviation);
        Confrontation {
            deviation: Some(deviation),
            agreement,
            text: (agreement > Agreement::Agrees).then(text),
            ..Confrontation::alone(kind, item)
        }
    }

    /// Adds what was stated and what is predicted, in the SI unit with this UCUM code.
    pub fn with_values(
        mut self,
        stated: f64,
        model: Option<f64>,
        standard_uncertainty: Option<f64>,
        unit: &'static str,
    ) -> Self {
        self.stated = Some(stated);
        self.model = model;
        self.standard_uncertainty = standard_uncertainty;
        self.unit = unit;
        self
    }

    /// Whether it is in conflict.
    pub fn in_conflict(&self) -> bool {
        self.agreement == Agreement::InConflict
    }
}

/// A parameter that comes out otherwise with either side of a conflict.
#[derive(Clone, Debug, PartialEq)]
pub struct Disputed {
    /// Key in the motor file.
    pub parameter: &'static str,
    /// Lower bound of the interval that holds both sides, SI.
    pub lower: f64,
    /// Upper bound.
    pub upper: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn up_to_three_agrees_up_to_five_is_doubtful_and_beyond_is_a_conflict() {
        let all = [0.0, -3.0, 3.1, -5.0, 5.1, f64::INFINITY, f64::NAN];
        use Agreement::{Agrees, Doubtful, InConflict};
        let expected = [
            Agrees, Agrees, Doubtful, Doubtful, InConflict, InConflict, InConflict,
        ];
        assert_eq!(all.map(Agreement::of), expected);
    }
}
