//! Verdicts and answers as the page gets them.

use super::judge::judge;
use crate::bench::{Bench, Capture, CaptureWarning};
use crate::events::{Timeline, find_in_capture, guess_role};
use crate::identify::{RoleError, check_role};
use crate::motor_file::MotorFile;
use crate::report;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::time::Instant;

/// Confidence at and below which a waveform shows no role at all.
const NO_ROLE: f64 = 0.05;

/// What is known of a capture whose record and role have not changed.
#[derive(Clone)]
pub struct Found {
    /// Its events.
    pub timeline: Timeline,
    /// What its waveform shows against its role.
    pub role: Option<RoleError>,
    /// Why its waveform shows no role at all.
    pub no_role: Option<String>,
}

impl Found {
    /// Looks at a capture.
    pub fn of(capture: &Capture) -> Found {
        let timeline = find_in_capture(capture);
        // A record with an event shows something.
        let guess = timeline
            .events
            .is_empty()
            .then(|| guess_role(&capture.waveform));
        Found {
            timeline,
            role: check_role(capture),
            no_role: guess
                .filter(|g| g.confidence <= NO_ROLE)
                .map(|g| g.reason.to_string()),
        }
    }
}

/// What is known of each capture of a bench, by its name.
pub fn verdicts(
    bench: &Bench,
    found: &[Found],
    doubts: &[Vec<CaptureWarning>],
) -> BTreeMap<String, Value> {
    let each = bench.captures.iter().zip(found).zip(doubts);
    each.map(|((capture, found), doubts)| {
        let warnings = bench.warnings.iter();
        let own = warnings.filter(|w| w.capture.as_ref() == Some(&capture.name));
        let own: Vec<String> = own.map(|w| w.kind.to_string()).collect();
        let timeline = &found.timeline;
        let verdict = match (&found.role, &found.no_role) {
            (Some(error), _) => json!({"grade": "role", "text": error.to_string(), "more": own}),
            (None, Some(why)) => {
                let text = format!("no role shows in this record: {why}. Check trigger and probes");
                json!({"grade": "retake", "text": text, "more": own})
            }
            (None, None) => json!(judge(capture, timeline, &own, doubts)),
        };
        let time = &capture.waveform.time;
        let ends = time.at(0).zip(time.at(time.len().saturating_sub(1)));
        let events: Vec<[Value; 2]> = timeline
            .events
            .iter()
            .map(|e| [json!(e.kind.to_string()), json!(e.time_s)])
            .collect();
        let chains = [&capture.voltage_chain, &capture.current_chain];
        let channels = chains.map(|c| c.as_ref().map(|c| c.column.clone()));
        let shown = json!({
            "verdict": verdict,
            "rows": time.len(),
            "from_s": ends.map(|e| e.0),
            "to_s": ends.map(|e| e.1),
            "channels": channels,
            "events": events,
        });
        (capture.name.clone(), shown)
    })
    .collect()
}

/// The answers of a fit.
pub fn answers(file: &MotorFile, begun: Instant) -> Value {
    let answer = report::answer_of(file);
    let took_ms = begun.elapsed().as_secs_f64() * 1e3;
    json!({"answer": answer, "fault": null, "took_ms": took_ms.round()})
}

/// Why there are none.
pub fn answers_fault(fault: Option<&str>) -> Value {
    json!({"answer": null, "fault": fault})
}
