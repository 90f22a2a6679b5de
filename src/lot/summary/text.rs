//! The summary of a lot for the terminal.

use super::{ParameterSummary, Summary};
use crate::lot::Outlier;
use crate::motor_file::table::BenchUnit;
use crate::quantity::rounding::{self, Scale, concise, superscript, write};
use std::fmt::Write;

/// Parameters named in the line of one outlier.
const REASONS: usize = 4;
/// Lines of outliers and of troubles.
const MOST: usize = 20;

/// A deviation or change: relative in percent, else in the unit.
pub fn amount(parameter: &ParameterSummary, value: f64, uncertainty: Option<f64>) -> String {
    if parameter.relative {
        write(
            100.0 * value,
            uncertainty.map(|u| 100.0 * u),
            "%",
            Scale::Plain,
        )
    } else {
        write(value, uncertainty, parameter.unit, Scale::Power)
    }
}

/// As [`amount`], without an uncertainty and to two digits.
pub fn short(parameter: &ParameterSummary, value: f64) -> String {
    let digits = |v: f64| {
        let magnitude = v.abs().log10().floor() as i32;
        let decimals = (1 - magnitude).clamp(0, 9) as usize;
        format!("{v:.decimals$}")
    };
    if value == 0.0 || !value.is_finite() {
        let unit = if parameter.relative {
            "%"
        } else {
            parameter.unit
        };
        return format!("{value} {unit}");
    }
    if parameter.relative {
        return format!("{} %", digits(100.0 * value));
    }
    // A power of ten that is a multiple of three, as everywhere.
    let power = 3 * (value.abs().log10() / 3.0).floor() as i32;
    if power == 0 {
        return format!("{} {}", digits(value), parameter.unit);
    }
    let raised = superscript(power);
    let scaled = digits(value / 10f64.powi(power));
    format!("{scaled} × 10{raised} {}", parameter.unit)
}

/// The page for the terminal, ending in a line feed.
pub fn render(summary: &Summary) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "{}", head(summary));
    let shown: Vec<&ParameterSummary> = summary.parameters.iter().collect();
    if !shown.is_empty() {
        text.push('\n');
        text.push_str(&table(summary, &shown));
    }
    if !summary.outliers.is_empty() {
        let _ = writeln!(
            text,
            "\noutliers (at most {:.0} % of them false):",
            100.0 * summary.false_discovery_rate
        );
        for outlier in summary.outliers.iter().take(MOST) {
            let _ = writeln!(
                text,
                "  {} ({}): {}",
                outlier.motor,
                outlier.named,
                reasons(summary, outlier)
            );
        }
        more(&mut text, summary.outliers.len());
    }
    if !summary.troubles.is_empty() {
        text.push_str("\nmotors without a result, or with one in conflict:\n");
        for trouble in summary.troubles.iter().take(MOST) {
            let _ = writeln!(
                text,
                "  {} ({}): {}: {}",
                trouble.motor,
                trouble.named,
                trouble.outcome,
                cut(&trouble.reason)
            );
        }
        more(
            &mut text,
            (summary.counts.doubtful + summary.counts.failed) as usize,
        );
    }
    text
}

/// How many motors, and what became of them.
pub fn head(summary: &Summary) -> String {
    let counts = &summary.counts;
    format!(
        "{} motors: {} OK, {} in conflict, {} failed",
        counts.motors, counts.stand, counts.doubtful, counts.failed
    )
}

/// Which parameters of an outlier, by how much.
pub fn reasons(summary: &Summary, outlier: &Outlier) -> String {
    let words: Vec<String> = outlier
        .findings
        .iter()
        .take(REASONS)
        .map(|finding| {
            let parameter = summary
                .parameters
                .iter()
                .find(|p| p.name.key() == finding.parameter);
            let (words, value) = match parameter {
                Some(p) => {
                    let unit = BenchUnit::of(p.name, finding.value.abs());
                    let value = rounding::significant(finding.value / unit.si, 3);
                    (p.name.label(), format!("{value} {}", unit.text))
                }
                None => (finding.parameter.as_str(), format!("{:e}", finding.value)),
            };
            format!(
                "{words} {value} is {:.1} standard deviations {}",
                finding.sigmas.abs(),
                if finding.sigmas > 0.0 {
                    "too large"
                } else {
                    "too small"
                }
            )
        })
        .collect();
    let mut text = words.join("; ");
    if outlier.findings.len() > REASONS {
        let _ = write!(text, "; and {} more", outlier.findings.len() - REASONS);
    }
    text
}

fn more(text: &mut String, total: usize) {
    if total > MOST {
        let _ = writeln!(text, "  and {} more, see motors.csv", total - MOST);
    }
}

fn cut(text: &str) -> String {
    let line: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.char_indices().nth(240) {
        Some((end, _)) => format!("{}...", &line[..end]),
        None => line,
    }
}

