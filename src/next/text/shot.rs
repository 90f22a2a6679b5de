//! One capture as it is to be made.

use super::numbers::amount;
use crate::next::advice::Advice;
use crate::next::advice::series::one_two_five_up;

/// The capture of a role in words.
pub fn title(role: &str) -> &'static str {
    match role {
        "start" => "start from rest",
        "run-down" => "run-down, terminals open",
        "brake" => "brake",
        "locked-rotor" => "step onto the held rotor",
        _ => "steady running, tachometer read",
    }
}

/// Volts a division across a shunt.
fn across(advice: &Advice, shunt_ohm: f64) -> String {
    let volts = advice.settings.current_a.per_division * shunt_ohm;
    amount(one_two_five_up(volts), "V")
}

/// Settings, and what a good record looks like. `shunt_ohm`: the current is then given as the volts across it, too.
pub fn short(advice: &Advice, shunt_ohm: Option<f64>) -> Vec<String> {
    let s = &advice.settings;
    let across = shunt_ohm.map(|ohm| format!(" ({}/div across the shunt)", across(advice, ohm)));
    let current = match advice.expected_current_a {
        Some(_) => format!(
            "{}/div{}",
            amount(s.current_a.per_division, "A"),
            across.unwrap_or_default()
        ),
        None => "on its largest range".to_owned(),
    };
    let settings = format!(
        "CH1 {}/div, CH2 {current}, {}/div, {}, {}",
        amount(s.voltage_v.per_division, "V"),
        amount(s.per_division_s, "s"),
        amount(s.sample_rate_hz, "S/s"),
        s.trigger
    );
    let good = advice.by_eye.first();
    let good = good.map(|good| format!("a good record: {good}"));
    std::iter::once(settings).chain(good).collect()
}

/// A line a topic: its name and what to do.
pub fn lines(advice: &Advice, shunt_ohm: Option<f64>) -> Vec<[String; 2]> {
    let s = &advice.settings;
    let across = shunt_ohm.map(|ohm| format!(" ({} across the shunt)", across(advice, ohm)));
    let current = match advice.expected_current_a {
        Some(_) => format!(
            "{} to {}: {} a division{}",
            amount(s.current_a.lowest, "A").trim_end_matches(" A"),
            amount(s.current_a.highest, "A"),
            amount(s.current_a.per_division, "A"),
            across.unwrap_or_default()
        ),
        None => "unknown without R: begin with the largest range".into(),
    };
    let mut lines = vec![
        (
            "wiring",
            format!(
                "{} (docs/bench.md, section {})",
                advice.wiring, advice.section
            ),
        ),
        (
            "CH1",
            format!(
                "0 to {}: {} a division",
                amount(s.voltage_v.highest, "V"),
                amount(s.voltage_v.per_division, "V")
            ),
        ),
        ("CH2", current),
        (
            "time",
            format!(
                "{} a division for {} or more, {:.0} % before the trigger; {} ({} points) or faster",
                amount(s.per_division_s, "s"),
                amount(s.span_s, "s"),
                100.0 * s.pre_trigger_share,
                amount(s.sample_rate_hz, "S/s"),
                amount(s.points.ceil(), "").trim()
            ),
        ),
        ("trigger", s.trigger.clone()),
    ];
    lines.extend(advice.by_eye.iter().map(|line| ("look", line.clone())));
    lines
        .into_iter()
        .map(|(name, text)| [name.to_owned(), text])
        .collect()
}
