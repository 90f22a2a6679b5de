//! Scalar readings as terms of the same least squares.

use super::capture_model::{CaptureModel, Local, Prediction};
use super::layout::{Layout, Parameter, Slot, Source};
use super::problem::Problem;
use crate::bench::{Bench, BrushKind, Reading, Role};
use nalgebra::DVector;

/// How far the state in which a speed was read may differ from that in the capture, relative: the motor does not run
/// exactly alike twice. Common practice, no source.
const REPEATABILITY: f64 = 0.003;

/// One residual in units of its standard deviation, with its derivatives.
pub struct Term {
    pub residual: f64,
    pub gradient: Vec<(usize, f64)>,
}

/// A reading prepared for the fit.
#[derive(Clone, Debug)]
pub enum ReadingTerm {
    /// ln of a resistance reading against R + contact excess.
    Resistance {
        ohm: f64,
        relative_sd: f64,
        temperature_ratio: f64,
        /// Standard uncertainty of the winding's temperature under the meter, K.
        temperature_sd_k: f64,
        resistance: usize,
        excess: usize,
    },
    /// ln of an inductance.
    Inductance {
        henry: f64,
        relative_sd: f64,
        inductance: usize,
    },
    /// ln ω + ln K against ln e of a capture.
    Speed {
        rad_s: f64,
        relative_sd: f64,
        constant: usize,
        model: usize,
    },
    /// ln(V/ω) against ln K.
    BackEmf {
        v_s_per_rad: f64,
        relative_sd: f64,
        constant: usize,
    },
    /// ln K from another estimate (commutation ripple with its voltage channel's gain).
    Constant {
        v_s_per_rad: f64,
        relative_sd: f64,
        constant: usize,
        gain: Vec<(usize, f64)>,
    },
}

/// Largest excess of an ohmmeter's reading over R that brushes of a kind make usual, as a share of R (one standard
/// deviation of a half-normal prior): at the meter's small current a carbon contact is far from its plateau. Common practice, no source.
fn contact_excess_share(brushes: Option<BrushKind>) -> f64 {
    match brushes {
        Some(BrushKind::Metal) => 0.01,
        Some(BrushKind::MetalCarbon) => 0.15,
        Some(BrushKind::Carbon) | None => 0.5,
    }
}

/// The captures in which a motor runs freely on its supply, best first.
fn running_capture(models: &[CaptureModel]) -> Option<usize> {
    [Role::RunDown, Role::Steady, Role::Brake, Role::Start]
        .iter()
        .find_map(|role| models.iter().position(|m| m.role == *role))
}

