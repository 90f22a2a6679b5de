//! The role of a capture, from its waveform alone.

use super::single_channel::{current_only, voltage_only};
use super::switched::switched;
use crate::bench::{Role, Waveform};
use crate::events::phases::switching;
use crate::events::phases::{opening, start};
use crate::events::polarity::still;
use crate::events::trace::series::Series;
use crate::events::trace::shape::Shape;
use crate::events::trace::view::View;

/// A guessed role.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct RoleGuess {
    /// Most likely role.
    pub role: Role,
    /// Between 0 (a coin) and 1 (no other reading is plausible); a judgement by margins, no probability.
    pub confidence: f64,
    /// What in the waveform speaks for it, with numbers.
    pub reason: String,
    /// Other roles that the shape leaves open, with their confidence, most likely first.
    pub alternatives: Vec<(Role, f64)>,
}

impl RoleGuess {
    pub(crate) fn new(role: Role, confidence: f64, reason: String) -> RoleGuess {
        RoleGuess {
            role,
            confidence,
            reason,
            alternatives: Vec::new(),
        }
    }

    pub(crate) fn or(mut self, role: Role, confidence: f64) -> RoleGuess {
        self.alternatives.push((role, confidence));
        self
    }
}

/// Guesses what a capture shows. Works with voltage and current or either alone, in any polarity; linear in the rows.
pub fn guess_role(waveform: &Waveform) -> RoleGuess {
    guess_role_in(View::new(waveform))
}

/// As [`guess_role`], from what is prepared already.
pub(crate) fn guess_role_in(mut view: View) -> RoleGuess {
    if view.len() < 40 {
        let text = format!(
            "only {} usable rows: nothing can be told from them",
            view.len()
        );
        return RoleGuess::new(Role::Steady, 0.0, text);
    }
    if let Some(guess) = quiet(&view) {
        return guess;
    }
    let upside_down = view.v.as_ref().is_some_and(switching::upside_down);
    if upside_down {
        view.turn_voltage();
        view.turn_current();
    }
    if let Some(pattern) = switching::in_view(&view) {
        return switched(&view, &pattern);
    }
    if upside_down {
        view.turn_voltage();
        view.turn_current();
    }
    // Upright by the level of the first rows, else by the largest excursion; the sign of the current may be anything.
    if view.v.as_ref().map(Shape::of).is_some_and(|s| {
        if s.head.abs() > 8.0 * s.sigma && s.head.abs() > 0.5 * s.tail.abs() {
            s.head < 0.0
        } else {
            s.high.abs() < s.low.abs() && s.low < 0.0
        }
    }) {
        view.turn_voltage();
    }
    match (
        view.v.as_ref().map(Shape::of),
        view.i.as_ref().map(Shape::of),
    ) {
        (Some(v), Some(i)) => with_both(view, v, i),
        (Some(v), None) => voltage_only(view, v),
        (None, Some(i)) => current_only(view, i),
        (None, None) => RoleGuess::new(Role::Steady, 0.0, "no channel has numbers".to_owned()),
    }
}

