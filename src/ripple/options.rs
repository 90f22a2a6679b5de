//! What the caller knows about a record, and what is asked of the analysis.

use super::error::Unreadable;
use crate::events::OpenStretch;
use crate::ripple::harmonics::cycles::{Counted, SEGMENTS};

/// Options of a ripple analysis. `Default` asks for a false-alarm rate of 1e-3 and assumes nothing of the commutator.
#[derive(Clone, Debug, PartialEq)]
pub struct RippleOptions {
    /// Chance, over the whole searched band, that noise alone is taken for a line.
    pub false_alarm_rate: f64,
    /// What somebody counted at the commutator. It is weighed against the pattern, never just believed.
    pub counted: Counted,
    /// Largest segment count considered.
    pub most_segments: u32,
    /// Standard uncertainty of what is left of the zero offset of the channel, V (or A for current). `None`: taken from the
    /// record after standstill where there is one, else 3 % of the starting voltage.
    pub zero_offset_standard_uncertainty: Option<f64>,
    /// Step between converter codes in the unit of the data; `None` where unknown or continuous.
    pub quantisation_step: Option<f64>,
    /// Standard uncertainty of the converter's level, mean over the codes used, in code steps: codes are not evenly wide. A tenth is a
    /// working assumption without a source; see `docs/ripple.md`, section 5.
    pub converter_linearity_steps: f64,
    /// Rows at the end of the converter's range, left out. Same length as the data.
    pub clipped: Option<Vec<bool>>,
    /// The record is used while the EMF is above this fraction of its starting value.
    pub least_emf_fraction: f64,
}

impl RippleOptions {
    /// An error for values outside their ranges.
    pub(crate) fn check(&self) -> Result<(), Unreadable> {
        if !(self.false_alarm_rate > 0.0 && self.false_alarm_rate < 1.0) {
            return Err(Unreadable::Option {
                name: "false_alarm_rate",
                value: self.false_alarm_rate,
                expected: "between 0 and 1",
            });
        }
        if !(self.least_emf_fraction > 0.0 && self.least_emf_fraction < 0.9) {
            return Err(Unreadable::Option {
                name: "least_emf_fraction",
                value: self.least_emf_fraction,
                expected: "between 0 and 0.9",
            });
        }
        if let Some(poles) = self.counted.poles
            && (poles == 0 || !poles.is_multiple_of(2))
        {
            return Err(Unreadable::Option {
                name: "poles",
                value: poles.into(),
                expected: "an even number of field poles, 2 or more",
            });
        }
        Ok(())
    }

    /// Options for the open stretch of a capture. `zero_v`: standard uncertainty of the
    /// channel's zero in V, used where the capture itself shows no rest.
    pub fn for_stretch(
        stretch: &OpenStretch<'_>,
        counted: Counted,
        zero_v: Option<f64>,
    ) -> RippleOptions {
        let step = stretch.quantisation_step_v.unwrap_or(0.0);
        RippleOptions {
            counted,
            zero_offset_standard_uncertainty: match stretch.zero_v {
                Some(_) => Some((0.1 * step).max(1e-6)),
                None => zero_v,
            },
            quantisation_step: stretch.quantisation_step_v,
            clipped: (!stretch.clipped.is_empty()).then(|| stretch.clipped.clone()),
            ..RippleOptions::default()
        }
    }
}

impl Default for RippleOptions {
    fn default() -> Self {
        RippleOptions {
            false_alarm_rate: 1e-3,
            counted: Counted::default(),
            most_segments: SEGMENTS.1,
            zero_offset_standard_uncertainty: None,
            quantisation_step: None,
            converter_linearity_steps: 0.1,
            clipped: None,
            least_emf_fraction: 0.15,
        }
    }
}
