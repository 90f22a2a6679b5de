//! A judgement as text.

use super::conformity::{Rule, Verdict};
use super::consistency::{Relation, Standing};
use super::entry::Entry;
use super::finding::{Finding, Judgement};
use crate::quantity::align;
use crate::quantity::rounding::{self, Scale};
use crate::quantity::units::{self, Unit};
use std::fmt::Write;

/// Renders a judgement; ends in a line feed. With `details` the rule, what was assumed, every relation of the sheet with itself, and
/// what would decide each undecided entry.
pub fn render(judgement: &Judgement, details: bool) -> String {
    let mut text = String::new();
    let sheet = judgement.sheet.as_deref().unwrap_or("datasheet");
    let mut conditions = vec![format!("{} °C", judgement.reference_temperature_c)];
    if let Some(voltage) = judgement.nominal_voltage_v {
        conditions.insert(0, format!("{voltage} V"));
    }
    let conditions = conditions.join(", ");
    let _ = writeln!(text, "{} against {sheet}, at {conditions}", judgement.motor);
    if details {
        rule(&mut text, judgement);
    }
    text.push('\n');
    table(&mut text, judgement);
    text.push('\n');
    remarks(&mut text, judgement, details);
    consistency(&mut text, judgement, details);
    counts(&mut text, judgement, details);
    text
}

/// How verdicts are reached, and what was assumed.
fn rule(text: &mut String, judgement: &Judgement) {
    let _ = match judgement.rule {
        Rule::Guarded(risk) => writeln!(
            text,
            "rule: guard bands on both sides, risk of a wrong verdict at most {} % each (JCGM 106:2012, 8.3)",
            percent(risk)
        ),
        Rule::Simple => writeln!(
            text,
            "rule: simple acceptance, no guard band; near a limit up to one verdict in two is wrong (JCGM 106:2012, 8.2)"
        ),
    };
    let drawn = judgement
        .findings
        .iter()
        .filter_map(|finding| finding.draws);
    if let Some(most) = drawn.clone().max() {
        let digits = judgement.findings.iter().filter_map(|f| f.stable_digits);
        let _ = writeln!(
            text,
            "Monte Carlo: {most} draws for an entry at most, seed {}; {} of {} entries stable to two digits of the uncertainty (JCGM 101:2008, 7.9)",
            judgement.seed,
            digits.filter(|digits| *digits == 2).count(),
            drawn.count()
        );
    }
    for assumption in &judgement.assumptions {
        let _ = writeln!(text, "assumed: {assumption}");
    }
}

fn table(text: &mut String, judgement: &Judgement) {
    let heads = ["", "datasheet", "measured", "p", "verdict"].map(str::to_owned);
    let mut rows = vec![heads];
    rows.extend(judgement.findings.iter().map(cells));
    align(text, "", &rows);
}

/// Why entries are not judged or undecided, the same reason once.
fn remarks(text: &mut String, judgement: &Judgement, details: bool) {
    let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
    for finding in &judgement.findings {
        let Some(reason) = &finding.remark else {
            continue;
        };
        let words = finding.entry.words();
        match reasons.iter_mut().find(|(other, _)| other == reason) {
            Some((_, entries)) => entries.push(words),
            None => reasons.push((reason, vec![words])),
        }
    }
    for (reason, entries) in reasons {
        let _ = writeln!(text, "{}: {reason}", entries.join(", "));
    }
    let needed = judgement.findings.iter().filter_map(needed);
    for line in needed.filter(|_| details) {
        let _ = writeln!(text, "{line}");
    }
}

/// The standard uncertainty that would decide an entry.
fn needed(finding: &Finding) -> Option<String> {
    let unit = sheet_unit(finding.entry, finding.unit);
    let predicted = finding.predicted?;
    let digits = |si: f64| {
        let number = unit.uncertainty_from_si(predicted, si);
        rounding::round(number, Some(number), Scale::Plain).value
    };
    Some(format!(
        "{}: a standard uncertainty of {} {} instead of {} {} would decide it",
        finding.entry.words(),
        digits(finding.needed_standard_uncertainty?),
        unit.text,
        digits(finding.standard_uncertainty?),
        unit.text
    ))
}

