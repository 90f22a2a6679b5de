//! Lines of a spectrum told apart by the domain in which they are stationary.

pub(crate) mod classify_lines;
pub(crate) mod foreign;
pub(crate) mod time_line;
