//! The switch opens: stored energy, clamp current, decay, and what no clamp would mean (`docs/drive.md`, section 7).

use super::inrush::{running, stall_a};
use crate::drive::Note;
use crate::drive::circuit::clamp::{Decay, decay, ring_v};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why, given};
use crate::drive::setting::Setting;

/// Keys for one state from which the switch opens.
const RUNNING: [&str; 6] = [
    "running_energy",
    "running_clamp_current",
    "running_diode_time",
    "running_clamp_time",
    "running_clamp_energy",
    "running_unclamped_voltage",
];
const HELD: [&str; 6] = [
    "held_energy",
    "held_clamp_current",
    "held_diode_time",
    "held_clamp_time",
    "held_clamp_energy",
    "held_unclamped_voltage",
];

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let run = running(setting, m);
    let state = run.map(|run| (run.current_a, run.back_emf_v));
    from(setting, m, out, RUNNING, state);
    let state = stall_a(setting, m).map(|i| (i, 0.0));
    from(setting, m, out, HELD, state);
    let clamp = given(setting.order.clamp_voltage_v, "--clamp-voltage");
    out.row(
        "clamp_peak_power",
        clamp.and_then(|clamp_v| Ok(clamp_v * stall_a(setting, m)?)),
    );
    out.row(
        "switch_off_voltage",
        clamp.map(|clamp_v| setting.order.supply_v + clamp_v),
    );
    out.remark(|| Note::WithoutClamp);
}

fn from(
    setting: &Setting,
    m: &Sample,
    out: &mut Section,
    keys: [&str; 6],
    state: Known<(f64, f64)>,
) {
    let order = &setting.order;
    let loop_ohm = || -> Known {
        Ok(m.resistance_ohm? + order.lead_resistance_ohm + order.diode_resistance_ohm)
    };
    // With saturation the decaying current meets more and more inductance: the unsaturated value is the safe side.
    let inductance = m.inductance_h;
    let into = |clamp_v: Known| -> Known<Decay> {
        let (i, e) = state?;
        let opposing = clamp_v? + m.brush_drop_v? + e;
        if opposing <= 0.0 {
            return Err(Why::Physics(
                "with neither diode drop, brush drop nor back-EMF the current only dies away",
            ));
        }
        Ok(decay(loop_ohm()?, inductance?, opposing, i))
    };
    let clamp = given(order.clamp_voltage_v, "--clamp-voltage");
    let stray = given(order.stray_capacitance_f, "--stray-capacitance");
    let unclamped = stray.and_then(|stray| {
        let (i, e) = state?;
        let source = (order.supply_v - e - m.brush_drop_v?).max(0.0);
        let r = m.resistance_ohm? + order.lead_resistance_ohm + order.source_resistance_ohm;
        Ok(ring_v(r, inductance?, stray, source, i))
    });
    let values = [
        state.and_then(|(i, _)| Ok(0.5 * inductance? * i * i)),
        state.map(|(i, _)| i),
        into(Ok(order.diode_drop_v)).map(|d| d.time_s),
        into(clamp).map(|d| d.time_s),
        into(clamp).and_then(|d| Ok(clamp? * d.charge_c)),
        unclamped,
    ];
    for (key, value) in keys.into_iter().zip(values) {
        out.row(key, value);
    }
}
