//! A capture as the page shows it: data, model, residuals, events, and the beginning of its own.

use super::traces;
use crate::bench::{Bench, Capture, Role};
use crate::events::{EventKind, PhaseKind, Timeline};
use crate::fit::{Entry, Estimate, Quantity, Row};
use crate::motor_file::{MotorFile, ParameterName};
use crate::quantity::rounding::{self, Scale, significant};
use crate::report::context::{Autocorrelation, CaptureView, CutView, Inset, Instant, ModelCurve};
use crate::stats::autocovariance::{autocorrelation, white_noise_band};
use crate::stats::quantiles::normal_quantile;

/// Most lags of the autocorrelation.
const MOST_LAGS: usize = 40;
/// Fewest rows whose autocorrelation means anything.
const FEWEST_ROWS: usize = 20;

/// How finely one capture is shown.
#[derive(Clone, Copy, Debug)]
pub struct Points {
    /// Bins that the whole record is averaged over.
    pub bins: usize,
    /// Most rows of the model in one channel.
    pub model_rows: usize,
    /// Bins of the first milliseconds.
    pub inset_bins: usize,
}

/// The view of capture `k`.
pub fn view(
    bench: &Bench,
    k: usize,
    timeline: &Timeline,
    estimate: Option<&Estimate>,
    file: Option<&MotorFile>,
    points: Points,
) -> CaptureView {
    let capture = &bench.captures[k];
    let rows = capture.waveform.time.len();
    let corners: Vec<usize> = timeline
        .phases
        .iter()
        .flat_map(|phase| [phase.first, phase.end])
        .filter(|&row| row > 0 && row < rows)
        .collect();
    let curve = |quantity| model_curve(k, quantity, estimate?);
    let (voltage_model, current_model) = (curve(Quantity::Voltage), curve(Quantity::Current));
    let autocorrelation = [("voltage", &voltage_model), ("current", &current_model)]
        .into_iter()
        .filter_map(|(channel, curve)| correlogram(channel, curve.as_ref()?))
        .collect();
    // The autocorrelation has seen every row; the picture need not.
    let shown = |curve: Option<ModelCurve>| curve.map(|c| c.thinned(points.model_rows));
    let (voltage_model, current_model) = (shown(voltage_model), shown(current_model));
    let instants: Vec<Instant> = timeline
        .events
        .iter()
        .map(|event| Instant {
            name: event.kind.to_string(),
            time_s: significant(event.time_s, 9),
            words: format!("{} at {}", event.kind, seconds(event.time_s)),
        })
        .collect();
    let mut out = CaptureView {
        name: capture.name.clone(),
        role: capture.role.name(),
        file: file_name(capture),
        rows,
        description: String::new(),
        trace: traces::view(
            &capture.waveform,
            &traces::edges((0, rows), &corners, points.bins),
        ),
        voltage_model,
        current_model,
        cuts: cuts(capture, timeline),
        autocorrelation,
        inset: file.and_then(|file| inset(capture, timeline, file, points.inset_bins)),
        instants,
    };
    out.description = description(&out, file);
    out
}

fn file_name(capture: &Capture) -> String {
    let name = capture.path.file_name().unwrap_or(capture.path.as_os_str());
    name.to_string_lossy().into_owned()
}

fn seconds(time_s: f64) -> String {
    if time_s == 0.0 {
        return "0 s".to_owned();
    }
    rounding::write(significant(time_s, 5), None, "s", Scale::Prefix).replace('-', "−")
}

