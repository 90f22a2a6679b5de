//! Start or locked rotor: told apart by how the current goes on after a voltage step.

use super::role_guess::RoleGuess;
use crate::bench::Role;
use crate::events::phases::start;
use crate::events::trace::view::View;
use crate::quantity::engineering;

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
        "contact closes and the current rises to {}; at the end {} is at {:.0} % of its largest value",
        engineering(peak, "A"),
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
