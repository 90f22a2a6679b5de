//! Chopper drive: ripple, frequencies, currents and losses of switch and diode (`docs/drive.md`, section 5).

use crate::drive::circuit::chopper::Chopper;
use crate::drive::sample::Sample;
use crate::drive::section::{Column, Known, Sink, Unit, Why, Worst, column, high, low, plain};
use crate::drive::setting::Setting;

const HELD: Why = Why::Physics("friction and load hold the rotor at this duty");

/// Chopper of the order at its frequency; freewheeling through the diode, or through a synchronous low switch.
pub fn chopper(setting: &Setting, m: &Sample, synchronous: bool) -> Known<Chopper> {
    let order = &setting.order;
    let switch = order.switch_resistance_ohm.unwrap_or(0.0);
    let motor = m.resistance_ohm? + order.lead_resistance_ohm;
    let diode = order.diode_resistance_ohm;
    Ok(Chopper {
        supply_v: order.supply_v,
        duty: order.duty,
        period_s: 1.0 / order.frequency_hz,
        on_ohm: motor + switch,
        off_ohm: motor + if synchronous { switch } else { diode },
        inductance_h: m.inductance_h?,
        brush_drop_v: m.brush_drop_v?,
        off_drop_v: if synchronous { 0.0 } else { order.diode_drop_v },
        one_way: !synchronous,
    })
}

/// Ripple at half duty, the resistances left out: none is greater. (V + V_d)/(4 f L).
pub fn greatest_ripple_a(chopper: &Chopper) -> f64 {
    (chopper.supply_v + chopper.off_drop_v) * chopper.period_s / (4.0 * chopper.inductance_h)
}

/// Chopper with the inductance at its mean current, and the back-EMF at which it settles under the load.
pub fn settled(setting: &Setting, m: &Sample, synchronous: bool) -> Known<(Chopper, f64)> {
    let mut chopper = chopper(setting, m, synchronous)?;
    let emf_v = settle(&chopper, m)?;
    chopper.inductance_h = m.inductance_at_h(chopper.cycle(emf_v).mean_a)?;
    Ok((chopper, settle(&chopper, m)?))
}

fn settle(chopper: &Chopper, m: &Sample) -> Known {
    let (holding, conductance) = (m.holding_a?, m.conductance_s?);
    let windage = m.windage_a_per_v2;
    Ok(chopper.settled_emf_v(|e| holding + e * (conductance + windage * e)))
}

/// Fills the topic.
pub fn fill(setting: &Setting, m: &Sample, out: &mut Sink) {
    let order = &setting.order;
    let diode = settled(setting, m, false);
    let low_switch = settled(setting, m, true);
    let turning = |settled: Known<(Chopper, f64)>| -> Known<(Chopper, f64)> {
        settled.and_then(|(chopper, e)| if e > 0.0 { Ok((chopper, e)) } else { Err(HELD) })
    };
    let cycle = diode.map(|(chopper, e)| chopper.cycle(e));
    out.row(
        plain(
            "pwm_mean_current",
            "mean current at this duty and load",
            Unit::Ampere,
            "5",
        ),
        cycle.map(|cycle| cycle.mean_a),
    );
    out.row(
        high(
            "pwm_ripple",
            "ripple current, peak to peak",
            Unit::Ampere,
            "5.1",
        ),
        cycle.map(|cycle| cycle.largest_a - cycle.least_a),
    );
    out.row(
        high(
            "pwm_ripple_bound",
            "its greatest at this frequency, (V + V_d)/(4 f L)",
            Unit::Ampere,
            "5.1",
        ),
        diode.map(|(chopper, _)| greatest_ripple_a(&chopper)),
    );
    out.row(
        high("pwm_peak", "peak current", Unit::Ampere, "5.1"),
        cycle.map(|cycle| cycle.largest_a),
    );
    // The back-EMF of very fast switching: that of continuous current.
    let fast = turning(diode.and_then(|(chopper, _)| {
        let quick = Chopper {
            period_s: 1e-6 * chopper.inductance_h / chopper.on_ohm,
            ..chopper
        };
        let emf_v = settle(&quick, m)?;
        Ok((chopper, emf_v))
    }));
    out.row(
        high(
            "continuous_frequency",
            "lowest frequency of continuous current at this load, with a diode",
            Unit::Hertz,
            "5.2",
        ),
        fast.map(|(chopper, e)| chopper.boundary_hz(e)),
    );
    out.row(
        high(
            "ripple_share_frequency",
            "lowest frequency for the ripple share",
            Unit::Hertz,
            "5.2",
        ),
        fast.and_then(|(chopper, e)| {
            Ok(chopper.ripple_hz(order.ripple_share * m.load_current_a(e)?))
        }),
    );
    out.row(
        high("three_time_constants_frequency", "frequency whose period is three electrical time constants (common practice, no source)", Unit::Hertz, "5.2"),
        diode.map(|(chopper, _)| chopper.on_ohm / (3.0 * chopper.inductance_h)),
    );
    currents(setting, m, out, diode, low_switch);
    ripple_table(setting, m, out);
    speed_table(setting, m, out, diode);
}

