//! Uncertainty: correlations, the budget of each variance, and what to measure next.

use super::answer::symbol;
use super::context::{
    Budget, BudgetRow, BudgetSegment, BudgetSource, BudgetTableLine, Correlation, CorrelationCell,
    NextStep,
};
use crate::bench::{Bench, ErrorDistribution};
use crate::fit::Estimate;
use crate::motor_file::{BudgetLine, MotorFile, Parameter, ParameterName, Status, budget_lines};
use crate::next;
use crate::next::text::ranking::{changes, helpful};
use crate::quantity::rounding::{self, Scale};

/// Shades of the budget's sources; further sources share the last.
const SHADES: usize = 8;
/// Relative half width of the interval from which a measured parameter is worth sharpening.
const WIDE: f64 = 0.10;

/// Correlation of all parameters with a value; `None` for fewer than two.
pub fn correlation(file: &MotorFile) -> Option<Correlation> {
    let names: Vec<ParameterName> = file
        .covariance
        .order
        .iter()
        .copied()
        .filter(|&n| file.covariance.between(n, n).is_some_and(|v| v > 0.0))
        .collect();
    if names.len() < 2 {
        return None;
    }
    let between = |a, b| {
        if a == b {
            Some(1.0)
        } else {
            file.covariance.correlation(a, b)
        }
    };
    let cells = names
        .iter()
        .map(|&a| names.iter().map(|&b| cell(between(a, b))).collect())
        .collect();
    let mut pairs: Vec<(f64, ParameterName, ParameterName)> = Vec::new();
    for (k, &a) in names.iter().enumerate() {
        for &b in &names[k + 1..] {
            pairs.extend(between(a, b).map(|r| (r, a, b)));
        }
    }
    pairs.sort_by(|x, y| y.0.abs().total_cmp(&x.0.abs()));
    let strongest: Vec<String> = pairs
        .iter()
        .take(3)
        .map(|(r, a, b)| format!("{} and {} {}", a.label(), b.label(), signed(*r)))
        .collect();
    Some(Correlation {
        symbols: names.iter().map(|&n| symbol(n)).collect(),
        words: names.iter().map(|n| n.label()).collect(),
        cells,
        description: format!("Strongest: {}.", strongest.join("; ")),
    })
}

fn cell(r: Option<f64>) -> CorrelationCell {
    let Some(r) = r.filter(|r| r.is_finite()) else {
        return CorrelationCell {
            text: "–".into(),
            step: 0,
        };
    };
    CorrelationCell {
        text: signed(r),
        step: (r.clamp(-1.0, 1.0) * 4.0).round() as i32,
    }
}

/// Two decimals with a true minus sign and no zero in front of the point of a plain 1.
fn signed(r: f64) -> String {
    let text = format!("{:.2}", r.abs());
    if r < 0.0 && text != "0.00" {
        format!("−{text}")
    } else {
        text
    }
}

/// Stacked bars of every parameter that has a budget.
pub fn budget(file: &MotorFile) -> Budget {
    let mut weights: Vec<(String, f64)> = Vec::new();
    for parameter in file.parameters.values() {
        for (source, share) in &parameter.budget {
            match weights.iter_mut().find(|w| w.0 == *source) {
                Some(weight) => weight.1 += share,
                None => weights.push((source.clone(), *share)),
            }
        }
    }
    weights.sort_by(|a, b| b.1.total_cmp(&a.1));
    let sources: Vec<BudgetSource> = weights
        .into_iter()
        .enumerate()
        .map(|(k, (name, _))| BudgetSource {
            letter: char::from(b'A' + (k.min(25)) as u8),
            name,
            shade: k.min(SHADES - 1),
        })
        .collect();
    let rows = file
        .parameters
        .iter()
        .filter(|(_, p)| !p.budget.is_empty())
        .map(|(name, p)| budget_row(*name, p, &sources))
        .collect();
    Budget {
        sources,
        rows,
        lines: table_lines(file),
        certificates: file
            .certificates
            .iter()
            .map(|c| format!("{}: {c}", c.instrument))
            .collect::<Vec<_>>()
            .join("; "),
    }
}

