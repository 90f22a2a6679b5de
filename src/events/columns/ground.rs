//! What shows which column holds the voltage, the current or something else, worded here; shares of 1.

use super::kind::ColumnKind;
use serde::Serialize;

/// What shows voltage and current. The text comes by `Display`, code, names and numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum ColumnGround {
    #[error("no channel holds numbers that may be volts or amperes{}. If one does, say so with --unit {column}=V or {column}=A", held(others))]
    NoneElectrical {
        column: usize,
        /// Column, name and kind of those that hold something else.
        others: Vec<(usize, String, ColumnKind)>,
    },
    #[error("`{name}` is the only channel with numbers and states {}", match current {
        true => "a current",
        false => "no current: taken as the voltage",
    })]
    OnlyOne { name: String, current: bool },
    #[error("the {what} in `{name}` is negative while the source drives: turn its polarity")]
    Negative { what: &'static str, name: String },
    #[error("`{name}` states volts but behaves as the current: divide by the shunt resistance or probe factor")]
    CurrentInVolts { name: String },
    #[error("{channels} channels, and neither unit nor name shows which of them are voltage and current. Name them, e.g. with --unit 2=V --unit 3=A")]
    TooMany { channels: usize },
    #[error("neither unit nor name nor behaviour shows a current; if `{name}` holds it, say so with --unit {column}=A")]
    NoCurrent { name: String, column: usize },
    #[error("`{name}` never changes while the voltage does: no current was recorded there (probe off or not connected)")]
    Silent { name: String },
    #[error("`{name}` is computed from `{}` and `{}` and is no current", of[0], of[1])]
    Computed { name: String, of: [String; 2] },
    #[error("units and names: `{voltage}` [{voltage_unit}] as voltage, `{current}` [{current_unit}] as current")]
    Stated { voltage: String, voltage_unit: String, current: String, current_unit: String },
    #[error("in the first rows `{voltage}` ripples by {:.1} % of its level and `{current}` by {:.1} %: the source holds the first", 100.0 * voltage_ripple, 100.0 * current_ripple)]
    SourceHolds { voltage: String, voltage_ripple: f64, current: String, current_ripple: f64 },
    #[error("`{current}` turns against its direction and comes back while `{voltage}` falls to zero: braking current")]
    Brakes { voltage: String, current: String },
    #[error("`{voltage}` steps up and stays, `{current}` peaks and falls to {:.0} % of its peak: inrush", 100.0 * kept)]
    Inrush { voltage: String, current: String, kept: f64 },
    #[error("`{voltage}` steps up within {voltage_rows} samples and `{current}` rises over {current_rows}: voltage step and current of a held rotor")]
    RisesSlowly { voltage: String, voltage_rows: usize, current: String, current_rows: usize },
    #[error("`{voltage}` jumps by {:.0} % of its range between samples, `{current}` by {:.0} %: inductance keeps the current from jumping", 100.0 * voltage_jump, 100.0 * current_jump)]
    Jumps { voltage: String, voltage_jump: f64, current: String, current_jump: f64 },
    #[error("`{current}` goes to zero at once and stays there while `{voltage}` fades: current and back-EMF of a run-down")]
    EndsFirst { voltage: String, current: String },
}

/// What shows that a column holds something else, as a clause.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum OtherGround {
    #[error("its name is \"{name}\"")]
    Name { name: String },
    #[error("its unit is \"{unit}\"")]
    Unit { unit: String },
    #[error("every value is {value}")]
    Constant { value: f64 },
    #[error("it holds 0 and 1 alone{}", rises.map_or(String::new(), |rises| format!(" and rises {rises} times")))]
    Binary { rises: Option<usize> },
    #[error("it counts whole numbers in one direction")]
    Counts,
    #[error("it rises {rises} times from one of two levels to the other")]
    TwoLevels { rises: usize },
}

/// What the columns hold instead, as the rest of a sentence.
fn held(others: &[(usize, String, ColumnKind)]) -> String {
    const MOST: usize = 3;
    let named = others.iter().take(MOST);
    let named = named.map(|(column, name, kind)| format!("column {column} \"{name}\": {kind}"));
    match others.is_empty() {
        true => String::new(),
        false => format!(" ({})", named.collect::<Vec<_>>().join(", ")),
    }
}