/// Model, band and weighted residual at the rows of one channel, with a break between legs.
fn model_curve(k: usize, quantity: Quantity, estimate: &Estimate) -> Option<ModelCurve> {
    let prediction = estimate.predictions.get(k)?;
    let z = normal_quantile(0.5 + 0.5 * estimate.options.level);
    let mut out = ModelCurve::default();
    let mut leg = None;
    for (row, deviation) in prediction.rows.iter().zip(&estimate.problem.deviations[k]) {
        if row.quantity != quantity || row.zero_uncertainty.is_some() {
            continue;
        }
        if leg.is_some_and(|before| before != row.segment) {
            // Just before the next leg begins, so that the times stay in order.
            out.push(
                significant(row.time_s, 9) - 1e-9 * row.time_s.abs().max(1e-3),
                f64::NAN,
                f64::NAN,
                f64::NAN,
            );
        }
        leg = Some(row.segment);
        let value = row.predicted.value;
        let spread = z * model_uncertainty(k, row, estimate);
        out.push(
            significant(row.time_s, 9),
            value,
            spread,
            (row.recorded - value) / deviation,
        );
    }
    (!out.time_s.is_empty()).then_some(out)
}

impl ModelCurve {
    fn push(&mut self, time_s: f64, value: f64, spread: f64, residual: f64) {
        self.time_s.push(time_s);
        self.value.push(significant(value, 5));
        self.lower.push(significant(value - spread, 5));
        self.upper.push(significant(value + spread, 5));
        self.residual.push(significant(residual, 4));
    }

    /// At most about `most` rows, evenly chosen; breaks stay.
    fn thinned(self, most: usize) -> ModelCurve {
        let step = self.time_s.len().div_ceil(most.max(1));
        if step <= 1 {
            return self;
        }
        let keep: Vec<usize> = (0..self.time_s.len())
            .filter(|k| k % step == 0 || self.value[*k].is_nan())
            .collect();
        let pick = |values: &[f64]| keep.iter().map(|&k| values[k]).collect();
        ModelCurve {
            time_s: pick(&self.time_s),
            value: pick(&self.value),
            lower: pick(&self.lower),
            upper: pick(&self.upper),
            residual: pick(&self.residual),
        }
    }
}

/// Standard uncertainty of the model at a row from the covariance of all that was fitted.
fn model_uncertainty(k: usize, row: &Row, estimate: &Estimate) -> f64 {
    let links = &estimate.predictions[k].slopes;
    let mut gradient: Vec<(Entry, f64)> = Vec::new();
    for (link, slope) in links.each().zip(&row.predicted.gradient) {
        gradient.extend(link.iter().map(|&(entry, factor)| (entry, factor * slope)));
    }
    gradient.retain(|(_, slope)| *slope != 0.0);
    let total = &estimate.covariance.total;
    let mut variance = 0.0;
    for &(a, slope_a) in &gradient {
        for &(b, slope_b) in &gradient {
            variance += slope_a * slope_b * total[a.with(b)];
        }
    }
    variance.max(0.0).sqrt()
}

fn correlogram(channel: &'static str, curve: &ModelCurve) -> Option<Autocorrelation> {
    let residuals: Vec<f64> = curve
        .residual
        .iter()
        .copied()
        .filter(|r| r.is_finite())
        .collect();
    if residuals.len() < FEWEST_ROWS {
        return None;
    }
    let lags = MOST_LAGS.min(residuals.len() / 4);
    let values = autocorrelation(&residuals, lags).ok()?;
    let band = white_noise_band(residuals.len());
    let beyond = values[1..].iter().filter(|v| v.abs() > band).count();
    Some(Autocorrelation {
        channel,
        lags: (1..=lags).map(|lag| lag as f64).collect(),
        values: values[1..].iter().map(|v| significant(*v, 4)).collect(),
        band: significant(band, 4),
        description: format!(
            "Autocorrelation of the {channel} residuals at lags 1 to {lags}: {:.2} at lag 1; {beyond} of {lags} lie outside the band of ± {band:.2} that holds 95 % of them when residuals are white.",
            values[1]
        ),
    })
}

fn cuts(capture: &Capture, timeline: &Timeline) -> Vec<CutView> {
    let time = &capture.waveform.time;
    timeline
        .phases
        .iter()
        .filter_map(|phase| match phase.kind {
            PhaseKind::Excluded(reason) if phase.end > phase.first => {
                let (from_s, to_s) = (time.at(phase.first)?, time.at(phase.end - 1)?);
                Some(CutView {
                    reason: reason.to_string(),
                    from_s: significant(from_s, 9),
                    to_s: significant(to_s, 9),
                    words: format!("{reason}: {} to {}", seconds(from_s), seconds(to_s)),
                })
            }
            _ => None,
        })
        .collect()
}

