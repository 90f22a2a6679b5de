//! Further readings of a motor with a fit: speeds, ripple, meters.

use super::candidate::Candidate;
use super::context::Context;
use crate::bench::{Reading, Stated};
use crate::drive::cautions::Caution;
use crate::fit::Addition;
use crate::next::advice::{self, Advice};
use crate::next::rig::CaptureKind;
use crate::next::text::numbers::amount;
use crate::quantity::units::RPM;

/// Relative standard uncertainties of what might be borrowed: limits of 0.1 % and 1 r/min for a tachometer, 1 % and 0.5 % for
/// the speed of a driven shaft and a voltmeter, 2 % for an inductance meter, 1 % for an ohmmeter (common practice, no
/// source), each read as two standard deviations.
const TACHOMETER: f64 = 0.5e-3;
const TACHOMETER_RPM: f64 = 0.5;
const DRIVEN_SPEED: f64 = 5e-3;
const VOLTMETER: f64 = 2.5e-3;
const INDUCTANCE_METER: f64 = 0.01;
const OHMMETER: f64 = 5e-3;
/// K from ripple that shows, relative to the voltage channel's gain (docs/ripple.md; common practice, no source).
const USUAL_RIPPLE: f64 = 5e-4;
/// Spread of the ohmmeter's readings over a turn where nothing is known of it, as in the fit.
const POSITION_SPREAD: f64 = 0.02;
/// K from a sensor that counts turns during a run-down, relative to the voltage channel's gain: how far the model's angle departs over a record
/// (common practice, no source; the same as for the stretches of a sensor in the fit).
const SENSOR: f64 = 2e-3;

/// The list, in no order of merit.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let (machine, supply) = (context.machine, context.machine.supply_v);
    let speed = machine.speed_rad_s.value;
    let stated = |value: f64, relative: f64| Stated {
        value,
        standard_uncertainty: relative * value,
    };
    let tachometer = || {
        let planned = context.capture("next steady", CaptureKind::Steady, supply)?;
        let reading = Reading::Speed {
            speed_rad_s: stated(speed, TACHOMETER + TACHOMETER_RPM * RPM / speed),
            capture: Some(planned.capture.name.clone()),
            terminal_voltage_v: None,
            current_a: None,
            meter: None,
        };
        let addition = Addition {
            readings: vec![reading],
            ..context.with_captures(vec![planned])
        };
        let title = format!(
            "a tachometer reading with a steady capture at {}",
            amount(supply, "V")
        );
        let candidate = Candidate::new("tachometer", title, addition);
        let advice = advice::steady(machine, supply, true);
        Some(
            candidate
                .advised(advice)
                .needing("a tachometer (0.1 % and 1 r/min)"),
        )
    };
    let reading = |key: &str, title: &str, reading: Reading| {
        let addition = Addition {
            readings: vec![reading],
            ..context.addition()
        };
        Candidate::new(key, title, addition)
    };
    let driven = reading(
        "driven_back_emf",
        "open-terminal voltage while the shaft is driven at a known speed",
        Reading::SpunBackEmf {
            voltage_v: stated(context.constant() * speed, VOLTMETER),
            speed_rad_s: stated(speed, DRIVEN_SPEED),
            meter: None,
        },
    );
    let ohmmeter = reading(
        "ohmmeter",
        "ohmmeter at six rotor positions, leads taken off",
        ohmmeter(context),
    );
    let inductance = reading(
        "inductance_meter",
        "inductance meter across the terminals",
        Reading::InductanceMeter {
            inductance_h: stated(
                context.design.motor().armature_inductance_h,
                INDUCTANCE_METER,
            ),
            frequency_hz: None,
        },
    );
    let always = [
        Candidate {
            cautions: vec![Caution::TurningShaft.text().into()],
            ..driven
        }
        .needing("a drill or lathe, its speed known to 1 %, a voltmeter of 0.5 %")
        .how("kind = \"spun-back-emf\" among the readings"),
        ohmmeter.how("docs/bench.md, section 8; carbon brushes read high and make it weak evidence"),
        inductance.needing("an inductance meter").how("rotor still, several positions, state its frequency; iron makes it see another inductance than a step, so it counts for 10 %"),
    ];
    let found = [tachometer(), ripple(context), shaft_sensor(context)];
    found.into_iter().flatten().chain(always).collect()
}

