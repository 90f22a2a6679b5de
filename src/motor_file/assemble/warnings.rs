//! What bench, captures, readings and fit have to warn of.

use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::Estimate;
use crate::motor_file::Warning;
use crate::motor_file::table::{CONFLICT, FINDING};

pub(super) fn warnings(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Vec<Warning> {
    let warning = |kind: &str, subject: Option<&str>, text: &str| Warning {
        kind: kind.into(),
        subject: subject.map(Into::into),
        text: text.into(),
    };
    let mut out: Vec<Warning> = bench
        .warnings
        .iter()
        .map(|text| warning("bench", None, text))
        .collect();
    for (capture, timeline) in bench.captures.iter().zip(timelines) {
        out.extend(
            timeline
                .remarks
                .iter()
                .map(|remark| warning("capture", Some(&capture.name), &remark.to_string())),
        );
    }
    out.extend(
        estimate
            .remarks
            .iter()
            .map(|text| warning("reading", None, text)),
    );
    out.extend(
        estimate
            .findings
            .iter()
            .map(|text| warning(FINDING, None, text)),
    );
    for line in &estimate.confrontations {
        if let Some(text) = &line.text {
            let kind = if line.in_conflict() {
                CONFLICT
            } else {
                "disagreement"
            };
            out.push(warning(kind, None, text));
        }
    }
    if !estimate.converged() {
        out.push(warning(
            "fit",
            None,
            &format!("{}; no value here should be trusted", estimate.reason()),
        ));
    }
    out
}
