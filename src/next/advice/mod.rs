//! How to take one capture: wiring, settings, what to look for, and the cautions with this motor's numbers.

mod heating;
pub(crate) mod protection;
pub(crate) mod scope;
pub(crate) mod series;
pub(crate) mod source;

use crate::drive::cautions::Caution;
use crate::next::assumptions::guess::Guess;
use crate::next::assumptions::machine::Machine;
use crate::next::text::numbers::{amount, span};
use heating::{RISE_FOR_MEASURING_K, RISE_TO_DAMAGE_K};
use protection::{Fuse, Load, brake_energy_j};
use scope::{MOST_POINTS, SAMPLES_PER_TIME_CONSTANT, Settings};
use serde::Serialize;
use series::settable_down;

/// A held rotor stays on no longer than this, however cool it would stay, s (common practice, no source).
const LONGEST_HOLD_S: f64 = 1.0;
/// Seconds for which the voltage on a held rotor is chosen, so that a slow hand does no harm.
const HOLD_DESIGN_S: f64 = 2.0;
/// A held rotor gets at most this share of the supply voltage; where the copper is not known, the lesser one (docs/bench.md,
/// section 7.4).
const MOST_LOCKED_SHARE: f64 = 0.25;
const UNKNOWN_LOCKED_SHARE: f64 = 0.1;

/// One capture as it is to be made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Advice {
    pub role: &'static str,
    pub wiring: String,
    /// Section of docs/bench.md with the drawing.
    pub section: &'static str,
    pub voltage_v: f64,
    /// Largest current, A.
    pub expected_current_a: Option<Guess>,
    pub settings: Settings,
    /// What a good record looks like.
    pub by_eye: Vec<String>,
    pub cautions: Vec<String>,
}

/// Seconds and limits of a held rotor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Hold {
    pub voltage_v: f64,
    pub current_a: Option<Guess>,
    /// Until the copper is ten kelvin warmer, at that voltage.
    pub measuring_s: Option<Guess>,
    /// Until it is eighty kelvin warmer, at the full supply.
    pub full_supply_s: Option<Guess>,
    /// How long it may stay on.
    pub longest_s: f64,
}

/// Limits of a held rotor.
pub fn hold(machine: &Machine) -> Hold {
    let supply = machine.supply_v;
    let both = machine.copper_kg.zip(machine.resistance_ohm);
    let most = match both {
        Some((copper, resistance)) => {
            heating::voltage_for(copper, resistance, HOLD_DESIGN_S, RISE_FOR_MEASURING_K)
                .min(MOST_LOCKED_SHARE * supply)
        }
        None => UNKNOWN_LOCKED_SHARE * supply,
    };
    let voltage_v = settable_down(most);
    let measuring_s = both.map(|(m, r)| heating::seconds(m, r, voltage_v, RISE_FOR_MEASURING_K));
    Hold {
        voltage_v,
        current_a: machine.stall_a(voltage_v),
        measuring_s,
        full_supply_s: both.map(|(m, r)| heating::seconds(m, r, supply, RISE_TO_DAMAGE_K)),
        longest_s: measuring_s.map_or(LONGEST_HOLD_S, |t| t.low.min(LONGEST_HOLD_S)),
    }
}

/// The fuse that carries what is planned; inner `None` where none is sold for it, outer where R is unknown.
pub fn fuse(machine: &Machine) -> Option<Option<Fuse>> {
    let inrush = machine.stall_a(machine.working_v)?;
    Some(Fuse::carrying(&Load {
        voltage_v: machine.working_v,
        inrush_a: inrush.value,
        running_a: machine.running_a.map_or(0.0, |i| i.value),
        held_a: hold(machine).current_a.map_or(0.0, |i| i.high),
    }))
}

fn fuse_text(machine: &Machine) -> String {
    match fuse(machine) {
        Some(Some(fuse)) => format!("fuse {}, time-lag", amount(fuse.rating_a, "A")),
        Some(None) => "a fuse that a trained person chooses".into(),
        None => "a fuse, chosen when R is known".into(),
    }
}

/// Step of a record that shows the rise of the current.
fn fine(machine: &Machine) -> f64 {
    machine.electrical_time_constant_s.low / SAMPLES_PER_TIME_CONSTANT
}

/// Range of a channel that shows currents up to a guess.
fn up_to(guess: Option<Guess>) -> (f64, f64) {
    (0.0, guess.map_or(0.0, |g| 1.05 * g.high))
}

