//! What `look --json` prints of one record.

use super::findings::Findings;
use super::view::View;
use rundown::capture::{TimeAxis, Warning};
use serde_json::{Value, json};

impl View<'_> {
    /// The record as one object of `--json`.
    pub fn document(&self) -> Value {
        let record = self.record;
        let time = match &record.time {
            TimeAxis::Uniform {
                start_s,
                step_s,
                len,
            } => json!({"kind": "uniform", "start_s": start_s, "step_s": step_s, "rows": len}),
            TimeAxis::Listed(times) => json!({
                "kind": "listed",
                "first_s": times.first(),
                "last_s": times.last(),
                "rows": times.len(),
            }),
            TimeAxis::Absent { len } => json!({"kind": "absent", "rows": len}),
        };
        let channels: Vec<Value> = self
            .channels
            .iter()
            .map(|seen| {
                let facts = &seen.channel.facts;
                json!({
                    "name": seen.channel.name,
                    "column": seen.channel.column,
                    "unit": seen.channel.unit,
                    "unit_text": seen.channel.unit_text,
                    "least": seen.least,
                    "most": seen.most,
                    "noise": seen.noise,
                    "quantisation_step": seen.step,
                    "missing": seen.channel.missing,
                    "overrange": seen.channel.overrange.len(),
                    "clipped": seen.clipped.len(),
                    "clip_level": seen.clip_level(),
                    "probe_ratio": facts.probe_ratio,
                    "vertical_scale_per_division": facts.vertical_scale_per_division,
                    "vertical_offset": facts.vertical_offset,
                    "coupling": facts.coupling,
                    "inverted": facts.inverted,
                })
            })
            .collect();
        let warnings: Vec<Value> = record.warnings.iter().map(warning).collect();
        json!({
            "path": record.path.display().to_string(),
            "sha256": record.sha256,
            "further_files": record.parts.iter()
                .map(|(path, sha256)| json!({"path": path.display().to_string(), "sha256": sha256}))
                .collect::<Vec<_>>(),
            "first_data_line": record.first_data_line,
            "layout": record.layout.iter().map(ToString::to_string).collect::<Vec<_>>(),
            "time": time,
            "time_name": record.time_name,
            "channels": channels,
            "preamble": record.preamble.iter()
                .map(|f| json!({"line": f.line, "key": f.key, "values": f.values}))
                .collect::<Vec<_>>(),
            "remarks": warnings,
            "not_found": self.findings.as_ref().err(),
            "found": self.findings.as_ref().ok().map(Findings::document),
        })
    }
}

/// A warning: its kind with severity, place, numbers and remedy, and the text.
fn warning(warning: &Warning) -> Value {
    let mut document = json!(warning);
    if let Some(fields) = document.as_object_mut() {
        let kind = fields.remove("code").unwrap_or_default();
        let severity = ["warning", "note"][usize::from(warning.kind.is_note())];
        fields.insert("kind".to_owned(), kind);
        fields.insert("severity".to_owned(), json!(severity));
        fields.insert("text".to_owned(), json!(warning.to_string()));
    }
    document
}
