//! The switch opens: stored energy, clamp current, decay, and what no clamp would mean (`docs/drive.md`, section 7).

use super::inrush::{running, stall_a};
use crate::drive::circuit::clamp::{decay, ring_v};
use crate::drive::sample::Sample;
use crate::drive::section::{Def, Known, Section, Unit, Why, high};
use crate::drive::setting::Setting;

/// Keys and words for one state from which the switch opens.
struct Words {
    energy: Def,
    current: Def,
    diode_time: Def,
    clamp_time: Def,
    clamp_energy: Def,
    peak: Def,
}

const fn words(keys: [&'static str; 6], words: [&'static str; 6]) -> Words {
    Words {
        energy: high(keys[0], words[0], Unit::Joule, "7"),
        current: high(keys[1], words[1], Unit::Ampere, "7"),
        diode_time: high(keys[2], words[2], Unit::Second, "7"),
        clamp_time: high(keys[3], words[3], Unit::Second, "7"),
        clamp_energy: high(keys[4], words[4], Unit::Joule, "7"),
        peak: high(keys[5], words[5], Unit::Volt, "7"),
    }
}

const RUNNING: Words = words(
    [
        "running_energy",
        "running_clamp_current",
        "running_diode_time",
        "running_clamp_time",
        "running_clamp_energy",
        "running_unclamped_voltage",
    ],
    [
        "running: energy in the inductance",
        "running: current that diode or clamp takes over",
        "running: decay through a diode",
        "running: decay through the clamp",
        "running: energy into the clamp each time",
        "running: voltage at the contact with stray capacitance only, no arc",
    ],
);

const HELD: Words = words(
    [
        "held_energy",
        "held_clamp_current",
        "held_diode_time",
        "held_clamp_time",
        "held_clamp_energy",
        "held_unclamped_voltage",
    ],
    [
        "rotor held: energy in the inductance",
        "rotor held: current that diode or clamp takes over",
        "rotor held: decay through a diode",
        "rotor held: decay through the clamp",
        "rotor held: energy into the clamp each time",
        "rotor held: voltage at the contact with stray capacitance only, no arc",
    ],
);

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let run = running(setting, m);
    from(
        setting,
        m,
        out,
        &RUNNING,
        run.map(|run| (run.current_a, run.back_emf_v)),
    );
    from(
        setting,
        m,
        out,
        &HELD,
        stall_a(setting, m).map(|i| (i, 0.0)),
    );
    let clamp = setting
        .order
        .clamp_voltage_v
        .ok_or(Why::NotGiven("--clamp-voltage"));
    out.row(
        high(
            "clamp_peak_power",
            "rotor held: peak power in the clamp",
            Unit::Watt,
            "7",
        ),
        clamp.and_then(|clamp_v| Ok(clamp_v * stall_a(setting, m)?)),
    );
    out.row(
        high(
            "switch_off_voltage",
            "voltage across the open switch while the clamp conducts",
            Unit::Volt,
            "7",
        ),
        clamp.map(|clamp_v| setting.order.supply_v + clamp_v),
    );
    out.remark(|| {
        "the voltage without a clamp is that of the circuit alone: an arc or a switch that breaks down ends it earlier and takes the energy".to_owned()
    });
}

fn from(setting: &Setting, m: &Sample, out: &mut Section, words: &Words, state: Known<(f64, f64)>) {
    let order = &setting.order;
    let loop_ohm = || -> Known {
        Ok(m.resistance_ohm? + order.lead_resistance_ohm + order.diode_resistance_ohm)
    };
    // With saturation the decaying current meets more and more inductance: the unsaturated value is the safe side.
    let inductance = m.inductance_h;
    out.row(
        words.energy,
        state.and_then(|(i, _)| Ok(0.5 * inductance? * i * i)),
    );
    out.row(words.current, state.map(|(i, _)| i));
    let into = |clamp_v: Known| -> Known<crate::drive::circuit::clamp::Decay> {
        let (i, e) = state?;
        let opposing = clamp_v? + m.brush_drop_v? + e;
        if opposing <= 0.0 {
            return Err(Why::Physics(
                "with neither diode drop, brush drop nor back-EMF the current only dies away",
            ));
        }
        Ok(decay(loop_ohm()?, inductance?, opposing, i))
    };
    let clamp = order
        .clamp_voltage_v
        .ok_or(Why::NotGiven("--clamp-voltage"));
    out.row(
        words.diode_time,
        into(Ok(order.diode_drop_v)).map(|d| d.time_s),
    );
    out.row(words.clamp_time, into(clamp).map(|d| d.time_s));
    out.row(
        words.clamp_energy,
        into(clamp).and_then(|d| Ok(clamp? * d.charge_c)),
    );
    out.row(
        words.peak,
        order
            .stray_capacitance_f
            .ok_or(Why::NotGiven("--stray-capacitance"))
            .and_then(|stray| {
                let (i, e) = state?;
                let source = (order.supply_v - e - m.brush_drop_v?).max(0.0);
                let r = m.resistance_ohm? + order.lead_resistance_ohm + order.source_resistance_ohm;
                Ok(ring_v(r, inductance?, stray, source, i))
            }),
    );
}
