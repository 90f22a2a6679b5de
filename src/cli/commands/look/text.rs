//! What `look --details` prints of one record.

use super::findings::Findings;
use super::seen::Seen;
use super::view::View;
use crate::cli::terminal::number;
use rundown::capture::{Channel, Warning};
use rundown::events::{ColumnKind, OtherColumn};
use std::path::Path;

/// Columns shown one by one; of wider tables only those that are used and the first others.
const MOST_COLUMNS: usize = 6;
const FIRST_COLUMNS: usize = 2;
/// Rules shown of how the layout was recognised.
const MOST_RULES: usize = 8;

impl View<'_> {
    /// The whole text, ending in a line feed: the summary, how the file was read, and all that was found.
    pub fn details(&self) -> String {
        let record = self.record;
        let mut lines = self.head();
        lines.push(format!(
            "  first numbers in line {}",
            record.first_data_line
        ));
        let rules = record.layout.iter().take(MOST_RULES);
        lines.extend(rules.map(|rule| format!("  {rule}")));
        let further = record.layout.len().saturating_sub(MOST_RULES);
        if further > 0 {
            lines.push(format!("  and {further} more rules; --json lists all"));
        }
        lines.extend(self.channel_lines());
        lines.extend(self.findings.iter().flat_map(Findings::lines));
        let warnings = self.warnings(true).into_iter();
        lines.extend(warnings.map(|text| format!("  warning: {text}")));
        lines.join("\n") + "\n"
    }

    /// What is wrong, what asks nothing of the reader only where `all`. A remark about several columns is one line.
    pub(super) fn warnings(&self, all: bool) -> Vec<String> {
        let mut texts = Vec::new();
        let warnings = &self.record.warnings;
        for (at, warning) in warnings.iter().enumerate() {
            if warning.kind.is_note() && !all {
                continue;
            }
            let code = warning.kind.code();
            let alike = |other: &&Warning| {
                other.column.is_some() && warning.column.is_some() && other.kind.code() == code
            };
            if warnings[..at].iter().any(|w| alike(&w)) {
                continue;
            }
            let columns = warnings[at + 1..]
                .iter()
                .filter(alike)
                .filter_map(|w| w.column);
            let columns: Vec<usize> = columns.collect();
            let text = placed(warning, &self.record.path);
            texts.push(match columns.is_empty() {
                true => text,
                false => format!("{text}. The same in column {}", listed(&columns)),
            });
        }
        texts.extend(self.unstated_units());
        texts.extend(self.clipping());
        if let (Ok(findings), false) = (&self.findings, self.is_timeless()) {
            texts.extend(findings.remarks(all));
        }
        texts
    }

    /// Names the columns that are used without a unit, with the flag that gives it.
    fn unstated_units(&self) -> Option<String> {
        let used = self.without_unit();
        let one = |(channel, unit): &(&Channel, &str)| format!("--unit {}={unit}", channel.column);
        let flags: Vec<String> = used.iter().map(one).collect();
        let names: Vec<String> = used
            .iter()
            .map(|(c, _)| format!("{} \"{}\"", c.column, c.name))
            .collect();
        let codes = used.iter().all(|(c, _)| holds_codes(&c.values));
        (!used.is_empty()).then(|| {
            format!(
                "no unit is stated for column {}{}. Give it with {}",
                names.join(" and "),
                if codes {
                    ", which holds whole numbers: codes of a converter or counts, not volts or amperes"
                } else {
                    "; the numbers are used as they are"
                },
                flags.join(" ")
            )
        })
    }

    /// The columns; in a wide table those that are used and the first others, the rest counted.
    fn channel_lines(&self) -> Vec<String> {
        let used = |at: usize| self.findings.as_ref().is_ok_and(|f| f.covers(at));
        let all = self.channels.len();
        let mut room = match all {
            0..=MOST_COLUMNS => all,
            _ => FIRST_COLUMNS,
        };
        let mut lines = Vec::new();
        for (at, seen) in self.channels.iter().enumerate() {
            if used(at) || room > 0 {
                room = room.saturating_sub(usize::from(!used(at)));
                lines.push(channel_line(seen));
            }
        }
        if lines.len() < all {
            let further = all - lines.len();
            lines.push(format!("  and {further} more columns; --json lists all"));
        }
        lines.extend(self.other_lines());
        lines
    }

    /// Columns that hold something else than voltage and current, one line a kind.
    fn other_lines(&self) -> Vec<String> {
        let mut kinds: Vec<(ColumnKind, Vec<&OtherColumn>)> = Vec::new();
        for other in &self.others {
            match kinds.iter_mut().find(|(kind, _)| *kind == other.kind) {
                Some((_, columns)) => columns.push(other),
                None => kinds.push((other.kind, vec![other])),
            }
        }
        let column = |other: &OtherColumn| self.channels.get(other.index).map(|s| s.channel.column);
        kinds
            .into_iter()
            .map(|(kind, others)| {
                let columns: Vec<usize> = others.iter().filter_map(|o| column(o)).collect();
                let why = others.first().map_or(String::new(), |o| o.why.to_string());
                let first = if others.len() > 1 { "the first: " } else { "" };
                format!(
                    "  no voltage and no current: column {} ({kind}; {first}{why})",
                    listed(&columns)
                )
            })
            .collect()
    }

    /// A warning of clipping in columns that the events do not use; for the others theirs name its effect.
    fn clipping(&self) -> Option<String> {
        let is_other = |at: usize| self.others.iter().any(|o| o.index == at);
        let covered = |at: usize| self.findings.as_ref().is_ok_and(|f| f.covers(at));
        let channels = self.channels.iter().enumerate();
        let clipped: Vec<&Seen> = channels
            .filter(|(at, seen)| !covered(*at) && !is_other(*at) && !seen.clipped.is_empty())
            .filter(|(_, seen)| seen.clip_level().is_some())
            .map(|(_, seen)| seen)
            .collect();
        let (first, others) = clipped.split_first()?;
        let (level, row) = (first.clip_level()?, first.clipped.first()?);
        let mut text = format!(
            "column {} \"{}\": {} samples at the end of the range, {}, first in row {}. The true value is beyond it; with these samples resistance and inductance come out too large. Record again with a larger range",
            first.channel.column,
            first.channel.name,
            first.clipped.len(),
            number(level, first.unit()),
            row + 1
        );
        if !others.is_empty() {
            let columns: Vec<usize> = others.iter().map(|s| s.channel.column).collect();
            text.push_str(&format!(". The same in column {}", listed(&columns)));
        }
        Some(text)
    }
}