fn counts(text: &mut String, judgement: &Judgement, details: bool) {
    let undecided = judgement.count(Verdict::CannotTellYet);
    let not_judged = judgement
        .findings
        .iter()
        .filter(|f| f.verdict.is_none())
        .count();
    let parts: Vec<String> = [
        (judgement.count(Verdict::Agrees), ["agrees", "agree"]),
        (
            judgement.count(Verdict::Disagrees),
            ["disagrees", "disagree"],
        ),
        (undecided, ["undecided"; 2]),
        (not_judged, ["not judged"; 2]),
    ]
    .iter()
    .filter(|(n, _)| *n > 0)
    .map(|(n, [one, several])| format!("{n} {}", if *n == 1 { one } else { several }))
    .collect();
    let hint = match undecided > 0 && !details {
        true => "; what would decide: --details",
        false => "",
    };
    let _ = writeln!(text, "result: {}{hint}", parts.join(", "));
}

fn percent(share: f64) -> f64 {
    (share * 1e5).round() / 1e3
}

/// The sheet against itself: what contradicts always, what agrees with the details.
fn consistency(text: &mut String, judgement: &Judgement, details: bool) {
    let consistency = &judgement.consistency;
    let odd: Vec<&Relation> = consistency
        .relations
        .iter()
        .filter(|relation| match relation.standing {
            Standing::Consistent => false,
            Standing::Inconsistent => true,
            _ => details,
        })
        .collect();
    if odd.is_empty() {
        if details {
            let _ = match consistency.relations.len() {
                0 => writeln!(
                    text,
                    "The datasheet states too little to be checked against itself."
                ),
                1 => writeln!(
                    text,
                    "The datasheet agrees with itself in the one relation checked."
                ),
                n => writeln!(
                    text,
                    "The datasheet agrees with itself in all {n} relations checked."
                ),
            };
        }
        return;
    }
    for relation in odd {
        let gap = 100.0 * (relation.ratio - 1.0);
        let (head, how) = match relation.standing {
            Standing::Inconsistent => (
                "The datasheet contradicts itself",
                "is not met, even within the stated tolerances",
            ),
            _ => (
                "The datasheet",
                "is met only with the stated tolerances used up",
            ),
        };
        let _ = writeln!(
            text,
            "{head}: {} {how}; the left side is {gap:+.1} % off ({:.0} % allowed)",
            relation.formula,
            100.0 * relation.allowance
        );
    }
    if !consistency.suspects.is_empty() {
        let names: Vec<String> = consistency.suspects.iter().map(|e| e.words()).collect();
        let _ = writeln!(text, "Ask the vendor first about: {}", names.join(", "));
    }
}

fn sheet_unit(entry: Entry, text: &str) -> &'static Unit {
    units::find(entry.quantity(), text).unwrap_or_else(|_| units::si(entry.quantity()))
}

fn cells(finding: &Finding) -> [String; 5] {
    let unit = sheet_unit(finding.entry, finding.unit);
    let motor = match (finding.predicted, finding.standard_uncertainty) {
        (Some(predicted), Some(uncertainty)) => rounding::concise(
            unit.from_si(predicted),
            unit.uncertainty_from_si(predicted, uncertainty),
            unit.text,
            Scale::Plain,
        ),
        _ => "-".to_owned(),
    };
    let probability = finding
        .conformance_probability
        .map_or("-".to_owned(), probability_text);
    [
        finding.entry.words(),
        finding.printed.clone(),
        motor,
        probability,
        finding
            .verdict
            .map_or("not judged", Verdict::words)
            .to_owned(),
    ]
}

/// Never rounds to a certainty that is not there.
fn probability_text(probability: f64) -> String {
    if probability > 0.995 {
        ">0.99".to_owned()
    } else if probability < 0.005 {
        "<0.01".to_owned()
    } else {
        format!("{probability:.2}")
    }
}
