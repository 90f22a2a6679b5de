//! From the fit's results to the plain data of the page.

use super::context::{CaptureView, FORMAT, ParameterRow, Report, Verdict, WarningGroup};
use super::provenance::Provenance;
use super::{answer, captures, cautions, operating, uncertainty};
use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::Estimate;
use crate::motor_file::Severity;
use crate::motor_file::table::evidence_rows;
use crate::motor_file::{MotorFile, ResultState, StopReason};
use crate::quantity::rounding;

/// Points of all pictures of one kind together, which bounds the size of the page for records of any length and number.
const BINS: usize = 7000;
const MODEL_ROWS: usize = 6000;
const INSET_BINS: usize = 6000;
const SPECTRUM_POINTS: usize = 8000;
const SPEED_POINTS: usize = 4000;

/// Points of one of `count` pictures.
fn share(all: usize, count: usize, least: usize, most: usize) -> usize {
    (all / count.max(1)).clamp(least, most)
}

/// The report's data; `timelines` in the order of the bench's captures.
pub fn gather(
    bench: &Bench,
    timelines: &[Timeline],
    estimate: &Estimate,
    file: &MotorFile,
) -> Report {
    let level = estimate.options.level;
    Report {
        level,
        captures: capture_views(bench, timelines, Some(estimate), file),
        ripple: estimate
            .ripple
            .iter()
            .map(|finding| {
                let count = estimate.ripple.len();
                let points = share(SPECTRUM_POINTS, count, 200, 1600);
                captures::ripple::view(bench, finding, level, points)
            })
            .collect(),
        motion: captures::motion::views(
            bench,
            timelines,
            estimate,
            file,
            share(SPEED_POINTS, bench.captures.len(), 40, 200),
        ),
        shaft: captures::shaft::views(bench, estimate),
        tables: captures::tables::views(bench, estimate),
        heat: captures::heat::with_records(bench, file, level),
        next: uncertainty::next_steps(file, uncertainty::ranked_steps(bench, estimate)),
        ..from_file(file)
    }
}

/// Each capture as the page shows it; without an estimate the record alone, no model and no residual.
pub fn capture_views(
    bench: &Bench,
    timelines: &[Timeline],
    estimate: Option<&Estimate>,
    file: &MotorFile,
) -> Vec<CaptureView> {
    let count = bench.captures.len();
    let points = captures::Points {
        bins: share(BINS, count, 60, 1200),
        model_rows: share(MODEL_ROWS, count, 100, 1600),
        inset_bins: share(INSET_BINS, count, 120, 600),
    };
    (0..bench.captures.len())
        .zip(timelines)
        .map(|(k, timeline)| captures::view(bench, k, timeline, estimate, Some(file), points))
        .collect()
}

/// One capture as the page shows it; without an estimate the record alone.
pub fn capture_view(
    bench: &Bench,
    k: usize,
    timeline: &Timeline,
    fitted: Option<(&Estimate, &MotorFile)>,
) -> CaptureView {
    let points = captures::Points {
        bins: 1200,
        model_rows: 800,
        inset_bins: 600,
    };
    let (estimate, file) = fitted.unzip();
    captures::view(bench, k, timeline, estimate, file, points)
}

/// The answer by itself: parameters, and what speaks for and against them.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Answer {
    /// Whether the fit can be trusted.
    pub verdict: Verdict,
    /// As in [`Report`].
    pub parameters: Vec<ParameterRow>,
    /// Each item of evidence: its name, stated value, the model's, whether they agree.
    pub evidence: Vec<[String; 4]>,
    /// Warnings by subject.
    pub warnings: Vec<WarningGroup>,
}

/// The answer that a motor file holds.
pub fn answer_of(file: &MotorFile) -> Answer {
    Answer {
        verdict: verdict(file),
        parameters: answer::rows(file),
        evidence: evidence_rows(file),
        warnings: warnings(file),
    }
}

