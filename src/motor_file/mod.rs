//! motor_file
