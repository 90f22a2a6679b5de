//! Scalar readings as terms of the same least squares.

use super::speed_on_voltage::OnVoltage;
use crate::bench::{Bench, BrushKind, Reading, Role};
use crate::fit::model::{CaptureModel, Number, Prediction};
use crate::fit::unknowns::{Layout, Parameter, Slot, Source};
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
        /// What the iron screens at the meter's frequency, where that is stated.
        screened: Option<Screened>,
    },
    /// ln ω + ln K against ln e of a capture.
    Speed {
        rad_s: f64,
        relative_sd: f64,
        constant: usize,
        model: usize,
        /// For a speed at an instant, from the ripple of the capture's current: which of its probes.
        probe: Option<usize>,
    },
    /// ln ω + ln K against ln e at a stated terminal voltage.
    SpeedOnVoltage {
        rad_s: f64,
        relative_sd: f64,
        constant: usize,
        on: OnVoltage,
    },
    /// ln(V/ω) against ln K.
    BackEmf {
        v_s_per_rad: f64,
        relative_sd: f64,
        constant: usize,
    },
    /// ln K from a capture's voltage alone (ripple of a run-down, a driven record) with the errors of its voltage channel.
    Constant {
        v_s_per_rad: f64,
        relative_sd: f64,
        constant: usize,
        /// Entries that shift ln of what the channel shows, and by how much.
        shift: Vec<(usize, f64)>,
        model: usize,
        /// For ripple: cycles a revolution.
        cycles_per_revolution: Option<u32>,
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
            Reading::InductanceMeter {
                inductance_h,
                frequency_hz,
            } => {
                if let Some(inductance) = layout.find(&Slot::LogInductance) {
                    terms.push(ReadingTerm::Inductance {
                        henry: inductance_h.value,
                        // Iron and eddy currents make a meter's small alternating current see another inductance than a step does.
                        relative_sd: (inductance_h.standard_uncertainty / inductance_h.value)
                            .hypot(0.1),
                        inductance,
                        screened: frequency_hz.and_then(|hz| Screened::at(layout, hz)),
                    });
                }
            }
            Reading::Speed {
                speed_rad_s,
                capture: None,
                terminal_voltage_v: Some(voltage),
                current_a,
            } => {
                let current = current_a.map(|c| c.value);
                let Some(on) = OnVoltage::new(layout, voltage.value, current) else {
                    continue;
                };
                let Some((emf, _)) = on.back_emf(&layout.start()) else {
                    remarks.push(format!(
                        "speed reading {}: on {} V the motor would not turn by the captures' first look, so the reading meets no back-EMF; not used. \
                         Check its voltage and current",
                        index + 1,
                        voltage.value
                    ));
                    continue;
                };
                let by_current = on.per_ampere(
                    layout
                        .find(&Slot::LogResistance)
                        .map_or(0.0, |k| layout.parameters[k].start.exp()),
                ) * current_a.map_or(0.0, |c| c.standard_uncertainty);
                // Without a current the motor runs freely, and does not run twice alike.
                let repeats = if current_a.is_some() {
                    0.0
                } else {
                    REPEATABILITY
                };
                let relative_sd = (speed_rad_s.standard_uncertainty / speed_rad_s.value)
                    .hypot(voltage.standard_uncertainty.hypot(by_current) / emf)
                    .hypot(repeats)
                    .max(1e-5);
                terms.push(ReadingTerm::SpeedOnVoltage {
                    rad_s: speed_rad_s.value,
                    relative_sd,
                    constant: constant(layout, emf / speed_rad_s.value),
                    on,
                });
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
                            probe: None,
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

/// An alternating current of one frequency, by which part of the inductance is screened.
#[derive(Clone, Copy, Debug)]
pub struct Screened {
    rad_per_s: f64,
    share: usize,
    log_resistance: usize,
}

impl Screened {
    fn at(layout: &Layout, hz: f64) -> Option<Self> {
        Some(Screened {
            rad_per_s: std::f64::consts::TAU * hz,
            share: layout.find(&Slot::EddyShare)?,
            log_resistance: layout.find(&Slot::LogEddyResistance)?,
        })
    }

    /// ln of the inductance that is left, over the whole one, and its derivatives: the share s beside its resistance R_e has the
    /// impedance jωsL R_e/(R_e + jωsL), whose imaginary part over ω is s L/(1 + q²) with q = ωsL/R_e.
    fn log_left(&self, x: &DVector<f64>, inductance: usize) -> (f64, Option<[(usize, f64); 3]>) {
        let share = x[self.share];
        let q = self.rad_per_s * share * (x[inductance] - x[self.log_resistance]).exp();
        let kept = 1.0 / (1.0 + q * q);
        let left = 1.0 - share + share * kept;
        // By the logarithm of L; that of R_e turns the sign.
        let by_log = -2.0 * share * (q * kept).powi(2) / left;
        let by_share = (kept - 1.0 - 2.0 * (q * kept).powi(2)) / left;
        let gradient = [
            (inductance, by_log),
            (self.log_resistance, -by_log),
            (self.share, by_share),
        ];
        (left.ln(), Some(gradient))
    }
}

/// A speed against the back-EMF of its state: ln ω + ln K − ln e.
fn of_speed(
    log_constant: f64,
    constant: usize,
    rad_s: f64,
    relative_sd: f64,
    (emf, by_entry): (f64, impl IntoIterator<Item = (usize, f64)>),
) -> Option<Term> {
    if emf == 0.0 {
        return None;
    }
    let mut gradient = vec![(constant, 1.0 / relative_sd)];
    let by_entry = by_entry.into_iter();
    gradient.extend(by_entry.map(|(entry, by)| (entry, -by / (emf * relative_sd))));
    Some(Term {
        residual: (log_constant + rad_s.ln() - emf.abs().ln()) / relative_sd,
        gradient,
    })
}

impl ReadingTerm {
    /// The residual at `x`, given every capture's prediction; `None` where a log has no argument.
    pub(crate) fn evaluate<S: Number>(
        &self,
        x: &DVector<f64>,
        predictions: &[Prediction<S>],
    ) -> Option<Term> {
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
                screened,
            } => {
                let (log_left, by_entry) =
                    screened.map_or((0.0, None), |s| s.log_left(x, *inductance));
                let mut gradient = vec![(*inductance, 1.0 / relative_sd)];
                let by_entry = by_entry.into_iter().flatten();
                gradient.extend(by_entry.map(|(entry, by)| (entry, by / relative_sd)));
                Some(Term {
                    residual: (x[*inductance] + log_left - henry.ln()) / relative_sd,
                    gradient,
                })
            }
            ReadingTerm::Speed {
                rad_s,
                relative_sd,
                constant,
                model,
                probe,
            } => {
                let met = predictions[*model].back_emf(*probe)?;
                of_speed(x[*constant], *constant, *rad_s, *relative_sd, met)
            }
            ReadingTerm::SpeedOnVoltage {
                rad_s,
                relative_sd,
                constant,
                on,
            } => {
                let met = on.back_emf(x)?;
                of_speed(x[*constant], *constant, *rad_s, *relative_sd, met)
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
                shift,
                ..
            } => {
                let shifted: f64 = shift.iter().map(|&(entry, factor)| factor * x[entry]).sum();
                let mut gradient = vec![(*constant, 1.0 / relative_sd)];
                gradient.extend(
                    shift
                        .iter()
                        .map(|&(entry, factor)| (entry, factor / relative_sd)),
                );
                Some(Term {
                    residual: (x[*constant] + shifted - v_s_per_rad.ln()) / relative_sd,
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
            | ReadingTerm::SpeedOnVoltage { .. }
            | ReadingTerm::BackEmf { .. }
            | ReadingTerm::Constant { .. } => Source::Anchor,
        }
    }
}

impl ReadingTerm {
    /// Relative standard uncertainty of what was read.
    pub(crate) fn relative_sd(&self) -> f64 {
        match self {
            ReadingTerm::Resistance { relative_sd, .. }
            | ReadingTerm::Inductance { relative_sd, .. }
            | ReadingTerm::Speed { relative_sd, .. }
            | ReadingTerm::SpeedOnVoltage { relative_sd, .. }
            | ReadingTerm::BackEmf { relative_sd, .. }
            | ReadingTerm::Constant { relative_sd, .. } => *relative_sd,
        }
    }

    /// As messages name it.
    pub(crate) fn words(&self, models: &[CaptureModel]) -> String {
        let name = |model: usize| &models[model].name;
        match self {
            ReadingTerm::Resistance { .. } => "the ohmmeter".into(),
            ReadingTerm::Inductance { .. } => "the inductance meter".into(),
            ReadingTerm::Speed { probe: None, .. } | ReadingTerm::SpeedOnVoltage { .. } => {
                "the tachometer".into()
            }
            ReadingTerm::Speed { model, .. } => {
                format!("the ripple of the current of {}", name(*model))
            }
            ReadingTerm::BackEmf { .. } => "the driven back-EMF".into(),
            ReadingTerm::Constant {
                model,
                cycles_per_revolution: Some(_),
                ..
            } => format!("the commutation ripple of {}", name(*model)),
            ReadingTerm::Constant { model, .. } => format!("the driven record {}", name(*model)),
        }
    }

    /// Whether the oscilloscope's clock told the speed: ripple does, which makes K longer as the clock is slower.
    pub(crate) fn goes_by_the_clock(&self) -> bool {
        match self {
            ReadingTerm::Speed { probe, .. } => probe.is_some(),
            ReadingTerm::Constant {
                cycles_per_revolution,
                ..
            } => cycles_per_revolution.is_some(),
            _ => false,
        }
    }

    pub(crate) fn is_tachometer(&self) -> bool {
        matches!(
            self,
            ReadingTerm::Speed { probe: None, .. } | ReadingTerm::SpeedOnVoltage { .. }
        )
    }
}