/// The rise of the current after a make: until the last bounce and six electrical time constants more.
fn inset(capture: &Capture, timeline: &Timeline, file: &MotorFile, bins: usize) -> Option<Inset> {
    if !matches!(capture.role, Role::Start | Role::LockedRotor) {
        return None;
    }
    let make = timeline.first_time_of(EventKind::SwitchOn)?;
    let settled = timeline.times_of(EventKind::Bounce).fold(make, f64::max);
    let tau = file.value(ParameterName::ElectricalTimeConstant)?;
    let time = &capture.waveform.time;
    let (begin, finish) = (time.at(0)?, time.at(time.len().checked_sub(1)?)?);
    let length = settled - make + 6.0 * tau;
    let (from, to) = (
        (make - 0.1 * length).max(begin),
        (make + length).min(finish),
    );
    let row = |t: f64| first_row_at(time, t);
    let rows = (row(from), row(to));
    if rows.1 < rows.0 + 8 {
        return None;
    }
    let edges = traces::edges(rows, &[], bins);
    Some(Inset {
        from_s: significant(from, 9),
        to_s: significant(to, 9),
        trace: traces::view(&capture.waveform, &edges),
        description: format!(
            "The first {} after switch-on at {}: voltage and current with the model, about six electrical time constants of {}.",
            seconds(to - make),
            seconds(make),
            seconds(tau)
        ),
    })
}

/// First row at or after a time.
fn first_row_at(time: &crate::capture::TimeAxis, at_s: f64) -> usize {
    let (mut low, mut high) = (0, time.len());
    while low < high {
        let middle = (low + high) / 2;
        if time.at(middle).is_some_and(|t| t < at_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    low
}

fn description(view: &CaptureView, file: Option<&MotorFile>) -> String {
    let mut text = format!("Capture {}, {} samples.", view.role, view.rows);
    let mut span = view.trace.time_s.iter().filter(|t| t.is_finite());
    if let (Some(first), Some(last)) = (span.clone().next(), span.next_back()) {
        text += &format!(" Time from {} to {}.", seconds(*first), seconds(*last));
    }
    for (what, unit, envelope) in [
        ("Voltage", "V", &view.trace.voltage_v),
        ("Current", "A", &view.trace.current_a),
    ] {
        let Some(envelope) = envelope else { continue };
        let least = envelope.least.iter().copied().fold(f64::INFINITY, f64::min);
        let most = envelope
            .most
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        if least <= most {
            let number = |x: f64| rounding::write(x, None, unit, Scale::Prefix);
            text += &format!(" {what} from {} to {}.", number(least), number(most));
        }
    }
    let mut fitted = file.into_iter().flat_map(|file| &file.fit.captures);
    if let Some(health) = fitted.find(|c| c.name == view.name) {
        for (what, unit, rms) in [
            ("voltage", "V", health.voltage_residual_rms_v),
            ("current", "A", health.current_residual_rms_a),
        ] {
            if let Some(rms) = rms {
                text += &format!(
                    " Root mean square residual of the {what}: {}.",
                    rounding::write(rms, None, unit, Scale::Prefix)
                );
            }
        }
    }
    let words: Vec<&str> = view.instants.iter().map(|i| i.words.as_str()).collect();
    if !words.is_empty() {
        text += &format!(" Events: {}.", words.join(", "));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thinned_curve_keeps_its_breaks() {
        let mut curve = ModelCurve::default();
        for k in 0..1000 {
            let value = if k == 501 { f64::NAN } else { 1.0 };
            curve.push(k as f64, value, 0.1, 0.5);
        }
        let thin = curve.thinned(100);
        assert!(thin.time_s.len() <= 102, "{}", thin.time_s.len());
        assert_eq!(thin.residual.len(), thin.time_s.len());
        let at = thin.time_s.iter().position(|t| *t == 501.0).expect("kept");
        assert!(thin.value[at].is_nan());
    }
}
