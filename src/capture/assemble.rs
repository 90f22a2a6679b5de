//! A table and its layout to a [`Record`]: time judged, units applied, what the preamble says compared, warnings worded.

use super::channels::{channels, check_channels};
use super::envelope;
use super::error::ReadError;
use super::layout::{Layout, RecordFacts, Role};
use super::options::{ReadOptions, TimeGaps};
use super::record::{Record, TimeAxis};
use super::rows::{self, Table};
use super::time::{self, TimeColumn, TimeFacts, TimeFault, TimeUnit};
use super::warnings::{WarningKind, Warnings, brief};
use std::path::Path;

/// What is put together.
struct Assembly<'a> {
    layout: Layout,
    facts: RecordFacts,
    options: &'a ReadOptions,
    /// How the layout was recognised, one sentence a rule.
    why: Vec<String>,
    warnings: Warnings<'a>,
}

/// Puts the record together; its hash is still missing. `why` says so far how the layout was recognised.
///
/// # Errors
/// Times that go back, an interval that is none, and columns in which most cells are no numbers.
pub(super) fn assemble(
    path: &Path,
    mut table: Table,
    layout: Layout,
    why: Vec<String>,
    options: &ReadOptions,
) -> Result<Record, ReadError> {
    let all = Vec::new();
    let mut assembly = Assembly {
        facts: RecordFacts::gather(&layout.facts, layout.dialect.decimal),
        layout,
        options,
        why,
        warnings: Warnings { path, all },
    };
    let mut time = assembly.time_axis(&mut table)?;
    let Assembly {
        layout,
        facts,
        why,
        mut warnings,
        ..
    } = assembly;
    rows::warn_of_table(&table, &layout, &mut warnings);
    if let Some((length, line)) = facts.length
        && length != table.rows as f64
    {
        let text = format!(
            "the preamble announces {length} samples, {} rows are here. The rows are used; export the whole record if the rest is wanted",
            table.rows
        );
        warnings.push(WarningKind::RECORD_LENGTH, line, None, text);
    }
    let columns = std::mem::take(&mut table.values);
    let bad_cells: Vec<_> = columns.iter().map(|c| c.bad.clone()).collect();
    let mut channels = channels(columns, &layout);
    check_channels(&channels, &bad_cells, &table, &layout, &mut warnings)?;
    if !options.envelope_columns
        && let Some((column, text)) = envelope::unfold(&mut channels, &mut time)
    {
        let line = layout.first_line;
        warnings.push(WarningKind::TIME_SHARED, line, column, text);
    }
    let mut columns = layout.columns.into_iter();
    let time_column = columns.find(|c| c.role == Role::Time);
    Ok(Record {
        path: path.to_path_buf(),
        layout: why,
        preamble: layout.facts,
        time,
        time_name: time_column.and_then(|c| c.name),
        first_data_line: layout.first_line,
        channels,
        warnings: warnings.all,
        parts: Vec::new(),
        sha256: String::new(),
    })
}

