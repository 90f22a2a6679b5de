//! What `look` prints of one record.

use super::seen::Seen;
use super::view::View;
use crate::cli::terminal::{number, path_text};
use rundown::capture::TimeAxis;

impl View<'_> {
    /// The whole text, ending in a line feed.
    pub fn text(&self) -> String {
        let record = self.record;
        let mut lines = vec![
            path_text(&record.path),
            format!("  first numbers in line {}", record.first_data_line),
        ];
        lines.extend(record.layout.iter().map(|rule| format!("  {rule}")));
        lines.push(self.time_line());
        lines.extend(self.channels.iter().map(channel_line));
        match &self.findings {
            Some(findings) => lines.extend(findings.lines()),
            None => {
                lines.push("  no column can be the voltage or the current of a motor".to_string());
            }
        }
        let warnings = record.warnings.iter();
        lines.extend(warnings.map(|warning| format!("  warning: {}", warning.text)));
        lines.extend(self.clipping_lines());
        lines.join("\n") + "\n"
    }

    fn time_line(&self) -> String {
        let rows = self.record.time.len();
        match &self.record.time {
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
        }
    }

    /// Warnings of clipping in columns that the events do not use; for the others theirs name its effect.
    fn clipping_lines(&self) -> impl Iterator<Item = String> {
        let path = path_text(&self.record.path);
        let covered = |at: usize| self.findings.as_ref().is_some_and(|f| f.covers(at));
        let channels = self.channels.iter().enumerate();
        channels
            .filter(move |(at, _)| !covered(*at))
            .filter_map(move |(_, seen)| {
                let (level, row) = (seen.clip_level()?, seen.clipped.first()?);
                Some(format!(
                    "  warning: {path}: column {} \"{}\": {} samples sit at the end of the range, {}, first at row {}. The true value lies beyond; taken as it stands it hides the peak and makes resistance and inductance too large. Record again with a larger range, or leave these samples out",
                    seen.channel.column,
                    seen.channel.name,
                    seen.clipped.len(),
                    number(level, seen.unit()),
                    row + 1
                ))
            })
    }
}

/// Name, unit and measures of a channel.
fn channel_line(seen: &Seen) -> String {
    let channel = seen.channel;
    format!(
        "  column {} \"{}\"{}: {}",
        channel.column,
        channel.name,
        match (&channel.unit, &channel.unit_text) {
            (Some(unit), _) => format!(" in {unit}"),
            (None, Some(text)) => format!(" in {text} (as written)"),
            (None, None) => ", unit not stated".to_string(),
        },
        measures(seen)
            .into_iter()
            .chain(stated(seen))
            .collect::<Vec<_>>()
            .join(", ")
    )
}

fn measures(seen: &Seen) -> Vec<String> {
    let unit = seen.unit();
    let mut parts = vec![match (seen.least, seen.most) {
        (Some(least), Some(most)) => format!("{} to {}", number(least, unit), number(most, unit)),
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
    if seen.channel.missing > 0 {
        parts.push(format!("{} missing", seen.channel.missing));
    }
    if let Some(first) = seen.clipped.first() {
        let count = seen.clipped.len();
        parts.push(match seen.clip_level() {
            Some(level) => format!(
                "{count} clipped at {}, the first in row {}",
                number(level, unit),
                first + 1
            ),
            None => format!("{count} out of range"),
        });
    }
    parts
}

/// What the preamble states of a channel.
fn stated(seen: &Seen) -> Vec<String> {
    let facts = &seen.channel.facts;
    let mut parts = Vec::new();
    if let Some(ratio) = facts.probe_ratio {
        parts.push(format!("probe {ratio}:1 stated"));
    }
    if let Some(coupling) = &facts.coupling {
        parts.push(format!("coupling {coupling} stated"));
    }
    if facts.inverted == Some(true) {
        parts.push("inverted stated".to_string());
    }
    parts
}
