//! Contradictions that no fit settles.

use super::{decade_error, time_base};
use crate::bench::{Bench, CaptureWarning};
use crate::fit::data::Segment;
use crate::fit::wording::Remark;

/// Adds what time axes and the ohmmeter contradict to the remarks: it is reported whatever comes out.
pub fn warnings_before_the_fit(
    bench: &Bench,
    segments: &[Vec<Segment>],
    remarks: &mut Vec<Remark>,
) -> Vec<CaptureWarning> {
    let found = [
        (
            time_base::against_any_motor(bench, segments),
            CaptureWarning::TimeBase,
        ),
        (
            decade_error::against_the_ohmmeter(bench, segments),
            CaptureWarning::TenTimesOff,
        ),
    ];
    let mut capture_warnings = Vec::new();
    for (remark, warning) in found {
        if let Some(remark) = remark {
            remarks.push(remark);
            capture_warnings.push(warning);
        }
    }
    capture_warnings
}