/// The budget as a table (JCGM 100:2008, 7.2.7).
fn table_lines(file: &MotorFile) -> Vec<BudgetTableLine> {
    let number = |v: f64, unit: &str| rounding::write(v, None, unit, Scale::Power);
    let mut last = None;
    let one = |l: BudgetLine| {
        let parameter = file.parameters.get(&l.parameter);
        let combined = parameter.and_then(|p| p.value.zip(p.standard_uncertainty));
        let unit = l.parameter.si();
        let head = combined.filter(|_| last != Some(l.parameter));
        last = Some(l.parameter);
        BudgetTableLine {
            parameter: head.map_or_else(String::new, |(value, u)| {
                format!(
                    "{}: {}",
                    l.parameter.label(),
                    rounding::write(value, Some(u), unit, Scale::Power)
                )
            }),
            source: match &l.certificate {
                Some(certificate) => format!("{} ({certificate})", l.source),
                None => l.source,
            },
            estimate: l.estimate.map_or_else(String::new, |v| number(v, "")),
            uncertainty: l
                .standard_uncertainty
                .map_or_else(String::new, |u| number(u, "")),
            distribution: l.distribution.map_or("", ErrorDistribution::label),
            sensitivity: l.sensitivity.map_or_else(String::new, |c| number(c, unit)),
            contribution: number(l.contribution, unit),
            degrees: l
                .degrees_of_freedom
                .map_or("∞".into(), |d| format!("{d:.0}")),
        }
    };
    budget_lines(file).into_iter().map(one).collect()
}

fn budget_row(name: ParameterName, parameter: &Parameter, sources: &[BudgetSource]) -> BudgetRow {
    let mut from = 0.0;
    let mut segments = Vec::new();
    let mut shares: Vec<(&str, f64)> = Vec::new();
    for source in sources {
        let Some(&share) = parameter.budget.get(&source.name) else {
            continue;
        };
        let width = 100.0 * share;
        segments.push(BudgetSegment {
            from: (from * 100.0f64).round() / 100.0,
            width: (width * 100.0).round() / 100.0,
            letter: source.letter,
            shade: source.shade,
        });
        shares.push((&source.name, share));
        from += width;
    }
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    let top: Vec<String> = shares
        .iter()
        .take(3)
        .filter(|(_, share)| *share >= 0.005)
        .map(|(source, share)| format!("{:.0} % {source}", 100.0 * share))
        .collect();
    BudgetRow {
        words: name.label(),
        segments,
        description: top.join(", "),
    }
}

/// What is not determined and what would settle it, then the `ranked` captures; where none is, what is wide and what most of its uncertainty comes
/// from.
pub fn next_steps(file: &MotorFile, ranked: Vec<NextStep>) -> Vec<NextStep> {
    let mut steps: Vec<NextStep> = Vec::new();
    for (name, p) in file
        .parameters
        .iter()
        .filter(|(_, p)| p.status != Status::Measured)
    {
        if let Some(text) = p.suggestion.clone().filter(|t| !t.is_empty()) {
            add(&mut steps, name.label(), text);
        }
    }
    if !ranked.is_empty() {
        steps.extend(ranked);
        return steps;
    }
    for (name, p) in file
        .parameters
        .iter()
        .filter(|(_, p)| p.status == Status::Measured)
    {
        let (Some(value), Some(lower), Some(upper)) = (p.value, p.lower, p.upper) else {
            continue;
        };
        let half = 0.5 * (upper - lower) / value;
        let Some((source, share)) = p.budget.iter().max_by(|a, b| a.1.total_cmp(b.1)) else {
            continue;
        };
        if p.one_sided.is_none() && half.is_finite() && half > WIDE && !file_repeats(*name) {
            let text = match &p.suggestion {
                Some(text) if !text.is_empty() => text.clone(),
                _ => format!(
                    "known to ± {:.0} %; {:.0} % of that variance comes from {source}",
                    100.0 * half,
                    100.0 * share
                ),
            };
            add(&mut steps, name.label(), text);
        }
    }
    steps
}

/// Adds a step; one remedy is listed once.
fn add(steps: &mut Vec<NextStep>, about: &str, text: String) {
    match steps.iter_mut().find(|s| s.text == text) {
        Some(step) => step.about = format!("{}, {about}", step.about),
        None => steps.push(NextStep {
            about: about.to_owned(),
            text,
        }),
    }
}

/// Captures shown.
const SHOWN: usize = 3;

