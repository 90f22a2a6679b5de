//! motor
