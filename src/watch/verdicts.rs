//! Verdicts and answers as the page gets them.

use super::judge::judge;
use crate::bench::{Bench, CaptureWarning};
use crate::events::Timeline;
use crate::identify::RoleError;
use crate::motor_file::MotorFile;
use crate::report;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::time::Instant;

/// Events of a capture, and what its waveform shows against its role.
pub type Found = (Timeline, Option<RoleError>);

/// What is known of each capture of a bench, by its name.
pub fn verdicts(
    bench: &Bench,
    found: &[Found],
    doubts: &[Vec<CaptureWarning>],
) -> BTreeMap<String, Value> {
    let each = bench.captures.iter().zip(found).zip(doubts);
    each.map(|((capture, (timeline, role)), doubts)| {
        let head = format!("capture \"{}\": ", capture.name);
        let warnings = bench.warnings.iter();
        let own = warnings.filter_map(|w| w.strip_prefix(&head).map(str::to_owned));
        let own: Vec<String> = own.collect();
        let verdict = match role {
            Some(error) => json!({"grade": "role", "text": error.to_string(), "more": own}),
            None => json!(judge(capture, timeline, &own, doubts)),
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
