//! The kinds of warnings, each with a short name that stays the same.

use std::fmt;

/// What a [`Warning`](super::Warning) is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum WarningKind {
    /// Many rows share one printed time.
    TimeCoarse,
    /// A few times occur twice.
    TimeRepeated,
    /// Samples are missing.
    TimeGap,
    /// Time goes back.
    TimeBackwards,
    /// The steps of time differ.
    TimeUneven,
    /// Only the longest stretch is kept.
    TimeCut,
    /// The file has no time.
    TimeAbsent,
    /// Rows without a time are left out.
    TimeMissing,
    /// A second column of time differs from the first.
    TimeColumnsDiffer,
    /// The preamble states another sampling interval than the times show.
    IntervalContradicts,
    /// The preamble states another number of rows.
    RecordLength,
    /// The last row is incomplete.
    RowTruncated,
    /// The layout changes in mid-file.
    LayoutChange,
    /// Rows do not fit the table.
    BadRows,
    /// Text under the table.
    Footer,
    /// A column without numbers.
    NoNumbers,
    /// Cells marked as beyond the range.
    Overrange,
    /// Text in a column of numbers.
    NotANumber,
}

impl WarningKind {
    /// Stable short name, e.g. `time-gap`.
    pub fn name(self) -> &'static str {
        match self {
            WarningKind::TimeCoarse => "time-coarse",
            WarningKind::TimeRepeated => "time-repeated",
            WarningKind::TimeGap => "time-gap",
            WarningKind::TimeBackwards => "time-backwards",
            WarningKind::TimeUneven => "time-uneven",
            WarningKind::TimeCut => "time-cut",
            WarningKind::TimeAbsent => "time-absent",
            WarningKind::TimeMissing => "time-missing",
            WarningKind::TimeColumnsDiffer => "time-columns-differ",
            WarningKind::IntervalContradicts => "interval-contradicts",
            WarningKind::RecordLength => "record-length",
            WarningKind::RowTruncated => "row-truncated",
            WarningKind::LayoutChange => "layout-change",
            WarningKind::BadRows => "bad-rows",
            WarningKind::Footer => "footer",
            WarningKind::NoNumbers => "no-numbers",
            WarningKind::Overrange => "overrange",
            WarningKind::NotANumber => "not-a-number",
        }
    }

    /// True when the record should not be trusted without a look.
    pub fn is_doubtful(self) -> bool {
        matches!(
            self,
            WarningKind::TimeCoarse
                | WarningKind::TimeBackwards
                | WarningKind::LayoutChange
                | WarningKind::NotANumber
                | WarningKind::BadRows
        )
    }
}

impl fmt::Display for WarningKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
