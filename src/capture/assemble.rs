//! A table and its layout to a [`Record`]: time judged, units applied, what the preamble says compared, warnings worded.

use super::error::ReadError;
use super::layout::{self, Cells, Layout, RecordFacts, Role, TableChannel};
use super::options::{ReadOptions, TimeGaps};
use super::record::{Channel, Record, TimeAxis};
use super::rows::{BadCells, RawColumn, Table};
use super::time::{self, TimeColumn, TimeFacts, TimeFault};
use super::time_unit::{self, TimeUnit};
use super::unit;
use super::warnings::{self, Place, Warning};
use std::path::Path;

/// What is put together.
struct Assembly<'a> {
    path: &'a Path,
    place: Place,
    layout: Layout,
    facts: RecordFacts,
    options: &'a ReadOptions,
    /// How the layout was recognised, one sentence a rule.
    why: Vec<String>,
    warnings: Vec<Warning>,
}

/// Puts the record together; its hash is still missing. `why` says so far how the layout was recognised.
///
/// # Errors
/// Times that go back, an interval that is none, and columns in which most cells are no numbers.
pub(super) fn assemble(
    path: &Path,
    table: Table,
    layout: Layout,
    why: Vec<String>,
    options: &ReadOptions,
) -> Result<Record, ReadError> {
    let assembly = Assembly {
        path,
        place: Place::new(path),
        facts: RecordFacts::gather(&layout.facts, layout.dialect.decimal),
        layout,
        options,
        why,
        warnings: Vec::new(),
    };
    assembly.record(table)
}

impl Assembly<'_> {
    fn record(mut self, mut table: Table) -> Result<Record, ReadError> {
        let time = self.time_axis(&mut table)?;
        warnings::of_table(&self.place, &table, &self.layout, &mut self.warnings);
        self.check_length(&table);
        let columns = std::mem::take(&mut table.values);
        let bad_cells: Vec<_> = columns.iter().map(|c| c.bad.clone()).collect();
        let channels = channels(columns, &self.layout);
        self.check_channels(&channels, &bad_cells, &table)?;
        let mut columns = self.layout.columns.into_iter();
        let time_column = columns.find(|c| c.role == Role::Time);
        Ok(Record {
            path: self.path.to_path_buf(),
            layout: self.why,
            preamble: self.layout.facts,
            time,
            time_name: time_column.and_then(|c| c.name),
            first_data_line: self.layout.first_line,
            channels,
            warnings: self.warnings,
            parts: Vec::new(),
            sha256: String::new(),
        })
    }

    /// Judges the times; rows that go are taken out of the table.
    fn time_axis(&mut self, table: &mut Table) -> Result<TimeAxis, ReadError> {
        self.check_interval()?;
        let column = table.time.take();
        let role = |column: usize| self.layout.columns[column].role;
        let mut facts = TimeFacts {
            rows: table.rows,
            counted: column
                .as_ref()
                .is_some_and(|c| role(c.column) == Role::Index),
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
            let count = table.rows - kept.len();
            let missing = warnings::time_missing(&self.place, table, count);
            self.warnings.push(missing);
            table.keep(&kept);
            facts.rows = table.rows;
        }
        let unit = column
            .as_ref()
            .filter(|_| !facts.counted)
            .map(|c| time_unit::of_column(c, &self.layout));
        facts.unit = unit.as_ref().and_then(TimeUnit::unit);
        let mut found = facts.axis(column.as_ref());
        if matches!(unit, Some(TimeUnit::Epoch(_) | TimeUnit::SerialDays(_)))
            && self.options.start_s.is_none()
        {
            time::shift(&mut found.axis, 0.0);
        }
        self.tell_time_unit(unit, column.as_ref());
        self.why.extend(found.how);
        for fault in &found.faults {
            if let TimeFault::Backwards {
                row,
                from_s,
                to_s,
                places,
                pattern,
            } = *fault
                && self.options.time_gaps == TimeGaps::Keep
            {
                return Err(ReadError::TimeBackwards {
                    path: self.path.to_path_buf(),
                    line: table.lines.line(row),
                    from: from_s,
                    to: to_s,
                    places,
                    pattern,
                });
            }
            let warning = warnings::of_time(&self.place, &table.lines, fault);
            self.warnings.push(warning);
        }
        if let Some(kept) = found.kept {
            if let TimeAxis::Listed(times) = &found.axis
                && let [time_s] = times[..]
                && table.rows > 1
            {
                return Err(ReadError::OneTime {
                    path: self.path.to_path_buf(),
                    line: table.lines.line(0),
                    rows: table.rows,
                    time_s,
                });
            }
            table.keep(&kept);
        }
        self.check_stated_interval(found.typical_step_s);
        if matches!(found.axis, TimeAxis::Absent { .. }) {
            let absent = warnings::time_absent(&self.place, self.layout.first_line);
            self.warnings.push(absent);
        }
        Ok(found.axis)
    }

    /// Says where the unit of time comes from, where the file does not state it.
    fn tell_time_unit(&mut self, unit: Option<TimeUnit>, column: Option<&TimeColumn>) {
        let given = self.options.interval_s.is_some();
        if let (Some(unit), Some(column), false) = (unit, column, given) {
            let at = column.column;
            let name = self.layout.columns[at].name.as_deref();
            let line = self.layout.first_line;
            let warning = warnings::time_unit(&self.place, line, (at + 1, name), &unit);
            self.warnings.extend(warning);
        }
        let used = self
            .facts
            .interval_s
            .filter(|_| !given && unit_unknown(column, &self.layout));
        if let (Some((interval, line)), true) = (used, self.facts.interval_unit_unsure) {
            let warning = warnings::interval_unit(&self.place, line, interval);
            self.warnings.push(warning);
        }
        if let (Some((one, line)), Some((other, _))) = (used, self.facts.other_interval_s) {
            let warning = warnings::intervals_disagree(&self.place, line, one, other);
            self.warnings.push(warning);
        }
    }

    fn check_interval(&self) -> Result<(), ReadError> {
        let good = |interval: &f64| *interval > 0.0 && interval.is_finite();
        match self.options.interval_s.filter(|interval| !good(interval)) {
            Some(interval) => Err(ReadError::Option {
                path: self.path.to_path_buf(),
                option: "--interval",
                value: format!("{interval} s"),
                reason: "a sampling interval is positive".to_string(),
            }),
            None => Ok(()),
        }
    }

    /// Compares the interval that the preamble states with that of the times.
    fn check_stated_interval(&mut self, found: Option<f64>) {
        if let (Some((stated, line)), Some(found)) = (self.facts.interval_s, found)
            && (stated - found).abs() > 0.01 * found
        {
            let warning = warnings::interval_contradicts(&self.place, line, stated, found);
            self.warnings.push(warning);
        }
    }

    fn check_length(&mut self, table: &Table) {
        if let Some((length, line)) = self.facts.length
            && length != table.rows as f64
        {
            let warning = warnings::record_length(&self.place, line, length, table.rows);
            self.warnings.push(warning);
        }
    }

    /// Words what is wrong in the channels; `bad_cells` stand beside them.
    fn check_channels(
        &mut self,
        channels: &[Channel],
        bad_cells: &[Option<BadCells>],
        table: &Table,
    ) -> Result<(), ReadError> {
        let rows = table.rows;
        let filled = channels.iter().filter(|c| c.missing < rows).count();
        for channel in channels {
            let warning = warnings::of_channel(&self.place, channel, &table.lines, rows, filled);
            self.warnings.extend(warning);
            let codes = warnings::codes(&self.place, self.layout.first_line, channel);
            self.warnings.extend(codes);
        }
        let decimal = self.layout.dialect.decimal;
        for (bad, channel) in bad_cells.iter().zip(channels) {
            let Some(bad) = bad else {
                continue;
            };
            if bad.count * 2 > rows && channel.missing < rows {
                return Err(ReadError::NotANumber {
                    path: self.path.to_path_buf(),
                    line: bad.line,
                    column: channel.column,
                    name: channel.name.clone(),
                    text: bad.text.clone(),
                    decimal: decimal as char,
                    count: bad.count,
                });
            }
            let warning = warnings::bad_cells(&self.place, bad, channel, decimal);
            self.warnings.push(warning);
        }
        Ok(())
    }
}

