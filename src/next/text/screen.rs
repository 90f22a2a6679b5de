//! The answers on one screen: the first three shots with their settings, the rest a line each.

use super::numbers::{amount, percent, span};
use super::table::{capture_volts, changes, helpful};
use crate::drive::cautions::Caution;
use crate::next::advice::Advice;
use crate::next::first::FirstPlan;
use crate::next::ranking::{Ranked, Ranking};
use std::fmt::Write;

/// Most candidates listed.
const LISTED: usize = 10;

/// A ranking, the best `explained` candidates with settings; ends in a line feed.
pub fn ranking(ranking: &Ranking, explained: usize) -> String {
    let mut text = format!(
        "{}: what narrows {} most\n(numbers: half widths of {} intervals)\n",
        ranking.motor,
        match ranking.goal.as_str() {
            "all parameters" => "the intervals",
            goal => goal,
        },
        percent(ranking.level)
    );
    let undetermined = ranking.now.iter().filter(|n| n.wanted && n.value.is_none());
    let undetermined: Vec<&str> = undetermined
        .map(|n| super::table::symbol(n.parameter))
        .collect();
    if !undetermined.is_empty() {
        let _ = writeln!(text, "undetermined: {}", undetermined.join(", "));
    }
    let all: Vec<&Ranked> = helpful(ranking).collect();
    if all.is_empty() {
        text.push_str("nothing on the list narrows the goal's intervals by 2 % or more\n");
    }
    for (k, candidate) in all.iter().take(LISTED).enumerate() {
        let gain = changes(&candidate.after, ranking);
        if k < explained {
            let _ = writeln!(text, "\n{:>2}  {}", k + 1, candidate.title);
            let _ = writeln!(text, "    {gain}");
            explain(&mut text, candidate);
        } else {
            let gap = if k == explained { "\n" } else { "" };
            let _ = writeln!(text, "{gap}{:>2}  {}: {gain}", k + 1, candidate.title);
        }
    }
    // The first danger of a shot that is only listed.
    for candidate in all.iter().take(LISTED).skip(explained) {
        let role = candidate.advice.as_ref().map(|a| a.role);
        if matches!(role, Some("brake" | "locked-rotor")) {
            let first = candidate.cautions.first().map_or("", String::as_str);
            let _ = writeln!(text, "caution: {}: {first}", candidate.title);
        }
    }
    text.push('\n');
    for remark in &ranking.remarks {
        let _ = writeln!(text, "warning: {remark}");
    }
    let _ = writeln!(text, "caution: {}", Caution::Codes.text());
    text.push_str("more: --details, --explain N; for one goal: --for inertia;\n  what the winding can carry: --for heat\n");
    text
}

/// Settings, what a good record looks like and the dangers, or how a reading is taken.
fn explain(text: &mut String, candidate: &Ranked) {
    if let Some(needs) = &candidate.needs {
        let _ = writeln!(text, "    needs: {needs}");
    }
    if let Some(advice) = &candidate.advice {
        shot(text, advice, None);
    }
    if let Some(how) = &candidate.how {
        let _ = writeln!(text, "    how: {how}");
    }
    for caution in &candidate.cautions {
        let _ = writeln!(text, "    caution: {caution}");
    }
}

/// One capture in two lines: settings, and what a good record looks like.
fn shot(text: &mut String, advice: &Advice, shunt_ohm: Option<f64>) {
    let s = &advice.settings;
    let current = match advice.expected_current_a {
        Some(_) => {
            let across = shunt_ohm.map(|ohm| capture_volts(s, ohm));
            let across = across.map_or(String::new(), |volts| {
                format!(" ({volts}/div across the shunt)")
            });
            format!("{}/div{across}", amount(s.current_a.per_division, "A"))
        }
        None => "on its largest range".to_owned(),
    };
    let _ = writeln!(
        text,
        "    CH1 {}/div, CH2 {current}, {}/div, {}, {}",
        amount(s.voltage_v.per_division, "V"),
        amount(s.per_division_s, "s"),
        amount(s.sample_rate_hz, "S/s"),
        s.trigger
    );
    if let Some(good) = advice.by_eye.first() {
        let _ = writeln!(text, "    a good record: {good}");
    }
}

/// The proposal for the first captures; ends in a line feed.
pub fn first(plan: &FirstPlan) -> String {
    let m = &plan.machine;
    let mut text = format!(
        "first captures of {} at {}; ranges in brackets are guesses\n",
        plan.motor.as_deref().unwrap_or("the motor"),
        amount(m.supply_v, "V")
    );
    for lost in &plan.lost {
        let _ = writeln!(text, "missing: {lost}");
    }
    text.push('\n');
    let mut row = |what: &str, value: String| {
        let _ = writeln!(text, "{what:<12}{value}");
    };
    if let Some(inrush) = plan.working_inrush_a {
        row(
            "inrush",
            format!("{}, at every start", span(Some(inrush), "A")),
        );
    }
    if let Some(s) = plan.shunt {
        row(
            "shunt",
            format!(
                "{}, {} of R: {} and {} at the inrush",
                amount(s.resistance_ohm, "Ω"),
                percent(s.share_of_resistance),
                amount(s.drop_at_inrush_v, "V"),
                amount(s.power_at_inrush_w, "W")
            ),
        );
    } else if plan.working_inrush_a.is_some() {
        row(
            "current",
            "with a DC clamp probe: no usual shunt is small enough".to_owned(),
        );
    }
    if let Some(fuse) = plan.fuse {
        let rating = amount(fuse.rating_a, "A");
        row(
            "fuse",
            format!("{rating} time-lag in the plus lead; protects the wiring, not the winding"),
        );
    }
    if let Some(limit) = plan.supply_limit_a {
        row(
            "supply",
            format!(
                "isolated, current limit {} or more for starts",
                amount(limit, "A")
            ),
        );
    }
    row(
        "held rotor",
        format!(
            "at most {} and {}, then let it cool",
            amount(plan.hold.voltage_v, "V"),
            amount(plan.hold.longest_s, "s")
        ),
    );
    if let Some(ohm) = plan.brake_resistor_ohm {
        row(
            "brake",
            format!("through {}, not as a plain short", amount(ohm, "Ω")),
        );
    }
    for (k, advice) in plan.captures.iter().enumerate() {
        let _ = writeln!(
            text,
            "\n{:>2}  {} at {} (role = \"{}\"; docs/bench.md {})",
            k + 1,
            super::first_table::title(advice.role),
            amount(advice.voltage_v, "V"),
            advice.role,
            advice.section
        );
        shot(&mut text, advice, plan.shunt.map(|s| s.resistance_ohm));
    }
    text.push('\n');
    let cautions: Vec<&str> = Caution::OF_FIRST_CAPTURES
        .iter()
        .map(|c| c.text())
        .collect();
    let _ = writeln!(text, "caution: {}", cautions.join("; "));
    text.push_str("Remove any capacitor, choke or varistor at the motor's terminals, or state it in the sheet.\n");
    text.push_str("Then: rundown look FILES, rundown sheet FOLDER, rundown fit. Wiring and limits: --details\n");
    text
}
