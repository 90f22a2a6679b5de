//! What `look` prints of one record without `--details`: what it is, what happens in it, and what is wrong.

use super::findings::Findings;
use super::view::View;
use crate::cli::terminal::{number, path_text};
use rundown::capture::TimeAxis;
use rundown::events::{ColumnKind, EventKind};
use rundown::quantity::rounding::{Scale, concise};
use std::collections::BTreeSet;
use std::f64::consts::PI;

/// Columns of the shaft that are named.
const MOST_SHAFT: usize = 2;

impl View<'_> {
    /// A block of a few lines that ends in a line feed.
    pub fn summary(&self) -> String {
        let warnings = self.warnings(false).into_iter();
        let warnings = warnings.map(|w| format!("   warning: {w}"));
        let lines: Vec<String> = self.head().into_iter().chain(warnings).collect();
        lines.join("\n") + "\n"
    }

    /// What the record is and what happens in it, or why that is not known.
    pub(super) fn head(&self) -> Vec<String> {
        let record = self.record;
        let further = record.parts.iter();
        let further = further.map(|(path, _)| format!(" with {}", path_text(path)));
        let mut lines = Vec::new();
        match &self.findings {
            Ok(findings) => {
                let role = match self.is_timeless() && !findings.has_role() {
                    true => "no role found".to_owned(),
                    false => findings.role_text(),
                };
                lines.push(format!("{role}; {}", self.rows_text()));
                lines.push(self.channels_text(findings));
                lines.extend(findings.events_text());
                lines.extend(findings.ripple_text());
            }
            Err(reasons) => {
                lines.push(self.rows_text());
                lines.extend(reasons.iter().map(ToString::to_string));
            }
        }
        let name = path_text(&record.path) + &further.collect::<String>();
        let lines = lines.into_iter().map(|line| format!("   {line}"));
        std::iter::once(name).chain(lines).collect()
    }

    /// Number of warnings that the summary shows.
    pub fn warning_count(&self) -> usize {
        self.warnings(false).len()
    }

    fn rows_text(&self) -> String {
        let count = self.record.time.len();
        let rows = format!("{count} row{}", if count == 1 { "" } else { "s" });
        match &self.record.time {
            TimeAxis::Uniform { step_s, .. } => format!(
                "{rows} every {}, {} long",
                number(*step_s, "s"),
                number(*step_s * count.saturating_sub(1) as f64, "s")
            ),
            TimeAxis::Listed(times) => format!(
                "{rows}, {} long",
                number(
                    times.last().unwrap_or(&f64::NAN) - times.first().unwrap_or(&f64::NAN),
                    "s"
                )
            ),
            TimeAxis::Absent { .. } => format!("{rows}, times unknown"),
        }
    }

    /// Voltage and current with their ranges, what shows the shaft, and how many columns there are besides.
    fn channels_text(&self, findings: &Findings<'_>) -> String {
        let used = findings.used();
        let mut parts = Vec::new();
        for (what, index) in ["voltage", "current"].into_iter().zip(used) {
            let seen = index.and_then(|k| self.channels.get(k));
            parts.push(match seen {
                None => format!("no {what}"),
                Some(seen) => format!(
                    "{what} \"{}\" {} to {}",
                    seen.channel.name.trim(),
                    seen.least
                        .map_or("-".to_owned(), |x| number(x, seen.unit())),
                    seen.most.map_or("-".to_owned(), |x| number(x, seen.unit())),
                ),
            });
        }
        let shaft = self.others.iter().filter(|o| {
            use ColumnKind::{Position, Pulses, Speed};
            matches!(o.kind, Speed | Position | Pulses) && !used.contains(&Some(o.index))
        });
        let shaft: Vec<_> = shaft.collect();
        parts.extend(shaft.iter().take(MOST_SHAFT).filter_map(|other| {
            let seen = self.channels.get(other.index)?;
            let name = seen.channel.name.trim();
            let most = seen.most.filter(|_| other.kind != ColumnKind::Pulses);
            let most = most.map_or(String::new(), |most| match seen.unit() {
                "rad/s" => format!(" up to {}", number(most * 30.0 / PI, "rpm")),
                unit => format!(" up to {}", number(most, unit)),
            });
            Some(format!("{} \"{name}\"{most}", other.kind))
        }));
        let used: BTreeSet<_> = used.iter().flatten().collect();
        match self.channels.len() - used.len() - shaft.len().min(MOST_SHAFT) {
            0 => {}
            1 => parts.push("1 further column".to_owned()),
            n => parts.push(format!("{n} further columns")),
        }
        parts.join(", ")
    }
}

impl Findings<'_> {
    /// The role with its confidence, and the next likely one.
    fn role_text(&self) -> String {
        let role = &self.columns.role;
        if !self.has_role() {
            return match self.timeline.events.is_empty() {
                true => format!("no role found: {}", role.reason),
                false => "no role found: what happens in it fits none".to_owned(),
            };
        }
        let other = role
            .alternatives
            .iter()
            .find(|(_, confidence)| *confidence >= 0.2);
        let other = other.map_or(String::new(), |(role, confidence)| {
            format!(" or {} ({confidence:.2})", role.name())
        });
        format!("{} ({:.2}){other}", role.role.name(), role.confidence)
    }

    /// What happens, in one line; `None` where nothing does.
    fn events_text(&self) -> Option<String> {
        let events = &self.timeline.events;
        let mut parts: Vec<String> = Vec::new();
        for (at, event) in events.iter().enumerate() {
            let time = self.clock(event.time_s);
            let next_is_bounce = events
                .get(at + 1)
                .is_some_and(|e| e.kind == EventKind::Bounce);
            parts.push(match event.kind {
                // Of several bounces the last counts.
                EventKind::Bounce if next_is_bounce => continue,
                EventKind::Bounce => format!("bounces until {time}"),
                EventKind::SwitchOn => format!("contact closes at {time}"),
                EventKind::SwitchOff => format!("contact opens at {time}"),
                EventKind::Arc => format!("arc until {time}"),
                EventKind::Short => format!("short at {time}"),
                EventKind::Standstill => format!("standstill at {time}"),
                EventKind::Clamp => format!("clamp from {time}"),
                EventKind::FirstEdge => format!("switching from {time}"),
                EventKind::LastEdge => format!("switching until {time}"),
                _ => format!("{} at {time}", event.kind),
            });
        }
        (!parts.is_empty()).then(|| parts.join(", "))
    }

    /// The speed information of the ripple, in one line; `None` where none is found.
    fn ripple_text(&self) -> Option<String> {
        let mut parts = Vec::new();
        if let Some(Ok(ripple)) = &self.ripple
            && let Some(best) = ripple.candidates.first().filter(|_| ripple.line.is_some())
        {
            parts.push(format!(
                "{} cycles a turn, K = {} before the gain of the voltage channel ({:.0} % likely)",
                best.cycles_per_revolution,
                concise(
                    1e3 * best.back_emf_constant_v_s_per_rad,
                    1e3 * best.standard_uncertainty,
                    "mV·s/rad",
                    Scale::Plain
                ),
                // Never a certainty that is not there.
                (100.0 * best.constant_probability).min(99.0)
            ));
        }
        for (motion, found) in &self.currents {
            if let Ok(found) = found
                && let Some((hz, uncertainty)) = found.frequency_hz
            {
                parts.push(format!(
                    "current ({motion}) {}",
                    concise(hz, uncertainty, "Hz", Scale::Plain)
                ));
            }
        }
        (!parts.is_empty()).then(|| format!("ripple: {}", parts.join("; ")))
    }
}