/// A warning without the name of the record, which its block has already.
fn placed(warning: &Warning, record: &Path) -> String {
    match (warning.line, warning.column) {
        _ if warning.path != record => warning.to_string(),
        (Some(line), Some(cell)) => format!("line {line}, cell {cell}: {}", warning.text()),
        (Some(line), None) => format!("line {line}: {}", warning.text()),
        _ => warning.text(),
    }
}

/// Column numbers with runs drawn together: `2, 4 to 7 and 9`; of many the first.
fn listed(columns: &[usize]) -> String {
    const MOST_RUNS: usize = 6;
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &column in columns {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == column => *last = column,
            _ => runs.push((column, column)),
        }
    }
    let text = |&(first, last): &(usize, usize)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first} to {last}"),
    };
    let shown: Vec<String> = runs.iter().take(MOST_RUNS).map(text).collect();
    let more = if runs.len() > MOST_RUNS {
        " and others"
    } else {
        ""
    };
    format!("{}{more}", shown.join(", "))
}

/// Whole numbers of several sizes, as a converter gives them.
fn holds_codes(values: &[f64]) -> bool {
    let mut finite = values.iter().filter(|v| v.is_finite());
    finite.clone().all(|v| v.fract() == 0.0) && finite.any(|v| v.abs() > 1.0)
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
