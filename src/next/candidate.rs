//! The captures and readings that could come next, for a motor with a fit.

use super::advice::{self, Advice, hold, hold_words};
use super::guess::Basis;
use super::machine::Machine;
use super::protection::brake_resistor_ohm;
use super::rig::{Deed, Rig};
use super::series::resistor_near;
use super::words::{amount, three_digits};
use crate::bench::{Bench, Reading, Role, Stated};
use crate::drive::cautions::Caution;
use crate::fit::{Addition, Estimate, Forecaster, PlannedCapture};
use std::f64::consts::PI;

/// Rotor positions of a held step and of an ohmmeter series.
const POSITIONS: usize = 5;
/// Relative standard uncertainties of what might be borrowed: limits of 0.1 % and 1 r/min for a tachometer, 1 % for a known
/// inertia, 1 % and 0.5 % for the speed of a driven shaft and a voltmeter, 2 % for an inductance meter, 1 % for an ohmmeter,
/// 0.2 % for a calibration (common practice, no source), each read as two standard deviations.
const TACHOMETER: f64 = 0.5e-3;
const TACHOMETER_RPM: f64 = 0.5;
const KNOWN_INERTIA: f64 = 5e-3;
const DRIVEN_SPEED: f64 = 5e-3;
const VOLTMETER: f64 = 2.5e-3;
const INDUCTANCE_METER: f64 = 0.01;
const OHMMETER: f64 = 5e-3;
const CALIBRATION: f64 = 1e-3;
/// K from ripple that shows, relative to the voltage channel's gain (docs/ripple.md; common practice, no source).
const USUAL_RIPPLE: f64 = 5e-4;
/// Spread of the ohmmeter's readings over a turn where nothing is known of it, as in the fit.
const POSITION_SPREAD: f64 = 0.02;

/// One thing that could be done.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Key in `--json`.
    pub key: String,
    pub title: String,
    /// What it takes beyond what the bench already has.
    pub needs: Option<String>,
    pub advice: Option<Advice>,
    pub how: Option<String>,
    pub cautions: Vec<String>,
    pub addition: Addition,
}

/// Everything that candidates are made from.
pub struct Ground<'a> {
    pub bench: &'a Bench,
    pub estimate: &'a Estimate,
    pub forecaster: &'a Forecaster<'a>,
    pub rig: &'a Rig<'a>,
    pub machine: &'a Machine,
}

impl Ground<'_> {
    /// K to evaluate at: the fitted one, else a guess that only scales what has no scale.
    fn constant(&self) -> f64 {
        self.forecaster
            .reported()
            .iter()
            .find(|r| r.name == "back_emf_constant")
            .and_then(|r| r.estimate)
            .map_or_else(
                || self.machine.running_emf_v / self.machine.speed_rad_s.value,
                |at| at.value,
            )
    }

    fn constant_known(&self) -> bool {
        self.machine.speed_rad_s.basis == Basis::Measured
    }

    fn addition(&self) -> Addition {
        Addition {
            assumed_constant_v_s_per_rad: self.constant(),
            ..Addition::default()
        }
    }

    fn with_captures(&self, captures: Vec<PlannedCapture>) -> Addition {
        Addition {
            captures,
            ..self.addition()
        }
    }

    /// What the ripple of another run-down would tell of K: as much as that of the recorded ones.
    fn ripple_again(&self) -> Option<f64> {
        self.estimate
            .ripple
            .iter()
            .filter(|f| f.used)
            .filter_map(|f| f.result.candidates.first())
            .map(|c| c.standard_uncertainty / c.back_emf_constant_v_s_per_rad)
            .reduce(f64::min)
    }

    fn capture(&self, name: &str, deed: Deed, voltage_v: f64) -> Option<PlannedCapture> {
        let mut planned = self.rig.capture(name, deed, voltage_v, None)?;
        if deed == Deed::RunDown {
            planned.ripple_relative = self.ripple_again();
        }
        Some(planned)
    }
}

/// The list, in no order of merit.
pub fn candidates(ground: &Ground<'_>) -> Vec<Candidate> {
    let mut out = captures(ground);
    out.extend(anchors(ground));
    out.extend(meters(ground));
    out.extend(calibrations(ground));
    out
}

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

