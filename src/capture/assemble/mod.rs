//! A table and its layout to a [`Record`]: time judged, units applied, what the preamble says compared, faults noted.

mod channels;
mod envelope;

use self::channels::{channels, check_channels};
use crate::capture::layout::{Layout, RecordFacts, Role};
use crate::capture::read::options::ReadOptions;
use crate::capture::record::error::ReadError;
use crate::capture::record::warnings::Warnings;
use crate::capture::record::{Record, TimeAxis};
use crate::capture::rows::{self, Table};
use crate::capture::time::{self, TimeColumn, TimeFacts, TimeFault, TimeUnit};
use crate::capture::wording::{LayoutRule, ReadErrorKind, WarningKind};
use std::path::Path;

/// What is put together.
struct Assembly<'a> {
    layout: Layout,
    facts: RecordFacts,
    options: &'a ReadOptions,
    /// How the layout was recognised.
    why: Vec<LayoutRule>,
    warnings: Warnings<'a>,
}

/// Puts the record together; its hash is still missing. `why` says so far how the layout was recognised.
///
/// # Errors
/// Times that go back, an interval that is none, and columns in which most cells are no numbers.
pub(in crate::capture) fn assemble(
    path: &Path,
    mut table: Table,
    layout: Layout,
    why: Vec<LayoutRule>,
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
    warn_of_options(options, layout.columns.len(), &mut warnings);
    rows::warn_of_table(&table, &layout, &mut warnings);
    let rows = table.rows;
    if let Some((announced, line)) = facts.length.filter(|(length, _)| *length != rows as f64) {
        let kind = WarningKind::RecordLength { announced, rows };
        warnings.push(line, None, kind);
    }
    let columns = std::mem::take(&mut table.values);
    let bad_cells: Vec<_> = columns.iter().map(|c| c.bad.clone()).collect();
    let mut channels = channels(columns, &layout);
    check_channels(&channels, &bad_cells, &table, &layout, &mut warnings)?;
    if !options.envelope_columns
        && let Some((column, kind)) = envelope::unfold(&mut channels, &mut time)
    {
        warnings.push(layout.first_line, column, kind);
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

/// Columns that an override names and the table has not.
fn warn_of_options(options: &ReadOptions, columns: usize, warnings: &mut Warnings) {
    let units = options
        .units
        .iter()
        .map(|(column, _)| ("--unit (`units` in a sheet)", *column));
    let codes = options.hex_columns.iter();
    let codes = codes.map(|column| ("--hex-column (`hex_columns`)", *column));
    let time = options
        .time_column
        .map(|column| ("--time-column (`time_column`)", column));
    for (option, number) in units.chain(codes).chain(time) {
        if number > columns {
            let kind = WarningKind::NoSuchColumn {
                option,
                number,
                columns,
            };
            warnings.push(None, None, kind);
        }
    }
}

impl Assembly<'_> {
    /// Judges the times; rows that go are taken out of the table.
    fn time_axis(&mut self, table: &mut Table) -> Result<TimeAxis, ReadError> {
        let bad_interval = |interval: &f64| !(*interval > 0.0 && interval.is_finite());
        let path = self.warnings.path;
        if let Some(interval_s) = self.options.interval_s.filter(bad_interval) {
            let kind = ReadErrorKind::Interval { interval_s };
            return Err(ReadError::new(path, None, kind));
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
            let rows = table.rows - kept.len();
            let line = table.lines.line(0);
            let kind = WarningKind::TimeMissing { rows };
            self.warnings.push(line, None, kind);
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
                let rows = table.rows;
                let kind = ReadErrorKind::EqualTimes { rows, time_s };
                return Err(ReadError::new(path, table.lines.line(0), kind));
            }
            table.keep(&kept);
        }
        self.check_stated_interval(found.typical_step_s);
        if matches!(found.axis, TimeAxis::Absent { .. }) {
            let line = self.layout.first_line;
            // A column that only rises is a count or a time, and no axis of an XY plot.
            let rises = |values: &[f64]| values.windows(2).all(|w| w[1] >= w[0]);
            let xy_plot = table.values.len() == 2 && !table.values.iter().any(|c| rises(&c.values));
            let kind = WarningKind::TimeAbsent { xy_plot };
            self.warnings.push(line, None, kind);
        }
        Ok(found.axis)
    }

    fn take_faults(&mut self, faults: Vec<TimeFault>, table: &Table) -> Result<(), ReadError> {
        for fault in faults {
            let line = fault.row.map(|row| table.lines.line(row));
            match fault.kind {
                Ok(kind) => self.warnings.push(line, None, kind),
                Err(kind) => return Err(ReadError::new(self.warnings.path, line, *kind)),
            }
        }
        Ok(())
    }

    /// Says where the units of time come from, where the file does not state them.
    fn warn_of_units(&mut self, unit: TimeUnit, column: Option<&TimeColumn>) {
        let given = self.options.interval_s.is_some();
        if let (Some(kind), Some(column), false) = (unit.warning, column, given) {
            let line = self.layout.first_line;
            self.warnings.push(line, column.column + 1, kind);
        }
        // The times come from the stated interval alone.
        let counted = column.is_none_or(|c| self.layout.columns[c.column].role == Role::Index);
        let Some((interval_s, line)) = self.facts.interval_s.filter(|_| !given && counted) else {
            return;
        };
        if self.facts.interval_unit_unsure {
            let kind = WarningKind::IntervalUnitNotStated { interval_s };
            self.warnings.push(line, None, kind);
        }
        if let Some((elsewhere_s, _)) = self.facts.other_interval_s {
            let here_s = interval_s;
            let kind = WarningKind::IntervalsDisagree {
                here_s,
                elsewhere_s,
            };
            self.warnings.push(line, None, kind);
        }
    }

    /// Compares the interval that the preamble states with that of the times.
    fn check_stated_interval(&mut self, found: Option<f64>) {
        if let (Some((stated_s, line)), Some(found_s)) = (self.facts.interval_s, found)
            && (stated_s - found_s).abs() > 0.01 * found_s
        {
            let kind = WarningKind::IntervalContradicts { stated_s, found_s };
            self.warnings.push(line, None, kind);
        }
    }
}