impl Assembly<'_> {
    /// Judges the times; rows that go are taken out of the table.
    fn time_axis(&mut self, table: &mut Table) -> Result<TimeAxis, ReadError> {
        let bad_interval = |interval: &f64| !(*interval > 0.0 && interval.is_finite());
        if let Some(interval) = self.options.interval_s.filter(bad_interval) {
            let text = format!("--interval {interval} s: a sampling interval is positive");
            return Err(ReadError::new(self.warnings.path, None, text));
        }
        let column = table.time.take();
        let role = |column: usize| self.layout.columns[column].role;
        let is_count = |c: &TimeColumn| role(c.column) == Role::Index;
        let mut facts = TimeFacts {
            rows: table.rows,
            counted: column.as_ref().is_some_and(is_count),
            unit: None,
            given_interval_s: self.options.interval_s,
            given_start_s: self.options.start_s,
            stated_interval_s: self.facts.interval_s.map(|(interval, _)| interval),
            stated_start_s: self.facts.start_s.map(|(start, _)| start),
            gaps: self.options.time_gaps,
        };
        let mut column = column.filter(|column| facts.takes(column));
        if let Some(column) = column.as_mut().filter(|c| c.missing > 0) {
            let kept = column.keep_finite();
            let text = format!(
                "{} rows have no time and are left out",
                table.rows - kept.len()
            );
            let line = table.lines.line(0);
            self.warnings
                .push(WarningKind::TIME_MISSING, line, None, text);
            table.keep(&kept);
            facts.rows = table.rows;
        }
        let unit = match column.as_ref().filter(|_| !facts.counted) {
            Some(column) => time::unit_of_column(column, &self.layout),
            None => TimeUnit::default(),
        };
        facts.unit = unit.unit;
        let mut found = facts.axis(column.as_ref());
        if unit.is_calendar && self.options.start_s.is_none() {
            time::shift(&mut found.axis, 0.0);
        }
        self.warn_of_units(unit, column.as_ref());
        self.why.extend(found.how);
        self.take_faults(found.faults, table)?;
        if let Some(kept) = found.kept {
            if let TimeAxis::Listed(times) = &found.axis
                && let [time_s] = times[..]
                && table.rows > 1
            {
                let text = format!(
                    "all {} rows carry the time {time_s} s, expected times that rise from row to row. Name another column of time with --time-column, or give the interval of the rows with --interval",
                    table.rows
                );
                return Err(ReadError::new(
                    self.warnings.path,
                    table.lines.line(0),
                    text,
                ));
            }
            table.keep(&kept);
        }
        self.check_stated_interval(found.typical_step_s);
        if matches!(found.axis, TimeAxis::Absent { .. }) {
            let text = "no time column and no sampling interval in the file; rows are only counted. Give the interval with --interval, the column with --time-column";
            let line = self.layout.first_line;
            self.warnings
                .push(WarningKind::TIME_ABSENT, line, None, text);
        }
        Ok(found.axis)
    }

    fn take_faults(&mut self, faults: Vec<TimeFault>, table: &Table) -> Result<(), ReadError> {
        for fault in faults {
            let line = fault.row.map(|row| table.lines.line(row));
            if fault.is_error && self.options.time_gaps == TimeGaps::Keep {
                return Err(ReadError::new(self.warnings.path, line, fault.text));
            }
            self.warnings.push(fault.kind, line, None, fault.text);
        }
        Ok(())
    }

    /// Says where the units of time come from, where the file does not state them.
    fn warn_of_units(&mut self, unit: TimeUnit, column: Option<&TimeColumn>) {
        let given = self.options.interval_s.is_some();
        if let (Some((kind, text)), Some(column), false) = (unit.warning, column, given) {
            let line = self.layout.first_line;
            self.warnings.push(kind, line, column.column + 1, text);
        }
        // The times come from the stated interval alone.
        let counted = column.is_none_or(|c| self.layout.columns[c.column].role == Role::Index);
        let Some((interval, line)) = self.facts.interval_s.filter(|_| !given && counted) else {
            return;
        };
        if self.facts.interval_unit_unsure {
            let text = format!(
                "the sampling interval is stated without a unit; {} s is assumed. Give it with --interval, e.g. --interval 10us",
                brief(interval)
            );
            self.warnings
                .push(WarningKind::TIME_UNIT_ASSUMED, line, None, text);
        }
        if let Some((other, _)) = self.facts.other_interval_s {
            let text = format!(
                "the settings state a sampling interval of {} s here and of {} s elsewhere; the first is used. Give the right one with --interval",
                brief(interval),
                brief(other)
            );
            self.warnings
                .push(WarningKind::INTERVALS_DISAGREE, line, None, text);
        }
    }

    /// Compares the interval that the preamble states with that of the times.
    fn check_stated_interval(&mut self, found: Option<f64>) {
        if let (Some((stated, line)), Some(found)) = (self.facts.interval_s, found)
            && (stated - found).abs() > 0.01 * found
        {
            let text = format!(
                "the preamble states a sampling interval of {} s, the time column runs in steps of {} s ({:.4} times as long). The time column is used; give --interval to overrule it",
                brief(stated),
                brief(found),
                found / stated
            );
            self.warnings
                .push(WarningKind::INTERVAL_CONTRADICTS, line, None, text);
        }
    }
}
