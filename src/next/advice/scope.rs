//! Settings of the oscilloscope for one capture.
//!
//! Eight divisions high and ten wide, steps of 1, 2, 5 (common practice, no source). The largest excursion stays within seven
//! divisions; twenty samples fall within L/R (docs/bench.md, section 5).

use crate::next::advice::series::one_two_five_up;
use serde::Serialize;

const USABLE_DIVISIONS: f64 = 7.0;
const WIDE_DIVISIONS: f64 = 10.0;
/// Samples within L/R.
pub const SAMPLES_PER_TIME_CONSTANT: f64 = 20.0;
/// Points beyond which a record is split into a short fine one and a long coarse one.
pub const MOST_POINTS: f64 = 1e6;

/// One vertical channel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Vertical {
    pub lowest: f64,
    pub highest: f64,
    /// Units a division.
    pub per_division: f64,
}

impl Vertical {
    /// Smallest step that holds everything from `lowest` to `highest`, zero among them.
    pub fn holding(lowest: f64, highest: f64) -> Self {
        let (lowest, highest) = (lowest.min(0.0), highest.max(0.0));
        Vertical {
            lowest,
            highest,
            per_division: one_two_five_up(((highest - lowest) / USABLE_DIVISIONS).max(1e-6)),
        }
    }
}

/// Everything to set for one capture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Settings {
    pub voltage_v: Vertical,
    pub current_a: Vertical,
    /// Shortest record that shows all, s, and the time scale that holds it.
    pub span_s: f64,
    pub per_division_s: f64,
    pub sample_rate_hz: f64,
    /// Points that span and rate make; more do no harm.
    pub points: f64,
    /// Of the record.
    pub pre_trigger_share: f64,
    pub trigger: String,
}

impl Settings {
    /// From what the capture shows and the fastest thing in it (`resolve_s`: one sample).
    pub fn new(
        voltage_v: (f64, f64),
        current_a: (f64, f64),
        span_s: f64,
        resolve_s: f64,
        pre_trigger_share: f64,
        trigger: String,
    ) -> Self {
        let per_division_s = one_two_five_up(span_s / (1.0 - pre_trigger_share) / WIDE_DIVISIONS);
        let sample_rate_hz = one_two_five_up(1.0 / resolve_s);
        Settings {
            voltage_v: Vertical::holding(voltage_v.0, voltage_v.1),
            current_a: Vertical::holding(current_a.0, current_a.1),
            span_s,
            per_division_s,
            sample_rate_hz,
            points: per_division_s * WIDE_DIVISIONS * sample_rate_hz,
            pre_trigger_share,
            trigger,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn twenty_four_volts_take_five_a_division() {
        let v = Vertical::holding(0.0, 24.0);
        assert_relative_eq!(v.per_division, 5.0);
        let s = Settings::new((0.0, 24.0), (0.0, 7.5), 0.16, 30e-6, 0.15, String::new());
        assert_relative_eq!(s.current_a.per_division, 2.0);
        assert_relative_eq!(s.per_division_s, 0.02);
        assert_relative_eq!(s.sample_rate_hz, 5e4);
        assert_relative_eq!(s.points, 1e4);
    }
}
