//! Further captures of a motor with a fit, each simulated as it would be recorded.

use super::candidate::Candidate;
use super::context::Context;
use crate::bench::{Role, Stated};
use crate::fit::{Bin, SegmentKind};
use crate::next::advice::protection::brake_resistor_ohm;
use crate::next::advice::series::{one_two_five_up, resistor_near};
use crate::next::advice::{self, Advice};
use crate::next::rig::CaptureKind;
use crate::next::text::numbers::{amount, three_digits};
use std::f64::consts::PI;

/// Rotor positions of a held step.
const POSITIONS: usize = 5;
/// Relative standard uncertainty of an inertia known to 1 %, read as two standard deviations (common practice, no source).
const KNOWN_INERTIA: f64 = 5e-3;

/// The list, in no order of merit.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let (machine, supply) = (context.machine, context.machine.supply_v);
    let half = 0.5 * supply;
    let (full, halved) = (amount(supply, "V"), amount(half, "V"));
    let one = |key: &str, title: String, kind: CaptureKind, advice: Advice| {
        let name = format!("next {}", advice.role);
        let planned = context.capture(&name, kind, advice.voltage_v)?;
        let addition = context.with_captures(vec![planned]);
        Some(Candidate::new(key, title, addition).advised(advice))
    };
    // A plain short only where switch and magnets stand it.
    let resistance = context.design.motor().terminal_resistance_ohm;
    let needed_ohm = brake_resistor_ohm(resistance, machine.running_emf_v);
    let through_ohm = needed_ohm.unwrap_or_else(|| resistor_near(2.0 * resistance));
    let resistor = amount(through_ohm, "Ω");
    let brake = |key, title, through_ohm| {
        let kind = CaptureKind::Brake { through_ohm };
        one(
            key,
            title,
            kind,
            advice::brake(machine, supply, through_ohm),
        )
    };
    let short = || brake("brake", format!("a short-circuit brake from {full}"), 0.0);
    [
        one(
            "start",
            format!("another start at {full}"),
            CaptureKind::Start,
            advice::start(machine, supply),
        ),
        one(
            "start_half",
            format!("a start at half the voltage, {halved}"),
            CaptureKind::Start,
            advice::start(machine, half),
        ),
        one(
            "run_down",
            run_down_title(context),
            CaptureKind::RunDown,
            advice::run_down(machine, supply),
        ),
        one(
            "run_down_half",
            format!("a run-down from half speed, {halved}"),
            CaptureKind::RunDown,
            advice::run_down(machine, half),
        ),
        needed_ohm.is_none().then(short).flatten(),
        brake(
            "brake_resistor",
            format!("a brake through {resistor}"),
            through_ohm,
        )
        .map(|c| c.needing(format!("a resistor of {resistor}"))),
        one(
            "steady",
            format!("steady running at {full}"),
            CaptureKind::Steady,
            advice::steady(machine, supply, false),
        ),
        steady_three(context),
        locked(context),
        added_inertia(context),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Says so where every recorded run-down ends early.
fn run_down_title(context: &Context<'_>) -> String {
    let left = context
        .bench
        .captures
        .iter()
        .zip(&context.estimate.segments)
        .filter(|(c, _)| c.role == Role::RunDown)
        .filter_map(|(_, segments)| {
            let open = segments
                .iter()
                .filter(|l| l.kind == SegmentKind::Open)
                .max_by_key(|l| l.bins.len())?;
            let size = |b: Option<&Bin>| Some(b?.voltage_v.abs());
            Some(size(open.bins.last())? / size(open.bins.first())?)
        })
        .reduce(f64::min);
    match left {
        Some(left) if left > 0.3 => format!(
            "a longer run-down, to standstill (the recorded one ends at {:.0} % of its speed)",
            100.0 * left
        ),
        Some(_) => "another run-down to standstill".into(),
        None => "a run-down with open terminals to standstill".into(),
    }
}

fn steady_three(context: &Context<'_>) -> Option<Candidate> {
    let supply = context.machine.supply_v;
    let volts = [0.25, 0.5, 0.75].map(|share| share * supply);
    let planned = volts
        .iter()
        .enumerate()
        .map(|(k, v)| context.capture(&format!("next steady {}", k + 1), CaptureKind::Steady, *v))
        .collect::<Option<Vec<_>>>()?;
    let [a, b, c] = volts.map(|v| amount(v, "V"));
    let title = format!("steady running at three voltages, {a}, {b} and {c}");
    let advice = advice::steady(context.machine, volts[2], false);
    Some(Candidate::new("steady_three", title, context.with_captures(planned)).advised(advice))
}

fn locked(context: &Context<'_>) -> Option<Candidate> {
    let advice = advice::locked(context.machine);
    let planned = (1..=POSITIONS)
        .map(|k| {
            context.capture(
                &format!("next locked {k}"),
                CaptureKind::Locked,
                advice.voltage_v,
            )
        })
        .collect::<Option<Vec<_>>>()?;
    let title = format!(
        "a step of {} onto the held rotor, {POSITIONS} positions",
        amount(advice.voltage_v, "V")
    );
    Some(
        Candidate::new("locked_rotor", title, context.with_captures(planned))
            .advised(advice)
            .needing("a collet or vice on the shaft"),
    )
}

/// A run-down with an inertia as large as the rotor's own.
fn added_inertia(context: &Context<'_>) -> Option<Candidate> {
    let capacitance = context.design.motor().inertia_capacitance_f;
    let inertia = capacitance * context.constant().powi(2);
    let stated = Stated {
        value: inertia,
        standard_uncertainty: KNOWN_INERTIA * inertia,
    };
    let supply = context.machine.supply_v;
    let mut planned = context.rig.capture(
        "next run-down with a disc",
        CaptureKind::RunDown,
        supply,
        Some((capacitance, stated)),
    )?;
    planned.ripple_relative = context.ripple_again();
    let needs = if context.constant_known() {
        // A steel disc (7850 kg/m³, common practice) of thickness a tenth of its diameter: J = π ρ d⁴ h/32.
        let diameter = (32.0 * inertia / (PI * 7850.0 * 0.1)).powf(0.2);
        format!(
            "a disc of about {} g·cm², known to 1 %: steel of {:.0} mm by {:.1} mm",
            three_digits(inertia * 1e7),
            1e3 * diameter,
            100.0 * diameter
        )
    } else {
        "a disc known to 1 % that about doubles the time of the run-down".into()
    };
    let mut advice = advice::run_down(context.machine, supply);
    advice.settings.span_s *= 2.0;
    advice.settings.per_division_s = one_two_five_up(advice.settings.span_s / 9.0);
    advice.settings.points = 10.0 * advice.settings.per_division_s * advice.settings.sample_rate_hz;
    advice
        .cautions
        .push("guard the disc, true it, and do not stand in its plane".into());
    Some(
        Candidate::new(
            "added_inertia",
            "a run-down with a known added inertia as large as the rotor's",
            context.with_captures(vec![planned]),
        )
        .advised(advice)
        .needing(needs)
        .how(
            "inertia of a disc: m r²/2, less its hole's; state it as added_inertia of that capture",
        ),
    )
}
