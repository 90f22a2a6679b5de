//! Correlation of the parameters and the sources of their uncertainty.

use serde::Serialize;

/// Correlations of the parameters that have a value.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Correlation {
    /// Symbol and subscript of each parameter.
    pub symbols: Vec<(String, String)>,
    /// Name of each parameter.
    pub words: Vec<&'static str>,
    /// Rows of cells.
    pub cells: Vec<Vec<CorrelationCell>>,
    /// The same in words.
    pub description: String,
}

/// One cell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CorrelationCell {
    /// The coefficient.
    pub text: String,
    /// −4 to 4: its shade.
    pub step: i32,
}

/// Shares of each parameter's variance.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Budget {
    /// Sources in the order of their letters.
    pub sources: Vec<BudgetSource>,
    /// One row a parameter.
    pub rows: Vec<BudgetRow>,
    /// Lines of the table, grouped by parameter.
    pub lines: Vec<BudgetTableLine>,
}

/// One line of the table of a budget, as text.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetTableLine {
    /// Parameter with its combined standard uncertainty; empty on all but the first line of each.
    pub parameter: String,
    /// Source of uncertainty.
    pub source: String,
    /// Estimate of the input.
    pub estimate: String,
    /// Standard uncertainty of the input.
    pub uncertainty: String,
    /// Its distribution.
    pub distribution: &'static str,
    /// Sensitivity, SI units.
    pub sensitivity: String,
    /// Contribution to the standard uncertainty.
    pub contribution: String,
    /// Degrees of freedom.
    pub degrees: String,
}

/// A source of uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetSource {
    /// Letter in the bars.
    pub letter: char,
    /// Name of the source.
    pub name: String,
    /// 0 to 7: its shade.
    pub shade: usize,
}

/// One parameter's stacked bar.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetRow {
    /// Name of the parameter.
    pub words: &'static str,
    /// Shares, the largest first.
    pub segments: Vec<BudgetSegment>,
    /// The same in words.
    pub description: String,
}

/// One part of a stacked bar, in per cent of its width.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetSegment {
    /// Left end in percent.
    pub from: f64,
    /// Width in percent.
    pub width: f64,
    /// Letter of the source.
    pub letter: char,
    /// Which shade it has.
    pub shade: usize,
}
