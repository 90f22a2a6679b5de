//! The order with what is fixed once from the estimate, so that every drawn motor is asked the same.

use super::order::Order;
use super::profile::Profile;
use super::section::{Known, Why};

/// Duty held over each of equal pieces; full duty after the last.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    pub piece_s: f64,
    pub duty: Vec<f64>,
    /// Current that the estimate then draws, A.
    pub current_a: f64,
}

impl Schedule {
    /// Until full duty, s.
    pub fn length_s(&self) -> f64 {
        self.piece_s * self.duty.len() as f64
    }
}

/// The order, and what is fixed once from the estimate so that every drawn motor is asked the same.
#[derive(Clone, Debug)]
pub struct Setting {
    pub order: Order,
    /// As read.
    pub profile: Option<Profile>,
    pub inrush_times_s: Vec<f64>,
    pub frequencies_hz: Vec<f64>,
    pub schedule: Known<Schedule>,
    /// Braking resistor of a standard value that stops every motor in time.
    pub stop_resistor_ohm: Known,
    /// The profile in short pieces.
    pub divided: Option<Profile>,
    /// Speeds of the table of regions, rad/s.
    pub region_speeds_rad_s: Vec<f64>,
    /// Winding temperature of the values, °C; `None` where it is not stated.
    pub winding_c: Option<f64>,
}

impl Setting {
    /// An order without a plan yet.
    pub fn of(order: Order) -> Setting {
        Setting {
            order,
            profile: None,
            inrush_times_s: Vec::new(),
            frequencies_hz: frequencies_hz(order.frequency_hz),
            schedule: Err(Why::NotGiven("--current-limit")),
            stop_resistor_ohm: Err(Why::NotGiven("--stop-time")),
            divided: None,
            region_speeds_rad_s: Vec::new(),
            winding_c: None,
        }
    }
}

/// The frequencies of the tables: 1-2-5 around the order's.
pub fn frequencies_hz(order_hz: f64) -> Vec<f64> {
    let decade = order_hz.log10().floor() as i32;
    let mut list: Vec<f64> = (decade - 2..=decade + 1)
        .flat_map(|power| [1.0, 2.0, 5.0].map(|digit| digit * 10f64.powi(power)))
        .filter(|f| *f >= order_hz / 200.0 && *f <= order_hz * 2.5)
        .collect();
    if list.iter().all(|f| (f / order_hz - 1.0).abs() > 1e-9) {
        list.push(order_hz);
        list.sort_by(f64::total_cmp);
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_go_in_ones_twos_and_fives_around_the_order() {
        assert_eq!(
            frequencies_hz(20e3),
            [100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4]
        );
        assert!(frequencies_hz(16e3).contains(&16e3));
    }
}