/// What the motor file alone holds: everything but captures, ripple and speed over time.
pub fn from_file(file: &MotorFile) -> Report {
    Report {
        format: FORMAT,
        program: file.program.name.clone(),
        version: file.program.version.clone(),
        motor: file.motor_name().to_owned(),
        facts: facts(file),
        level: level(file),
        verdict: verdict(file),
        parameters: answer::rows(file),
        evidence: evidence_rows(file),
        warnings: warnings(file),
        findings: file
            .warnings
            .iter()
            .filter(|w| w.severity == Severity::Note)
            .map(|w| match &w.subject {
                Some(subject) => format!("{subject}: {}", w.text),
                None => w.text.clone(),
            })
            .collect(),
        captures: Vec::new(),
        ripple: Vec::new(),
        motion: Vec::new(),
        shaft: Vec::new(),
        tables: Vec::new(),
        heat: captures::heat::section(file),
        correlation: uncertainty::correlation(file),
        budget: uncertainty::budget(file),
        operating: operating::operating(file),
        next: uncertainty::next_steps(file, Vec::new()),
        cautions: cautions::CAUTIONS.to_vec(),
        provenance: Provenance::of(file),
    }
}

/// Level of the intervals in a motor file; 0.95 where no parameter has one.
pub fn level(file: &MotorFile) -> f64 {
    file.parameters
        .values()
        .find_map(|p| p.level)
        .unwrap_or(0.95)
}

fn facts(file: &MotorFile) -> Vec<String> {
    let Some(motor) = &file.motor else {
        return Vec::new();
    };
    let mut temperatures = file.parameters.values().filter_map(|p| p.temperature_c);
    let winding = temperatures.next();
    let volts = |v: f64| format!("{} V", rounding::significant(v, 3));
    [
        winding.map(|c| format!("winding {} °C", rounding::significant(c, 3))),
        motor.supply_v.map(|v| format!("supply {}", volts(v))),
        motor
            .commutator_segments
            .map(|n| format!("{n} commutator segments")),
        motor.poles.map(|n| format!("{n} poles")),
        motor.brush_count.map(|n| format!("{n} brushes")),
        motor.brushes.map(|b| format!("{} brushes", kebab(&b))),
        motor.magnets.map(|m| format!("{} magnets", kebab(&m))),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// An enumeration as its file key writes it.
fn kebab(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(text)) => text,
        _ => String::new(),
    }
}

fn verdict(file: &MotorFile) -> Verdict {
    let converged = file.fit.stop.reason == StopReason::Converged;
    let state = file.state();
    let stands = state.is_good(true);
    let undetermined: Vec<&str> = file
        .parameters
        .iter()
        .filter(|(_, p)| p.value.is_none())
        .map(|(name, _)| name.label())
        .collect();
    let mut text = if converged {
        "The fit ended at a minimum.".to_owned()
    } else {
        format!(
            "The fit did not end at a minimum ({}). Do not use the values.",
            file.fit.stop.text
        )
    };
    if let ResultState::InConflict(items) = &state {
        text += &format!(" In conflict with the rest: {}.", items.join(", "));
    }
    let doubtful = file.doubtful();
    if !doubtful.is_empty() {
        text += &format!(" Doubtful beside the rest: {}.", doubtful.join(", "));
    }
    if !undetermined.is_empty() {
        text += &format!(
            " Not determined by these captures: {}.",
            undetermined.join(", ")
        );
    }
    let warnings = file.warnings.iter();
    let warnings = warnings.filter(|w| w.severity == Severity::Warning).count();
    if warnings > 0 {
        text += &match warnings {
            1 => " One warning is below.".to_owned(),
            n => format!(" {n} warnings are below."),
        };
    }
    Verdict {
        stands,
        head: match state {
            ResultState::Ok => "Result: OK.",
            ResultState::Incomplete(_) => "Result: incomplete.",
            ResultState::InConflict(_) => "Result: in conflict.",
        },
        text,
    }
}

/// Warnings by what they are about, each said once.
fn warnings(file: &MotorFile) -> Vec<WarningGroup> {
    let mut groups: Vec<WarningGroup> = Vec::new();
    let of = |severity| file.warnings.iter().filter(move |w| w.severity == severity);
    for warning in of(Severity::Conflict).chain(of(Severity::Warning)) {
        let about = warning
            .subject
            .clone()
            .unwrap_or_else(|| match warning.severity {
                Severity::Conflict => "in conflict".to_owned(),
                _ => "the whole bench".to_owned(),
            });
        let at = groups
            .iter()
            .position(|g| g.about == about)
            .unwrap_or_else(|| {
                groups.push(WarningGroup {
                    about,
                    texts: Vec::new(),
                });
                groups.len() - 1
            });
        if !groups[at].texts.contains(&warning.text) {
            groups[at].texts.push(warning.text.clone());
        }
    }
    groups
}
