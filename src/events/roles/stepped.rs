//! Start or locked rotor behind a voltage step; rotor free or held under a switched supply.

use super::ground::Ground;
use super::role_guess::RoleGuess;
use crate::bench::Role;
use crate::events::phases::start;
use crate::events::phases::switching::Switching;
use crate::events::trace::view::View;

/// Start or locked rotor: a step of the voltage, judged by how the conductance i/v goes on.
pub(crate) fn stepped(view: &View, with_voltage: bool) -> RoleGuess {
    let Some((settled, end, zero_row)) = start::driven_range(view) else {
        return RoleGuess::new(Role::Start, 0.1, Ground::NothingKnown).or(Role::Steady, 0.1);
    };
    let Some(i) = &view.i else {
        return RoleGuess::new(Role::Start, 0.4, Ground::StepAlone);
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
    let step = |held| Ground::Step {
        peak_a: peak,
        per_volt: with_voltage,
        kept: ratio,
        held,
        none_left: false,
    };
    if ratio < 0.83 || (ratio < 0.95 && falling > 0.04) {
        let sure = if ratio < 0.7 { 0.97 } else { 0.75 };
        RoleGuess::new(Role::Start, sure, step(false)).or(Role::LockedRotor, 1.0 - sure)
    } else {
        let sure = if ratio > 0.93 { 0.92 } else { 0.6 };
        RoleGuess::new(Role::LockedRotor, sure, step(true)).or(Role::Start, 1.0 - sure)
    }
}

/// A switched supply: held or free by the back-EMF.
pub(crate) fn switched(view: &View, pattern: &Switching) -> RoleGuess {
    let edges = pattern.rising.len();
    let at_rest = pattern.idle_v;
    let share =
        at_rest.map(|idle| (idle - pattern.low_v.max(0.0).min(idle.abs())) / pattern.high_v);
    let Some(share) = share.or_else(|| back_emf_share(view, pattern)) else {
        return RoleGuess::new(Role::Pwm, 0.6, Ground::EdgesAlone { edges })
            .or(Role::PwmLocked, 0.4);
    };
    let ground = Ground::Edges {
        edges,
        duty: pattern.duty,
        at_rest: at_rest.is_some(),
        back_emf: share,
    };
    let sure = if at_rest.is_some() { 0.97 } else { 0.75 };
    if share > 0.1 {
        RoleGuess::new(Role::Pwm, sure, ground).or(Role::PwmLocked, 1.0 - sure)
    } else {
        RoleGuess::new(Role::PwmLocked, sure, ground).or(Role::Pwm, 1.0 - sure)
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
