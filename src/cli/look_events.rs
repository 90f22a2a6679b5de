//! What the waveform in one record says, for `look`: columns, role, events, phases, doubts, and the ripple of a run-down.

use super::number::number;
use crate::bench::{Doubt, Role, Waveform, role_name};
use crate::capture::{Codes, Record, TimeAxis};
use crate::events::{
    ColumnGuess, Exclusion, Motion, PhaseKind, Timeline, current_stretches, guess,
};
use crate::ripple::{
    CurrentRipple, RippleLine, RippleOptions, RippleResult, analyse_run_down_at, speed_in_current,
};
use serde_json::{Value, json};

/// Phases and candidates shown in the text; `--json` has all.
const MOST_PHASES: usize = 16;
const MOST_CANDIDATES: usize = 5;
/// Below this a candidate is not worth a line.
const LEAST_PROBABILITY: f64 = 0.005;
/// Confidence at and below which the shape shows no role at all.
const NO_ROLE: f64 = 0.05;

/// Longest record whose current is read for ripple: it has to be copied for that, and a shorter one tells as much.
const MOST_ROWS: usize = 2_000_000;

/// Everything that voltage and current of one record show.
pub(super) struct Findings<'a> {
    record: &'a Record,
    columns: ColumnGuess,
    timeline: Timeline,
    /// Of the currents in starts, brakes and steady running; the error in words.
    currents: Vec<(Motion, Result<CurrentRipple, String>)>,
    /// Only for a run-down with an open stretch; the error in words.
    ripple: Option<Result<RippleResult, String>>,
}

