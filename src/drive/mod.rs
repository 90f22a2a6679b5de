//! What a motor file means for the drive: supply, switches, PWM, flyback path, soft start, brake.
//!
//! Formulas with symbols, units and sources stand in `docs/drive.md`. One file a topic:
//!
//! * [`order`]: the user's conditions, checked.
//! * [`sample`]: one motor as the drive sees it, the estimate or a draw from the covariance.
//! * [`time_constants`], [`inrush`], [`soft_start`], [`pwm`], [`half_bridge`], [`turn_off`], [`braking`], [`heating`]: the topics.
//! * [`course`]: courses in time by simulation. [`chopper`]: one period in closed form. [`clamp`]: decay at turn-off.
//! * [`page`]: what a topic hands over. [`sizing`]: the same with bounds. [`table`]: as text. [`cautions`]: dangers.

pub mod braking;
pub mod cautions;
pub mod chopper;
pub mod clamp;
pub mod course;
pub mod half_bridge;
pub mod heating;
pub mod inrush;
pub mod order;
pub mod page;
pub mod pwm;
pub mod sample;
pub mod sizing;
pub mod soft_start;
pub mod table;
pub mod time_constants;
pub mod turn_off;

pub use order::{Load, Order, OrderError};
pub use sizing::{Sizing, size};

use page::{Known, Why};
use soft_start::Schedule;

/// The order, and what is fixed once from the estimate so that every drawn motor is asked the same.
#[derive(Clone, Debug)]
pub struct Setting {
    pub order: Order,
    pub plan: Plan,
}

/// Grids of the tables and the ramp under trial.
#[derive(Clone, Debug)]
pub struct Plan {
    pub inrush_times_s: Vec<f64>,
    pub frequencies_hz: Vec<f64>,
    pub schedule: Known<Schedule>,
    /// Winding temperature of the values, °C; `None` when nobody told it.
    pub winding_c: Option<f64>,
}

impl Setting {
    /// An order without a plan yet.
    pub fn of(order: Order) -> Setting {
        Setting {
            order,
            plan: Plan {
                inrush_times_s: Vec::new(),
                frequencies_hz: pwm::frequencies_hz(order.frequency_hz),
                schedule: Err(Why::NotGiven("--current-limit")),
                winding_c: None,
            },
        }
    }
}