/// Prepares every reading; returns the terms and doubts about readings that could not be used.
pub fn prepare(
    bench: &Bench,
    models: &[CaptureModel],
    layout: &mut Layout,
    reference_c: Option<f64>,
) -> (Vec<ReadingTerm>, Vec<String>) {
    let mut terms = Vec::new();
    let mut remarks = Vec::new();
    let constant = |layout: &mut Layout, guess: f64| {
        layout.add(Parameter::free(Slot::LogBackEmfConstant, guess.max(1e-12).ln()).stepping(1.0))
    };
    for (index, reading) in bench.readings.iter().enumerate() {
        match reading {
            Reading::Ohmmeter {
                readings_ohm,
                leads_ohm,
                relative_uncertainty,
                temperature_c,
            } => {
                let n = readings_ohm.len() as f64;
                let leads = leads_ohm.map_or(0.0, |l| l.value);
                let mean = readings_ohm.iter().sum::<f64>() / n - leads;
                let Some(resistance) = layout.find(&Slot::LogResistance) else {
                    continue;
                };
                if readings_ohm.is_empty() || mean <= 0.0 {
                    remarks.push(format!("ohmmeter reading {}: nothing is left after the leads' {leads} Ω are taken off; not used", index + 1));
                    continue;
                }
                let spread = readings_ohm
                    .iter()
                    .map(|r| (r - leads - mean).powi(2))
                    .sum::<f64>()
                    / (n - 1.0).max(1.0);
                // Fewer than three positions say little of the spread over a turn: 2 % then (common practice, no source).
                let position = if n >= 3.0 {
                    spread.sqrt() / mean / n.sqrt()
                } else {
                    0.02 / n.sqrt()
                };
                let lead_part = leads_ohm.map_or(0.0, |l| l.standard_uncertainty / mean);
                let temperature_ratio = match (reference_c, temperature_c) {
                    (Some(reference), Some(t)) => {
                        crate::motor::temperature::copper_ratio(reference, t.value)
                    }
                    _ => 1.0,
                };
                let sd = (relative_uncertainty.powi(2) + position.powi(2) + lead_part.powi(2))
                    .sqrt()
                    .max(1e-3);
                let share = contact_excess_share(bench.motor.brushes);
                let excess = Parameter::free(Slot::Reading { index }, 0.3 * share)
                    .with_prior(0.0, share, Source::Meter)
                    .within(0.0, 10.0);
                let excess = layout.add(excess);
                terms.push(ReadingTerm::Resistance {
                    ohm: mean,
                    relative_sd: sd,
                    temperature_ratio,
                    temperature_sd_k: temperature_c.map_or(0.0, |t| t.standard_uncertainty),
                    resistance,
                    excess,
                });
            }
            Reading::InductanceMeter { inductance_h, .. } => {
                if let Some(inductance) = layout.find(&Slot::LogInductance) {
                    terms.push(ReadingTerm::Inductance {
                        henry: inductance_h.value,
                        // Iron and eddy currents make a meter's small alternating current see another inductance than a step does.
                        relative_sd: (inductance_h.standard_uncertainty / inductance_h.value)
                            .hypot(0.1),
                        inductance,
                    });
                }
            }
            Reading::Speed {
                speed_rad_s,
                capture,
                ..
            } => {
                let named = capture
                    .as_ref()
                    .and_then(|name| models.iter().position(|m| &m.name == name));
                match named.or_else(|| running_capture(models)) {
                    Some(model) => {
                        let emf = bench.motor.supply_v.unwrap_or(10.0);
                        let relative = speed_rad_s.standard_uncertainty / speed_rad_s.value;
                        terms.push(ReadingTerm::Speed {
                            rad_s: speed_rad_s.value,
                            relative_sd: relative.hypot(if named.is_some() { 0.0 } else { REPEATABILITY }).max(1e-5),
                            constant: constant(layout, emf / speed_rad_s.value),
                            model,
                        });
                    }
                    None => remarks.push(format!(
                        "speed reading {}: no capture shows the motor running freely on its supply, so the reading meets no back-EMF; not used",
                        index + 1
                    )),
                }
            }
            Reading::SpunBackEmf {
                voltage_v,
                speed_rad_s,
            } => {
                let k = voltage_v.value / speed_rad_s.value;
                let relative_sd = (voltage_v.standard_uncertainty / voltage_v.value)
                    .hypot(speed_rad_s.standard_uncertainty / speed_rad_s.value)
                    .max(1e-5);
                terms.push(ReadingTerm::BackEmf {
                    v_s_per_rad: k,
                    relative_sd,
                    constant: constant(layout, k),
                });
            }
        }
    }
    (terms, remarks)
}

