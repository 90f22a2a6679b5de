//! The role when only one of voltage and current was recorded.

use super::ground::Ground;
use super::role_guess::RoleGuess;
use super::stepped::stepped;
use crate::bench::Role;
use crate::events::phases::start;
use crate::events::trace::activity::Activity;
use crate::events::trace::bands::Band;
use crate::events::trace::quantile::quantile;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::View;

/// Role from the voltage alone.
pub(crate) fn voltage_only(mut view: View, v: Shape) -> RoleGuess {
    let top = v.top();
    let later = view
        .v
        .as_ref()
        .and_then(|x| x.quantile(0, x.len(), 0.9))
        .unwrap_or(v.tail);
    if v.head.abs() < 0.3 * v.tail.max(later) {
        let Some((settled, end, _)) = start::driven_range(&view) else {
            return RoleGuess::new(Role::RunDown, 0.2, Ground::VoltageReturns).or(Role::Start, 0.1);
        };
        // A source with resistance recovers as the motor runs up and its current falls.
        let series = view.v.take();
        let recovers = series.is_some_and(|x| {
            let size = ((end - settled) / 20).max(1);
            let last = x.mean(end - size, end);
            let lowest = (0..20)
                .map(|k| x.mean(settled + k * size, settled + (k + 1) * size))
                .fold(f64::INFINITY, f64::min);
            last - lowest > 0.01 * last.abs()
                && last - lowest > 3.0 * x.sigma / (size as f64).sqrt()
        });
        let ground = Ground::VoltageStep { recovers };
        return match recovers {
            true => RoleGuess::new(Role::Start, 0.6, ground).or(Role::LockedRotor, 0.3),
            false => RoleGuess::new(Role::LockedRotor, 0.4, ground).or(Role::Start, 0.4),
        };
    }
    if (v.tail - v.head).abs() < 0.1 * top && v.low > 0.6 * top {
        return RoleGuess::new(Role::Steady, 0.7, Ground::VoltageNear { level_v: v.head });
    }
    // How fast does it fall through the middle: a short or a held turn-off at once, a run-down slowly.
    let n = view.len();
    let Some(x) = &view.v else {
        return RoleGuess::new(Role::RunDown, 0.1, Ground::NoNumbers);
    };
    let through = (0..n)
        .filter(|&k| (0.2 * v.head..0.8 * v.head).contains(&x.at(k)))
        .count();
    let (from_v, to_v) = (v.head, v.tail);
    let ground = Ground::VoltageFalls {
        from_v,
        to_v,
        samples: through,
        of: n,
    };
    if through * 20 > n {
        RoleGuess::new(Role::RunDown, 0.85, ground).or(Role::TurnOff, 0.1)
    } else if v.tail > 0.3 * v.head {
        RoleGuess::new(Role::RunDown, 0.5, ground).or(Role::TurnOff, 0.3)
    } else {
        RoleGuess::new(Role::Brake, 0.55, ground).or(Role::TurnOff, 0.4)
    }
}

