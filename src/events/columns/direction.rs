//! Which way round voltage and current stand.

use crate::bench::Role;
use crate::events::trace::series::Series;
use crate::events::trace::shape::Shape;

/// Sign of the voltage while the source drives.
pub(crate) fn driving_sign(s: &Shape, x: &Series, role: Role) -> f64 {
    match role {
        Role::Start | Role::LockedRotor => s.tail,
        Role::RunDown | Role::Brake | Role::TurnOff if s.head.abs() > 6.0 * s.sigma => s.head,
        Role::RunDown | Role::Brake | Role::TurnOff => 1.0,
        Role::Pwm | Role::PwmLocked | Role::Steady | Role::Driven => {
            let middle = x.mean(0, x.len());
            if middle.abs() > 3.0 * s.sigma {
                middle
            } else {
                1.0
            }
        }
    }
}

/// Sign of the current in the direction of driving; positive where it cannot be told from noise.
pub(crate) fn current_sign(s: &Shape, role: Role) -> f64 {
    let level = match role {
        Role::Start | Role::LockedRotor => s.peak_from(s.head),
        Role::Brake => -(s.peak - s.tail),
        Role::RunDown | Role::TurnOff => s.head_mean - s.tail,
        Role::Pwm | Role::PwmLocked | Role::Steady | Role::Driven => s.head_mean,
    };
    if level.abs() > 2.0 * s.sigma {
        level
    } else {
        1.0
    }
}
