//! `look`: what is found in each file, and why.

use super::Status;
use super::import_flags::ImportFlags;
use super::look_events::Findings;
use super::number::number;
use super::standard_output::{complain, say, say_bytes};
use super::terminal_plot;
use crate::capture::{self, Channel, Codes, Record, TimeAxis};
use clap::Args;
use serde_json::{Value, json};
use std::path::PathBuf;

/// Shows what is found in captured files: layout and why, channels, rate, noise, clipping, columns and role, events, ripple, doubts.
#[derive(Args, Debug)]
pub struct Look {
    /// Exported captures (text, or text packed with gzip).
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Print JSON: an array with one object a file.
    #[arg(long)]
    json: bool,
    /// No small plots where the output is a terminal.
    #[arg(long)]
    no_plot: bool,
    #[command(flatten)]
    import: ImportFlags,
}

/// What is measured on one channel.
struct Seen<'a> {
    channel: &'a Channel,
    least: Option<f64>,
    most: Option<f64>,
    step: Option<f64>,
    noise: Option<f64>,
    clipped: Vec<usize>,
}

impl<'a> Seen<'a> {
    fn new(channel: &'a Channel, codes: Codes, noise: Option<f64>) -> Seen<'a> {
        Seen {
            channel,
            least: codes.range.map(|r| r.0),
            most: codes.range.map(|r| r.1),
            step: codes.step,
            noise,
            clipped: codes
                .clipped
                .into_iter()
                .enumerate()
                .filter_map(|(row, flag)| flag.then_some(row))
                .collect(),
        }
    }

    fn unit(&self) -> &str {
        self.channel
            .unit
            .as_deref()
            .or(self.channel.unit_text.as_deref())
            .unwrap_or("")
    }

    /// Value at which clipped samples sit; `None` where all are overrange marks.
    fn clip_level(&self) -> Option<f64> {
        self.clipped
            .iter()
            .map(|&row| self.channel.values[row])
            .find(|v| v.is_finite())
    }
}

/// Runs `look`.
///
/// # Errors
/// Only when the output cannot be written; a file that cannot be read is shown and sets the status.
pub fn run(arguments: &Look) -> anyhow::Result<Status> {
    let options = arguments.import.options();
    let mut status = Status::Stands;
    let mut documents = Vec::new();
    for (at, path) in arguments.files.iter().enumerate() {
        match capture::read(path, &options) {
            Ok(record) => {
                let (codes, noise): (Vec<Codes>, Vec<Option<f64>>) = record
                    .channels
                    .iter()
                    .map(|c| capture::codes_and_noise(&c.values, &c.overrange))
                    .unzip();
                let findings = Findings::of(&record, &codes);
                let doubtful = findings.as_ref().is_none_or(Findings::doubtful)
                    || record.remarks.iter().any(|r| capture::is_doubtful(&r.kind));
                if doubtful && status == Status::Stands {
                    status = Status::Doubtful;
                }
                let measured = record.channels.iter().zip(codes).zip(noise);
                let seen: Vec<Seen> = measured
                    .map(|((c, codes), n)| Seen::new(c, codes, n))
                    .collect();
                if arguments.json {
                    documents.push(document(&record, &seen, findings.as_ref()));
                } else {
                    let gap = if at > 0 { "\n" } else { "" };
                    let page = page(&record, &seen, findings.as_ref());
                    say(&format!("{gap}{page}"))?;
                    if terminal_plot::wanted(arguments.no_plot)
                        && let Some(findings) = &findings
                    {
                        let columns = terminal_plot::columns();
                        say(&terminal_plot::of_waveform(&findings.waveform(), columns))?;
                    }
                }
            }
            Err(error) => {
                status = Status::CouldNotRun;
                if arguments.json {
                    documents.push(
                        json!({"path": path.display().to_string(), "error": error.to_string()}),
                    );
                } else {
                    complain(&format!("error: {error}"));
                }
            }
        }
    }
    if arguments.json {
        say_bytes((serde_json::to_string_pretty(&documents)? + "\n").as_bytes())?;
    }
    Ok(status)
}

fn page(record: &Record, seen: &[Seen], findings: Option<&Findings>) -> String {
    let mut lines = vec![record.path.display().to_string()];
    lines.push(format!(
        "  first numbers in line {}",
        record.first_data_line
    ));
    lines.extend(record.layout.iter().map(|rule| format!("  {rule}")));
    let rows = record.time.len();
    lines.push(match &record.time {
        TimeAxis::Uniform {
            start_s, step_s, ..
        } => format!(
            "  time: {rows} rows from {} every {} ({}), {} long",
            number(*start_s, "s"),
            number(*step_s, "s"),
            number(1.0 / step_s, "Sa/s"),
            number(*step_s * rows.saturating_sub(1) as f64, "s")
        ),
        TimeAxis::Listed(times) => format!(
            "  time: {rows} rows listed from {} to {}",
            number(times.first().copied().unwrap_or(f64::NAN), "s"),
            number(times.last().copied().unwrap_or(f64::NAN), "s")
        ),
        TimeAxis::Absent { .. } => format!("  time: unknown, {rows} rows"),
    });
    for seen in seen {
        let channel = seen.channel;
        let unit = seen.unit();
        let mut parts = vec![match (seen.least, seen.most) {
            (Some(least), Some(most)) => {
                format!("{} to {}", number(least, unit), number(most, unit))
            }
            _ => "no numbers".to_string(),
        }];
        match seen.noise {
            Some(noise) => parts.push(format!("noise {}", number(noise, unit))),
            None if seen.most.is_some() => parts.push("noise below the codes".to_string()),
            None => {}
        }
        if let Some(step) = seen.step {
            parts.push(format!("step {}", number(step, unit)));
        }
        if channel.missing > 0 {
            parts.push(format!("{} missing", channel.missing));
        }
        if !seen.clipped.is_empty() {
            parts.push(match seen.clip_level() {
                Some(level) => format!(
                    "{} clipped at {}, the first in row {}",
                    seen.clipped.len(),
                    number(level, unit),
                    seen.clipped.first().map_or(0, |row| row + 1)
                ),
                None => format!("{} out of range", seen.clipped.len()),
            });
        }
        let facts = &channel.facts;
        if let Some(ratio) = facts.probe_ratio {
            parts.push(format!("probe {ratio}:1 stated"));
        }
        if let Some(coupling) = &facts.coupling {
            parts.push(format!("coupling {coupling} stated"));
        }
        if facts.inverted == Some(true) {
            parts.push("inverted stated".to_string());
        }
        lines.push(format!(
            "  column {} \"{}\"{}: {}",
            channel.column,
            channel.name,
            match (&channel.unit, &channel.unit_text) {
                (Some(unit), _) => format!(" in {unit}"),
                (None, Some(text)) => format!(" in {text} (as written)"),
                (None, None) => ", unit not stated".to_string(),
            },
            parts.join(", ")
        ));
    }
    match findings {
        Some(findings) => lines.extend(findings.lines()),
        None => lines.push("  no column can be the voltage or the current of a motor".to_string()),
    }
    for remark in &record.remarks {
        lines.push(format!("  warning: {}", remark.text));
    }
    for (at, seen) in seen.iter().enumerate() {
        // What the events say of clipping names its effect; only columns that they do not use are told here.
        if findings.is_some_and(|f| f.covers(at)) {
            continue;
        }
        if let (Some(level), Some(row)) = (seen.clip_level(), seen.clipped.first()) {
            lines.push(format!(
                "  warning: {}: column {} \"{}\": {} samples sit at the end of the range, {}, first at row {}. The true value lies beyond; taken as it stands it hides the peak and makes resistance and inductance too large. Record again with a larger range, or leave these samples out",
                record.path.display(),
                seen.channel.column,
                seen.channel.name,
                seen.clipped.len(),
                number(level, seen.unit()),
                row + 1
            ));
        }
    }
    lines.join("\n") + "\n"
}

fn document(record: &Record, seen: &[Seen], findings: Option<&Findings>) -> Value {
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
    let channels: Vec<Value> = seen
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
    let remarks: Vec<Value> = record
        .remarks
        .iter()
        .map(|r| json!({"kind": r.kind, "line": r.line, "column": r.column, "text": r.text}))
        .collect();
    json!({
        "path": record.path.display().to_string(),
        "sha256": record.sha256,
        "first_data_line": record.first_data_line,
        "layout": record.layout,
        "time": time,
        "time_name": record.time_name,
        "channels": channels,
        "preamble": record.preamble.iter()
            .map(|f| json!({"line": f.line, "key": f.key, "values": f.values}))
            .collect::<Vec<_>>(),
        "remarks": remarks,
        "found": findings.map(Findings::document),
    })
}
