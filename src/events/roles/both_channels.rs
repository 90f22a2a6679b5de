//! The role when voltage and current were recorded.

use super::ground::Ground;
use super::role_guess::RoleGuess;
use super::single_channel::voltage_only;
use super::stepped::stepped;
use crate::bench::Role;
use crate::events::phases::opening;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::View;

/// Role from voltage and current.
pub(crate) fn with_both(mut view: View, v: Shape, i: Shape) -> RoleGuess {
    let top = v.top();
    let zero = i.tail;
    let level = (i.head_mean - zero).abs();
    let excursion = (i.peak - zero).abs();
    let v_at_peak = view
        .v
        .as_ref()
        .and_then(|x| x.median(i.peak_row.saturating_sub(3), i.peak_row + 4))
        .unwrap_or(0.0);
    let spread_head = i.head_ripple.max(i.sigma);
    let driven_before = level > 3.0 * i.sigma || i.head_ripple > 4.0 * i.sigma;
    let inrush = excursion > 4.0 * (level + spread_head) && excursion > 8.0 * i.sigma;
    let against = (i.peak - zero) * (i.head_mean - zero) < 0.0;
    // A loaded motor brakes with little more current than it ran with; the sign then tells.
    let turned = against && level > 3.0 * i.sigma && excursion > 1.2 * level + 4.0 * i.sigma;
    let generates = against && level > 2.0 * i.sigma && v_at_peak < 0.9 * v.head;
    let ends_low = v_at_peak.abs() < 0.45 * v.head || generates || v.tail.abs() < 0.2 * v.head;
    if (inrush || turned) && v.head > 0.3 * top && ends_low {
        let (from_v, to_v, peak_a) = (v.head, v_at_peak, i.peak);
        let ground = Ground::Shorted {
            from_v,
            to_v,
            peak_a,
            against,
        };
        let sure = if against { 0.97 } else { 0.8 };
        return RoleGuess::new(Role::Brake, sure, ground).or(Role::TurnOff, 1.0 - sure);
    }
    let rises = v.head < 0.3 * v.tail && v.tail > 0.6 * v.high;
    // Current that was there and is gone, with nothing larger in between.
    if driven_before
        && !inrush
        && !rises
        && let Some(guess) = let_go(&mut view, &v, &i)
    {
        return guess;
    }
    let flat = (v.tail - v.head).abs() < 0.1 * top && v.low > 0.6 * top;
    if flat && !inrush {
        let end_of_start = (i.head_mean / i.tail).abs() > 2.0 && level > 8.0 * i.sigma;
        let (level_v, from_a, to_a) = (v.head, i.head_mean, i.tail);
        let ground = Ground::VoltageHeld {
            level_v,
            from_a,
            to_a,
            end_of_start,
        };
        return match end_of_start {
            true => RoleGuess::new(Role::Start, 0.5, ground).or(Role::Steady, 0.3),
            false => RoleGuess::new(Role::Steady, 0.85, ground).or(Role::Start, 0.1),
        };
    }
    if v.head > 0.3 * v.high && !inrush {
        // A current lost in its noise: the voltage alone has to tell.
        return voltage_only(view, v);
    }
    if i.peak_from(i.head) < 0.0 {
        view.turn_current();
    }
    stepped(&view, true)
}

/// Run-down or turn-off: the current of the first rows ends and stays away.
fn let_go(view: &mut View, v: &Shape, i: &Shape) -> Option<RoleGuess> {
    if i.head_mean < i.tail {
        view.turn_current();
    }
    let n = view.len();
    let found = opening::find_opening(view, 0, n)?;
    let current = view.i.as_ref()?;
    let volts = view.v.as_ref()?;
    let zero = current.median(n - n / 20 - 1, n)?;
    let level = current.mean(0, found.arc_from.clamp(1, n)) - zero;
    let after = current.mean((found.row + 4).min(n - 1), n) - zero;
    if level < 1.5 * current.sigma || after.abs() > 0.3 * level {
        return None;
    }
    let fell = (0..n)
        .find(|&k| current.median3(k) - zero < 0.05 * level + 2.0 * current.sigma)
        .unwrap_or(found.row);
    let began = (0..fell)
        .rev()
        .find(|&k| current.median3(k) - zero > 0.8 * level)
        .unwrap_or(fell);
    let decay = fell - began;
    let gone = fell.max(found.open_from).min(n - 1);
    let rest = n - gone;
    let early = volts
        .median(gone + rest / 20, gone + rest / 4 + 1)
        .unwrap_or(0.0);
    let falls = early - volts.median(n - rest / 10 - 1, n).unwrap_or(0.0);
    let current_a = level;
    if v.head.abs() < 0.15 * v.top() && early.abs() > 2.0 * v.head.abs() {
        let ground = Ground::OpenedBehindCapacitor { current_a };
        return Some(RoleGuess::new(Role::RunDown, 0.6, ground).or(Role::TurnOff, 0.2));
    }
    let kept = early / v.head;
    if kept < 0.3 {
        let ground = Ground::TurnedOff {
            current_a,
            samples: decay,
            kept,
        };
        return Some(RoleGuess::new(Role::TurnOff, 0.9, ground).or(Role::Brake, 0.05));
    }
    let slow = falls > 0.03 * v.head && falls > 4.0 * volts.sigma / (rest as f64 / 10.0).sqrt();
    if !slow && decay * 50 > n {
        let ground = Ground::SlowDecay {
            current_a,
            samples: decay,
            of: n,
        };
        return Some(RoleGuess::new(Role::TurnOff, 0.7, ground).or(Role::RunDown, 0.3));
    }
    let ground = Ground::Opened {
        current_a,
        kept,
        falls_v: falls,
    };
    let sure = if slow { 0.95 } else { 0.6 };
    Some(RoleGuess::new(Role::RunDown, sure, ground).or(Role::TurnOff, 1.0 - sure))
}
