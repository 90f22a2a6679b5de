//! The role when voltage and current were recorded.

use super::role_guess::RoleGuess;
use super::single_channel::voltage_only;
use super::stepped::stepped;
use crate::bench::Role;
use crate::events::phases::opening;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::View;
use crate::quantity::engineering;

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
        let text = format!(
            "the voltage falls from {} to {} while the current goes to {}{} and comes back to zero: a short at speed",
            engineering(v.head, "V"),
            engineering(v_at_peak, "V"),
            engineering(i.peak, "A"),
            if against {
                ", against its driving direction,"
            } else {
                ""
            }
        );
        let sure = if against { 0.97 } else { 0.8 };
        return RoleGuess::new(Role::Brake, sure, text).or(Role::TurnOff, 1.0 - sure);
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
        let (ratio, text) = (
            (i.head_mean / i.tail).abs(),
            format!(
                "voltage near {} throughout, current from {} to {}",
                engineering(v.head, "V"),
                engineering(i.head_mean, "A"),
                engineering(i.tail, "A")
            ),
        );
        if ratio > 2.0 && level > 8.0 * i.sigma {
            return RoleGuess::new(
                Role::Start,
                0.5,
                format!("{text}: the end of a start, recorded after the contact closed"),
            )
            .or(Role::Steady, 0.3);
        }
        return RoleGuess::new(Role::Steady, 0.85, text).or(Role::Start, 0.1);
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
    let current = engineering(level, "A");
    if v.head.abs() < 0.15 * v.top() && early.abs() > 2.0 * v.head.abs() {
        let text = format!(
            "the current of {current} ends at once while the voltage, near zero before, leaves it: a run-down seen through AC coupling"
        );
        return Some(RoleGuess::new(Role::RunDown, 0.6, text).or(Role::TurnOff, 0.2));
    }
    let kept = early / v.head;
    if kept < 0.3 {
        let text = format!(
            "a current of {current} ends within {decay} samples and the terminals fall to {:.0} % of the driven level at once: turned off with the rotor still",
            100.0 * kept
        );
        return Some(RoleGuess::new(Role::TurnOff, 0.9, text).or(Role::Brake, 0.05));
    }
    let slow = falls > 0.03 * v.head && falls > 4.0 * volts.sigma / (rest as f64 / 10.0).sqrt();
    if !slow && decay * 50 > n {
        let text = format!(
            "the current of {current} decays over {decay} of {n} samples while the back-EMF hardly changes: the time base is that of a turn-off"
        );
        return Some(RoleGuess::new(Role::TurnOff, 0.7, text).or(Role::RunDown, 0.3));
    }
    let text = format!(
        "the current of {current} ends and stays away while the voltage keeps {:.0} % of its level and falls by {} until the end: terminals open, rotor turning",
        100.0 * kept,
        engineering(falls, "V")
    );
    let sure = if slow { 0.95 } else { 0.6 };
    Some(RoleGuess::new(Role::RunDown, sure, text).or(Role::TurnOff, 1.0 - sure))
}
