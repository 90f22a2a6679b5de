//! What the waveform in one record shows: columns, role, events, phases, warnings, and the ripple of a run-down.

use super::ripple::{current_document, current_lines, ripple_document, ripple_lines};
use crate::cli::terminal::number;
use rundown::bench::{CaptureWarning, Role, Waveform};
use rundown::capture::{Codes, Record, TimeAxis};
use rundown::events::{
    ColumnGround, ColumnGuess, Exclusion, Guessed, Motion, OtherColumn, PhaseKind, Timeline,
    current_stretches, guess,
};
use rundown::ripple::{
    Counted, CurrentRipple, RippleOptions, RippleResult, analyse_run_down, speed_in_current,
};
use serde_json::{Value, json};

/// Phases shown in the text; `--json` has all.
const MOST_PHASES: usize = 16;
/// Confidence at and below which the shape shows no role at all.
const NO_ROLE: f64 = 0.05;

/// Longest record whose current is read for ripple: it has to be copied for that, and a shorter one shows as much.
const MOST_ROWS: usize = 2_000_000;

/// Everything that voltage and current of one record show.
pub(super) struct Findings<'a> {
    record: &'a Record,
    pub(super) columns: ColumnGuess,
    pub(super) timeline: Timeline,
    /// Of the currents in starts, brakes and steady running; else why not.
    pub(super) currents: Vec<(Motion, Result<CurrentRipple, String>)>,
    /// Only for a run-down with an open stretch; else why not.
    pub(super) ripple: Option<Result<RippleResult, String>>,
}

impl<'a> Findings<'a> {
    /// Guesses and finds: the columns that hold something else, and what voltage and current show, or why no column is taken
    /// for either.
    pub fn of(
        record: &'a Record,
        codes: &[Codes],
    ) -> (Vec<OtherColumn>, Result<Findings<'a>, Vec<ColumnGround>>) {
        let guessed = guess(record);
        let others = guessed.columns.others.clone();
        let found = match guessed.columns.voltage.or(guessed.columns.current) {
            Some(_) => Ok(Findings::in_columns(record, guessed, codes)),
            None => Err(guessed.into_columns().reasons),
        };
        (others, found)
    }

