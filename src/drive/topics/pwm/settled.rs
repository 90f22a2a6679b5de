//! The chopper of an order, and the back-EMF at which it settles under the load.

use crate::drive::circuit::chopper::Chopper;
use crate::drive::sample::Sample;
use crate::drive::section::{Known, Why};
use crate::drive::setting::Setting;

/// Why nothing moves.
pub const HELD: Why = Why::Physics("friction and load hold the rotor at this duty");

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
        inductance_h: m.inductance_at_h(0.0, order.frequency_hz)?,
        brush_drop_v: m.brush_drop_v?,
        off_drop_v: if synchronous { 0.0 } else { order.diode_drop_v },
        one_way: !synchronous,
    })
}

/// Ripple at half duty, the resistances left out: none is greater. (V + V_d)/(4 f L).
pub fn greatest_ripple_a(chopper: &Chopper) -> f64 {
    (chopper.supply_v + chopper.off_drop_v) * chopper.period_s / (4.0 * chopper.inductance_h)
}

/// Chopper with the inductance that its frequency meets at its mean current, and the back-EMF at which it settles under the load.
pub fn settled(setting: &Setting, m: &Sample, synchronous: bool) -> Known<(Chopper, f64)> {
    let mut chopper = chopper(setting, m, synchronous)?;
    let emf_v = settle(&chopper, m)?;
    let mean_a = chopper.cycle(emf_v).mean_a;
    chopper.inductance_h = m.inductance_at_h(mean_a, setting.order.frequency_hz)?;
    Ok((chopper, settle(&chopper, m)?))
}

/// Back-EMF at which the mean current is what friction and load take.
pub fn settle(chopper: &Chopper, m: &Sample) -> Known {
    let (holding, conductance) = (m.holding_a?, m.conductance_s?);
    let windage = m.windage_a_per_v2;
    Ok(chopper.settled_emf_v(|e| holding + e * (conductance + windage * e)))
}

/// Back-EMF of very fast switching: that of continuous current.
pub fn settle_continuous(chopper: &Chopper, m: &Sample) -> Known {
    let quick = Chopper {
        period_s: 1e-6 * chopper.inductance_h / chopper.on_ohm,
        ..*chopper
    };
    settle(&quick, m)
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
        let mut s = State::at(0.0, from_emf);
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
}