/// What switch, diode and winding carry and lose.
fn currents(
    setting: &Setting,
    m: &Sample,
    out: &mut Sink,
    diode: Known<(Chopper, f64)>,
    low_switch: Known<(Chopper, f64)>,
) {
    let order = &setting.order;
    let cycle = diode.map(|(chopper, e)| chopper.cycle(e));
    let synchronous = low_switch.map(|(chopper, e)| chopper.cycle(e));
    let given = order
        .switch_resistance_ohm
        .ok_or(Why::NotGiven("--switch-resistance"));
    let loss = |rms: Known| -> Known { Ok(given? * rms?.powi(2)) };
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

const DUTIES: [f64; 5] = [0.1, 0.25, 0.5, 0.75, 0.9];

fn ripple_table(setting: &Setting, m: &Sample, out: &mut Sink) {
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
    for frequency in &setting.plan.frequencies_hz {
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

fn speed_table(setting: &Setting, m: &Sample, out: &mut Sink, diode: Known<(Chopper, f64)>) {
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
    let reference = diode.and_then(|(chopper, _)| {
        let quick = Chopper {
            period_s: 1e-6 * chopper.inductance_h / chopper.on_ohm,
            ..chopper
        };
        settle(&quick, m)
    });
    for frequency in &setting.plan.frequencies_hz {
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
        let pulsates = 1.0 / (0.2 * r * c);
        if setting.plan.frequencies_hz.iter().any(|f| *f < pulsates) {
            out.remark(|| {
                format!(
                    "below about {pulsates:.0} Hz the period is longer than a fifth of the mechanical time constant: the speed itself pulsates and these figures no longer hold (common practice, no source)"
                )
            });
        }
    }
}

/// Speed and torque still to be had at a duty: kept here so that the half bridge and this topic agree.
pub fn mean_speed_row(out: &mut Sink, m: &Sample, emf_v: Known) {
    out.row(
        low(
            "half_bridge_speed",
            "speed at this duty and load",
            Unit::Speed,
            "6",
        ),
        emf_v.and_then(|e| m.speed_rad_s(e)),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::order::{Load, Order};
    use crate::drive::sample::tests::plain as sample;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    const P: TerminalParameters = TerminalParameters {
        terminal_resistance_ohm: 3.2,
        armature_inductance_h: 2.4e-3,
        inertia_capacitance_f: 0.1,
        friction_current_a: 0.13,
        viscous_conductance_s: 3e-3,
        windage_a_per_v2: 0.0,
        brush_drop_v: 0.7,
        brush_scale_a: 1e-3,
        saturation_per_a: 0.0,
        armature_reaction_per_a: 0.0,
        eddy_share: 0.0,
        eddy_resistance_ohm: 1.0,
    };

    /// Back-EMF, mean and largest current after a long time of switching with a diode.
    fn simulated(
        p: &TerminalParameters,
        frequency: f64,
        from_emf: f64,
        series: f64,
    ) -> (f64, f64, f64) {
        let c = Constants::<f64>::new(&TerminalParameters {
            terminal_resistance_ohm: p.terminal_resistance_ohm + series,
            ..*p
        });
        let mut s = State {
            current: 0.0,
            back_emf: from_emf,
            eddy_current: 0.0,
        };
        let steps = 60;
        let h = 0.5 / frequency / f64::from(steps);
        let periods = (1.5 * frequency) as usize;
        let tail = (0.1 * frequency) as usize;
        let (mut mean, mut largest) = (0.0, 0.0_f64);
        for period in 0..periods {
            for step in 0..2 * steps {
                let mut next = match (step < steps, s.current > 0.0) {
                    (true, _) => advance(&c, s, Condition::Voltage(24.0), h, false),
                    (false, true) => advance(&c, s, Condition::Voltage(-1.0), h, false),
                    (false, false) => advance(&c, s, Condition::Open, h, false),
                };
                if next.end.current < 0.0 {
                    next.end.current = 0.0;
                    next.end.eddy_current = 0.0;
                }
                if period >= periods - tail {
                    mean += 0.5 * (s.current + next.end.current) * h;
                    largest = largest.max(next.end.current);
                }
                s = next.end;
            }
        }
        (s.back_emf, mean * frequency / tail as f64, largest)
    }

    /// Speed, mean and peak in both regimes against the simulation; at low frequency the speed rises.
    #[test]
    fn settled_state_agrees_with_the_simulation() {
        let mut order = Order::usual(24.0);
        order.switch_resistance_ohm = Some(0.1);
        order.diode_resistance_ohm = 0.1;
        let mut emfs = Vec::new();
        for (frequency, load) in [(2000.0, 1.0), (200.0, 0.0)] {
            order.frequency_hz = frequency;
            order.load = Load::Current(load);
            let p = TerminalParameters {
                friction_current_a: P.friction_current_a + load,
                ..P
            };
            let (chopper, e) =
                settled(&Setting::of(order), &sample(p, 0.042), false).expect("known");
            let cycle = chopper.cycle(e);
            let (emf, mean, largest) = simulated(&p, frequency, e * 1.002, 0.1);
            assert_relative_eq!(e, emf, max_relative = 5e-3);
            assert_relative_eq!(cycle.mean_a, mean, max_relative = 2e-2);
            assert_relative_eq!(cycle.largest_a, largest, max_relative = 2e-2);
            assert_eq!(cycle.continuous, frequency > 1000.0);
            emfs.push(e);
        }
        assert!(emfs[1] > 1.2 * emfs[0], "{emfs:?}");
    }

    /// The boundary is where the settled current just touches zero, and the linear rule V d (1 − d)/(2 f L) is near it.
    #[test]
    fn the_boundary_frequency_is_where_current_just_ends() {
        let mut order = Order::usual(24.0);
        order.load = Load::Current(0.3);
        let setting = Setting::of(order);
        let motor = sample(
            TerminalParameters {
                friction_current_a: 0.43,
                ..P
            },
            0.042,
        );
        let (chopper, _) = settled(&setting, &motor, false).expect("known");
        let quick = chopper.at_frequency(1e8);
        let e = settle(&quick, &motor).expect("turns");
        let edge = chopper.boundary_hz(e);
        for (factor, continuous) in [(1.02, true), (0.98, false)] {
            let at = chopper.at_frequency(edge * factor);
            let settled = settle(&at, &motor).expect("turns");
            assert_eq!(at.cycle(settled).continuous, continuous);
        }
        let load = motor.load_current_a(e).expect("known");
        let linear = 25.0 * 0.25 / (2.0 * load * 2.4e-3);
        assert_relative_eq!(edge, linear, max_relative = 0.02);
        // A ripple of 10 % of the load current takes twenty times that frequency.
        assert_relative_eq!(
            chopper.ripple_hz(0.1 * load),
            20.0 * linear,
            max_relative = 0.02
        );
    }

    #[test]
    fn no_duty_exceeds_the_greatest_ripple_and_half_duty_nearly_has_it() {
        let mut order = Order::usual(24.0);
        order.frequency_hz = 10e3;
        let chopper = chopper(&Setting::of(order), &sample(P, 0.042), false).expect("known");
        let greatest = greatest_ripple_a(&chopper);
        for duty in DUTIES {
            let ripple = Chopper { duty, ..chopper }.ripple_a();
            assert!(ripple < greatest, "{duty}: {ripple} {greatest}");
        }
        assert_relative_eq!(chopper.ripple_a(), greatest, max_relative = 2e-3);
    }
}