/// The trigger on a current that rises or falls through a tenth of a peak.
fn through(edge: &str, other: &str, peak_a: Option<f64>) -> String {
    let level = peak_a.map_or(String::new(), |a| {
        format!(" through {}", amount(0.1 * a, "A"))
    });
    format!("single shot, {edge} current{level} ({other} edge where CH2 reads −i)")
}

impl Advice {
    /// What a good record looks like, how to take one that is too long for the memory among it.
    fn looking_for(mut self, lines: &[&str], machine: &Machine) -> Advice {
        self.by_eye = lines.iter().map(|line| line.to_string()).collect();
        let points = self.settings.points;
        if points > MOST_POINTS {
            self.by_eye.push(format!(
                "{:.1} million points: if the memory is smaller, take it twice, once with {} on the screen and once with the whole span at what the memory allows",
                points / 1e6,
                amount(30.0 * machine.electrical_time_constant_s.high, "s")
            ));
        }
        self
    }
}

/// A start from rest at `voltage_v`.
pub fn start(machine: &Machine, voltage_v: f64) -> Advice {
    let inrush = machine.stall_a(voltage_v);
    Advice {
        role: "start",
        section: "7.1",
        wiring: "isolated supply, on and settled; fuse and switch in the plus lead; shunt (CH2) in the minus lead; both grounds on the shunt's sense terminal at the motor, CH1 tip on the plus tab: the short lead from tab to shunt lies inside CH1, state it as spans_ohm".into(),
        voltage_v,
        expected_current_a: inrush,
        settings: Settings::new(
            (0.0, voltage_v),
            up_to(inrush),
            8.0 * machine.mechanical_time_constant_s.value,
            fine(machine),
            0.15,
            through("rising", "falling", inrush.map(|i| i.value)),
        ),
        by_eye: Vec::new(),
        cautions: vec![format!(
            "inrush {} for some {}; {}; {}",
            span(inrush, "A"),
            amount(3.0 * machine.mechanical_time_constant_s.value, "s"),
            fuse_text(machine),
            Caution::TurningShaft.text()
        )],
    }
    .looking_for(
        &[
            "flat zero of both channels before the step; a rise within a few L/R, then a fall to a small steady current",
            "current still falling at the right edge: double the time scale and take it again; a flat roof below V/R: the supply limits",
        ],
        machine,
    )
}

/// A run-down with open terminals from free running at `voltage_v`.
pub fn run_down(machine: &Machine, voltage_v: f64) -> Advice {
    let share = voltage_v / machine.supply_v;
    let level = amount(0.9 * machine.running_emf_v * share, "V");
    Advice {
        role: "run-down",
        section: "7.2",
        wiring: "let it run half a minute, then open one lead with a switch at the motor, never by pulling a live lead; CH1 stays on the tabs, no freewheel diode and no meter across them (a bidirectional suppressor above the supply voltage may stay)".into(),
        voltage_v,
        expected_current_a: machine.running_a,
        settings: Settings::new(
            (0.0, voltage_v),
            up_to(machine.running_a.map(|i| i.times(1.5))),
            1.2 * machine.run_down_s.value * share.min(1.0),
            1.0 / (10.0 * machine.ripple_hz()),
            0.1,
            format!("single shot, falling voltage through {level}"),
        ),
        by_eye: Vec::new(),
        cautions: vec![format!(
            "{}: a 10:1 probe at the least, hands off bare terminals while the lead opens",
            Caution::OpenedInductance.text()
        )],
    }
    .looking_for(
        &[
            "a smooth fall that bends little, to the very end and half a second beyond; ripple on it is wanted: it gives the speed",
            "a fall at once and then slowly: something still draws current; a crossing of zero: AC coupling",
        ],
        machine,
    )
}

