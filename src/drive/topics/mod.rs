//! One file a topic of `docs/drive.md`: each fills a section for one motor.

pub mod braking;
pub mod half_bridge;
pub mod heating;
pub mod inrush;
pub mod profile;
pub mod pwm;
pub mod rating;
pub mod soft_start;
pub mod steady_states;
pub mod time_constants;
pub mod turn_off;
