//! The proposal for the first captures as text.

use crate::drive::cautions::Caution;
use crate::next::advice::series::one_two_five_up;
use crate::next::advice::source::Capacitor;
use crate::next::assumptions::guess::Guess;
use crate::next::first::FirstPlan;
use crate::next::text::numbers::{amount, percent, span};
use crate::next::text::table::{align, capture};
use std::f64::consts::TAU;
use std::fmt::Write;

/// Renders the plan; ends in a line feed.
pub fn render(plan: &FirstPlan) -> String {
    let mut text = String::new();
    let _ = writeln!(
        text,
        "the first captures{} at {}",
        plan.motor
            .as_ref()
            .map_or(String::new(), |name| format!(" of {name}")),
        amount(plan.machine.supply_v, "V")
    );
    let _ = writeln!(
        text,
        "nothing is captured yet; (guess a to b) marks a guess with its range"
    );
    for lost in &plan.lost {
        let _ = writeln!(text, "missing: {lost}");
    }
    known(&mut text, plan);
    bench(&mut text, plan);
    let _ = writeln!(
        text,
        "\nLook at the motor first: a capacitor, choke, varistor or PTC at its terminals changes every record; unsolder it, or note it in the sheet."
    );
    let _ = writeln!(
        text,
        "\nCaptures, in this order; let the motor rest between them (3 to 5 minutes when it is warm)"
    );
    for (k, advice) in plan.captures.iter().enumerate() {
        let _ = writeln!(
            text,
            "  {}. {} at {} (role = \"{}\")",
            k + 1,
            title(advice.role),
            amount(advice.voltage_v, "V"),
            advice.role
        );
        capture(
            &mut text,
            advice,
            plan.shunt.map(|s| s.resistance_ohm),
            "     ",
        );
        for caution in &advice.cautions {
            let _ = writeln!(text, "     caution  {caution}");
        }
    }
    let _ = writeln!(
        text,
        "\nThen: `rundown look` on each file, `rundown sheet` on the folder, `rundown fit`, and `rundown next` again with the sheet."
    );
    // That of a held rotor stands with its capture.
    for caution in &Caution::OF_FIRST_CAPTURES[1..] {
        let _ = writeln!(text, "caution: {}", caution.text());
    }
    text
}

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

const READING: &str = "resistance R behind the reading";

fn known(text: &mut String, plan: &FirstPlan) {
    let m = &plan.machine;
    let _ = writeln!(text, "\nExpected");
    let mut cells: Vec<[String; 3]> = Vec::new();
    let mut row = |what: &str, guess: Option<Guess>, unit: &str| {
        if let Some(g) = guess {
            let basis = if what == READING {
                "your reading; a meter reads high on carbon brushes"
            } else {
                g.basis.label()
            };
            let text = if unit == "r/min" {
                format!(
                    "{:.0} r/min (guess {:.0} to {:.0} r/min)",
                    g.value, g.low, g.high
                )
            } else {
                span(Some(g), unit)
            };
            cells.push([what.into(), text, basis.into()]);
        }
    };
    row(READING, m.resistance_ohm, "Ω");
    row("inrush V/R, at every start", plan.working_inrush_a, "A");
    row("running current, no load", m.running_a, "A");
    row(
        "electrical time constant L/R",
        Some(m.electrical_time_constant_s),
        "s",
    );
    row(
        "mechanical time constant",
        Some(m.mechanical_time_constant_s),
        "s",
    );
    row("run-down to standstill", Some(m.run_down_s), "s");
    let rpm = m.speed_rad_s.times(60.0 / TAU);
    row("free-running speed", Some(rpm), "r/min");
    row(
        "copper in the winding",
        m.copper_kg.map(|c| c.times(1e3)),
        "g",
    );
    align(text, &cells);
}

