//! Decay of the current when the switch opens (`docs/drive.md`, section 7).

/// A decay into a constant clamp voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decay {
    pub time_s: f64,
    /// ∫ i dt, C: times the clamp voltage it is the energy in the clamp.
    pub charge_c: f64,
}

/// `L di/dt = −R i − U` from `current_a` to zero, U all that opposes the current: t = (L/R) ln(1 + R I/U),
/// ∫ i dt = (L I − U t)/R.
pub fn decay(resistance_ohm: f64, inductance_h: f64, opposing_v: f64, current_a: f64) -> Decay {
    let time_s = inductance_h / resistance_ohm * (resistance_ohm * current_a / opposing_v).ln_1p();
    Decay {
        time_s,
        charge_c: (inductance_h * current_a - opposing_v * time_s) / resistance_ohm,
    }
}

/// Greatest voltage across the opening contact with nothing but a capacitance C there: the series circuit
/// `L di/dt = U − R i − u`, `C du/dt = i` from i = I, u = 0, until i = 0. `source_v` is U = V − E − V_b.
///
/// `u(t) = U + e^{−αt}(−U cos ωt + (I/C − αU)/ω sin ωt)`, α = R/2L, ω² = 1/LC − α² (hyperbolic where that is negative).
pub fn ring_v(
    resistance_ohm: f64,
    inductance_h: f64,
    capacitance_f: f64,
    source_v: f64,
    current_a: f64,
) -> f64 {
    let alpha = resistance_ohm / (2.0 * inductance_h);
    let square = 1.0 / (inductance_h * capacitance_f) - alpha * alpha;
    let w = square.abs().sqrt();
    // i = I e^{−αt}(cos ωt + q sin ωt) ends where tan ωt = −1/q.
    let q = (source_v / (inductance_h * current_a) - alpha) / w;
    let at = |t: f64| {
        let (cosine, sine) = if square > 0.0 {
            ((w * t).cos(), (w * t).sin())
        } else {
            ((w * t).cosh(), (w * t).sinh())
        };
        let slope = (current_a / capacitance_f - alpha * source_v) / w;
        source_v + (-alpha * t).exp() * (-source_v * cosine + slope * sine)
    };
    if square > 0.0 {
        let angle = (-1.0 / q).atan();
        let angle = if angle > 0.0 {
            angle
        } else {
            angle + std::f64::consts::PI
        };
        return at(angle / w);
    }
    // Overdamped: the current may end, or only die away.
    if q < -1.0 {
        at((-1.0 / q).atanh() / w)
    } else {
        source_v
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    /// Exact, own numbers: R 1 Ω, L 1 mH, 10 A, 1 V: 2.397895 ms; energy in L 50 mJ.
    #[test]
    fn val_freewheeling_through_a_diode() {
        let decay = decay(1.0, 1e-3, 1.0, 10.0);
        assert_relative_eq!(decay.time_s, 2.397895e-3, max_relative = 1e-6);
        // 50 mJ = diode + copper; the copper's share by ∫ R i² dt over the exponential.
        let tau = 1e-3;
        let (a, b, t) = (-1.0_f64, 11.0_f64, decay.time_s);
        let copper = a * a * t
            + 2.0 * a * b * tau * (1.0 - (-t / tau).exp())
            + 0.5 * b * b * tau * (1.0 - (-2.0 * t / tau).exp());
        assert_relative_eq!(decay.charge_c + copper, 0.05, max_relative = 1e-9);
    }

    /// Against the simulation: the current under a clamp of 36 V, the motor turning.
    #[test]
    fn decay_agrees_with_the_simulation() {
        let (emf, clamp) = (8.0, 36.0);
        let c = Constants::<f64>::new(&TerminalParameters::plain(3.2, 2.4e-3, 1e6, 0.0, 0.0));
        let mut s = State::at(5.0, emf);
        let (h, mut t, mut charge) = (1e-7, 0.0, 0.0);
        while s.current > 0.0 {
            let next = advance(&c, s, Condition::Voltage(-clamp), h, false);
            charge += next.mean_current * h;
            s = next.end;
            t += h;
        }
        let decay = decay(3.2, 2.4e-3, clamp + emf, 5.0);
        assert_relative_eq!(decay.time_s, t, max_relative = 1e-3);
        assert_relative_eq!(decay.charge_c, charge, max_relative = 1e-3);
    }

    /// A capacitance across the contact is, for the motor's equations, an inertia: the same simulation carries it.
    #[test]
    fn ringing_agrees_with_the_simulation() {
        for (r, l, capacitance, source, current) in [
            (3.2, 2.4e-3, 1e-10, 20.0, 0.5),
            (3.2, 2.4e-3, 1e-9, 0.0, 7.0),
            (300.0, 1e-3, 1e-6, 5.0, 1.0),
            (300.0, 1e-3, 1e-6, 5.0, 0.001),
        ] {
            let c = Constants::<f64>::new(&TerminalParameters::plain(r, l, capacitance, 0.0, 0.0));
            let mut s = State::at(current, 0.0);
            let h = (l / r).min((l * capacitance).sqrt()) / 300.0;
            let mut largest = 0.0_f64;
            for _ in 0..2_000_000 {
                s = advance(&c, s, Condition::Voltage(source), h, false).end;
                largest = largest.max(s.back_emf);
                if s.current <= 1e-9 * current {
                    break;
                }
            }
            let peak = ring_v(r, l, capacitance, source, current);
            assert_relative_eq!(peak, largest, max_relative = 2e-3);
        }
        // Without damping all of L I²/2 goes into the capacitance.
        assert_relative_eq!(
            ring_v(1e-9, 1e-3, 1e-10, 0.0, 1.0),
            (1e-3 / 1e-10_f64).sqrt(),
            max_relative = 1e-6
        );
    }
}