/// Role from the current alone.
pub(crate) fn current_only(mut view: View, i: Shape) -> RoleGuess {
    let n = view.len();
    let zero = i.tail;
    if let Some(guess) = pulsed(&view) {
        return guess;
    }
    let activity = view.i.as_ref().map(Activity::of);
    let by_activity = |a: &Activity| by_ripple(a, &i).or_else(|| by_levels(a, &i));
    if let Some(guess) = activity.as_ref().and_then(by_activity) {
        return guess;
    }
    let level = i.head_mean - zero;
    let excursion = i.peak - zero;
    if i.head.abs() < 0.3 * i.tail.abs() && i.tail.abs() > 0.4 * i.top() {
        if i.tail < 0.0 {
            view.turn_current();
        }
        return stepped(&view, false);
    }
    let inrush =
        excursion.abs() > 4.0 * (level.abs() + i.head_ripple) && excursion.abs() > 8.0 * i.sigma;
    if !inrush {
        let Some(x) = &view.i else {
            return RoleGuess::new(Role::Steady, 0.0, Ground::NoNumbers);
        };
        let low = x.median3(n - 1);
        let decay = (0..n)
            .filter(|&k| {
                ((x.median3(k) - zero) / level).abs() > 0.1
                    && ((x.median3(k) - zero) / level).abs() < 0.8
            })
            .count();
        let (from_a, to_a) = (i.head_mean, low);
        let ground = Ground::CurrentFalls {
            from_a,
            to_a,
            samples: decay,
            of: n,
        };
        let by_and_by = activity.is_none_or(|a| a.between() > 1);
        return if decay * 50 > n && by_and_by && i.head_ripple < 0.1 * level.abs() {
            RoleGuess::new(Role::TurnOff, 0.6, ground).or(Role::RunDown, 0.3)
        } else {
            RoleGuess::new(Role::RunDown, 0.7, ground).or(Role::TurnOff, 0.2)
        };
    }
    let driven = level.abs() > 2.0 * i.sigma || i.head_ripple > 3.0 * i.sigma;
    if driven && level.signum() != excursion.signum() && (i.head - i.tail).abs() > 2.0 * i.sigma {
        // A start seen by the current alone begins at zero and ends at the no-load current: its head lies below its tail
        // too. What tells them apart is which of the two ripples.
        let Some(x) = &view.i else {
            return RoleGuess::new(Role::Steady, 0.0, Ground::NoNumbers);
        };
        let quiet_head = i.head_ripple < 2.0 * i.sigma;
        let ripple_tail = x.spread(n - n / 20 - 1, n);
        if !quiet_head || ripple_tail < 1.5 * i.head_ripple {
            let (from_a, peak_a) = (i.head_mean, i.peak);
            let ground = Ground::CurrentTurns { from_a, peak_a };
            return RoleGuess::new(Role::Brake, 0.8, ground).or(Role::Start, 0.2);
        }
    }
    if excursion < 0.0 {
        view.turn_current();
    }
    let mut guess = stepped(&view, false);
    let end = view.i.as_ref().map_or(0.0, |x| {
        let before = start::driven_range(&view).map_or(0, |r| r.2);
        x.mean(n - n / 20 - 1, n) - x.mean(before.saturating_sub(200), before.max(1))
    });
    if guess.role == Role::Start && end < 0.5 * i.sigma && excursion < 0.0 {
        // A motor that runs draws its no-load current; here none is left, and the peak was negative.
        guess.role = Role::Brake;
        guess.confidence = 0.5;
        guess.alternatives = vec![(Role::Start, 0.4)];
        if let Ground::Step { none_left, .. } = &mut guess.reason {
            *none_left = true;
        }
    }
    guess
}

