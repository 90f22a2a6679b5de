//! The role of a capture, from its waveform alone.

use super::contact::{Band, closed_stretches};
use super::polarity::still;
use super::series::{Series, quantile};
use super::shape::Shape;
use super::switching::{self, Switching};
use super::view::View;
use super::{release, start};
use crate::bench::{Role, Waveform};

/// A guessed role.
#[derive(Clone, Debug, PartialEq)]
pub struct RoleGuess {
    pub role: Role,
    /// Between 0 (a coin) and 1 (no other reading is plausible); a judgement by margins, no probability.
    pub confidence: f64,
    /// What in the waveform speaks for it, with numbers.
    pub reason: String,
    /// Other roles that the shape leaves open, with their confidence, most likely first.
    pub alternatives: Vec<(Role, f64)>,
}

impl RoleGuess {
    fn new(role: Role, confidence: f64, reason: String) -> RoleGuess {
        RoleGuess {
            role,
            confidence,
            reason,
            alternatives: Vec::new(),
        }
    }

    fn or(mut self, role: Role, confidence: f64) -> RoleGuess {
        self.alternatives.push((role, confidence));
        self
    }
}

/// Guesses what a capture shows. Works with voltage and current or either alone, in any polarity; linear in the rows.
pub fn guess_role(waveform: &Waveform) -> RoleGuess {
    let mut view = View::new(waveform);
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
    if let Some(pattern) = switching::in_view(&view) {
        return switched(&view, &pattern);
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
        if middle.abs() > 8.0 * noise {
            let text = format!(
                "the voltage stays at {middle:.3} V within its noise of {noise:.2e} V, and the current repeats itself"
            );
            return Some(RoleGuess::new(Role::Steady, 0.9, text));
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

fn nothing(middle: f64, noise: f64, unit: &str) -> RoleGuess {
    let text = format!(
        "no event above the noise: {middle:.2e} {unit} within {noise:.1e} {unit} throughout; the trigger was probably missed"
    );
    RoleGuess::new(Role::Steady, 0.05, text)
}

/// True when the means of eight parts of the record agree within the ripple: it repeats itself.
fn returns(x: &Series) -> bool {
    let size = x.len().div_ceil(8);
    let means: Vec<f64> =
        x.x.chunks(size)
            .map(|c| c.iter().sum::<f64>() / c.len() as f64)
            .collect();
    let (low, high) = means
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &m| {
            (l.min(m), h.max(m))
        });
    let middle = x.median(0, x.len()).unwrap_or(0.0);
    high - low < 0.25 * middle.abs().max(x.spread(0, x.len()))
}

/// A switched supply: held or free by the back-EMF.
fn switched(view: &View, pattern: &Switching) -> RoleGuess {
    let edges = pattern.rising.len();
    let (share, how) = match pattern.idle_v {
        Some(idle) => (
            (idle - pattern.low_v.max(0.0).min(idle.abs())) / pattern.high_v,
            "while the current rests between pulses the terminals show",
        ),
        None => match back_emf_share(view, pattern) {
            Some(share) => (
                share,
                "slopes of the current at different currents give a back-EMF of",
            ),
            None => {
                let text = format!(
                    "{edges} regular voltage edges; whether the rotor turns cannot be told"
                );
                return RoleGuess::new(Role::Pwm, 0.6, text).or(Role::PwmLocked, 0.4);
            }
        },
    };
    let text = format!(
        "{edges} regular voltage edges, duty {:.2}; {how} {:.0} % of the upper level",
        pattern.duty,
        100.0 * share
    );
    let sure = if pattern.idle_v.is_some() { 0.97 } else { 0.75 };
    if share > 0.1 {
        RoleGuess::new(Role::Pwm, sure, text).or(Role::PwmLocked, 1.0 - sure)
    } else {
        RoleGuess::new(Role::PwmLocked, sure, text).or(Role::Pwm, 1.0 - sure)
    }
}

/// Back-EMF as a share of the upper level, from di/dt = (v − R i − e)/L over the half periods by least squares.
///
/// `None` without a current, or when the currents of the half periods are too much alike.
fn back_emf_share(view: &View, pattern: &Switching) -> Option<f64> {
    let (v, i) = (view.v.as_ref()?, view.i.as_ref()?);
    let mut edges: Vec<usize> = pattern
        .rising
        .iter()
        .chain(&pattern.falling)
        .copied()
        .collect();
    edges.sort_unstable();
    let mut normal = nalgebra::Matrix3::<f64>::zeros();
    let mut right = nalgebra::Vector3::<f64>::zeros();
    let mut scale_i = 0.0_f64;
    let mut used = 0;
    for pair in edges.windows(2) {
        let length = pair[1] - pair[0];
        if length < 12 {
            continue;
        }
        // Three parts of each half period, the rows next to the edges left out: the curvature tells R.
        let (from, part) = (pair[0] + length / 10 + 1, length * 8 / 30);
        for k in 0..3 {
            let (a, b) = (from + k * part, from + (k + 1) * part);
            let q = (part / 4).max(1);
            let slope = (i.mean(b - q, b) - i.mean(a, a + q)) / (part - q).max(1) as f64;
            let row = nalgebra::Vector3::new(v.mean(a, b) / pattern.high_v, -i.mean(a, b), -1.0);
            scale_i = scale_i.max(row[1].abs());
            normal += row * row.transpose();
            right += row * slope;
            used += 1;
        }
    }
    if used < 12 || scale_i == 0.0 {
        return None;
    }
    let solution = normal.lu().solve(&right)?;
    // slope = (1/L)·v/V − (R/L)·i − e/L, all in shares of the upper level.
    let (per_l, r_per_l, e_per_l) = (solution[0], solution[1], solution[2]);
    if per_l <= 0.0 || r_per_l <= 0.0 {
        return None;
    }
    let share = e_per_l / per_l;
    (-0.2..1.1).contains(&share).then_some(share)
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
    if inrush && v.head > 0.3 * top && v_at_peak.abs() < 0.45 * v.head {
        let against = (i.peak - zero) < 0.0;
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
    let found = release::release(view, 0, n)?;
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
fn stepped(view: &View, with_voltage: bool) -> RoleGuess {
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

fn voltage_only(mut view: View, v: Shape) -> RoleGuess {
    let top = v.top();
    let later = view
        .v
        .as_ref()
        .and_then(|x| x.quantile(0, x.len(), 0.9))
        .unwrap_or(v.tail);
    if v.head.abs() < 0.3 * v.tail.max(later) {
        let Some((settled, end, _)) = start::driven_range(&view) else {
            let text = "the voltage leaves zero and comes back: a run-down seen through AC coupling, perhaps".to_owned();
            return RoleGuess::new(Role::RunDown, 0.2, text).or(Role::Start, 0.1);
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
        return if recovers {
            RoleGuess::new(
                Role::Start,
                0.6,
                "a voltage step that sags and recovers".to_owned(),
            )
            .or(Role::LockedRotor, 0.3)
        } else {
            RoleGuess::new(
                Role::LockedRotor,
                0.4,
                "a voltage step that does not recover from its sag".to_owned(),
            )
            .or(Role::Start, 0.4)
        };
    }
    if (v.tail - v.head).abs() < 0.1 * top && v.low > 0.6 * top {
        return RoleGuess::new(
            Role::Steady,
            0.7,
            format!("voltage near {:.3} V throughout", v.head),
        );
    }
    // How fast does it fall through the middle: a short or a held turn-off at once, a run-down slowly.
    let n = view.len();
    let Some(x) = &view.v else {
        return RoleGuess::new(Role::RunDown, 0.1, String::new());
    };
    let through = (0..n)
        .filter(|&k| (0.2 * v.head..0.8 * v.head).contains(&x.x[k]))
        .count();
    let text = format!(
        "the voltage falls from {:.3} V to {:.3} V, {through} of {n} samples on the way",
        v.head, v.tail
    );
    if through * 20 > n {
        RoleGuess::new(Role::RunDown, 0.85, text).or(Role::TurnOff, 0.1)
    } else if v.tail > 0.3 * v.head {
        RoleGuess::new(Role::RunDown, 0.5, text).or(Role::TurnOff, 0.3)
    } else {
        RoleGuess::new(Role::Brake, 0.55, text).or(Role::TurnOff, 0.4)
    }
}

fn current_only(mut view: View, i: Shape) -> RoleGuess {
    let n = view.len();
    let zero = i.tail;
    if let Some(guess) = pulsed(&view) {
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
            return RoleGuess::new(Role::Steady, 0.0, String::new());
        };
        let low = x.median3(n - 1);
        let decay = (0..n)
            .filter(|&k| {
                ((x.median3(k) - zero) / level).abs() > 0.1
                    && ((x.median3(k) - zero) / level).abs() < 0.8
            })
            .count();
        let text = format!(
            "the current goes from {:.3e} A to {low:.3e} A and stays, {decay} of {n} samples on the way",
            i.head_mean
        );
        return if decay * 50 > n && i.head_ripple < 0.1 * level.abs() {
            RoleGuess::new(Role::TurnOff, 0.6, text).or(Role::RunDown, 0.3)
        } else {
            RoleGuess::new(Role::RunDown, 0.7, text).or(Role::TurnOff, 0.2)
        };
    }
    let driven = level.abs() > 2.0 * i.sigma || i.head_ripple > 3.0 * i.sigma;
    if driven && level.signum() != excursion.signum() && (i.head - i.tail).abs() > 2.0 * i.sigma {
        // A start seen by the current alone begins at zero and ends at the no-load current: its head lies below its tail
        // too. What tells them apart is which of the two ripples.
        let Some(x) = &view.i else {
            return RoleGuess::new(Role::Steady, 0.0, String::new());
        };
        let quiet_head = i.head_ripple < 2.0 * i.sigma;
        let ripple_tail = x.spread(n - n / 20 - 1, n);
        if !quiet_head || ripple_tail < 1.5 * i.head_ripple {
            let text = format!(
                "the current turns from {:.3e} A to {:.3e} A, against its direction before, and comes back to zero",
                i.head_mean, i.peak
            );
            return RoleGuess::new(Role::Brake, 0.8, text).or(Role::Start, 0.2);
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
        guess
            .reason
            .push_str(", or brakes: no current is left at the end and the peak is negative");
    }
    guess
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
    let stretches = closed_stretches(&i.x, band, 0, n);
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
    let resting = i.x.iter().filter(|x| **x < low + 0.05 * span).count() as f64 / n as f64;
    let text = format!(
        "{} regular pulses of current, {:.0} % of the time at rest between them",
        starts.len(),
        100.0 * resting
    );
    // A sine of commutation spends 14 % of its time in the lowest twentieth of its span.
    (resting > 0.2).then(|| {
        RoleGuess::new(Role::Pwm, 0.6, text)
            .or(Role::Steady, 0.2)
            .or(Role::PwmLocked, 0.2)
    })
}
