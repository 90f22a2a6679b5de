//! ripple
