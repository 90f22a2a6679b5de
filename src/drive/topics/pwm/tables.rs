//! Ripple and speed against frequency.

use super::settled::{HELD, chopper, settle, settle_continuous};
use crate::drive::Note;
use crate::drive::circuit::chopper::Chopper;
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Section, Unit, Worst, column};
use crate::drive::setting::Setting;

const DUTIES: [f64; 5] = [0.1, 0.25, 0.5, 0.75, 0.9];

/// Ripple by frequency and duty.
pub fn ripple_table(setting: &Setting, m: &Sample, out: &mut Section) {
    let mut columns: Vec<Column> = vec![column("frequency", Unit::Hertz, Worst::Neither)];
    for words in ["at duty 10 %", "25 %", "50 %", "75 %", "90 %"] {
        columns.push(column(words, Unit::Ampere, Worst::High));
    }
    out.table(
        "ripple",
        || "ripple current, peak to peak, while continuous".to_owned(),
        "5.1",
        &columns,
    );
    let base = chopper(setting, m, false);
    for frequency in &setting.frequencies_hz {
        out.line(&[*frequency]);
        for duty in DUTIES {
            out.cell(base.map(|base| {
                Chopper {
                    duty,
                    ..base.at_frequency(*frequency)
                }
                .ripple_a()
            }));
        }
    }
}

/// Currents and speed by frequency.
pub fn speed_table(setting: &Setting, m: &Sample, out: &mut Section, diode: Known<(Chopper, f64)>) {
    out.table(
        "low_frequency",
        || "what a low frequency does to the speed, freewheeling through a diode, same duty and load".to_owned(),
        "5.4",
        &[
            column("frequency", Unit::Hertz, Worst::Neither),
            column("current flows for", Unit::Share, Worst::Neither),
            column("peak current", Unit::Ampere, Worst::High),
            column("RMS over mean", Unit::One, Worst::High),
            column("speed, of that at continuous current", Unit::Share, Worst::High),
        ],
    );
    let reference = diode.and_then(|(chopper, _)| settle_continuous(&chopper, m));
    for frequency in &setting.frequencies_hz {
        let at = diode.and_then(|(chopper, _)| {
            let chopper = chopper.at_frequency(*frequency);
            let emf_v = settle(&chopper, m)?;
            Ok((emf_v, chopper.cycle(emf_v)))
        });
        out.line(&[*frequency]);
        out.cell(at.map(|(_, cycle)| cycle.ends_s * frequency));
        out.cell(at.map(|(_, cycle)| cycle.largest_a));
        out.cell(at.map(|(_, cycle)| cycle.rms_a / cycle.mean_a));
        out.cell(at.and_then(|(emf_v, _)| {
            let reference = reference?;
            if reference > 0.0 {
                Ok(emf_v / reference)
            } else {
                Err(HELD)
            }
        }));
    }
    if let (Ok(c), Ok(r)) = (m.capacitance_f, m.resistance_ohm) {
        // A fifth: common practice, no source.
        let pulsates = 1.0 / (0.2 * r * c);
        if setting.frequencies_hz.iter().any(|f| *f < pulsates) {
            out.remark(|| Note::SpeedPulsates {
                frequency_hz: pulsates,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::settled::greatest_ripple_a;
    use super::*;
    use crate::drive::order::Order;
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::TerminalParameters;
    use approx::assert_relative_eq;

    #[test]
    fn no_duty_exceeds_the_greatest_ripple_and_half_duty_nearly_has_it() {
        let p = TerminalParameters {
            brush_drop_v: 0.7,
            brush_scale_a: 1e-3,
            ..TerminalParameters::plain(3.2, 2.4e-3, 0.1, 0.13, 3e-3)
        };
        let mut order = Order::usual(24.0);
        order.frequency_hz = 10e3;
        let chopper = chopper(&Setting::of(order), &sample(p, 0.042), false).expect("known");
        let greatest = greatest_ripple_a(&chopper);
        for duty in DUTIES {
            let ripple = Chopper { duty, ..chopper }.ripple_a();
            assert!(ripple < greatest, "{duty}: {ripple} {greatest}");
        }
        assert_relative_eq!(chopper.ripple_a(), greatest, max_relative = 2e-3);
    }
}
