//! Captures in which nothing moves.

use super::ground::Ground;
use super::role_guess::RoleGuess;
use crate::bench::Role;
use crate::events::polarity::still;
use crate::events::trace::activity::Activity;
use crate::events::trace::series::Series;
use crate::events::trace::view::View;
use crate::stats::simd;

/// Nothing moves: a steady run when there is a level, no event at all when there is none.
pub(crate) fn quiet(view: &View) -> Option<RoleGuess> {
    let level = |x: &Series| {
        let middle = x.median(0, x.len()).unwrap_or(0.0);
        (middle, x.spread(0, x.len()).max(x.sigma))
    };
    if let Some(v) = &view.v {
        if !still(v) {
            return None;
        }
        let (middle, noise) = level(v);
        let stays = |no_current| Ground::VoltageStays {
            level_v: middle,
            noise_v: noise,
            no_current,
        };
        if view.i.as_ref().is_some_and(|i| !still(i) && !returns(i)) {
            return None;
        }
        if middle.abs() > 8.0 * noise && view.i.as_ref().is_some_and(carries_none) {
            return Some(RoleGuess::new(Role::Steady, 0.6, stays(true)).or(Role::Driven, 0.35));
        }
        if middle.abs() > 8.0 * noise {
            let guess = RoleGuess::new(Role::Steady, 0.9, stays(false));
            return Some(match view.i {
                Some(_) => guess,
                None => guess.or(Role::Driven, 0.1),
            });
        }
        if view.i.as_ref().is_none_or(still) {
            return Some(nothing(middle, noise, "V"));
        }
        return None;
    }
    let i = view.i.as_ref()?;
    let (middle, noise) = level(i);
    if still(i) && middle.abs() < 5.0 * i.sigma {
        return Some(nothing(middle, noise, "A"));
    }
    if middle.abs() <= 3.0 * i.sigma && Activity::of(i).repeats() {
        let ground = Ground::CurrentRipples {
            ripple_a: noise,
            about_zero: true,
        };
        return Some(RoleGuess::new(Role::Steady, 0.6, ground).or(Role::Pwm, 0.1));
    }
    (still(i) || (returns(i) && middle.abs() > 3.0 * i.sigma)).then(|| {
        let ground = Ground::CurrentStays { level_a: middle };
        RoleGuess::new(Role::Steady, 0.7, ground).or(Role::Pwm, 0.2)
    })
}

/// True when a current channel shows nothing but its noise, zero included.
fn carries_none(i: &Series) -> bool {
    let middle = i.median(0, i.len()).unwrap_or(0.0);
    still(i)
        && middle.abs() < (3.0 * i.sigma).max(i.step)
        && i.spread(0, i.len()) < 2.0 * i.sigma.max(i.step)
}

fn nothing(level: f64, noise: f64, unit: &'static str) -> RoleGuess {
    RoleGuess::new(Role::Steady, 0.05, Ground::NoEvent { level, noise, unit })
}

/// True when the means of eight parts of the record agree within the ripple: it repeats itself.
fn returns(x: &Series) -> bool {
    let size = x.len().div_ceil(8);
    let (low, high) = simd::range(&x.x().means(size));
    let middle = x.median(0, x.len()).unwrap_or(0.0);
    high - low < 0.25 * middle.abs().max(x.spread(0, x.len()))
}