/// The captures that narrow the intervals most, as `rundown next` ranks them; none where no supply is known or it may not be touched.
pub fn ranked_steps(bench: &Bench, estimate: &Estimate) -> Vec<NextStep> {
    let supply_v = bench.motor.supply_v.or_else(|| next::driven_v(estimate));
    let Some(supply_v) = supply_v.filter(|v| next::refusal(*v).is_none()) else {
        return Vec::new();
    };
    let question = next::Question {
        goal: next::Goal::All,
        supply_v,
        size: next::Size::default(),
    };
    let ranking = next::rank(bench, estimate, &question);
    let best = helpful(&ranking).take(SHOWN);
    // No line of the page breaks within a change.
    let whole = |text: String| {
        let marks = [" ± ", " → ", " %"].into_iter();
        marks.fold(text, |text, mark| {
            text.replace(mark, &mark.replace(' ', "\u{a0}"))
        })
    };
    let steps = best.map(|ranked| NextStep {
        about: ranked.candidate.title.clone(),
        text: whole(changes(&ranked.after, &ranking)),
    });
    steps.collect()
}

/// The electrical twins of mechanical parameters would say the same twice.
fn file_repeats(name: ParameterName) -> bool {
    matches!(
        name,
        ParameterName::FrictionCurrent
            | ParameterName::ViscousConductance
            | ParameterName::InertiaCapacitance
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor_file::{Covariance, table::tests::empty};
    use approx::assert_relative_eq;

    fn two() -> MotorFile {
        let mut file = empty();
        let mut r = Parameter::measured(
            ParameterName::TerminalResistance,
            3.0,
            0.3,
            (2.4, 3.6),
            0.95,
        );
        r.budget = [
            ("noise and ripple".to_owned(), 0.25),
            ("gain of <shunt>".to_owned(), 0.75),
        ]
        .into();
        let l = Parameter::measured(
            ParameterName::ArmatureInductance,
            2e-3,
            1e-5,
            (1.98e-3, 2.02e-3),
            0.95,
        );
        file.parameters = [
            (ParameterName::TerminalResistance, r),
            (ParameterName::ArmatureInductance, l),
        ]
        .into();
        file.covariance = Covariance {
            order: vec![
                ParameterName::TerminalResistance,
                ParameterName::ArmatureInductance,
            ],
            matrix: vec![vec![0.09, -1.5e-6], vec![-1.5e-6, 1e-10]],
        };
        file
    }

    #[test]
    fn correlations_are_those_of_the_covariance() {
        let view = correlation(&two()).expect("two parameters");
        // -1.5e-6/(0.3 × 1e-5) = -0.5
        assert_eq!(
            view.cells[0][1],
            CorrelationCell {
                text: "−0.50".into(),
                step: -2
            }
        );
        assert_eq!(
            view.cells[1][1],
            CorrelationCell {
                text: "1.00".into(),
                step: 4
            }
        );
        assert!(
            view.description
                .contains("terminal resistance and armature inductance −0.50")
        );
        assert!(correlation(&empty()).is_none());
    }

    #[test]
    fn stacked_shares_fill_the_bar_in_the_order_of_the_letters() {
        let budget = budget(&two());
        assert_eq!(budget.sources[0].name, "gain of <shunt>");
        let row = &budget.rows[0];
        assert_eq!((row.segments[0].letter, row.segments[1].letter), ('A', 'B'));
        assert_relative_eq!(row.segments.iter().map(|s| s.width).sum::<f64>(), 100.0);
        assert_relative_eq!(row.segments[1].from, 75.0);
        assert_eq!(
            row.description,
            "75 % gain of <shunt>, 25 % noise and ripple"
        );
    }

    #[test]
    fn what_is_undetermined_comes_first_and_one_remedy_is_listed_once() {
        let mut file = two();
        for name in [ParameterName::BackEmfConstant, ParameterName::RotorInertia] {
            file.parameters.insert(
                name,
                Parameter::undetermined(name, "one tachometer reading"),
            );
        }
        let steps = next_steps(&file, Vec::new());
        assert_eq!(steps[0].about, "back-EMF constant, rotor inertia");
        assert_eq!(steps[0].text, "one tachometer reading");
        assert!(
            steps[1]
                .text
                .starts_with("known to ± 20 %; 75 % of that variance comes from gain of <shunt>"),
            "{}",
            steps[1].text
        );
        assert_eq!(steps.len(), 2);
    }
}
