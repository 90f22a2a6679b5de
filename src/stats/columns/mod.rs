//! Long columns of numbers without a copy: extremes and counts, a number of known rank, the column seen from another zero.

pub mod affine_view;
pub mod order_statistic;
pub mod simd;
