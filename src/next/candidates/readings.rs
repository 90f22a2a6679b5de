//! Further readings of a motor with a fit: speeds, ripple, meters.

use super::candidate::Candidate;
use super::context::Context;
use crate::bench::{Reading, Stated};
use crate::drive::cautions::Caution;
use crate::fit::Addition;
use crate::next::advice;
use crate::next::rig::CaptureKind;
use crate::next::text::numbers::amount;
use std::f64::consts::PI;

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

/// The list, in no order of merit.
pub(super) fn list(context: &Context<'_>) -> Vec<Candidate> {
    let mut out = anchors(context);
    out.extend(meters(context));
    out
}

fn anchors(context: &Context<'_>) -> Vec<Candidate> {
    let mut out = Vec::new();
    let speed = context.machine.speed_rad_s.value;
    let reading = |capture: String| {
        let relative = TACHOMETER + TACHOMETER_RPM * 2.0 * PI / 60.0 / speed;
        Reading::Speed {
            speed_rad_s: Stated {
                value: speed,
                standard_uncertainty: relative * speed,
            },
            capture: Some(capture),
            terminal_voltage_v: None,
            current_a: None,
            meter: None,
        }
    };
    let advice = advice::steady(context.machine, context.machine.supply_v, true);
    if let Some(planned) =
        context.capture("next steady", CaptureKind::Steady, context.machine.supply_v)
    {
        out.push(Candidate {
            key: "tachometer".into(),
            title: format!(
                "a tachometer reading with a steady capture at {}",
                amount(context.machine.supply_v, "V")
            ),
            needs: Some("a tachometer (0.1 % and 1 r/min)".into()),
            how: None,
            cautions: advice.cautions.clone(),
            advice: Some(advice),
            addition: Addition {
                readings: vec![reading(planned.capture.name.clone())],
                ..context.with_captures(vec![planned])
            },
        });
    }
    let k = context.constant();
    out.push(Candidate {
        key: "driven_back_emf".into(),
        title: "open-terminal voltage while the shaft is driven at a known speed".into(),
        needs: Some("a drill or lathe, its speed known to 1 %, a voltmeter of 0.5 %".into()),
        advice: None,
        how: Some("kind = \"spun-back-emf\" among the readings".into()),
        cautions: vec![Caution::TurningShaft.text().into()],
        addition: Addition {
            readings: vec![Reading::SpunBackEmf {
                voltage_v: Stated {
                    value: k * speed,
                    standard_uncertainty: VOLTMETER * k * speed,
                },
                speed_rad_s: Stated {
                    value: speed,
                    standard_uncertainty: DRIVEN_SPEED * speed,
                },
                meter: None,
            }],
            ..context.addition()
        },
    });
    out.extend(segments(context));
    out.extend(shaft_sensor(context));
    out
}

/// K from a sensor that counts turns during a run-down, relative to the voltage channel's gain: how far the model's angle departs over a record
/// (common practice, no source; the same as for the stretches of a sensor in the fit).
const SENSOR: f64 = 2e-3;

/// A run-down with a sensor on the shaft, where none was recorded yet.
fn shaft_sensor(context: &Context<'_>) -> Option<Candidate> {
    if context.bench.captures.iter().any(|c| c.speed.is_some()) {
        return None;
    }
    let mut planned = context.capture(
        "next run-down with a sensor",
        CaptureKind::RunDown,
        context.machine.supply_v,
    )?;
    planned.ripple_relative = Some(planned.ripple_relative.map_or(SENSOR, |r| r.min(SENSOR)));
    let advice = advice::run_down(context.machine, context.machine.supply_v);
    Some(Candidate {
        key: "shaft_sensor".into(),
        title: "a run-down with an encoder or one optical mark on the shaft, on a third channel".into(),
        needs: Some("an encoder whose counts a turn are known, or a reflex sensor and a mark".into()),
        how: Some("measures = \"position\" or \"pulses\" under [channels]; a gear between them needs gear = { motor_turns = ... }".into()),
        cautions: advice.cautions.clone(),
        advice: Some(advice),
        addition: context.with_captures(vec![planned]),
    })
}

/// Ripple: of a run-down that is there and allows several counts, or of one yet to be made.
fn segments(context: &Context<'_>) -> Option<Candidate> {
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
        return Some(Candidate {
            key: "count_segments".into(),
            title: format!(
                "count commutator segments and magnet poles: the ripple of \"{}\" then gives the speed",
                context.bench.captures[capture].name
            ),
            needs: None,
            advice: None,
            how: Some("look through a slot of the can, or count the steps felt while turning by hand; a compass carried around the can shows each pole; commutator_segments and poles under [motor]".into()),
            cautions: Vec::new(),
            addition: Addition {
                ripple: vec![(capture, relative)],
                ..context.addition()
            },
        });
    }
    let mut planned = context.capture(
        "next run-down",
        CaptureKind::RunDown,
        context.machine.supply_v,
    )?;
    planned.ripple_relative = Some(USUAL_RIPPLE);
    let advice = advice::run_down(context.machine, context.machine.supply_v);
    Some(Candidate {
        key: "run_down_ripple".into(),
        title: format!(
            "a run-down sampled at {} or faster, if its ripple shows",
            amount(advice.settings.sample_rate_hz, "Hz")
        ),
        needs: None,
        how: None,
        cautions: advice.cautions.clone(),
        advice: Some(advice),
        addition: context.with_captures(vec![planned]),
    })
}

fn meters(context: &Context<'_>) -> Vec<Candidate> {
    let motor = context.design.motor();
    let ohm = motor.terminal_resistance_ohm;
    let (accuracy, temperature_c) = context
        .bench
        .readings
        .iter()
        .find_map(|r| match r {
            Reading::Ohmmeter {
                relative_uncertainty,
                temperature_c,
                ..
            } => Some((*relative_uncertainty, *temperature_c)),
            _ => None,
        })
        .unwrap_or((
            OHMMETER,
            context
                .bench
                .captures
                .iter()
                .find_map(|c| c.winding_temperature_c),
        ));
    // Six readings that scatter as rotor positions do.
    let off = POSITION_SPREAD * (5.0f64 / 6.0).sqrt();
    let readings_ohm = (0..6)
        .map(|k| ohm * (1.0 + if k % 2 == 0 { off } else { -off }))
        .collect();
    vec![
        Candidate {
            key: "ohmmeter".into(),
            title: "ohmmeter at six rotor positions, leads taken off".into(),
            needs: None,
            advice: None,
            how: Some("docs/bench.md, section 8; carbon brushes read high and make it weak evidence".into()),
            cautions: Vec::new(),
            addition: Addition {
                readings: vec![Reading::Ohmmeter {
                    readings_ohm,
                    leads_ohm: None,
                    relative_uncertainty: accuracy,
                    temperature_c,
                    meter: None,
                }],
                ..context.addition()
            },
        },
        Candidate {
            key: "inductance_meter".into(),
            title: "inductance meter across the terminals".into(),
            needs: Some("an inductance meter".into()),
            advice: None,
            how: Some("rotor still, several positions, state its frequency; iron makes it see another inductance than a step, so it counts for 10 %".into()),
            cautions: Vec::new(),
            addition: Addition {
                readings: vec![Reading::InductanceMeter {
                    inductance_h: Stated {
                        value: motor.armature_inductance_h,
                        standard_uncertainty: INDUCTANCE_METER * motor.armature_inductance_h,
                    },
                    frequency_hz: None,
                }],
                ..context.addition()
            },
        },
    ]
}
