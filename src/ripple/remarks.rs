//! Remarks on the samples of a record that any ripple analysis makes.

use std::fmt;

/// Samples left out or averaged before the analysis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SampleRemark {
    /// Samples at the ends of the converter's range were left out.
    Clipped {
        /// Samples left out.
        clipped: usize,
        /// Samples of the record.
        samples: usize,
    },
    /// Missing samples were left out.
    Missing {
        /// Samples left out.
        missing: usize,
        /// Samples of the record.
        samples: usize,
    },
    /// Samples were averaged in groups.
    Averaged {
        /// Samples in one group.
        group: usize,
        /// Samples of the record.
        samples: usize,
    },
}

impl fmt::Display for SampleRemark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SampleRemark::Clipped { clipped, samples } => write!(
                f,
                "{clipped} of {samples} samples sit at the end of the converter's range and were left out"
            ),
            SampleRemark::Missing { missing, samples } => write!(
                f,
                "{missing} of {samples} samples are missing and were left out"
            ),
            SampleRemark::Averaged { group, samples } => write!(
                f,
                "{samples} samples averaged in groups of {group}; lines above the new Nyquist frequency are weakened"
            ),
        }
    }
}
