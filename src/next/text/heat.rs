//! A heat run as text.

use super::numbers::{amount, span};
use crate::next::heat::HeatPlan;
use std::fmt::Write;

/// The plan; ends in a line feed.
pub fn render(plan: &HeatPlan) -> String {
    let mut text = format!(
        "heat run of {}: what the winding can carry\n(room {:.0} °C, winding at most {:.0} °C)\n\n",
        plan.motor, plan.room_c, plan.safe_winding_c
    );
    if plan.known {
        text.push_str("The motor file has a thermal model; another run narrows it.\n\n");
    }
    let mut row = |what: &str, value: String| {
        let _ = writeln!(text, "{what:<12}{value}");
    };
    if let Some(total) = plan.thermal_resistance_k_per_w {
        row(
            "winding",
            format!("{} to the room", span(Some(total), "K/W")),
        );
    }
    match &plan.run {
        Some(run) => {
            row(
                "current",
                format!(
                    "{}, constant, rotor held; fuse {}",
                    amount(run.current_a, "A"),
                    run.fuse_a
                        .map_or("just above it".to_owned(), |a| amount(a, "A"))
                ),
            );
            row(
                "voltage",
                format!(
                    "begins at {}; limit of the supply {} (winding at {:.0} °C)",
                    amount(run.cold_voltage_v, "V"),
                    amount(run.stop_voltage_v, "V"),
                    plan.safe_winding_c
                ),
            );
            row("warms by", span(Some(run.winding_rise_k), "K"));
            if let Some(time) = run.duration_s {
                let minutes = |s: f64| format!("{:.0}", s / 60.0);
                let range = match time.is_sharp() {
                    true => String::new(),
                    false => format!(" ({} to {})", minutes(time.low), minutes(time.high)),
                };
                row("lasts", format!("{} min{range}", minutes(time.value)));
            }
            row(
                "readings",
                format!(
                    "voltage and current every second for ten minutes, then every {}",
                    amount(run.log_every_s, "s")
                ),
            );
        }
        None => row(
            "current",
            "no guess without a size: add --diameter, better with --length".to_owned(),
        ),
    }
    row(
        "housing",
        "a thermocouple taped to the can, read with them".to_owned(),
    );
    row(
        "the end",
        "the housing changes by less than 1 K in half an hour".to_owned(),
    );
    row(
        "then",
        "switch off, ohmmeter at once (within 15 s) and every 10 s; note the delay".to_owned(),
    );
    text.push_str(
        "\nin the sheet\n    [[heat]]\n    kind = \"heat-run\"\n    file = \"heat.csv\"     # time, voltage, current, housing\n    rotor = \"held\"\n    ambient = { c = 23, limit_k = 1 }\n\n    [[heat]]\n    kind = \"cool-down\"\n    file = \"cool.csv\"     # time, resistance\n    after = \"heat\"\n    delay_s = 12\n\n",
    );
    for caution in &plan.cautions {
        let _ = writeln!(text, "caution: {caution}");
    }
    text
}