/// Nothing moves: a steady run when there is a level, no event at all when there is none.
fn quiet(view: &View) -> Option<RoleGuess> {
    let level = |x: &Series| {
        let middle = x.median(0, x.len()).unwrap_or(0.0);
        (middle, x.spread(0, x.len()).max(x.sigma))
    };
    if let Some(v) = &view.v {
        if !still(v) {
            return None;
        }
        let (middle, noise) = level(v);
        if view.i.as_ref().is_some_and(|i| !still(i) && !returns(i)) {
            return None;
        }
        if middle.abs() > 8.0 * noise && view.i.as_ref().is_some_and(carries_none) {
            let text = format!(
                "the voltage stays at {middle:.3} V within its noise of {noise:.2e} V and no current is seen: a motor that runs on less than the probe's noise, or the open terminals of a shaft that something drives"
            );
            return Some(RoleGuess::new(Role::Steady, 0.6, text).or(Role::Driven, 0.35));
        }
        if middle.abs() > 8.0 * noise {
            let text = format!(
                "the voltage stays at {middle:.3} V within its noise of {noise:.2e} V, and the current repeats itself"
            );
            let guess = RoleGuess::new(Role::Steady, 0.9, text);
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
    (still(i) || (returns(i) && middle.abs() > 3.0 * i.sigma)).then(|| {
        let text =
            format!("the current stays around {middle:.3e} A from the first row to the last");
        RoleGuess::new(Role::Steady, 0.7, text).or(Role::Pwm, 0.2)
    })
}

/// True when a current channel shows nothing but its noise, zero included.
fn carries_none(i: &Series) -> bool {
    let middle = i.median(0, i.len()).unwrap_or(0.0);
    still(i)
        && middle.abs() < (3.0 * i.sigma).max(i.step)
        && i.spread(0, i.len()) < 2.0 * i.sigma.max(i.step)
}

fn nothing(middle: f64, noise: f64, unit: &str) -> RoleGuess {
    let text = format!(
        "no event above the noise: {middle:.2e} {unit} within {noise:.1e} {unit} throughout; the trigger was probably missed"
    );
    RoleGuess::new(Role::Steady, 0.05, text)
}

/// True when the means of eight parts of the record agree within the ripple: it repeats itself.
fn returns(x: &Series) -> bool {
    let size = x.len().div_ceil(8);
    let means = x.x().means(size);
    let (low, high) = means
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &m| {
            (l.min(m), h.max(m))
        });
    let middle = x.median(0, x.len()).unwrap_or(0.0);
    high - low < 0.25 * middle.abs().max(x.spread(0, x.len()))
}

fn with_both(mut view: View, v: Shape, i: Shape) -> RoleGuess {
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
            "the voltage falls from {:.3} V to {:.3} V while the current goes to {:.3e} A{} and comes back to zero: a short at speed",
            v.head,
            v_at_peak,
            i.peak,
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
                "voltage near {:.3} V throughout, current from {:.3e} A to {:.3e} A",
                v.head, i.head_mean, i.tail
            ),
        );
        if ratio > 2.0 && level > 8.0 * i.sigma {
            return RoleGuess::new(
                Role::Start,
                0.5,
                format!("{text}: the end of a start without its make"),
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
    let found = opening::release(view, 0, n)?;
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
    if v.head.abs() < 0.15 * v.top() && early.abs() > 2.0 * v.head.abs() {
        let text = format!(
            "the current of {level:.3e} A ends at once while the voltage, near zero before, leaves it: a run-down seen through AC coupling"
        );
        return Some(RoleGuess::new(Role::RunDown, 0.6, text).or(Role::TurnOff, 0.2));
    }
    let kept = early / v.head;
    if kept < 0.3 {
        let text = format!(
            "a current of {level:.3e} A ends within {decay} samples and the terminals fall to {:.0} % of the driven level at once: turned off with the rotor still",
            100.0 * kept
        );
        return Some(RoleGuess::new(Role::TurnOff, 0.9, text).or(Role::Brake, 0.05));
    }
    let slow = falls > 0.03 * v.head && falls > 4.0 * volts.sigma / (rest as f64 / 10.0).sqrt();
    if !slow && decay * 50 > n {
        let text = format!(
            "the current of {level:.3e} A decays over {decay} of {n} samples while the back-EMF hardly changes: the time base is that of a turn-off"
        );
        return Some(RoleGuess::new(Role::TurnOff, 0.7, text).or(Role::RunDown, 0.3));
    }
    let text = format!(
        "the current of {level:.3e} A ends and stays away while the voltage keeps {:.0} % of its level and falls by {falls:.3} V until the end: terminals open, rotor turning",
        100.0 * kept
    );
    let sure = if slow { 0.95 } else { 0.6 };
    Some(RoleGuess::new(Role::RunDown, sure, text).or(Role::TurnOff, 1.0 - sure))
}

/// Start or locked rotor: a step of the voltage, judged by how the conductance i/v goes on.
pub(crate) fn stepped(view: &View, with_voltage: bool) -> RoleGuess {
    let Some((settled, end, zero_row)) = start::driven_range(view) else {
        let text = "no make, release, short or switching was recognised".to_owned();
        return RoleGuess::new(Role::Start, 0.1, text).or(Role::Steady, 0.1);
    };
    let Some(i) = &view.i else {
        return RoleGuess::new(
            Role::Start,
            0.4,
            "a voltage step without a current".to_owned(),
        );
    };
    let zero = i
        .median(zero_row.saturating_sub(500), zero_row.max(1))
        .unwrap_or(0.0);
    let blocks = 40.min((end - settled).max(1));
    let size = ((end - settled) / blocks).max(1);
    let conductance: Vec<f64> = (0..blocks)
        .map(|b| {
            let (from, to) = (settled + b * size, settled + (b + 1) * size);
            let amps = i.mean(from, to) - zero;
            match (&view.v, with_voltage) {
                (Some(v), true) => amps / v.mean(from, to).abs().max(f64::MIN_POSITIVE),
                _ => amps,
            }
        })
        .collect();
    let top = conductance.iter().fold(0.0_f64, |a, &b| a.max(b));
    let last = conductance[blocks - (blocks / 8).max(1)..]
        .iter()
        .sum::<f64>()
        / (blocks / 8).max(1) as f64;
    let middle = conductance[blocks / 2];
    let (ratio, falling) = (last / top, (middle - last) / top);
    let peak = i.peak(settled, end).map_or(0.0, |p| p.1 - zero);
    let text = format!(
        "contact closes and the current rises to {peak:.3e} A; at the end {} is at {:.0} % of its largest value",
        if with_voltage {
            "current per volt"
        } else {
            "the current"
        },
        100.0 * ratio
    );
    if ratio < 0.83 || (ratio < 0.95 && falling > 0.04) {
        let sure = if ratio < 0.7 { 0.97 } else { 0.75 };
        RoleGuess::new(Role::Start, sure, format!("{text}: the rotor runs up"))
            .or(Role::LockedRotor, 1.0 - sure)
    } else {
        let sure = if ratio > 0.93 { 0.92 } else { 0.6 };
        RoleGuess::new(
            Role::LockedRotor,
            sure,
            format!("{text}: the rotor is held"),
        )
        .or(Role::Start, 1.0 - sure)
    }
}
