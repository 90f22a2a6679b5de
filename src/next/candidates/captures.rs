//! Further captures of a motor with a fit, each simulated as it would be recorded.

use super::candidate::Candidate;
use super::context::Context;
use crate::bench::{Role, Stated};
use crate::fit::{Bin, PlannedCapture, SegmentKind};
use crate::next::advice::protection::brake_resistor_ohm;
use crate::next::advice::series::{one_two_five_up, resistor_near};
use crate::next::advice::{self, Advice, hold, hold_lines};
use crate::next::rig::CaptureKind;
use crate::next::text::numbers::{amount, three_digits};
use std::f64::consts::PI;

/// Rotor positions of a held step.
const POSITIONS: usize = 5;
/// Relative standard uncertainty of an inertia known to 1 %, read as two standard deviations (common practice, no source).
const KNOWN_INERTIA: f64 = 5e-3;

fn one(
    context: &Context<'_>,
    key: &str,
    title: String,
    planned: Option<PlannedCapture>,
    advice: Advice,
) -> Option<Candidate> {
    Some(Candidate {
        key: key.to_string(),
        title,
        needs: None,
        how: None,
        cautions: advice.cautions.clone(),
        advice: Some(advice),
        addition: context.with_captures(vec![planned?]),
    })
}

/// The list, in no order of merit.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let mut out = Vec::from(starts_and_run_downs(context));
    out.extend(brakes(context));
    out.extend([
        steady(context),
        steady_three(context),
        locked(context),
        added_inertia(context),
    ]);
    out.into_iter().flatten().collect()
}

fn volts(v: f64) -> String {
    amount(v, "V")
}

/// Each at the supply and at half of it.
fn starts_and_run_downs(context: &Context<'_>) -> [Option<Candidate>; 4] {
    let (machine, supply) = (context.machine, context.machine.supply_v);
    let half = 0.5 * supply;
    [
        one(
            context,
            "start",
            format!("another start at {}", volts(supply)),
            context.capture("next start", CaptureKind::Start, supply),
            advice::start(machine, supply),
        ),
        one(
            context,
            "start_half",
            format!("a start at half the voltage, {}", volts(half)),
            context.capture("next start", CaptureKind::Start, half),
            advice::start(machine, half),
        ),
        one(
            context,
            "run_down",
            run_down_title(context),
            context.capture("next run-down", CaptureKind::RunDown, supply),
            advice::run_down(machine, supply),
        ),
        one(
            context,
            "run_down_half",
            format!("a run-down from half speed, {}", volts(half)),
            context.capture("next run-down", CaptureKind::RunDown, half),
            advice::run_down(machine, half),
        ),
    ]
}

/// A plain short where switch and magnets stand it, and a brake through a resistor.
fn brakes(context: &Context<'_>) -> [Option<Candidate>; 2] {
    let (machine, supply) = (context.machine, context.machine.supply_v);
    let resistance = context.design.motor().terminal_resistance_ohm;
    let needed_ohm = brake_resistor_ohm(resistance, machine.running_emf_v);
    let resistor = needed_ohm.unwrap_or_else(|| resistor_near(2.0 * resistance));
    let brake = |key: &str, title: String, through_ohm: f64| {
        one(
            context,
            key,
            title,
            context.capture("next brake", CaptureKind::Brake { through_ohm }, supply),
            advice::brake(machine, supply, through_ohm),
        )
    };
    let short = || {
        let title = format!("a short-circuit brake from {}", volts(supply));
        brake("brake", title, 0.0)
    };
    let title = format!("a brake through {}", amount(resistor, "Ω"));
    let through = brake("brake_resistor", title, resistor).map(|c| Candidate {
        needs: Some(format!("a resistor of {}", amount(resistor, "Ω"))),
        ..c
    });
    [needed_ohm.is_none().then(short).flatten(), through]
}

fn steady(context: &Context<'_>) -> Option<Candidate> {
    let (machine, supply) = (context.machine, context.machine.supply_v);
    one(
        context,
        "steady",
        format!("steady running at {}", volts(supply)),
        context.capture("next steady", CaptureKind::Steady, supply),
        advice::steady(machine, supply, false),
    )
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
    let shares = [0.25, 0.5, 0.75];
    let planned = shares
        .iter()
        .map(|s| {
            context.capture(
                &format!("next steady {:.0} %", 100.0 * s),
                CaptureKind::Steady,
                s * supply,
            )
        })
        .collect::<Option<Vec<_>>>()?;
    let advice = advice::steady(context.machine, 0.75 * supply, false);
    Some(Candidate {
        key: "steady_three".into(),
        title: format!(
            "steady running at three voltages, {}, {} and {}",
            amount(0.25 * supply, "V"),
            amount(0.5 * supply, "V"),
            amount(0.75 * supply, "V")
        ),
        needs: None,
        how: None,
        cautions: advice.cautions.clone(),
        advice: Some(advice),
        addition: context.with_captures(planned),
    })
}

fn locked(context: &Context<'_>) -> Option<Candidate> {
    let limits = hold(context.machine);
    let planned = (1..=POSITIONS)
        .map(|k| {
            context.capture(
                &format!("next locked {k}"),
                CaptureKind::Locked,
                limits.voltage_v,
            )
        })
        .collect::<Option<Vec<_>>>()?;
    Some(Candidate {
        key: "locked_rotor".into(),
        title: format!(
            "a step of {} onto the held rotor, {POSITIONS} positions",
            amount(limits.voltage_v, "V")
        ),
        needs: Some("a collet or vice on the shaft".into()),
        how: None,
        cautions: hold_lines(context.machine, &limits),
        advice: Some(advice::locked(context.machine)),
        addition: context.with_captures(planned),
    })
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
    Some(Candidate {
        key: "added_inertia".into(),
        title: "a run-down with a known added inertia as large as the rotor's".into(),
        needs: Some(needs),
        how: Some(
            "inertia of a disc: m r²/2, less its hole's; state it as added_inertia of that capture"
                .into(),
        ),
        cautions: advice.cautions.clone(),
        advice: Some(advice),
        addition: context.with_captures(vec![planned]),
    })
}
