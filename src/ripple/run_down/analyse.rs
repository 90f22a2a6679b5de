//! Analysis of a run-down with open terminals.

use super::findings::{self, Findings};
use super::fitting::Fitting;
use super::prepare::{Prepared, prepare};
use super::remarks::RunDownRemark;
use crate::events::RowTimes;
use crate::ripple::error::Unreadable;
use crate::ripple::harmonics::candidate::Candidate;
use crate::ripple::harmonics::model::Frame;
use crate::ripple::harmonics::pattern::Weighed;
use crate::ripple::harmonics::refine::Harmonics;
use crate::ripple::lines::classify_lines::Search;
use crate::ripple::lines::foreign::ForeignLine;
use crate::ripple::options::RippleOptions;
use crate::ripple::result::{RippleLine, RippleResult, RippleSpectrum, SpeedPoint};
use crate::ripple::spectrum::domain::Domain;
use crate::ripple::spectrum::power_spectrum::{Spectrum, angle_spectrum};
use crate::ripple::spectrum::transform::free_workspace;
use crate::stats::affine_view::AffineView;
use std::collections::BTreeMap;
use std::f64::consts::PI;

const SPEED_POINTS: usize = 200;
/// The weight put on what a person counted at the commutator before the pattern is looked at (common practice, no source).
const TRUST_IN_COUNT: f64 = 0.99;

/// Reads the ripple of a run-down from every sample's time, s, strictly increasing, and its voltage. Both may be listed, or views of a
/// capture as an open stretch has them.
///
/// `voltage_v`: terminal voltage of the open-terminal stretch only, motor volts (scale, ratio applied), zero offset removed as far as
/// known; what is left of it is fitted. The record may go on past standstill. Missing values are `NaN`.
/// Errors where no analysis is possible; a readable record without a visible line gives `line: None`.
pub fn analyse_run_down<'a, T: ?Sized, V: ?Sized>(
    time_s: &'a T,
    voltage_v: &'a V,
    options: &RippleOptions,
) -> Result<RippleResult, Unreadable>
where
    RowTimes<'a>: From<&'a T>,
    AffineView<'a>: From<&'a V>,
{
    analyse(prepare(time_s.into(), voltage_v.into(), options)?, options)
}

fn analyse(mut prepared: Prepared, options: &RippleOptions) -> Result<RippleResult, Unreadable> {
    let mut remarks = std::mem::take(&mut prepared.remarks);
    let smooth_v = prepared.smooth.values(&prepared.time_s);
    let x_v_s = prepared.smooth.integrals(&prepared.time_s);
    // Only what is left of the voltage is needed from here on.
    let mut rough = std::mem::take(&mut prepared.voltage_v);
    for (value, smooth) in rough.iter_mut().zip(&smooth_v) {
        *value -= smooth;
    }
    let search = Search {
        time_s: &prepared.time_s,
        smooth_v: &smooth_v,
        x_v_s: &x_v_s,
        interval_s: prepared.interval_s,
        zero_prior_v: prepared.zero_prior_v,
        code_step_v: options.quantisation_step,
        false_alarm_rate: options.false_alarm_rate,
    };
    let mut foreign = Vec::new();
    let Some(seen) = search.strongest_angle_line(&mut rough, &mut foreign) else {
        return Ok(without_line(
            &prepared, &smooth_v, &x_v_s, &rough, foreign, remarks, options,
        ));
    };
    // What is not ripple leaves the voltage for good.
    let mut fitting = Fitting {
        frame: Frame::of(&prepared.time_s, prepared.zero_prior_v),
        voltage_v: smooth_v.iter().zip(&rough).map(|(s, r)| s + r).collect(),
        interval_s: prepared.interval_s,
        options,
    };
    let base = fitting.phase(&seen, &search, &mut foreign)?;
    let (weighed, ratios) = fitting.pattern(&base);
    let best = fitting.finest(&base.fit, &ratios)?;
    let frequency_sd = with_linearity(&best, options);
    let candidates = candidates(&weighed, best.fit.frequency, frequency_sd, options);
    let strongest = candidates[0].harmonic;
    let findings = Findings {
        prepared: &prepared,
        harmonics: &best,
        candidates: &candidates,
        strongest,
        foreign: &foreign,
    };
    remarks.extend(findings.remarks());
    let spectrum = spectrum_for_report(&best, &prepared, options, strongest);
    let constant = candidates
        .first()
        .map(|c| (c.back_emf_constant_v_s_per_rad, c.standard_uncertainty));
    let span = best.x_v_s[best.x_v_s.len() - 1];
    Ok(RippleResult {
        line: Some(RippleLine {
            cycles_per_volt_second: best.fit.frequency,
            standard_uncertainty: frequency_sd,
            noise_uncertainty: best.fit.frequency_sd,
            harmonic_of_revolution: strongest,
            relative_amplitude: best.fit.amplitude(0),
            signal_to_noise: seen.signal_to_noise,
            cycles_seen: best.fit.frequency * span,
            false_alarm_probability: seen.false_alarm_probability,
        }),
        revolutions: constant.map(|(k, _)| span / (2.0 * PI * k)),
        candidates,
        zero_offset_v: Some((best.fit.zero_v, best.fit.zero_sd_v)),
        stretch_s: stretch(&prepared),
        standstill_s: prepared.standstill_s,
        false_alarm_rate: options.false_alarm_rate,
        foreign_lines: foreign,
        spectrum,
        speed: speed_points(&prepared, &best.emf_v, best.fit.frequency, constant),
        residual_v: best.fit.noise_v,
        fit_settled: best.fit.converged,
        remarks,
    })
}

