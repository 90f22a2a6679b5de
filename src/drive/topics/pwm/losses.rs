//! What switch, diode and winding carry and lose.

use crate::drive::circuit::chopper::{Chopper, Cycle};
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Unit, Why, high};
use crate::drive::setting::Setting;

/// Rows of currents, then of losses, with a diode and with a synchronous low switch.
pub fn currents(
    setting: &Setting,
    m: &Sample,
    out: &mut Section,
    diode: Known<(Chopper, f64)>,
    low_switch: Known<(Chopper, f64)>,
) {
    let cycle = |settled: Known<(Chopper, f64)>| settled.map(|(chopper, e)| chopper.cycle(e));
    carried(out, cycle(diode));
    lost(setting, m, out, cycle(diode), cycle(low_switch));
}

fn carried(out: &mut Section, cycle: Known<Cycle>) {
    for (def, value) in [
        (
            high(
                "switch_mean_current",
                "switch current, mean",
                Unit::Ampere,
                "5.3",
            ),
            cycle.map(|c| c.on.mean_a),
        ),
        (
            high(
                "switch_rms_current",
                "switch current, RMS",
                Unit::Ampere,
                "5.3",
            ),
            cycle.map(|c| c.on.rms_a),
        ),
        (
            high(
                "diode_mean_current",
                "diode current, mean",
                Unit::Ampere,
                "5.3",
            ),
            cycle.map(|c| c.off.mean_a),
        ),
        (
            high(
                "diode_rms_current",
                "diode current, RMS",
                Unit::Ampere,
                "5.3",
            ),
            cycle.map(|c| c.off.rms_a),
        ),
        (
            high(
                "off_peak_current",
                "switch and diode current, peak",
                Unit::Ampere,
                "5.3",
            ),
            cycle.map(|c| c.largest_a),
        ),
    ] {
        out.row(def, value);
    }
}

fn lost(
    setting: &Setting,
    m: &Sample,
    out: &mut Section,
    cycle: Known<Cycle>,
    synchronous: Known<Cycle>,
) {
    let order = &setting.order;
    let given = order
        .switch_resistance_ohm
        .ok_or(Why::NotGiven("--switch-resistance"));
    let loss = |rms: Known| -> Known { Ok(given? * rms?.powi(2)) };
    for (def, value) in [
        (
            high(
                "switch_loss",
                "conduction loss in the switch",
                Unit::Watt,
                "5.3",
            ),
            loss(cycle.map(|c| c.on.rms_a)),
        ),
        (
            high(
                "diode_loss",
                "conduction loss in the freewheeling diode",
                Unit::Watt,
                "5.3",
            ),
            cycle.map(|c| {
                order.diode_drop_v * c.off.mean_a + order.diode_resistance_ohm * c.off.rms_a.powi(2)
            }),
        ),
        (
            high(
                "synchronous_loss",
                "conduction loss in a synchronous low switch instead",
                Unit::Watt,
                "5.3",
            ),
            loss(synchronous.map(|c| c.off.rms_a)),
        ),
        (
            high(
                "winding_ripple_heat",
                "extra heat in the winding from the ripple",
                Unit::Watt,
                "5.3",
            ),
            cycle.and_then(|c| {
                Ok(m.resistance_ohm? * (c.rms_a.powi(2) - c.mean_a.powi(2)).max(0.0))
            }),
        ),
    ] {
        out.row(def, value);
    }
}
