//! A ranking as text.

use crate::fit::ExpectedUncertainty;
use crate::motor_file::ParameterName;
use crate::next::advice::Advice;
use crate::next::advice::scope::Settings;
use crate::next::advice::series::one_two_five_up;
use crate::next::ranking::{LITTLE, Now, Ranked, Ranking};
use crate::next::text::numbers::{amount, percent};
use crate::quantity::rounding::{self, Scale};
use std::fmt::Write;

/// Parameters named behind a candidate.
const NAMED: usize = 3;

/// Renders a ranking with the `explained` best candidates parts in full; ends in a line feed.
pub fn render(ranking: &Ranking, explained: usize) -> String {
    let mut text = String::new();
    let _ = writeln!(
        text,
        "what to measure next: {}\ngoal: {}; bounds are half widths of {} intervals",
        ranking.motor,
        ranking.goal,
        percent(ranking.level)
    );
    standing(&mut text, ranking);
    list(&mut text, ranking);
    together(&mut text, ranking);
    let best: Vec<&Ranked> = helpful(ranking).take(explained).collect();
    if !best.is_empty() {
        let _ = writeln!(text, "\nHow");
    }
    for (k, candidate) in best.iter().enumerate() {
        let _ = writeln!(text, "  {}. {}", k + 1, candidate.title);
        if let Some(needs) = &candidate.needs {
            let _ = writeln!(text, "     needs    {needs}");
        }
        if let Some(advice) = &candidate.advice {
            capture(&mut text, advice, None, "     ");
        }
        if let Some(how) = &candidate.how {
            let _ = writeln!(text, "     how      {how}");
        }
        for caution in &candidate.cautions {
            let _ = writeln!(text, "     caution  {caution}");
        }
    }
    // A hazard is beside every candidate that has one, explained or not.
    for candidate in helpful(ranking).skip(explained) {
        let role = candidate.advice.as_ref().map(|a| a.role);
        if matches!(role, Some("brake" | "locked-rotor")) {
            for caution in &candidate.cautions {
                let _ = writeln!(text, "caution: {}: {caution}", candidate.title);
            }
        }
    }
    for remark in &ranking.remarks {
        let _ = writeln!(text, "warning: {remark}");
    }
    if helpful(ranking).any(|c| c.noise_assumed) {
        let _ = writeln!(
            text,
            "note: marked *: no capture shows the noise of the channel, a usual one is assumed"
        );
    }
    let _ = writeln!(
        text,
        "note: expected from the information at the fitted point; how accurate this is: docs/next.md"
    );
    let _ = writeln!(
        text,
        "caution: {}",
        crate::drive::cautions::Caution::Codes.text()
    );
    text
}

/// The candidates that narrow the goal's intervals enough to be worth the shot.
pub fn helpful(ranking: &Ranking) -> impl Iterator<Item = &Ranked> {
    ranking.candidates.iter().filter(|c| c.score <= LITTLE)
}

fn standing(text: &mut String, ranking: &Ranking) {
    let _ = writeln!(text, "\nNow");
    let mut cells = Vec::new();
    for now in ranking.now.iter().filter(|n| n.wanted) {
        cells.push([
            label(now.parameter),
            bound_now(now, ranking.coverage_factor()),
            shares(now),
        ]);
    }
    align(text, &cells);
    let mut settled: Vec<(&str, Vec<&str>)> = Vec::new();
    for now in ranking.now.iter().filter(|n| n.wanted) {
        let Some(by) = now.settled_by.as_deref() else {
            continue;
        };
        match settled.iter_mut().find(|(other, _)| *other == by) {
            Some((_, names)) => names.push(symbol(now.parameter)),
            None => settled.push((by, vec![symbol(now.parameter)])),
        }
    }
    for (by, names) in settled {
        let _ = writeln!(text, "  to settle {}: {by}", names.join(", "));
    }
}