/// Noise and the unevenness of converter codes together: a level is no better known than a fraction of a code.
fn with_linearity(fit: &Harmonics, options: &RippleOptions) -> f64 {
    let mean = fit.emf_v.iter().sum::<f64>() / fit.emf_v.len() as f64;
    let level = options.quantisation_step.unwrap_or(0.0) * options.converter_linearity_steps / mean;
    fit.fit.frequency_sd.hypot(fit.fit.frequency * level)
}

fn stretch(prepared: &Prepared) -> (f64, f64) {
    (
        prepared.time_s[0],
        prepared.time_s[prepared.time_s.len() - 1],
    )
}

fn without_line(
    prepared: &Prepared,
    smooth_v: &[f64],
    x_v_s: &[f64],
    rough: &[f64],
    foreign: Vec<ForeignLine>,
    mut remarks: Vec<RunDownRemark>,
    options: &RippleOptions,
) -> RippleResult {
    let angle = Domain::angle(smooth_v, x_v_s).less(prepared.zero_prior_v.0, &prepared.time_s);
    let spectrum = angle_spectrum(rough, angle, prepared.interval_s, 1.0);
    free_workspace();
    let report = report(spectrum, options.false_alarm_rate, Vec::new());
    let rate = options.false_alarm_rate;
    remarks.extend(findings::without_line(rate, &report, &foreign));
    RippleResult {
        line: None,
        candidates: Vec::new(),
        revolutions: None,
        zero_offset_v: None,
        stretch_s: stretch(prepared),
        standstill_s: prepared.standstill_s,
        false_alarm_rate: options.false_alarm_rate,
        foreign_lines: foreign,
        spectrum: report,
        speed: Vec::new(),
        residual_v: (rough.iter().map(|r| r * r).sum::<f64>() / rough.len() as f64).sqrt(),
        fit_settled: true,
        remarks,
    }
}

fn candidates(
    weighed: &[Weighed],
    frequency: f64,
    frequency_sd: f64,
    options: &RippleOptions,
) -> Vec<Candidate> {
    let counted = &options.counted;
    let given = |w: &Weighed| !counted.is_empty() && counted.allows(&w.commutator);
    let prior: f64 = weighed.iter().filter(|w| given(w)).map(|w| w.prior).sum();
    let weight = |w: &Weighed| {
        if prior == 0.0 {
            w.probability
        } else if given(w) {
            w.probability * TRUST_IN_COUNT / prior
        } else {
            w.probability * (1.0 - TRUST_IN_COUNT) / (1.0 - prior)
        }
    };
    let total: f64 = weighed.iter().map(weight).sum();
    let mut together: BTreeMap<u32, f64> = BTreeMap::new();
    for w in weighed {
        *together.entry(w.harmonic).or_default() += weight(w);
    }
    let mut all: Vec<Candidate> = weighed
        .iter()
        .map(|w| {
            let constant = f64::from(w.harmonic) / (2.0 * PI * frequency);
            Candidate {
                commutator: w.commutator,
                cycles_per_revolution: w.cycles_per_revolution,
                harmonic: w.harmonic,
                back_emf_constant_v_s_per_rad: constant,
                standard_uncertainty: constant * frequency_sd / frequency,
                probability: weight(w) / total,
                comb_probability: w.probability,
                constant_probability: together[&w.harmonic] / total,
            }
        })
        .collect();
    // The K that the most together speak for, then its commutators.
    all.sort_by(|a, b| {
        let by_constant = b.constant_probability.total_cmp(&a.constant_probability);
        by_constant
            .then(a.harmonic.cmp(&b.harmonic))
            .then(b.probability.total_cmp(&a.probability))
    });
    all
}

fn spectrum_for_report(
    fit: &Harmonics,
    prepared: &Prepared,
    options: &RippleOptions,
    strongest: u32,
) -> RippleSpectrum {
    let angle = Domain::angle(&fit.emf_v, &fit.x_v_s);
    let spectrum = angle_spectrum(&fit.rough_v, angle, prepared.interval_s, 1.0);
    free_workspace();
    let fit = &fit.fit;
    let line = |(l, ratio): (usize, &f64)| {
        (
            ratio * f64::from(strongest),
            ratio * fit.frequency,
            fit.amplitude(l),
        )
    };
    let mut comb: Vec<(f64, f64, f64)> = fit.ratios.iter().enumerate().map(line).collect();
    comb.sort_by(|a, b| a.0.total_cmp(&b.0));
    report(spectrum, options.false_alarm_rate, comb)
}

fn report(spectrum: Spectrum, rate: f64, comb: Vec<(f64, f64, f64)>) -> RippleSpectrum {
    let amplitude = |power: f64| power.sqrt() / spectrum.gain;
    let noise = spectrum.floor.means_and_thresholds(rate);
    let (floor, threshold) = noise.map(|(m, t)| (amplitude(m), amplitude(t))).unzip();
    RippleSpectrum {
        frequency_cycles_per_v_s: (0..spectrum.power.len())
            .map(|k| k as f64 * spectrum.step)
            .collect(),
        relative_amplitude: spectrum.power.into_iter().map(amplitude).collect(),
        floor,
        threshold,
        comb,
    }
}

fn speed_points(
    prepared: &Prepared,
    emf: &[f64],
    frequency: f64,
    constant: Option<(f64, f64)>,
) -> Vec<SpeedPoint> {
    let n = emf.len();
    let stride = n.div_ceil(SPEED_POINTS).max(1);
    (0..n)
        .step_by(stride)
        .map(|i| SpeedPoint {
            time_s: prepared.time_s[i],
            emf_v: Some(emf[i]),
            ripple_frequency_hz: frequency * emf[i],
            speed_rad_per_s: constant.map(|(k, _)| emf[i] / k),
            standard_uncertainty_rad_per_s: constant.map(|(k, u)| emf[i] / k * u / k),
        })
        .collect()
}
