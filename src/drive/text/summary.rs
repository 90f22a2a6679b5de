//! A sizing on one screen: what supply, switches, PWM, brake and clamp have to carry, as expected and in the worst case.

use super::table::{figure_text, worst_text};
use crate::drive::result::{Absent, Figure, MARK, Sizing};
use crate::quantity::in_columns;
use crate::quantity::prefix::{Zeros, with_prefix};
use std::fmt::Write;

/// Columns of the group, of what a number is, and of the expected value.
const WIDTHS: [usize; 3] = [16, 38, 13];

/// The rows of the screen: group, empty where it goes on, key of the figure, and what the number is.
#[rustfmt::skip]
const ROWS: &[[&str; 3]] = &[
    ["supply, switch", "inrush_peak",                  "inrush peak"],
    ["",               "run_up_time",                  "time to 95 % of the speed"],
    ["",               "stall_current",                "stalled"],
    ["",               "running_current",              "running"],
    ["fuse",           "inrush_i2t",                   "I²t of a start"],
    ["soft start",     "soft_peak",                    "largest current"],
    ["",               "soft_ramp_time",               "time to full duty"],
    ["PWM",            "pwm_ripple",                   "ripple, peak to peak,"],
    ["",               "ripple_share_frequency",       "frequency,"],
    ["",               "continuous_frequency",         "frequency for continuous current"],
    ["",               "switch_rms_current",           "switch current, RMS"],
    ["braking",        "short_peak",                   "short: peak current"],
    ["",               "short_slow",                   "short: time to 5 % of the speed"],
    ["",               "stop_resistor",                "resistor for the stop time"],
    ["",               "stop_resistor_standard",       "standard value (E24) to take"],
    ["",               "stop_resistor_power",          "its peak power"],
    ["",               "stop_resistor_energy",         "its energy each stop"],
    ["",               "kinetic_energy",               "energy of the rotor"],
    ["",               "ramp_returned",                "ramp: energy into the supply"],
    ["",               "bus_voltage",                  "ramp: supply rises to"],
    ["",               "bus_capacitor",                "ramp: capacitor for the bus limit"],
    ["",               "bus_capacitor_bound",          "any braking: capacitor for it"],
    ["switching off",  "held_energy",                  "stalled: energy to clamp"],
    ["",               "running_energy",               "running: energy to clamp"],
    ["",               "held_clamp_current",           "diode or clamp takes over"],
    ["",               "clamp_peak_power",             "clamp: peak power"],
    ["",               "switch_off_voltage",           "clamp: voltage across the switch"],
    ["motor",          "running_speed",                "running speed"],
    ["protection",     "run_up_time",                  "has to let a start pass"],
    ["",               "stall_time_from_warm",         "has to act when stalled within"],
    ["",               "stall_heating_time",           "the same, nothing given off"],
    ["winding",        "continuous_current",           "continuous (S1), slow: current"],
    ["",               "continuous_torque",            "continuous (S1), slow: torque"],
    ["",               "continuous_torque_at_supply",  "continuous (S1), full supply: torque"],
    ["",               "stall_time_from_cold",         "stalled: cold to the limit"],
];

/// What a profile takes, on one screen.
#[rustfmt::skip]
const PROFILE_ROWS: &[[&str; 3]] = &[
    ["current",        "profile_peak_current",         "peak"],
    ["",               "profile_rms_current",          "RMS"],
    ["",               "profile_current_share",        "used of the current limit"],
    ["supply",         "profile_peak_speed",           "peak speed of the motor"],
    ["",               "profile_supply_voltage",       "voltage that it needs"],
    ["",               "profile_voltage_share",        "used of the supply voltage"],
    ["",               "profile_peak_power",           "peak power"],
    ["",               "profile_returned_energy",      "energy that comes back"],
    ["",               "profile_bus_voltage",          "supply rises to"],
    ["winding",        "profile_winding_once",         "peak, once from room temperature"],
    ["",               "profile_winding_repeated",     "peak, repeated without a pause"],
    ["",               "profile_margin",               "margin to the limit, repeated"],
    ["",               "profile_limit_time",           "repeated: at the limit after"],
    ["gear",           "profile_best_ratio",           "ratio of the least RMS current"],
    ["",               "profile_best_rms",             "RMS current with it"],
    ["",               "profile_best_heat",            "heat in the winding, of that now"],
];

