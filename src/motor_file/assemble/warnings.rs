//! What bench, captures, readings and fit have to warn of.

use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::Estimate;
use crate::motor_file::{Severity, Warning};

pub(super) fn warnings(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Vec<Warning> {
    let item = |severity, kind: &str, text: &str| Warning {
        severity,
        kind: kind.into(),
        subject: None,
        text: text.into(),
    };
    let warning = |kind: &'static str| move |text: &String| item(Severity::Warning, kind, text);
    let note = |kind: &'static str| move |text: &String| item(Severity::Note, kind, text);
    let mut out: Vec<Warning> = bench.warnings.iter().map(warning("bench")).collect();
    out.extend(bench.notes.iter().map(note("bench")));
    for (capture, timeline) in bench.captures.iter().zip(timelines) {
        out.extend(timeline.remarks.iter().map(|remark| {
            let severity = match timeline.is_note(remark) {
                true => Severity::Note,
                false => Severity::Warning,
            };
            Warning {
                subject: Some(capture.name.clone()),
                ..item(severity, remark.code(), &remark.to_string())
            }
        }));
    }
    out.extend(estimate.remarks.iter().map(warning("reading")));
    out.extend(estimate.findings.iter().map(note("finding")));
    for line in &estimate.confrontations {
        if let Some(text) = &line.text {
            out.push(match line.in_conflict() {
                true => item(Severity::Conflict, "evidence", text),
                false => item(Severity::Warning, "evidence", text),
            });
        }
    }
    if !estimate.converged() {
        let text = format!("{}; do not use the values", estimate.reason());
        out.push(item(Severity::Conflict, "fit", &text));
    }
    out
}
