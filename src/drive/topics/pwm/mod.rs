//! Chopper drive: ripple, frequencies, currents and losses of switch and diode (`docs/drive.md`, section 5).

mod losses;
mod settled;
mod tables;

pub use settled::{HELD, settled};

use crate::drive::circuit::chopper::Chopper;
use crate::drive::order::Load;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Section, Why};
use crate::drive::setting::Setting;
use losses::currents;
use settled::{greatest_ripple_a, settle_continuous};
use tables::{ripple_table, speed_table};

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Section) {
    let order = &setting.order;
    let diode = settled(setting, m, false);
    let low_switch = settled(setting, m, true);
    let turning = |settled: Known<(Chopper, f64)>| -> Known<(Chopper, f64)> {
        settled.and_then(|(chopper, e)| if e > 0.0 { Ok((chopper, e)) } else { Err(HELD) })
    };
    let cycle = diode.map(|(chopper, e)| chopper.cycle(e));
    out.row("pwm_mean_current", cycle.map(|cycle| cycle.mean_a));
    out.row(
        "pwm_ripple",
        cycle.map(|cycle| cycle.largest_a - cycle.least_a),
    );
    out.row(
        "pwm_ripple_bound",
        diode.map(|(chopper, _)| greatest_ripple_a(&chopper)),
    );
    out.row("pwm_peak", cycle.map(|cycle| cycle.largest_a));
    let fast = turning(diode.and_then(|(chopper, _)| {
        let emf_v = settle_continuous(&chopper, m)?;
        Ok((chopper, emf_v))
    }));
    out.row(
        "continuous_frequency",
        fast.map(|(chopper, e)| chopper.boundary_hz(e)),
    );
    out.row(
        "ripple_share_frequency",
        fast.and_then(|(chopper, e)| {
            if order.load == Load::None {
                return Err(Why::NotGiven("--load"));
            }
            Ok(chopper.ripple_hz(order.ripple_share * m.load_current_a(e)?))
        }),
    );
    // Three time constants a period: common practice, no source.
    out.row(
        "three_time_constants_frequency",
        diode.map(|(chopper, _)| chopper.on_ohm / (3.0 * chopper.inductance_h)),
    );
    currents(setting, m, out, diode, low_switch);
    ripple_table(setting, m, out);
    speed_table(setting, m, out, diode);
}