impl ReadingTerm {
    /// The residual at `x`, given every capture's prediction; `None` where a log has no argument.
    pub fn evaluate(&self, x: &DVector<f64>, predictions: &[Prediction]) -> Option<Term> {
        match self {
            ReadingTerm::Resistance {
                ohm,
                relative_sd,
                temperature_ratio,
                resistance,
                excess,
                ..
            } => {
                let total = 1.0 + x[*excess];
                (total > 0.0).then(|| Term {
                    residual: (x[*resistance] + (temperature_ratio * total).ln() - ohm.ln())
                        / relative_sd,
                    gradient: vec![
                        (*resistance, 1.0 / relative_sd),
                        (*excess, 1.0 / (total * relative_sd)),
                    ],
                })
            }
            ReadingTerm::Inductance {
                henry,
                relative_sd,
                inductance,
            } => Some(Term {
                residual: (x[*inductance] - henry.ln()) / relative_sd,
                gradient: vec![(*inductance, 1.0 / relative_sd)],
            }),
            ReadingTerm::Speed {
                rad_s,
                relative_sd,
                constant,
                model,
            } => {
                let emf: Local = predictions[*model].running_emf?;
                if emf.value == 0.0 {
                    return None;
                }
                let mut gradient = vec![(*constant, 1.0 / relative_sd)];
                for (which, links) in predictions[*model].slopes.iter().enumerate() {
                    for &(entry, factor) in links {
                        gradient.push((
                            entry,
                            -factor * emf.gradient[which] / (emf.value * relative_sd),
                        ));
                    }
                }
                Some(Term {
                    residual: (x[*constant] + rad_s.ln() - emf.value.abs().ln()) / relative_sd,
                    gradient,
                })
            }
            ReadingTerm::BackEmf {
                v_s_per_rad,
                relative_sd,
                constant,
            } => Some(Term {
                residual: (x[*constant] - v_s_per_rad.ln()) / relative_sd,
                gradient: vec![(*constant, 1.0 / relative_sd)],
            }),
            ReadingTerm::Constant {
                v_s_per_rad,
                relative_sd,
                constant,
                gain,
            } => {
                let shift: f64 = gain.iter().map(|&(entry, factor)| factor * x[entry]).sum();
                let mut gradient = vec![(*constant, 1.0 / relative_sd)];
                gradient.extend(
                    gain.iter()
                        .map(|&(entry, factor)| (entry, factor / relative_sd)),
                );
                Some(Term {
                    residual: (x[*constant] + shift - v_s_per_rad.ln()) / relative_sd,
                    gradient,
                })
            }
        }
    }
}

impl ReadingTerm {
    /// Where this reading's uncertainty is booked.
    pub fn source(&self) -> Source {
        match self {
            ReadingTerm::Resistance { .. } | ReadingTerm::Inductance { .. } => Source::Meter,
            ReadingTerm::Speed { .. }
            | ReadingTerm::BackEmf { .. }
            | ReadingTerm::Constant { .. } => Source::Anchor,
        }
    }
}

/// Anchors that contradict the rest, with their sigmas.
pub fn conflicts(problem: &Problem, x: &DVector<f64>, predictions: &[Prediction]) -> Vec<String> {
    let anchors: Vec<(&ReadingTerm, f64)> = problem
        .readings
        .iter()
        .filter(|r| r.source() == Source::Anchor)
        .filter_map(|r| Some((r, r.evaluate(x, predictions)?.residual)))
        .collect();
    let worst = anchors.iter().map(|a| a.1.abs()).fold(0.0, f64::max);
    if anchors.len() < 2 || worst < LARGEST_PULL {
        return Vec::new();
    }
    let told: Vec<String> = anchors
        .iter()
        .map(|(reading, pull)| format!("{} by {:+.1} sigma", reading.words(), pull))
        .collect();
    vec![format!(
        "the speed anchors contradict each other ({}); the back-EMF constant and all that follows from it should not be trusted. \
         A wrong segment count shows as a ratio of small whole numbers; a tachometer that counted two marks as a factor of two",
        told.join(", ")
    )]
}

/// Sigmas of one anchor beyond which a conflict is told.
const LARGEST_PULL: f64 = 3.5;

impl ReadingTerm {
    /// As messages name it.
    fn words(&self) -> &'static str {
        match self {
            ReadingTerm::Resistance { .. } => "the ohmmeter is off",
            ReadingTerm::Inductance { .. } => "the inductance meter is off",
            ReadingTerm::Speed { .. } => "the tachometer is off",
            ReadingTerm::BackEmf { .. } => "the driven back-EMF is off",
            ReadingTerm::Constant { .. } => "the commutation ripple is off",
        }
    }
}