/// Renders the screen, with a profile that of the profile; ends in a line feed.
///
/// What waits for an option is named once at the end, with the option. What the motor file does not determine stands beside its row.
pub fn summary(sizing: &Sizing) -> String {
    let mut text = heading(sizing);
    let waiting = rows(&mut text, sizing);
    text.push('\n');
    if let Some(verdict) = &sizing.profile {
        let _ = writeln!(text, "profile: {}", verdict.text);
    }
    if let Some(words) = sizing.mark_words() {
        let _ = writeln!(text, "{words}");
    }
    if !waiting.is_empty() {
        let each = waiting.iter().map(|(why, groups)| {
            let option = why.trim_start_matches("needs ");
            format!("{option}: {}", groups.join(", "))
        });
        let each: Vec<String> = each.collect();
        let _ = writeln!(text, "more rows with {}", each.join("; "));
    }
    for warning in &sizing.warnings {
        let _ = writeln!(text, "warning: {warning}");
    }
    let mut cautions: Vec<&str> = Vec::new();
    let shown = sizing.sections.iter();
    let shown = shown.filter(|section| !sizing.has_profile() || section.key == "profile");
    for caution in shown.flat_map(|s| &s.cautions) {
        if !cautions.contains(caution) {
            cautions.push(caution);
        }
    }
    let _ = writeln!(text, "caution: {}", cautions.join("; "));
    text.push_str(
        "more: --section inrush, soft-start, pwm, bridge, off, braking, heat,\n  rating, profile or all\n",
    );
    text
}

/// Writes the rows; gives what waits for an option, with the groups of the figures that do.
fn rows(text: &mut String, sizing: &Sizing) -> Vec<(String, Vec<&'static str>)> {
    line(text, ["", "", "expected"], "worst case");
    let mut waiting: Vec<(String, Vec<&str>)> = Vec::new();
    let rows = match sizing.has_profile() {
        true => PROFILE_ROWS,
        false => ROWS,
    };
    let (mut group, mut head, mut said) = ("", "", "");
    for &[first, key, words] in rows {
        if !first.is_empty() {
            (group, head, said) = (first, first, "");
        }
        let Some(row) = sizing.row(key) else { continue };
        let mut cells = match &row.figure {
            Figure::Known(_) => [figure_text(row), worst_text(row)],
            Figure::Absent { absent } => match absent {
                Absent::NotGiven(why) => {
                    match waiting.iter_mut().find(|(other, _)| other == why) {
                        Some((_, groups)) if groups.contains(&group) => {}
                        Some((_, groups)) => groups.push(group),
                        None => waiting.push((why.clone(), vec![group])),
                    }
                    continue;
                }
                // The same reason once a group.
                other if other.text() == said => continue,
                // In a sentence, which the column of numbers is too narrow for.
                other => {
                    said = other.text();
                    let words = with_setting(sizing, key, words);
                    let start = in_columns(&[head], &WIDTHS);
                    let _ = writeln!(text, "{start}{}: {said}", words.trim_end_matches(','));
                    head = "";
                    continue;
                }
            },
        };
        let words = with_setting(sizing, key, words);
        if row.extrapolated && row.figure.is_known() {
            cells[0] += MARK;
        }
        line(text, [head, &words, &cells[0]], &cells[1]);
        head = "";
    }
    waiting
}

/// What a number is, with the setting it holds for.
fn with_setting(sizing: &Sizing, key: &str, words: &str) -> String {
    match key {
        "pwm_ripple" => format!(
            "{words} {}, {:.0} %",
            with_prefix(sizing.frequency_hz, "Hz", 3, Zeros::Dropped),
            100.0 * sizing.duty
        ),
        "ripple_share_frequency" => {
            format!(
                "{words} {:.0} % ripple of the load",
                100.0 * sizing.ripple_share
            )
        }
        _ => words.to_owned(),
    }
}

fn heading(sizing: &Sizing) -> String {
    let winding = sizing
        .winding_temperature_c
        .map(|c| format!(", winding {c:.0} °C"));
    format!(
        "{} at {} V{}; {} % intervals\n",
        sizing.motor,
        sizing.supply_v,
        winding.unwrap_or_default(),
        (sizing.level * 1e4).round() / 100.0
    )
}

fn line(text: &mut String, cells: [&str; 3], last: &str) {
    let _ = writeln!(text, "{}", (in_columns(&cells, &WIDTHS) + last).trim_end());
}
