//! What switch, diode and winding carry and lose.

use crate::drive::Note;
use crate::drive::circuit::chopper::Chopper;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, given};
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
    let (cycle, synchronous) = (cycle(diode), cycle(low_switch));
    let order = &setting.order;
    let switch = given(order.switch_resistance_ohm, "--switch-resistance");
    let loss = |rms: Known| -> Known { Ok(switch? * rms?.powi(2)) };
    for (key, value) in [
        ("switch_mean_current", cycle.map(|c| c.on.mean_a)),
        ("switch_rms_current", cycle.map(|c| c.on.rms_a)),
        ("diode_mean_current", cycle.map(|c| c.off.mean_a)),
        ("diode_rms_current", cycle.map(|c| c.off.rms_a)),
        ("off_peak_current", cycle.map(|c| c.largest_a)),
        ("switch_loss", loss(cycle.map(|c| c.on.rms_a))),
        (
            "diode_loss",
            cycle.map(|c| {
                order.diode_drop_v * c.off.mean_a + order.diode_resistance_ohm * c.off.rms_a.powi(2)
            }),
        ),
        ("synchronous_loss", loss(synchronous.map(|c| c.off.rms_a))),
        (
            "winding_ripple_heat",
            cycle.and_then(|c| {
                Ok(m.resistance_ohm? * (c.rms_a.powi(2) - c.mean_a.powi(2)).max(0.0))
            }),
        ),
    ] {
        out.row(key, value);
    }
    if let Some(capacitance_f) = order.motor_capacitance_f {
        let loss_w = capacitance_f * order.supply_v * order.supply_v * order.frequency_hz;
        out.row("capacitor_loss", Ok(loss_w));
        out.remark(|| Note::CapacitorCharged);
    }
}