fn table(summary: &Summary, shown: &[&ParameterSummary]) -> String {
    let mut rows = vec![["", "motors", "mean", "spread", "repeat", "drift"].map(str::to_owned)];
    rows.extend(shown.iter().map(|parameter| short_row(summary, parameter)));
    let width = |column: usize| {
        let cells = rows.iter().map(|r| r[column].chars().count());
        cells.max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..6).map(width).collect();
    let mut text = String::new();
    for row in &rows {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:width$}"))
            .collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text.push_str(
        "spread: standard deviation between motors; repeat: standard uncertainty of one measurement; drift: first to last motor; * beyond chance\n",
    );
    text
}

/// Cells of one parameter on the terminal, in common units.
fn short_row(summary: &Summary, parameter: &ParameterSummary) -> [String; 6] {
    let at = if parameter.at_25_c { " at 25 °C" } else { "" };
    let name = format!("{}{at}", parameter.name.symbol());
    let Some(spread) = &parameter.spread else {
        let motors = parameter.motors.to_string();
        return [
            name,
            motors,
            "too few motors".into(),
            String::new(),
            String::new(),
            String::new(),
        ];
    };
    let unit = BenchUnit::of(parameter.name, spread.mean.abs());
    let (si, text) = match parameter.relative {
        true => (0.01, "%"),
        false => (unit.si, unit.text.as_str()),
    };
    let two_digits = |value: f64| {
        if value == 0.0 {
            return "not seen".to_owned();
        }
        let mut rounded = rounding::round(value / si, Some((value / si).abs()), Scale::Plain);
        rounded.uncertainty = None;
        rounded.with_unit(text)
    };
    let drift = parameter.drift.as_ref().map(|d| {
        let seen = d.false_discovery_rate <= summary.false_discovery_rate;
        let mark = if seen { " *" } else { "" };
        let change = write(
            d.change / si,
            Some(d.change_uncertainty / si),
            text,
            Scale::Plain,
        );
        format!("{change}{mark}")
    });
    [
        name,
        spread.motors.to_string(),
        concise(
            spread.mean / unit.si,
            spread.mean_uncertainty / unit.si,
            &unit.text,
            Scale::Plain,
        ),
        two_digits(spread.deviation),
        two_digits(spread.own_uncertainty),
        drift.unwrap_or_default(),
    ]
}

/// Cells of one parameter on the page.
pub fn row(summary: &Summary, parameter: &ParameterSummary) -> [String; 6] {
    let mut name = format!("{} {}", parameter.name.label(), parameter.name.symbol());
    if parameter.at_25_c {
        name.push_str(" at 25 °C");
    }
    let none = || "too few motors".to_owned();
    let (mean, spread, own) = match &parameter.spread {
        Some(s) => (
            write(
                s.mean,
                Some(s.mean_uncertainty),
                parameter.unit,
                Scale::Power,
            ),
            format!(
                "{} ({} to {})",
                short(parameter, s.deviation),
                short(parameter, s.deviation_lower),
                short(parameter, s.deviation_upper)
            ),
            short(parameter, s.own_uncertainty),
        ),
        None => (none(), String::new(), String::new()),
    };
    let drift = match &parameter.drift {
        Some(d) => {
            let seen = d.false_discovery_rate <= summary.false_discovery_rate;
            format!(
                "{}{}",
                amount(parameter, d.change, Some(d.change_uncertainty)),
                if seen { ", drifts" } else { "" }
            )
        }
        None => String::new(),
    };
    let used = parameter
        .spread
        .as_ref()
        .map_or(parameter.motors, |s| s.motors);
    [name, used.to_string(), mean, spread, own, drift]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::motors::lot;
    use crate::lot::summarise;

    #[test]
    fn amounts_are_written_as_everywhere() {
        let gathered = lot(12, 2, |_, _| 0.0);
        let summary = summarise(&gathered, "shelf", 0.95).unwrap();
        let mut parameter = summary.parameters[0].clone();
        for (value, text) in [
            (0.0312, "3.1 %"),
            (0.1234, "12 %"),
            (0.0, "0 %"),
            (0.002, "0.20 %"),
        ] {
            assert_eq!(short(&parameter, value), text);
        }
        parameter.relative = false;
        for (value, text) in [
            (2.34e-5, "23 × 10⁻⁶ Ω"),
            (0.5, "500 × 10⁻³ Ω"),
            (12.3, "12 Ω"),
            (0.0, "0 Ω"),
        ] {
            assert_eq!(short(&parameter, value), text);
        }
    }

    #[test]
    fn the_reason_of_an_outlier_names_parameter_and_distance() {
        let gathered = lot(30, 4, |k, p| if k == 3 && p == 2 { -0.4 } else { 0.0 });
        let summary = summarise(&gathered, "shelf", 0.95).unwrap();
        let text = render(&summary);
        let line = text
            .lines()
            .find(|l| l.contains("motor 3 "))
            .expect("a line");
        assert!(
            line.contains("(m3/bench.toml): back-EMF constant "),
            "{line}"
        );
        assert!(line.contains("standard deviations too small"), "{line}");
    }
}
