//! Contradictions that no fit settles.

use super::{decade_error, time_base};
use crate::bench::{Bench, Doubt};
use crate::fit::data::Segment;

/// Adds what time axes and the ohmmeter contradict to the remarks: it is reported whatever comes out.
pub fn doubts_before_the_fit(
    bench: &Bench,
    segments: &[Vec<Segment>],
    remarks: &mut Vec<String>,
) -> Vec<Doubt> {
    let found = [
        (
            time_base::against_any_motor(bench, segments),
            Doubt::TimeBase,
        ),
        (
            decade_error::against_the_ohmmeter(bench, segments),
            Doubt::TenTimesOff,
        ),
    ];
    let mut doubts = Vec::new();
    for (remark, doubt) in found {
        if let Some(remark) = remark {
            remarks.push(remark);
            doubts.push(doubt);
        }
    }
    doubts
}