impl<'a> Findings<'a> {
    /// Guesses and finds; `None` where no column can be a voltage or a current.
    pub fn of(record: &'a Record, codes: &[Codes]) -> Option<Findings<'a>> {
        let guessed = guess(record);
        let columns = &guessed.columns;
        columns.voltage.or(columns.current)?;
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
            let options = RippleOptions::for_stretch(&stretch, None, None);
            analyse_run_down_at(&stretch.time_s, &stretch.voltage_v, &options)
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
        Some(Findings {
            record,
            columns,
            timeline,
            currents,
            ripple,
        })
    }

    /// Voltage and current as guessed.
    pub fn waveform(&self) -> Waveform {
        self.columns.waveform(self.record)
    }

    /// True when the capture cannot be taken as it stands.
    pub fn doubtful(&self) -> bool {
        self.timeline
            .doubts
            .iter()
            .any(|d| Doubt::spoils_capture(*d))
    }

    /// True when what is said of clipping here covers this channel of the record.
    pub fn covers(&self, channel: usize) -> bool {
        [self.columns.voltage, self.columns.current].contains(&Some(channel))
    }

    /// Indented lines for the page.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![self.columns_line()];
        lines.extend(self.columns.reasons.iter().map(|r| format!("    {r}")));
        let role = &self.columns.role;
        lines.push(if role.confidence > NO_ROLE {
            format!(
                "  role: {} (confidence {:.2}): {}",
                role_name(role.role),
                role.confidence,
                role.reason
            )
        } else {
            format!("  role: none shows: {}", role.reason)
        });
        if role.confidence > NO_ROLE {
            for (other, confidence) in role.alternatives.iter().filter(|a| a.1 >= NO_ROLE) {
                lines.push(format!(
                    "    or {} (confidence {confidence:.2})",
                    role_name(*other)
                ));
            }
        }
        for event in &self.timeline.events {
            lines.push(format!(
                "  event: {} at {}",
                event.kind,
                self.clock(event.time_s)
            ));
        }
        let phases = &self.timeline.phases;
        for phase in phases.iter().take(MOST_PHASES) {
            let (kind, reason) = phase_words(phase.kind);
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
        let path = self.record.path.display();
        lines.extend(
            self.timeline
                .remarks
                .iter()
                .map(|remark| format!("  warning: {path}: {remark}")),
        );
        lines
    }

    fn columns_line(&self) -> String {
        let one = |what: &str, index: Option<usize>, reversed: bool| {
            let Some(channel) = index.and_then(|k| self.record.channels.get(k)) else {
                return format!("{what} in no column");
            };
            format!(
                "{what} in column {} \"{}\"{}",
                channel.column,
                channel.name,
                if reversed { ", reversed" } else { "" }
            )
        };
        format!(
            "  {}; {} (confidence {:.2})",
            one(
                "voltage",
                self.columns.voltage,
                self.columns.voltage_reversed
            ),
            one(
                "current",
                self.columns.current,
                self.columns.current_reversed
            ),
            self.columns.confidence
        )
    }

    /// A time to a thousandth of the sampling step, so that what lies on a row is shown there.
    fn clock(&self, time_s: f64) -> String {
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
                "reasons": self.columns.reasons,
            },
            "role": {
                "name": (role.confidence > NO_ROLE).then(|| role_name(role.role)),
                "confidence": role.confidence,
                "reason": role.reason,
                "alternatives": role.alternatives.iter()
                    .map(|(other, confidence)| json!({"name": role_name(*other), "confidence": confidence}))
                    .collect::<Vec<_>>(),
            },
            "events": self.timeline.events.iter()
                .map(|event| json!({"name": event.kind.to_string(), "time_s": event.time_s}))
                .collect::<Vec<_>>(),
            "phases": self.timeline.phases.iter().map(|phase| {
                let (kind, reason) = phase_words(phase.kind);
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

fn phase_words(kind: PhaseKind) -> (&'static str, Option<Exclusion>) {
    match kind {
        PhaseKind::Rest => ("rest", None),
        PhaseKind::Driven => ("driven", None),
        PhaseKind::Open => ("open", None),
        PhaseKind::Shorted => ("shorted", None),
        PhaseKind::Excluded(reason) => ("cut", Some(reason)),
    }
}

fn ripple_lines(ripple: &Result<RippleResult, String>) -> Vec<String> {
    let result = match ripple {
        Ok(result) => result,
        Err(why) => return vec![format!("  ripple: tells no speed: {why}")],
    };
    let mut lines = vec![match &result.line {
        None => format!(
            "  ripple: no line stands above the floor (chance of a false alarm {})",
            result.false_alarm_rate
        ),
        Some(line) => line_words(line),
    }];
    let worth = result
        .candidates
        .iter()
        .filter(|c| c.probability >= LEAST_PROBABILITY);
    for candidate in worth.take(MOST_CANDIDATES) {
        lines.push(format!(
            "    {} segments, {} cycles a revolution: K = {}, probability {:.3}",
            candidate.segments,
            candidate.cycles_per_revolution,
            write(
                candidate.back_emf_constant_v_s_per_rad,
                Some(candidate.standard_uncertainty),
                "V·s/rad",
                Scale::Power
            ),
            candidate.probability
        ));
    }
    lines.extend(result.remarks.iter().map(|r| format!("    {r}")));
    lines
}

fn current_lines(motion: Motion, found: &Result<CurrentRipple, String>) -> Vec<String> {
    let what = format!("  ripple of the current ({})", motion);
    let found = match found {
        Ok(found) => found,
        Err(why) => return vec![format!("{what}: tells no speed: {why}")],
    };
    let mut lines = vec![match found.frequency_hz {
        None => format!("{what}: no line stands above the floor"),
        Some((hz, sd)) => format!(
            "{what}: line at {}{}, {:.0} times the noise in power, seen over {:.0} cycles",
            write(hz, Some(sd), "Hz", Scale::Plain),
            match motion {
                Motion::Rising => " at the speed it rises to",
                Motion::Steady => "",
                Motion::Falling => " at the beginning",
            },
            found.signal_to_noise.unwrap_or(f64::NAN),
            found.cycles_seen.unwrap_or(f64::NAN)
        ),
    }];
    lines.extend(found.remarks.iter().map(|r| format!("    {r}")));
    lines
}

fn current_document(motion: Motion, found: &Result<CurrentRipple, String>) -> Value {
    let found = match found {
        Ok(found) => found,
        Err(why) => return json!({"motion": motion.to_string(), "error": why}),
    };
    json!({
        "motion": motion.to_string(),
        "frequency_hz": found.frequency_hz.map(|f| f.0),
        "standard_uncertainty_hz": found.frequency_hz.map(|f| f.1),
        "amplitude_a": found.amplitude_a,
        "signal_to_noise": found.signal_to_noise,
        "false_alarm_probability": found.false_alarm_probability,
        "cycles_seen": found.cycles_seen,
        "aliases_hz": found.aliases_hz,
        "remarks": found.remarks,
    })
}

fn line_words(line: &RippleLine) -> String {
    format!(
        "  ripple: line at {}, {:.2} % of the back-EMF, {:.0} times the noise in power, seen over {:.0} cycles",
        write(
            line.cycles_per_volt_second,
            Some(line.standard_uncertainty),
            "cycles per V·s",
            Scale::Plain
        ),
        100.0 * line.relative_amplitude,
        line.signal_to_noise,
        line.cycles_seen
    )
}

fn ripple_document(ripple: &Result<RippleResult, String>) -> Value {
    let result = match ripple {
        Ok(result) => result,
        Err(why) => return json!({"error": why}),
    };
    json!({
        "false_alarm_rate": result.false_alarm_rate,
        "line": result.line.as_ref().map(|line| json!({
            "cycles_per_volt_second": line.cycles_per_volt_second,
            "standard_uncertainty": line.standard_uncertainty,
            "harmonic_of_revolution": line.harmonic_of_revolution,
            "relative_amplitude": line.relative_amplitude,
            "signal_to_noise": line.signal_to_noise,
            "cycles_seen": line.cycles_seen,
            "false_alarm_probability": line.false_alarm_probability,
        })),
        "candidates": result.candidates.iter().map(|c| json!({
            "segments": c.segments,
            "cycles_per_revolution": c.cycles_per_revolution,
            "back_emf_constant_v_s_per_rad": c.back_emf_constant_v_s_per_rad,
            "standard_uncertainty": c.standard_uncertainty,
            "probability": c.probability,
            "constant_probability": c.constant_probability,
        })).collect::<Vec<_>>(),
        "revolutions": result.revolutions,
        "stretch_s": [result.stretch_s.0, result.stretch_s.1],
        "standstill_s": result.standstill_s,
        "remarks": result.remarks,
    })
}
