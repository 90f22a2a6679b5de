//! A ranking as text: the best candidates with their settings, the rest a line each.

use super::numbers::percent;
use super::shot;
use crate::drive::cautions::Caution;
use crate::fit::ExpectedUncertainty;
use crate::motor_file::ParameterName;
use crate::next::ranking::{LITTLE, Now, Ranked, Ranking};
use crate::quantity::align;
use crate::quantity::rounding::{self, Scale};
use std::fmt::Write;

/// Most candidates listed without details.
const LISTED: usize = 10;
/// Parameters named behind a candidate.
const NAMED: usize = 3;

/// The candidates that narrow the goal's intervals enough to be worth the shot.
pub fn helpful(ranking: &Ranking) -> impl Iterator<Item = &Ranked> {
    ranking.candidates.iter().filter(|c| c.score <= LITTLE)
}

/// The best `explained` candidates with settings; `details` adds where each parameter stands, all candidates, and the best of them together.
/// Ends in a line feed.
pub fn render(ranking: &Ranking, explained: usize, details: bool) -> String {
    let goal = match ranking.goal.as_str() {
        "all parameters" => "the intervals",
        goal => goal,
    };
    let mut text = format!(
        "{}: what narrows {goal} most\n(numbers: half widths of {} intervals)\n",
        ranking.motor,
        percent(ranking.level)
    );
    if details {
        standing(&mut text, ranking);
    }
    let undetermined = ranking.now.iter().filter(|n| n.wanted && n.value.is_none());
    let undetermined: Vec<&str> = undetermined.map(|n| symbol(n.parameter)).collect();
    if !undetermined.is_empty() {
        let _ = writeln!(text, "undetermined: {}", undetermined.join(", "));
    }
    let most = if details { usize::MAX } else { LISTED };
    let all: Vec<&Ranked> = helpful(ranking).take(most).collect();
    if all.is_empty() {
        text.push_str("nothing on the list narrows the goal's intervals by 2 % or more\n");
    }
    for (k, ranked) in all.iter().enumerate() {
        let mark = if details && ranked.noise_assumed {
            " *"
        } else {
            ""
        };
        let gap = if k <= explained { "\n" } else { "" };
        let _ = write!(text, "{gap}{:>2}  {}{mark}", k + 1, ranked.candidate.title);
        let gain = changes(&ranked.after, ranking);
        if k < explained {
            let _ = writeln!(text, "\n    {gain}");
            explain(&mut text, ranked, details);
        } else {
            let _ = writeln!(text, ": {gain}");
        }
    }
    if details {
        together(&mut text, ranking);
    }
    // The dangers of a shot that is only listed: the first, with details all.
    for ranked in all.iter().skip(explained) {
        let (role, cautions) = (ranked.role(), &ranked.candidate.cautions);
        if matches!(role, Some("brake" | "locked-rotor")) {
            for caution in cautions
                .iter()
                .take(if details { cautions.len() } else { 1 })
            {
                let _ = writeln!(text, "caution: {}: {caution}", ranked.candidate.title);
            }
        }
    }
    text.push('\n');
    for remark in &ranking.remarks {
        let _ = writeln!(text, "warning: {remark}");
    }
    if details {
        for note in &ranking.notes {
            let _ = writeln!(text, "note: {note}");
        }
        if all.iter().any(|c| c.noise_assumed) {
            text.push_str("note: marked *: no capture shows the noise of the channel, a usual one is assumed\n");
        }
        text.push_str("note: expected from the information at the fitted point; how accurate this is: docs/next.md\n");
    }
    let _ = writeln!(text, "caution: {}", Caution::Codes.text());
    if !details {
        text.push_str("more: --details, --explain N; for one goal: --for inertia;\n  what the winding can carry: --for heat\n");
    }
    text
}

/// Settings, what a good record looks like and the dangers, or how a reading is taken.
fn explain(text: &mut String, ranked: &Ranked, details: bool) {
    let candidate = &ranked.candidate;
    if let Some(needs) = &candidate.needs {
        let _ = writeln!(text, "    needs: {needs}");
    }
    if let Some(advice) = &candidate.advice {
        if details {
            for [name, line] in shot::lines(advice, None) {
                let _ = writeln!(text, "    {name}: {line}");
            }
        } else {
            for line in shot::short(advice, None) {
                let _ = writeln!(text, "    {line}");
            }
        }
    }
    if let Some(how) = &candidate.how {
        let _ = writeln!(text, "    how: {how}");
    }
    for caution in &candidate.cautions {
        let _ = writeln!(text, "    caution: {caution}");
    }
}

/// The best few together, and what brings nothing.
fn together(text: &mut String, ranking: &Ranking) {
    if ranking.plan.len() > 1 {
        text.push_str("\nthe best few together, each added to those before it\n");
        for (k, step) in ranking.plan.iter().enumerate() {
            let gain = changes(&step.after, ranking);
            let _ = writeln!(text, "{:>2}  {}: {gain}", k + 1, step.title);
        }
    }
    let little = ranking.candidates.iter().filter(|c| c.score > LITTLE);
    let little: Vec<&str> = little.map(|c| c.candidate.title.as_str()).collect();
    if !little.is_empty() && little.len() < ranking.candidates.len() {
        let _ = writeln!(
            text,
            "\nnext to nothing for this goal: {}",
            little.join("; ")
        );
    }
}

fn standing(text: &mut String, ranking: &Ranking) {
    text.push_str("\nnow\n");
    let mut cells = Vec::new();
    for now in ranking.now.iter().filter(|n| n.wanted) {
        cells.push([
            label(now.parameter),
            bound_now(now, ranking.coverage_factor()),
            shares(now),
        ]);
    }
    align(text, "  ", &cells);
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

fn symbol(key: &'static str) -> &'static str {
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
    // Those of the result's table before what follows from them.
    let in_table = |key: &str| {
        let mut names = ParameterName::ALL.into_iter();
        names.any(|name| name.key() == key && name <= ParameterName::BrushDrop)
    };
    let mut gains: Vec<(bool, f64, String)> = wanted
        .iter()
        .filter_map(|(a, now)| {
            let ratio = a.ratio.filter(|r| *r < 0.97)?;
            let name = symbol(a.name);
            let parts = if now.one_sided || now.value == Some(0.0) {
                format!("limit of {name} × {ratio:.2}")
            } else {
                let before = z * now.standard_uncertainty? / now.value?.abs();
                format!("{name} ± {} → {}", percent(before), percent(before * ratio))
            };
            Some((!in_table(a.name), ratio, parts))
        })
        .collect();
    gains.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let room = if fresh.is_empty() { NAMED } else { 1 };
    parts.extend(gains.into_iter().take(room).map(|g| g.2));
    parts.join(", ")
}
