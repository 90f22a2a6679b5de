//! The summary of a lot for the terminal.

use super::{ParameterSummary, Summary};
use crate::lot::Outlier;
use crate::motor_file::table::BenchUnit;
use crate::quantity::align;
use crate::quantity::rounding::{self, Scale, concise, write};
use std::fmt::Write;

/// Parameters named in the line of one outlier.
const REASONS: usize = 4;
/// Lines of outliers and of troubles.
const MOST: usize = 20;

/// Unit in which a parameter's values are written.
pub(super) fn unit(parameter: &ParameterSummary) -> BenchUnit {
    let mean = parameter.spread.as_ref().map_or(0.0, |s| s.mean.abs());
    BenchUnit::of(parameter.name, mean)
}

/// Unit in which its deviations are: percent where they are relative.
fn unit_of_deviation(parameter: &ParameterSummary) -> BenchUnit {
    match parameter.relative {
        true => BenchUnit {
            si: 0.01,
            text: "%".to_owned(),
        },
        false => unit(parameter),
    }
}

/// A deviation to two digits.
pub fn deviation(parameter: &ParameterSummary, value: f64) -> String {
    if value == 0.0 {
        return "not seen".to_owned();
    }
    let unit = unit_of_deviation(parameter);
    let value = value / unit.si;
    let mut rounded = rounding::round(value, Some(value.abs()), Scale::Plain);
    rounded.uncertainty = None;
    rounded.with_unit(&unit.text)
}

/// The page for the terminal, ending in a line feed.
pub fn render(summary: &Summary) -> String {
    let mut text = String::new();
    // Writing to a String cannot fail.
    let _ = writeln!(text, "{}", head(summary));
    if !summary.parameters.is_empty() {
        text.push('\n');
        table(&mut text, summary);
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
        "{} motor{}: {} OK, {} in conflict, {} failed",
        counts.motors,
        if counts.motors == 1 { "" } else { "s" },
        counts.stand,
        counts.doubtful,
        counts.failed
    )
}

/// Which parameters of an outlier, by how much.
pub fn reasons(summary: &Summary, outlier: &Outlier) -> String {
    let shown = outlier.findings.iter().take(REASONS).filter_map(|finding| {
        let mut parameters = summary.parameters.iter();
        let parameter = parameters.find(|p| p.name.key() == finding.parameter)?;
        let unit = BenchUnit::of(parameter.name, finding.value.abs());
        Some(format!(
            "{} {} {} is {:.1} standard deviations too {}",
            parameter.name.label(),
            rounding::significant(finding.value / unit.si, 3),
            unit.text,
            finding.sigmas.abs(),
            if finding.sigmas > 0.0 {
                "large"
            } else {
                "small"
            }
        ))
    });
    let mut text = shown.collect::<Vec<_>>().join("; ");
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

fn table(text: &mut String, summary: &Summary) {
    if summary.parameters.iter().all(|p| p.spread.is_none()) {
        text.push_str("no statistics: a spread needs three motors or more\n");
        return;
    }
    let mut rows = vec![["", "motors", "mean", "spread", "repeat", "drift"].map(str::to_owned)];
    rows.extend(summary.parameters.iter().map(|parameter| {
        let at = if parameter.at_25_c { " at 25 °C" } else { "" };
        // The unit of the mean is that of the whole row.
        let unit = format!(" {}", unit(parameter).text);
        let [motors, mean, spread, repeat, drift] = cells(summary, parameter);
        let [spread, repeat, drift] = [spread, repeat, drift].map(|cell| cell.replace(&unit, ""));
        let name = format!("{}{at}", parameter.name.symbol());
        [name, motors, mean, spread, repeat, drift]
    }));
    align(text, "", &rows);
    text.push_str(
        "spread: standard deviation between motors; repeat: standard uncertainty of one measurement; drift: first to last motor; * beyond chance; without %: in the unit of the mean\n",
    );
}

/// Motors, mean, spread, repeatability and drift of a parameter in common units.
pub fn cells(summary: &Summary, parameter: &ParameterSummary) -> [String; 5] {
    let Some(spread) = &parameter.spread else {
        let none = String::new;
        return [
            parameter.motors.to_string(),
            "too few motors".into(),
            none(),
            none(),
            none(),
        ];
    };
    let unit = unit(parameter);
    let drift = parameter.drift.as_ref().map(|d| {
        let seen = d.false_discovery_rate <= summary.false_discovery_rate;
        let mark = if seen { " *" } else { "" };
        let unit = unit_of_deviation(parameter);
        let uncertainty = Some(d.change_uncertainty / unit.si);
        let change = write(d.change / unit.si, uncertainty, &unit.text, Scale::Plain);
        format!("{change}{mark}")
    });
    [
        spread.motors.to_string(),
        concise(
            spread.mean / unit.si,
            spread.mean_uncertainty / unit.si,
            &unit.text,
            Scale::Plain,
        ),
        deviation(parameter, spread.deviation),
        deviation(parameter, spread.own_uncertainty),
        drift.unwrap_or_default(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lot::motors::lot;
    use crate::lot::summarise;

    #[test]
    fn deviations_are_percent_or_in_the_unit() {
        let gathered = lot(12, 2, |_, _| 0.0);
        let summary = summarise(&gathered, "shelf", 0.95).unwrap();
        let mut parameter = summary.parameters[0].clone();
        for (value, text) in [(0.0312, "3.1 %"), (0.0, "not seen"), (0.002, "0.20 %")] {
            assert_eq!(deviation(&parameter, value), text);
        }
        parameter.relative = false;
        assert_eq!(deviation(&parameter, 0.123), "0.12 Ω");
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