/// A brake from free running at `voltage_v` through `through_ohm` (0: a plain short).
pub fn brake(machine: &Machine, voltage_v: f64, through_ohm: f64) -> Advice {
    let emf = machine.running_emf_v * voltage_v / machine.supply_v;
    let resistance = machine.resistance_ohm;
    let total = resistance.map(|r| Guess {
        value: r.value + through_ohm,
        low: r.low + through_ohm,
        high: r.high + through_ohm,
        basis: r.basis,
    });
    let peak = total.map(|r| Guess::given(emf).over(r));
    let both = total.zip(resistance);
    let slower = both.map_or(1.0, |(t, r)| t.value / r.value);
    let how = if through_ohm > 0.0 {
        let energy = resistance.map(|r| {
            let capacitance = machine.mechanical_time_constant_s.over(r);
            brake_energy_j(capacitance, emf, through_ohm / (through_ohm + r.value))
        });
        format!(
            "through {} (state it in the sheet's note; it takes up {} in one brake)",
            amount(through_ohm, "Ω"),
            span(energy, "J")
        )
    } else {
        "through a thick short".to_string()
    };
    let lowest = -peak.map_or(0.0, |p| 1.05 * p.high);
    Advice {
        role: "brake",
        section: "7.3",
        wiring: format!(
            "change-over switch that breaks before it makes: first the supply off, then the motor {how}; shunt or clamp inside the loop of motor and short, CH1 on the tabs"
        ),
        voltage_v,
        expected_current_a: peak,
        settings: Settings::new(
            (0.0, voltage_v),
            (lowest, machine.running_a.map_or(0.0, |i| i.high)),
            5.0 * slower * machine.mechanical_time_constant_s.value,
            fine(machine),
            0.2,
            through("falling", "rising", peak.map(|p| -p.value)),
        ),
        by_eye: Vec::new(),
        cautions: vec![format!(
            "peak {} the other way: switch and leads for that; {}: once or twice only; the supply must be off the motor first ({})",
            span(peak, "A"),
            Caution::Demagnetisation.text(),
            Caution::RaisedSupply.text()
        )],
    }
    .looking_for(
        &[
            "a few milliseconds of open-terminal voltage, then a current peak the other way and a fall to zero",
            "several peaks: the switch bounces (cut by the fit); voltage at the tabs stays near zero: otherwise the short is poor",
        ],
        machine,
    )
}

/// A step onto the held rotor.
pub fn locked(machine: &Machine) -> Advice {
    let hold = hold(machine);
    Advice {
        role: "locked-rotor",
        section: "7.4",
        wiring: "as for the start, shaft held in a collet or vice, never by hand; five rotor positions, one capture each, a few degrees apart and not in step with the segments".into(),
        voltage_v: hold.voltage_v,
        expected_current_a: hold.current_a,
        settings: Settings::new(
            (0.0, hold.voltage_v),
            up_to(hold.current_a),
            15.0 * machine.electrical_time_constant_s.high,
            0.5 * fine(machine),
            0.25,
            through("rising", "falling", hold.current_a.map(|i| i.value)),
        ),
        by_eye: vec![
            "one smooth rise to a flat top; a sag or swing after it: the rotor creeps, clamp it better".into(),
        ],
        cautions: hold_lines(machine, &hold),
    }
}

/// The caution of a held rotor with this motor's numbers.
fn hold_lines(machine: &Machine, hold: &Hold) -> Vec<String> {
    let mut out = vec![format!(
        "held rotor: at most {}, {} there; on for {} at most, then off and let it cool; {}",
        amount(hold.voltage_v, "V"),
        span(hold.current_a, "A"),
        amount(hold.longest_s, "s"),
        fuse_text(machine)
    )];
    out.push(match (hold.measuring_s, hold.full_supply_s) {
        (Some(measuring), Some(full)) => format!(
            "the copper is {RISE_FOR_MEASURING_K:.0} K warmer after {} at that voltage; at the full {} it would be {RISE_TO_DAMAGE_K:.0} K warmer after {}: never hold it there",
            span(Some(measuring), "s"),
            amount(machine.supply_v, "V"),
            span(Some(full), "s")
        ),
        _ => format!(
            "{}; how many cannot be said without the motor's size (--diameter, --length or --mass) and resistance",
            Caution::LockedRotor.text()
        ),
    });
    out
}

/// Running freely at `voltage_v`.
pub fn steady(machine: &Machine, voltage_v: f64, tachometer: bool) -> Advice {
    let mut by_eye = vec![
        "range the current channel for THIS current, some five times finer than for the start; it drifts no more after a minute".to_string(),
    ];
    if tachometer {
        by_eye.push("read the tachometer at that moment, one mark on the shaft, and write voltage and current beside it; under mains lamps 3000, 6000 or 3600, 7200 r/min are suspicious".into());
    }
    Advice {
        role: "steady",
        section: "7.7",
        wiring: "as for the start; let it run a minute".into(),
        voltage_v,
        expected_current_a: machine.running_a,
        settings: Settings::new(
            (0.0, voltage_v),
            up_to(machine.running_a.map(|i| i.times(1.5))),
            1.0,
            1.0 / (10.0 * machine.ripple_hz()),
            0.0,
            "none (auto or forced), speed steady".into(),
        ),
        by_eye,
        cautions: vec![Caution::TurningShaft.text().to_string()],
    }
}
