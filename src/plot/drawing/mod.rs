//! How pictures are drawn: scales, charts, letters and colours on SVG and PNG.

pub(in crate::plot) mod axis;
pub(in crate::plot) mod ink;
pub(in crate::plot) mod marks;
pub(in crate::plot) mod panel;
pub(in crate::plot) mod picture;
