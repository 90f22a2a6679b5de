//! Further captures of a motor with a fit, each simulated as it would be recorded.

use super::advice::{self, Advice, hold, hold_words};
use super::candidate::{Candidate, Ground};
use super::protection::brake_resistor_ohm;
use super::rig::Deed;
use super::series::{one_two_five_up, resistor_near};
use super::words::{amount, three_digits};
use crate::bench::{Role, Stated};
use crate::fit::{Bin, PlannedCapture, SegmentKind};
use std::f64::consts::PI;

/// Rotor positions of a held step.
const POSITIONS: usize = 5;
/// Relative standard uncertainty of an inertia known to 1 %, read as two standard deviations (common practice, no source).
const KNOWN_INERTIA: f64 = 5e-3;

fn one(
    ground: &Ground<'_>,
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
        addition: ground.with_captures(vec![planned?]),
    })
}

/// The list, in no order of merit.
pub(super) fn list(ground: &Ground<'_>) -> Vec<Candidate> {
    let (machine, supply) = (ground.machine, ground.machine.supply_v);
    let half = 0.5 * supply;
    let resistance = ground.design.motor().terminal_resistance_ohm;
    let resistor = brake_resistor_ohm(resistance, machine.running_emf_v)
        .unwrap_or_else(|| resistor_near(2.0 * resistance));
    let plain_short = brake_resistor_ohm(resistance, machine.running_emf_v).is_none();
    let volts = |v: f64| amount(v, "V");
    let mut out: Vec<Option<Candidate>> = vec![
        one(
            ground,
            "start",
            format!("another start at {}", volts(supply)),
            ground.capture("next start", Deed::Start, supply),
            advice::start(machine, supply),
        ),
        one(
            ground,
            "start_half",
            format!("a start at half the voltage, {}", volts(half)),
            ground.capture("next start", Deed::Start, half),
            advice::start(machine, half),
        ),
        one(
            ground,
            "run_down",
            run_down_title(ground),
            ground.capture("next run-down", Deed::RunDown, supply),
            advice::run_down(machine, supply),
        ),
        one(
            ground,
            "run_down_half",
            format!("a run-down from half speed, {}", volts(half)),
            ground.capture("next run-down", Deed::RunDown, half),
            advice::run_down(machine, half),
        ),
        plain_short
            .then(|| {
                one(
                    ground,
                    "brake",
                    format!("a short-circuit brake from {}", volts(supply)),
                    ground.capture("next brake", Deed::Brake { through_ohm: 0.0 }, supply),
                    advice::brake(machine, supply, 0.0),
                )
            })
            .flatten(),
        one(
            ground,
            "brake_resistor",
            format!("a brake through {}", amount(resistor, "Ω")),
            ground.capture(
                "next brake",
                Deed::Brake {
                    through_ohm: resistor,
                },
                supply,
            ),
            advice::brake(machine, supply, resistor),
        )
        .map(|c| Candidate {
            needs: Some(format!("a resistor of {}", amount(resistor, "Ω"))),
            ..c
        }),
        one(
            ground,
            "steady",
            format!("steady running at {}", volts(supply)),
            ground.capture("next steady", Deed::Steady, supply),
            advice::steady(machine, supply, false),
        ),
        steady_three(ground),
        locked(ground),
    ];
    out.push(added_inertia(ground));
    out.into_iter().flatten().collect()
}

/// Says so where every recorded run-down ends early.
fn run_down_title(ground: &Ground<'_>) -> String {
    let left = ground
        .bench
        .captures
        .iter()
        .zip(&ground.estimate.segments)
        .filter(|(c, _)| c.role == Role::RunDown)
        .filter_map(|(_, legs)| {
            let open = legs
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

fn steady_three(ground: &Ground<'_>) -> Option<Candidate> {
    let supply = ground.machine.supply_v;
    let shares = [0.25, 0.5, 0.75];
    let planned = shares
        .iter()
        .map(|s| {
            ground.capture(
                &format!("next steady {:.0} %", 100.0 * s),
                Deed::Steady,
                s * supply,
            )
        })
        .collect::<Option<Vec<_>>>()?;
    let advice = advice::steady(ground.machine, 0.75 * supply, false);
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
        addition: ground.with_captures(planned),
    })
}

fn locked(ground: &Ground<'_>) -> Option<Candidate> {
    let limits = hold(ground.machine);
    let planned = (1..=POSITIONS)
        .map(|k| ground.capture(&format!("next locked {k}"), Deed::Locked, limits.voltage_v))
        .collect::<Option<Vec<_>>>()?;
    Some(Candidate {
        key: "locked_rotor".into(),
        title: format!(
            "a step of {} onto the held rotor, {POSITIONS} positions",
            amount(limits.voltage_v, "V")
        ),
        needs: Some("a collet or vice on the shaft".into()),
        how: None,
        cautions: hold_words(ground.machine, &limits),
        advice: Some(advice::locked(ground.machine)),
        addition: ground.with_captures(planned),
    })
}

/// A run-down with an inertia as large as the rotor's own.
fn added_inertia(ground: &Ground<'_>) -> Option<Candidate> {
    let capacitance = ground.design.motor().inertia_capacitance_f;
    let inertia = capacitance * ground.constant().powi(2);
    let stated = Stated {
        value: inertia,
        standard_uncertainty: KNOWN_INERTIA * inertia,
    };
    let supply = ground.machine.supply_v;
    let mut planned = ground.rig.capture(
        "next run-down with a disc",
        Deed::RunDown,
        supply,
        Some((capacitance, stated)),
    )?;
    planned.ripple_relative = ground.ripple_again();
    let needs = if ground.constant_known() {
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
    let mut advice = advice::run_down(ground.machine, supply);
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
        addition: ground.with_captures(vec![planned]),
    })
}
