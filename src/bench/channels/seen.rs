//! What a capture shows of a channel's vertical range.

use crate::bench::accuracy::Range;

/// What a channel of a capture shows of its range.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// V or A at the motor.
    pub range: Range,
    /// Largest value, V or A at the motor.
    pub largest: f64,
    /// From the column's unit to volts or amperes at the motor.
    pub factor: f64,
}