/// The sources that make up most of a variance.
fn shares(now: &Now) -> String {
    let mut parts = Vec::new();
    let mut sum = 0.0;
    for share in now.budget.iter().take(3) {
        if sum > 0.8 {
            break;
        }
        sum += share.share;
        parts.push(format!("{} {:.0} %", share.source, 100.0 * share.share));
    }
    parts.join(", ")
}

fn label(key: &str) -> String {
    ParameterName::from_key(key).map_or_else(
        || key.to_string(),
        |name| format!("{} {}", name.label(), name.symbol()),
    )
}

pub(super) fn symbol(key: &'static str) -> &'static str {
    ParameterName::from_key(key).map_or(key, ParameterName::symbol)
}

fn scale(unit: &str) -> Scale {
    if unit.contains('·') {
        Scale::Power
    } else {
        Scale::Prefix
    }
}

fn bound_now(now: &Now, z: f64) -> String {
    let (Some(value), Some(u), Some(upper)) = (now.value, now.standard_uncertainty, now.upper)
    else {
        return "undetermined".into();
    };
    if now.one_sided {
        let mut rounded = rounding::round(upper, Some(0.1 * upper), scale(now.unit));
        rounded.uncertainty = None;
        return format!("at most {}", rounded.with_unit(now.unit));
    }
    let mut rounded = rounding::round(value, Some(u), scale(now.unit));
    rounded.uncertainty = None;
    format!(
        "{} ± {}",
        rounded.with_unit(now.unit),
        percent(z * u / value.abs())
    )
}

fn list(text: &mut String, ranking: &Ranking) {
    let _ = writeln!(
        text,
        "\nWhat would help, best first (the intervals shrink to this share, geometric mean over the goal)"
    );
    for (k, candidate) in helpful(ranking).enumerate() {
        let mark = if candidate.noise_assumed { " *" } else { "" };
        let title = format!("{}{mark}", candidate.title);
        entry(text, k, &title, candidate.score, &candidate.after, ranking);
    }
    if helpful(ranking).next().is_none() {
        let _ = writeln!(
            text,
            "  nothing on the list brings the goal's bounds down by more than {:.0} %",
            100.0 * (1.0 - LITTLE)
        );
    }
    let little: Vec<&str> = ranking
        .candidates
        .iter()
        .filter(|c| c.score > LITTLE)
        .map(|c| c.title.as_str())
        .collect();
    if !little.is_empty() && little.len() < ranking.candidates.len() {
        let _ = writeln!(
            text,
            "  next to nothing for this goal: {}",
            little.join("; ")
        );
    }
}

fn together(text: &mut String, ranking: &Ranking) {
    if ranking.plan.len() < 2 {
        return;
    }
    let _ = writeln!(
        text,
        "\nThe best few together, each added to those before it"
    );
    for (k, step) in ranking.plan.iter().enumerate() {
        entry(text, k, &step.title, step.score, &step.after, ranking);
    }
}

/// A candidate and what it brings.
fn entry(
    text: &mut String,
    k: usize,
    title: &str,
    score: f64,
    after: &[ExpectedUncertainty],
    ranking: &Ranking,
) {
    let _ = writeln!(text, "  {:>2}  {title}", k + 1);
    let _ = writeln!(
        text,
        "      to {}: {}",
        percent(score),
        changes(after, ranking)
    );
}

/// What becomes of the goal's parameters: newly determined ones, then those that gain most.
pub fn changes(after: &[ExpectedUncertainty], ranking: &Ranking) -> String {
    let z = ranking.coverage_factor();
    let wanted: Vec<(&ExpectedUncertainty, &Now)> = after
        .iter()
        .zip(&ranking.now)
        .filter(|(_, now)| now.wanted)
        .collect();
    let determined = || wanted.iter().filter(|(a, _)| a.newly_determined);
    let mut fresh: Vec<String> = determined()
        .filter_map(|(a, _)| {
            Some(format!(
                "{} to ± {}",
                symbol(a.name),
                percent(z * a.relative?)
            ))
        })
        .collect();
    let limits: Vec<&str> = determined()
        .filter(|(a, _)| a.relative.is_none())
        .map(|(a, _)| symbol(a.name))
        .collect();
    if !limits.is_empty() {
        fresh.push(format!("{} to an upper limit", limits.join(" and ")));
    }
    let mut parts = Vec::new();
    if !fresh.is_empty() {
        parts.push(format!("becomes measured: {}", fresh.join(", ")));
    }
    let mut gains: Vec<(f64, String)> = wanted
        .iter()
        .filter_map(|(a, now)| {
            let ratio = a.ratio.filter(|r| *r < 0.97)?;
            let name = symbol(a.name);
            let parts = if now.one_sided || now.value == Some(0.0) {
                format!("{name} limit × {}", two_digits(ratio))
            } else {
                let before = z * now.standard_uncertainty? / now.value?.abs();
                format!("{name} ± {} → {}", percent(before), percent(before * ratio))
            };
            Some((ratio, parts))
        })
        .collect();
    gains.sort_by(|a, b| a.0.total_cmp(&b.0));
    let room = if fresh.is_empty() { NAMED } else { 1 };
    parts.extend(gains.into_iter().take(room).map(|g| g.1));
    parts.join(", ")
}

fn two_digits(ratio: f64) -> String {
    format!("{ratio:.2}")
}

/// How one capture is to be made, a line a topic. `shunt_ohm`: the current is then given as the volts across it, too.
pub fn capture(text: &mut String, advice: &Advice, shunt_ohm: Option<f64>, indent: &str) {
    let s = &advice.settings;
    let across = shunt_ohm.map_or(String::new(), |ohm| {
        format!(" ({} across the shunt)", capture_volts(s, ohm))
    });
    let _ = writeln!(
        text,
        "{indent}wiring   {} (docs/bench.md, section {})",
        advice.wiring, advice.section
    );
    let _ = writeln!(
        text,
        "{indent}CH1      0 to {}: {} a division",
        amount(s.voltage_v.highest, "V"),
        amount(s.voltage_v.per_division, "V")
    );
    let current = match advice.expected_current_a {
        Some(_) if s.current_a.lowest == 0.0 => format!(
            "0 to {}: {} a division{across}",
            amount(s.current_a.highest, "A"),
            amount(s.current_a.per_division, "A")
        ),
        Some(_) => format!(
            "{} to {}: {} a division{across}",
            amount(s.current_a.lowest, "A"),
            amount(s.current_a.highest, "A"),
            amount(s.current_a.per_division, "A")
        ),
        None => "unknown without R: begin with the largest range".into(),
    };
    let _ = writeln!(text, "{indent}CH2      {current}");
    let _ = writeln!(
        text,
        "{indent}time     {} a division for {} or more, {:.0} % before the trigger; {} ({} points) or faster",
        amount(s.per_division_s, "s"),
        amount(s.span_s, "s"),
        100.0 * s.pre_trigger_share,
        amount(s.sample_rate_hz, "samples/s").replace("samples/s", "S/s"),
        points(s.points)
    );
    let _ = writeln!(text, "{indent}trigger  {}", s.trigger);
    for line in &advice.by_eye {
        let _ = writeln!(text, "{indent}look     {line}");
    }
}

/// Volts a division across a shunt.
pub(super) fn capture_volts(settings: &Settings, shunt_ohm: f64) -> String {
    amount(
        one_two_five_up(settings.current_a.per_division * shunt_ohm),
        "V",
    )
}

fn points(count: f64) -> String {
    amount(count.ceil(), "").trim().to_string()
}

/// Columns under each other.
pub(super) fn align<const N: usize>(text: &mut String, cells: &[[String; N]]) {
    let width = |s: &String| s.chars().count();
    let widths: Vec<usize> = (0..N)
        .map(|c| cells.iter().map(|line| width(&line[c])).max().unwrap_or(0))
        .collect();
    for line in cells {
        let mut written = String::from("  ");
        for (cell, widest) in line.iter().zip(&widths) {
            written.push_str(cell);
            written.push_str(&" ".repeat(widest - width(cell) + 2));
        }
        text.push_str(written.trim_end());
        text.push('\n');
    }
}
