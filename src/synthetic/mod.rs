//! synthetic
