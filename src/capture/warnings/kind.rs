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
    /// No unit of time is stated; seconds are assumed.
    TimeUnitAssumed,
    /// No unit of time is stated; the numbers show it.
    TimeUnitInferred,
    /// Every time occurs twice, or many rows share their time; all rows are kept.
    TimeShared,
    /// The rows were put in the order of their times.
    TimeSorted,
    /// The times of files of one capture differ.
    TimesAligned,
    /// Two settings state different sampling intervals.
    IntervalsDisagree,
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
    /// Rows of text within the table.
    TextRows,
    /// Zero bytes behind the text.
    Padding,
    /// Text under the table.
    Footer,
    /// A column without numbers.
    NoNumbers,
    /// Cells marked as beyond the range.
    Overrange,
    /// Text in a column of numbers.
    NotANumber,
    /// More names than columns.
    HeaderWider,
    /// Numbers that are codes of a converter by what the preamble states.
    Codes,
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
            WarningKind::TimeUnitAssumed => "time-unit-assumed",
            WarningKind::TimeUnitInferred => "time-unit-inferred",
            WarningKind::TimeShared => "time-shared",
            WarningKind::TimeSorted => "time-sorted",
            WarningKind::TimesAligned => "times-aligned",
            WarningKind::IntervalsDisagree => "intervals-disagree",
            WarningKind::TimeColumnsDiffer => "time-columns-differ",
            WarningKind::IntervalContradicts => "interval-contradicts",
            WarningKind::RecordLength => "record-length",
            WarningKind::RowTruncated => "row-truncated",
            WarningKind::LayoutChange => "layout-change",
            WarningKind::BadRows => "bad-rows",
            WarningKind::TextRows => "text-rows",
            WarningKind::Padding => "padding",
            WarningKind::Footer => "footer",
            WarningKind::NoNumbers => "no-numbers",
            WarningKind::Overrange => "overrange",
            WarningKind::NotANumber => "not-a-number",
            WarningKind::HeaderWider => "header-wider",
            WarningKind::Codes => "codes",
        }
    }

    /// True where nothing is asked of the reader: overrange cells are judged where events are found, a footer has no numbers.
    pub fn is_note(self) -> bool {
        matches!(
            self,
            WarningKind::Overrange
                | WarningKind::Footer
                | WarningKind::TextRows
                | WarningKind::TimeUnitInferred
                | WarningKind::TimeSorted
        )
    }

    /// True when the record should not be trusted without a look.
    pub fn is_doubtful(self) -> bool {
        matches!(
            self,
            WarningKind::TimeCoarse
                | WarningKind::TimeAbsent
                | WarningKind::TimeUnitAssumed
                | WarningKind::IntervalsDisagree
                | WarningKind::TimeBackwards
                | WarningKind::LayoutChange
                | WarningKind::NotANumber
                | WarningKind::BadRows
                | WarningKind::HeaderWider
                | WarningKind::Codes
        )
    }
}

impl fmt::Display for WarningKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
