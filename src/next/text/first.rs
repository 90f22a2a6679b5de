//! The proposal for the first captures as text.

use super::numbers::{amount, percent, span};
use super::shot;
use crate::drive::cautions::Caution;
use crate::next::advice::Advice;
use crate::next::advice::series::one_two_five_up;
use crate::next::advice::source::Capacitor;
use crate::next::assumptions::guess::Guess;
use crate::next::first::FirstPlan;
use crate::quantity::align;
use std::f64::consts::TAU;
use std::fmt::Write;

/// The plan, with `details` all wiring, settings, expected values and cautions; ends in a line feed.
pub fn render(plan: &FirstPlan, details: bool) -> String {
    let mut text = format!(
        "first captures of {} at {}; ranges in brackets are guesses\n",
        plan.motor.as_deref().unwrap_or("the motor"),
        amount(plan.machine.supply_v, "V")
    );
    for lost in &plan.lost {
        let _ = writeln!(text, "missing: {lost}");
    }
    if details {
        known(&mut text, plan);
    }
    text.push('\n');
    for (what, short, more) in bench(plan) {
        let row = match (details, short, more) {
            (true, Some(short), Some(more)) => format!("{short}; {more}"),
            (true, None, Some(more)) => more,
            (_, Some(short), _) => short,
            (_, None, _) => continue,
        };
        let _ = writeln!(text, "{what:<12}{row}");
    }
    if details {
        text.push_str(
            "\nLet the motor rest between the captures (3 to 5 minutes when it is warm).\n",
        );
    }
    for (k, advice) in plan.captures.iter().enumerate() {
        capture(&mut text, k, advice, plan, details);
    }
    text.push('\n');
    let cautions = Caution::OF_FIRST_CAPTURES.map(Caution::text);
    let _ = writeln!(text, "caution: {}", cautions.join("; "));
    text.push_str("Remove any capacitor, choke or varistor at the motor's terminals, or state it in the sheet.\n");
    let more = if details {
        ""
    } else {
        " Wiring and limits: --details"
    };
    let _ = writeln!(
        text,
        "Then: rundown look FILES, rundown sheet FOLDER, rundown fit.{more}"
    );
    text
}

fn capture(text: &mut String, k: usize, advice: &Advice, plan: &FirstPlan, details: bool) {
    let _ = writeln!(
        text,
        "\n{:>2}  {} at {} (role = \"{}\"; docs/bench.md {})",
        k + 1,
        shot::title(advice.role),
        amount(advice.voltage_v, "V"),
        advice.role,
        advice.section
    );
    let shunt_ohm = plan.shunt.map(|s| s.resistance_ohm);
    if details {
        let cautions = advice.cautions.iter();
        let cautions = cautions.map(|caution| ["caution".to_owned(), caution.clone()]);
        for [name, line] in shot::lines(advice, shunt_ohm).into_iter().chain(cautions) {
            let _ = writeln!(text, "    {name}: {line}");
        }
    } else {
        for line in shot::short(advice, shunt_ohm) {
            let _ = writeln!(text, "    {line}");
        }
    }
}

const READING: &str = "resistance R behind the reading";

fn known(text: &mut String, plan: &FirstPlan) {
    let m = &plan.machine;
    text.push_str("\nexpected\n");
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
    align(text, "  ", &cells);
}

/// What the bench needs: its name, what is always said of it, what only the details say.
pub fn bench(plan: &FirstPlan) -> Vec<(&'static str, Option<String>, Option<String>)> {
    let m = &plan.machine;
    let mut rows = Vec::new();
    if let Some(inrush) = plan.working_inrush_a {
        let short = format!("{}, at every start", span(Some(inrush), "A"));
        rows.push(("inrush", Some(short), None));
        rows.push(match plan.shunt {
            Some(s) => (
                "shunt",
                Some(format!(
                    "{}, {} of R: {} and {} at the inrush",
                    amount(s.resistance_ohm, "Ω"),
                    percent(s.share_of_resistance),
                    amount(s.drop_at_inrush_v, "V"),
                    amount(s.power_at_inrush_w, "W")
                )),
                Some(format!(
                    "four terminals, 1:1 lead or coaxial cable; {} a division; {} while running",
                    amount(one_two_five_up(s.resistance_ohm * inrush.high / 7.0), "V"),
                    amount(s.power_running_w, "W")
                )),
            ),
            None => (
                "current",
                Some("with a DC clamp probe: no usual shunt is small enough".into()),
                None,
            ),
        });
        rows.push(fuse(plan));
    }
    if let Some(limit) = plan.supply_limit_a {
        let held = plan.hold.current_a;
        rows.push((
            "supply",
            Some(format!(
                "isolated, current limit {} or more for starts",
                amount(limit, "A")
            )),
            Some(format!(
                "if it cannot, record the voltage at the motor: a sag then does not matter. For the held rotor set the limit to {}",
                held.map_or("little".into(), |i| amount(1.3 * i.high, "A"))
            )),
        ));
    }
    let capacitor = plan.capacitor.map(|c| capacitor(&c));
    rows.push(("capacitor", None, capacitor));
    rows.push((
        "held rotor",
        Some(format!(
            "at most {} and {}, then let it cool",
            amount(plan.hold.voltage_v, "V"),
            amount(plan.hold.longest_s, "s")
        )),
        None,
    ));
    let switch = plan.working_inrush_a.map(|inrush| {
        format!(
            "at the motor, one that makes {}, breaks {} DC at {}, and for the brake carries the first the other way; a lead is never pulled live",
            amount(inrush.high, "A"),
            amount(m.running_a.map_or(inrush.high, |i| i.high), "A"),
            amount(m.working_v, "V")
        )
    });
    rows.push(("switch", None, switch));
    if let Some(ohm) = plan.brake_resistor_ohm {
        let plain = plan.working_inrush_a.map(|i| i.times(0.95));
        rows.push((
            "brake",
            Some(format!(
                "through {}, not as a plain short",
                amount(ohm, "Ω")
            )),
            Some(format!("which would be {}", span(plain, "A"))),
        ));
    }
    rows
}

/// What protects the wiring, and what protects the winding.
fn fuse(plan: &FirstPlan) -> (&'static str, Option<String>, Option<String>) {
    let Some(fuse) = plan.fuse else {
        let none =
            "none is sold for this voltage and current in small sizes: a trained person chooses it";
        return ("fuse", Some(none.into()), None);
    };
    let short = format!(
        "{} time-lag in the plus lead; protects the wiring, not the winding",
        amount(fuse.rating_a, "A")
    );
    let mut more = format!(
        "close to the source; rated voltage {} DC or more, and able to break what the source can give (a battery gives hundreds of amperes)",
        amount(plan.machine.supply_v, "V")
    );
    let share = |own: f64| own / plan.machine.resistance_ohm.map_or(own, |r| r.value);
    if let Some(own) = fuse.resistance_ohm.filter(|own| share(*own) > 0.02) {
        let _ = write!(
            more,
            ". Such a small fuse has up to {} itself and heats: record the voltage at the motor",
            amount(own, "Ω")
        );
    }
    ("fuse", Some(short), Some(more))
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
