//! Where a chart stands on its picture.

use crate::plot::drawing::panel::Frame;
use crate::plot::drawing::picture::WIDTH;

/// Left edge of every chart: room for its numbers.
pub(super) const LEFT: f64 = 78.0;

/// A chart over the whole width from `top` down.
pub(super) fn frame(top: f64, height: f64) -> Frame {
    Frame {
        left: LEFT,
        top,
        right: WIDTH - 24.0,
        bottom: top + height,
    }
}