fn bench(text: &mut String, plan: &FirstPlan) {
    let Some(inrush) = plan.working_inrush_a else {
        return;
    };
    let _ = writeln!(text, "\nBench");
    let mut cells: Vec<[String; 2]> = Vec::new();
    if let Some(s) = plan.shunt {
        let full = s.resistance_ohm * inrush.high;
        cells.push([
            "shunt".into(),
            format!(
                "{}, {} of R, four terminals, 1:1 lead or coaxial cable: {} at the inrush ({} a division), {} for a moment, {} while running",
                amount(s.resistance_ohm, "Ω"),
                percent(s.share_of_resistance),
                amount(s.drop_at_inrush_v, "V"),
                amount(one_two_five_up(full / 7.0), "V"),
                amount(s.power_at_inrush_w, "W"),
                amount(s.power_running_w, "W")
            ),
        ]);
    } else {
        cells.push([
            "current".into(),
            "no usual shunt is small enough: use a DC clamp probe".into(),
        ]);
    }
    cells.push(["fuse".into(), fuse(plan)]);
    if let Some(limit) = plan.supply_limit_a {
        cells.push([
            "supply".into(),
            format!(
                "isolated; current limit at {} or more for starts. If it cannot, record the voltage at the motor: a sag then does not matter. For the held rotor set the limit to {}",
                amount(limit, "A"),
                plan.hold
                    .current_a
                    .map_or("little".into(), |i| amount(1.3 * i.high, "A"))
            ),
        ]);
    }
    cells.extend(plan.capacitor.map(|c| ["capacitor".into(), capacitor(&c)]));
    cells.push([
        "switch".into(),
        format!(
            "at the motor, one that makes {}, breaks {} DC at {}, and for the brake carries the first the other way; a lead is never pulled live",
            amount(inrush.high, "A"),
            amount(plan.machine.running_a.map_or(inrush.high, |i| i.high), "A"),
            amount(plan.machine.working_v, "V")
        ),
    ]);
    if let Some(ohm) = plan.brake_resistor_ohm {
        cells.push([
            "brake".into(),
            format!(
                "not as a plain short, which would be {}: through {}",
                span(plan.working_inrush_a.map(|i| i.times(0.95)), "A"),
                amount(ohm, "Ω")
            ),
        ]);
    }
    align(text, &cells);
}

/// What protects the wiring, and what protects the winding.
fn fuse(plan: &FirstPlan) -> String {
    let Some(fuse) = plan.fuse else {
        return "none is sold for this voltage and current in small sizes: a trained person chooses it".into();
    };
    let mut text = format!(
        "{} time-lag in the plus lead, close to the source; rated voltage {} DC or more, and able to break what the source can give (a battery gives hundreds of amperes). It protects wiring and source, not the winding: that is protected by the time limit of {} for a held rotor",
        amount(fuse.rating_a, "A"),
        amount(plan.machine.supply_v, "V"),
        amount(plan.hold.longest_s, "s")
    );
    let share = |own: f64| own / plan.machine.resistance_ohm.map_or(own, |r| r.value);
    if let Some(own) = fuse.resistance_ohm.filter(|own| share(*own) > 0.02) {
        let _ = write!(
            text,
            ". Such a small fuse has up to {} itself and heats: record the voltage at the motor",
            amount(own, "Ω")
        );
    }
    text
}

/// When a capacitor across the supply's output helps, and what it takes to be safe with it.
fn capacitor(c: &Capacitor) -> String {
    if !c.is_common() {
        return format!(
            "none: it would take about {} across the output to hold the voltage within 10 % in a start",
            amount(c.capacitance_f, "F")
        );
    }
    format!(
        "about {} across the output holds the voltage within 10 % in a start. It stores {}: leave {} ({} or more) across it, wait {:.0} s after switching off, and check with a voltmeter before you touch anything",
        amount(c.capacitance_f, "F"),
        amount(c.energy_j, "J"),
        amount(c.bleeder_ohm, "Ω"),
        amount(2.0 * c.bleeder_w, "W"),
        c.discharge_s
    )
}