/// A current ripples where its rotor turns.
fn by_ripple(activity: &Activity, i: &Shape) -> Option<RoleGuess> {
    let (head, tail) = (activity.head(), activity.tail());
    let change = (tail.level - head.level).abs();
    let peak = i.peak - tail.level;
    let only_falls = peak.abs() < 1.5 * change + 4.0 * head.scatter;
    if !activity.is_lively(tail.scatter) {
        let ends = activity.is_lively(head.scatter) && head.scatter > 2.0 * tail.scatter;
        return (ends && only_falls && activity.differ(head, tail)).then(|| {
            let at_once = activity.between() <= 1;
            let (from_a, ripple_a, to_a) = (head.level, head.scatter, tail.level);
            let ground = Ground::RippleEnds {
                from_a,
                ripple_a,
                to_a,
                at_once,
            };
            match at_once {
                true => RoleGuess::new(Role::RunDown, 0.8, ground).or(Role::TurnOff, 0.1),
                false => RoleGuess::new(Role::Start, 0.5, ground).or(Role::Brake, 0.3),
            }
        });
    }
    if activity.repeats() {
        let ground = Ground::CurrentRipples {
            ripple_a: tail.scatter,
            about_zero: false,
        };
        return Some(RoleGuess::new(Role::Steady, 0.8, ground).or(Role::Pwm, 0.1));
    }
    let inrush = (i.peak - head.level).abs() > 1.5 * change + 4.0 * tail.scatter;
    if tail.scatter > 2.0 * head.scatter && inrush {
        let ground = Ground::RippleBegins {
            peak_a: i.peak,
            ripple_a: tail.scatter,
        };
        return Some(RoleGuess::new(Role::Start, 0.9, ground).or(Role::LockedRotor, 0.1));
    }
    // The first block is about the highest of a current that only falls.
    let sign = (head.level - tail.level).signum();
    let highest = |l: &f64| sign * (head.level - l) >= -0.25 * change;
    (change > 2.0 * tail.scatter && activity.levels.iter().all(highest)).then(|| {
        let (from_a, to_a) = (head.level, tail.level);
        RoleGuess::new(Role::Start, 0.6, Ground::FallsRippling { from_a, to_a })
            .or(Role::Brake, 0.2)
    })
}

/// A current that goes beyond its last level the other way round than it began: from zero to that of the running motor, or from that to zero.
fn by_levels(activity: &Activity, i: &Shape) -> Option<RoleGuess> {
    let (head, tail) = (activity.head(), activity.tail());
    let (from, peak) = (head.level - tail.level, i.peak - tail.level);
    if !activity.differ(head, tail) || from * peak >= 0.0 || peak.abs() < 1.2 * from.abs() {
        return None;
    }
    let (from_a, peak_a, to_a) = (head.level, i.peak, tail.level);
    let ground = |brakes| Ground::CurrentOver {
        from_a,
        peak_a,
        to_a,
        brakes,
    };
    if head.level.abs() < 0.25 * tail.level.abs() {
        return Some(RoleGuess::new(Role::Start, 0.7, ground(false)).or(Role::Brake, 0.2));
    }
    (tail.level.abs() < 0.25 * head.level.abs())
        .then(|| RoleGuess::new(Role::Brake, 0.8, ground(true)).or(Role::Start, 0.2))
}

/// A current in regular pulses that rests at its lowest level between them.
fn pulsed(view: &View) -> Option<RoleGuess> {
    let i = view.i.as_ref()?;
    let n = i.len();
    let (low, high) = (i.quantile(0, n, 0.02)?, i.quantile(0, n, 0.98)?);
    let span = high - low;
    if span < 12.0 * i.sigma {
        return None;
    }
    let band = Band {
        low: low + 0.3 * span,
        high: low + 0.7 * span,
    };
    let stretches = i.closed(band, 0, n);
    let starts: Vec<f64> = stretches
        .iter()
        .filter(|s| s.from.is_some())
        .map(|s| s.reached as f64)
        .collect();
    let periods: Vec<f64> = starts.windows(2).map(|w| w[1] - w[0]).collect();
    let period = quantile(&periods, 0.5)?;
    let regular = periods
        .iter()
        .filter(|p| (*p - period).abs() < 0.15 * period + 1.5)
        .count();
    let covered = starts.last()? - starts.first()?;
    if periods.len() < 4 || regular * 10 < periods.len() * 8 || covered < 0.6 * n as f64 {
        return None;
    }
    let resting = i.x().iter().filter(|x| *x < low + 0.05 * span).count() as f64 / n as f64;
    let ground = Ground::Pulses {
        pulses: starts.len(),
        at_rest: resting,
    };
    // A sine of commutation spends 14 % of its time in the lowest twentieth of its span.
    (resting > 0.2).then(|| {
        RoleGuess::new(Role::Pwm, 0.6, ground)
            .or(Role::Steady, 0.2)
            .or(Role::PwmLocked, 0.2)
    })
}