    fn in_columns(record: &'a Record, guessed: Guessed<'a>, codes: &[Codes]) -> Findings<'a> {
        let columns = &guessed.columns;
        // Where no role shows, any switching role makes the finder say that nothing happens.
        let role = if columns.role.confidence > NO_ROLE {
            columns.role.role
        } else {
            Role::Start
        };
        let timeline = guessed.events(codes, role);
        let open = (role == Role::RunDown)
            .then(|| guessed.open_stretch(codes, &timeline))
            .flatten();
        // What the finders remember of the traces is not needed any more.
        let columns = guessed.into_columns();
        let ripple = open.map(|stretch| {
            let options = RippleOptions::for_stretch(&stretch, Counted::default(), None);
            analyse_run_down(&stretch.time_s, &stretch.voltage_v, &options)
                .map_err(|why| why.to_string())
        });
        let currents = if columns.role.confidence > NO_ROLE && record.time.len() <= MOST_ROWS {
            current_stretches(&columns.waveform(record), &timeline, role)
        } else {
            Vec::new()
        };
        let currents = currents
            .iter()
            .map(|stretch| {
                let found = speed_in_current(stretch, None, None, &RippleOptions::default());
                (stretch.motion, found.map_err(|why| why.to_string()))
            })
            .collect();
        Findings {
            record,
            columns,
            timeline,
            currents,
            ripple,
        }
    }

    /// True where the shape shows a role.
    pub(super) fn has_role(&self) -> bool {
        self.columns.role.confidence > NO_ROLE
    }

    /// Warnings about the waveform, each once; the notes too where `all`.
    pub(super) fn remarks(&self, all: bool) -> Vec<String> {
        let mut texts: Vec<String> = Vec::new();
        for remark in &self.timeline.remarks {
            let text = remark.to_string();
            if (all || !self.timeline.is_note(remark)) && !texts.contains(&text) {
                texts.push(text);
            }
        }
        texts
    }

    /// Voltage and current by their index.
    pub fn used(&self) -> [Option<usize>; 2] {
        [self.columns.voltage, self.columns.current]
    }

    /// Voltage and current as guessed.
    pub fn waveform(&self) -> Waveform {
        self.columns.waveform(self.record)
    }

    /// True when the capture cannot be used as it is.
    pub fn is_questionable(&self) -> bool {
        self.timeline
            .capture_warnings
            .iter()
            .any(|d| CaptureWarning::spoils_capture(*d))
    }

    /// True when the warnings here cover clipping of this channel of the record.
    pub fn covers(&self, channel: usize) -> bool {
        self.used().contains(&Some(channel))
    }

    /// Indented lines for the text, beside what the summary says: the reasons, the phases, the ripple.
    pub fn lines(&self) -> Vec<String> {
        let role = &self.columns.role;
        let why = format!("columns (confidence {:.2}):", self.columns.confidence);
        let mut lines = vec![format!("  {why} {}", joined(&self.columns.reasons))];
        if self.has_role() {
            lines.push(format!("  role: {}", role.reason));
            let others = role.alternatives.iter().filter(|a| a.1 >= NO_ROLE);
            lines.extend(others.map(|(other, confidence)| {
                format!("    or {} (confidence {confidence:.2})", other.name())
            }));
        }
        let phases = &self.timeline.phases;
        for phase in phases.iter().take(MOST_PHASES) {
            let (kind, reason) = kind_and_reason(phase.kind);
            let why = reason.map(|r| format!(" ({r})")).unwrap_or_default();
            let times = match (
                self.time(phase.first),
                self.time(phase.end.saturating_sub(1)),
            ) {
                (Some(from), Some(to)) => {
                    format!(", {} to {}", self.clock(from), self.clock(to))
                }
                _ => String::new(),
            };
            lines.push(format!(
                "  phase: {kind}{why}, rows {} to {}{times}",
                phase.first + 1,
                phase.end
            ));
        }
        if phases.len() > MOST_PHASES {
            lines.push(format!(
                "  and {} more phases; --json lists all",
                phases.len() - MOST_PHASES
            ));
        }
        if let Some(ripple) = &self.ripple {
            lines.extend(ripple_lines(ripple));
        }
        for (motion, found) in &self.currents {
            lines.extend(current_lines(*motion, found));
        }
        lines
    }

    /// A time to a thousandth of the sampling step, so that what lies on a row is shown there.
    pub(super) fn clock(&self, time_s: f64) -> String {
        let step_s = match (self.time(0), self.time(1)) {
            (Some(first), Some(second)) if second > first => 1e-3 * (second - first),
            _ => return number(time_s, "s"),
        };
        number((time_s / step_s).round() * step_s, "s")
    }

    fn time(&self, row: usize) -> Option<f64> {
        match &self.record.time {
            TimeAxis::Absent { .. } => None,
            time => time.at(row),
        }
    }

    /// The same as JSON.
    pub fn document(&self) -> Value {
        let column = |index: Option<usize>| {
            index
                .and_then(|k| self.record.channels.get(k))
                .map(|c| c.column)
        };
        let role = &self.columns.role;
        json!({
            "columns": {
                "voltage": column(self.columns.voltage),
                "current": column(self.columns.current),
                "voltage_reversed": self.columns.voltage_reversed,
                "current_reversed": self.columns.current_reversed,
                "current_in_volts": self.columns.current_in_volts,
                "confidence": self.columns.confidence,
                "others": self.columns.others.iter()
                    .map(|o| json!({"column": column(Some(o.index)), "kind": o.kind.to_string(), "why": o.why.to_string()}))
                    .collect::<Vec<_>>(),
                "reasons": self.columns.reasons.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "grounds": self.columns.reasons,
            },
            "role": {
                "name": (role.confidence > NO_ROLE).then(|| role.role.name()),
                "confidence": role.confidence,
                "reason": role.reason.to_string(),
                "ground": role.reason,
                "alternatives": role.alternatives.iter()
                    .map(|(other, confidence)| json!({"name": other.name(), "confidence": confidence}))
                    .collect::<Vec<_>>(),
            },
            "events": self.timeline.events.iter()
                .map(|event| json!({"name": event.kind.to_string(), "time_s": event.time_s}))
                .collect::<Vec<_>>(),
            "phases": self.timeline.phases.iter().map(|phase| {
                let (kind, reason) = kind_and_reason(phase.kind);
                json!({
                    "kind": kind,
                    "reason": reason.map(|r| r.to_string()),
                    "first_row": phase.first + 1,
                    "last_row": phase.end,
                    "first_s": self.time(phase.first),
                    "last_s": self.time(phase.end.saturating_sub(1)),
                })
            }).collect::<Vec<_>>(),
            "doubts": self.timeline.remarks.iter().map(ToString::to_string).collect::<Vec<_>>(),
            "ripple": self.ripple.as_ref().map(ripple_document),
            "current_ripple": self.currents.iter()
                .map(|(motion, found)| current_document(*motion, found))
                .collect::<Vec<_>>(),
        })
    }
}

fn joined(grounds: &[ColumnGround]) -> String {
    let each = grounds.iter().map(ToString::to_string);
    each.collect::<Vec<_>>().join("; ")
}

fn kind_and_reason(kind: PhaseKind) -> (&'static str, Option<Exclusion>) {
    match kind {
        PhaseKind::Rest => ("rest", None),
        PhaseKind::Driven => ("driven", None),
        PhaseKind::Open => ("open", None),
        PhaseKind::Shorted => ("shorted", None),
        PhaseKind::Excluded(reason) => ("cut", Some(reason)),
    }
}