/// Six readings that scatter as rotor positions do, by the meter that the sheet states.
fn ohmmeter(context: &Context<'_>) -> Reading {
    let ohm = context.design.motor().terminal_resistance_ohm;
    let mut captures = context.bench.captures.iter();
    let stated = context.bench.readings.iter().find_map(|r| match r {
        Reading::Ohmmeter {
            relative_uncertainty,
            temperature_c,
            ..
        } => Some((*relative_uncertainty, *temperature_c)),
        _ => None,
    });
    let (relative_uncertainty, temperature_c) =
        stated.unwrap_or_else(|| (OHMMETER, captures.find_map(|c| c.winding_temperature_c)));
    let off = POSITION_SPREAD * (5.0f64 / 6.0).sqrt();
    Reading::Ohmmeter {
        readings_ohm: [off, -off, off, -off, off, -off]
            .map(|off| ohm * (1.0 + off))
            .into(),
        leads_ohm: None,
        relative_uncertainty,
        temperature_c,
        meter: None,
    }
}

/// A further run-down at the supply that gives K to this, relative to the voltage channel's gain.
fn run_down(
    context: &Context<'_>,
    key: &str,
    relative: f64,
    title: impl Fn(&Advice) -> String,
) -> Option<Candidate> {
    let supply = context.machine.supply_v;
    let mut planned = context.capture("next run-down", CaptureKind::RunDown, supply)?;
    planned.ripple_relative = Some(relative);
    let advice = advice::run_down(context.machine, supply);
    let addition = context.with_captures(vec![planned]);
    Some(Candidate::new(key, title(&advice), addition).advised(advice))
}

/// A run-down with a sensor on the shaft, where none was recorded yet.
fn shaft_sensor(context: &Context<'_>) -> Option<Candidate> {
    if context.bench.captures.iter().any(|c| c.speed.is_some()) {
        return None;
    }
    let relative = context.ripple_again().map_or(SENSOR, |r| r.min(SENSOR));
    let candidate = run_down(context, "shaft_sensor", relative, |_| {
        "a run-down with an encoder or one optical mark on the shaft, on a third channel".into()
    })?;
    Some(
        candidate
            .needing("an encoder whose counts a turn are known, or a reflex sensor and a mark")
            .how("measures = \"position\" or \"pulses\" under [channels]; a gear between them needs gear = { motor_turns = ... }"),
    )
}

/// Ripple: of a run-down that is there and allows several counts, or of one yet to be made.
fn ripple(context: &Context<'_>) -> Option<Candidate> {
    if context.estimate.ripple.iter().any(|f| f.taken.is_some()) {
        return None;
    }
    let motor = &context.bench.motor;
    let counted = motor.commutator_segments.is_some() && motor.poles.is_some();
    let open = context
        .estimate
        .ripple
        .iter()
        .filter(|f| f.result.fit_settled)
        .find_map(|f| Some((f.capture, f.result.candidates.first()?)));
    if let (Some((capture, candidate)), false) = (open, counted) {
        let relative = candidate.standard_uncertainty / candidate.back_emf_constant_v_s_per_rad;
        let title = format!(
            "count commutator segments and magnet poles: the ripple of \"{}\" then gives the speed",
            context.bench.captures[capture].name
        );
        let addition = Addition {
            ripple: vec![(capture, relative)],
            ..context.addition()
        };
        let candidate = Candidate::new("count_segments", title, addition);
        return Some(candidate.how("look through a slot of the can, or count the steps felt while turning by hand; a compass carried around the can shows each pole; commutator_segments and poles under [motor]"));
    }
    run_down(context, "run_down_ripple", USUAL_RIPPLE, |advice| {
        let rate = amount(advice.settings.sample_rate_hz, "Hz");
        format!("a run-down sampled at {rate} or faster, if its ripple shows")
    })
}
