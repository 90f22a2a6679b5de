//! What bench, captures, readings and fit have to warn of.

use crate::bench::{Bench, BenchRemark};
use crate::events::{Remark, Timeline};
use crate::fit::Estimate;
use crate::motor_file::{Severity, Warning};
use serde::Serialize;
use serde_json::Value;
use std::fmt::Display;

pub(super) fn warnings(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Vec<Warning> {
    let mut out: Vec<Warning> = Vec::new();
    let of_bench = |severity| move |r: &BenchRemark| item(severity, r.capture.as_deref(), &r.kind);
    out.extend(bench.warnings.iter().map(of_bench(Severity::Warning)));
    out.extend(bench.notes.iter().map(of_bench(Severity::Note)));
    let by = |is_note| match is_note {
        true => Severity::Note,
        false => Severity::Warning,
    };
    // The same remark about several captures is one.
    let mut of_captures: Vec<(Severity, String, Remark)> = Vec::new();
    for (capture, timeline) in bench.captures.iter().zip(timelines) {
        for remark in &timeline.remarks {
            let severity = by(timeline.is_note(remark));
            let mut alike = of_captures.iter_mut();
            match alike
                .find_map(|(s, names, r)| (*s == severity && r.absorb(remark)).then_some(names))
            {
                Some(names) => *names = format!("{names}, {}", capture.name),
                None => of_captures.push((severity, capture.name.clone(), remark.clone())),
            }
        }
    }
    let of_captures = of_captures.iter();
    out.extend(of_captures.map(|(severity, names, remark)| item(*severity, Some(names), remark)));
    let remarks = estimate.remarks.iter();
    out.extend(remarks.map(|r| item(by(r.is_note()), r.subject.as_deref(), &r.kind)));
    for line in &estimate.confrontations {
        let severity = match line.in_conflict() {
            true => Severity::Conflict,
            false => Severity::Warning,
        };
        out.extend(line.text.as_ref().map(|text| item(severity, None, text)));
    }
    if !estimate.converged() {
        out.push(Warning {
            severity: Severity::Conflict,
            kind: "fit".to_owned(),
            subject: None,
            values: serde_json::Map::new(),
            text: format!("{}; do not use the values", estimate.reason()),
        });
    }
    out
}

/// A remark whose serialised form is its code and its numbers.
fn item(severity: Severity, subject: Option<&str>, remark: &(impl Display + Serialize)) -> Warning {
    let mut values = match serde_json::to_value(remark).ok().and_then(known) {
        Some(Value::Object(values)) => values,
        _ => serde_json::Map::new(),
    };
    let kind = match values.remove("code") {
        Some(Value::String(code)) => code,
        _ => "remark".to_owned(),
    };
    Warning {
        severity,
        kind,
        subject: subject.map(str::to_owned),
        values,
        text: remark.to_string(),
    }
}

/// The value without what is unknown, which has no key; `None` where that is all of it, or a part of a list.
fn known(value: Value) -> Option<Value> {
    match value {
        Value::Null => None,
        Value::Array(items) => items
            .into_iter()
            .map(known)
            .collect::<Option<Vec<_>>>()
            .map(Value::Array),
        Value::Object(fields) => {
            let fields = fields
                .into_iter()
                .filter_map(|(key, value)| Some((key, known(value)?)));
            Some(Value::Object(fields.collect()))
        }
        other => Some(other),
    }
}