/// True where the times come from the stated interval alone.
fn unit_unknown(column: Option<&TimeColumn>, layout: &Layout) -> bool {
    column.is_none_or(|c| layout.columns[c.column].role == Role::Index)
}

/// Whole numbers over several steps, though a step of the converter is another number than one.
fn may_be_codes(values: &[f64], step: f64) -> bool {
    let mut known = values.iter().filter(|v| v.is_finite()).peekable();
    let largest = known.clone().fold(0.0, |a: f64, v| a.max(v.abs()));
    step > 0.0
        && step != 1.0
        && largest >= 8.0
        && known.peek().is_some()
        && known.all(|v| v.fract() == 0.0)
}

/// The columns with their names, in SI units.
fn channels(columns: Vec<RawColumn>, layout: &Layout) -> Vec<Channel> {
    let in_table: Vec<TableChannel> = columns
        .iter()
        .map(|raw| TableChannel {
            column: raw.column,
            name: layout.columns[raw.column]
                .name
                .as_deref()
                .unwrap_or_default(),
        })
        .collect();
    let stated = layout::of_channels(&layout.facts, &in_table, layout.dialect.decimal);
    columns
        .into_iter()
        .zip(stated)
        .map(|(raw, stated)| {
            let column = &layout.columns[raw.column];
            let unit_text = column.unit_text.clone().or(stated.unit_text);
            let unit = unit_text.as_deref().and_then(|u| unit::parse(u, false));
            let mut values = raw.values;
            let in_si = raw.cells == Cells::Quantities;
            if let Some(unit) = unit.filter(|u| !u.is_plain() && !in_si) {
                values.iter_mut().for_each(|v| *v = unit.to_si(*v));
            }
            let mut facts = stated.facts;
            facts.code_step = facts.code_step.filter(|step| may_be_codes(&values, *step));
            let unit = unit.filter(|_| facts.code_step.is_none());
            let name = column.name.clone().or(stated.name);
            Channel {
                name: name.unwrap_or_else(|| format!("column {}", raw.column + 1)),
                column: raw.column + 1,
                unit_text,
                unit: unit.map(|u| u.symbol.to_string()),
                values,
                missing: raw.missing,
                overrange: raw.overrange,
                facts,
            }
        })
        .collect()
}