fn captures(ground: &Ground<'_>) -> Vec<Candidate> {
    let (machine, supply) = (ground.machine, ground.machine.supply_v);
    let half = 0.5 * supply;
    let resistance = ground.forecaster.motor().terminal_resistance_ohm;
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
        .zip(&ground.estimate.legs)
        .filter(|(c, _)| c.role == Role::RunDown)
        .filter_map(|(_, legs)| {
            let open = legs
                .iter()
                .filter(|l| l.kind == crate::fit::LegKind::Open)
                .max_by_key(|l| l.bins.len())?;
            let size = |b: Option<&crate::fit::Bin>| Some(b?.voltage_v.abs());
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
    let capacitance = ground.forecaster.motor().inertia_capacitance_f;
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
    advice.settings.per_division_s = super::series::one_two_five_up(advice.settings.span_s / 9.0);
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

fn anchors(ground: &Ground<'_>) -> Vec<Candidate> {
    let mut out = Vec::new();
    let speed = ground.machine.speed_rad_s.value;
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
        }
    };
    let advice = advice::steady(ground.machine, ground.machine.supply_v, true);
    if let Some(planned) = ground.capture("next steady", Deed::Steady, ground.machine.supply_v) {
        out.push(Candidate {
            key: "tachometer".into(),
            title: format!(
                "a tachometer reading with a steady capture at {}",
                amount(ground.machine.supply_v, "V")
            ),
            needs: Some("a tachometer (0.1 % and 1 r/min)".into()),
            how: None,
            cautions: advice.cautions.clone(),
            advice: Some(advice),
            addition: Addition {
                readings: vec![reading(planned.capture.name.clone())],
                ..ground.with_captures(vec![planned])
            },
        });
    }
    let k = ground.constant();
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
            }],
            ..ground.addition()
        },
    });
    out.extend(segments(ground));
    out
}

/// Ripple: of a run-down that is there and allows several counts, or of one yet to be made.
fn segments(ground: &Ground<'_>) -> Option<Candidate> {
    if ground.estimate.ripple.iter().any(|f| f.used) {
        return None;
    }
    let counted = ground.bench.motor.commutator_segments.is_some();
    let open = ground
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
                "count the commutator segments: the ripple of \"{}\" then tells the speed",
                ground.bench.captures[capture].name
            ),
            needs: None,
            advice: None,
            how: Some("look through a slot of the can, or count the steps felt while turning by hand; commutator_segments under [motor]".into()),
            cautions: Vec::new(),
            addition: Addition {
                ripple: vec![(capture, relative)],
                ..ground.addition()
            },
        });
    }
    let mut planned = ground.capture("next run-down", Deed::RunDown, ground.machine.supply_v)?;
    planned.ripple_relative = Some(USUAL_RIPPLE);
    let advice = advice::run_down(ground.machine, ground.machine.supply_v);
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
        addition: ground.with_captures(vec![planned]),
    })
}

fn meters(ground: &Ground<'_>) -> Vec<Candidate> {
    let motor = ground.forecaster.motor();
    let ohm = motor.terminal_resistance_ohm;
    let (accuracy, temperature_c) = ground
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
            ground
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
                }],
                ..ground.addition()
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
                ..ground.addition()
            },
        },
    ]
}

/// One a piece of hardware whose gain is worse known than a calibration would tell.
fn calibrations(ground: &Ground<'_>) -> Vec<Candidate> {
    ground
        .bench
        .instruments
        .iter()
        .enumerate()
        .filter(|(_, i)| i.gain_relative_uncertainty > 1.5 * CALIBRATION)
        .map(|(k, instrument)| {
            let (title, how) = if instrument.gain_per_channel {
                (
                    format!("both channels of \"{}\" checked against a known voltage", instrument.name),
                    "a voltage known to 0.2 % on each channel at the ranges used",
                )
            } else {
                (
                    format!("\"{}\" calibrated, or all taken again through a better one", instrument.name),
                    "a shunt by four wires, a clamp by a known current, a probe by a known voltage, to 0.2 %",
                )
            };
            Candidate {
                key: format!("calibrate_{}", instrument.name),
                title: format!("{title} (± {:.1} % now, ± 0.2 % then)", 200.0 * instrument.gain_relative_uncertainty),
                needs: Some("a reference of 0.2 %".into()),
                advice: None,
                how: Some(how.into()),
                cautions: Vec::new(),
                addition: Addition {
                    gains: vec![(k, CALIBRATION)],
                    ..ground.addition()
                },
            }
        })
        .collect()
}
