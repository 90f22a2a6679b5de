//! One period of a motor fed by a chopper, in closed form (`docs/drive.md`, section 5).
//!
//! On for `d T`: `L di/dt = V − V_b − E − R₁ i`; off: `L di/dt = −V_d − V_b − E − R₀ i`, either way or, with a
//! freewheeling diode, never below zero. E stands still over a period. Texts: P. S. Bimbhra, Power Electronics,
//! chapter 7 (choppers); P. C. Sen, chapter 10.

use crate::drive::circuit::bisect;

/// A chopper and the motor's armature.
#[derive(Clone, Copy, Debug)]
pub struct Chopper {
    pub supply_v: f64,
    pub duty: f64,
    pub period_s: f64,
    /// Resistance of the loop while on and while off, Ω.
    pub on_ohm: f64,
    pub off_ohm: f64,
    pub inductance_h: f64,
    pub brush_drop_v: f64,
    /// V_d; 0 for a synchronous low switch.
    pub off_drop_v: f64,
    /// True with a diode: the current cannot reverse.
    pub one_way: bool,
}

/// A part of the period: means are over the whole period.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Part {
    pub mean_a: f64,
    pub rms_a: f64,
}

/// The settled period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cycle {
    pub largest_a: f64,
    pub least_a: f64,
    pub mean_a: f64,
    pub rms_a: f64,
    pub on: Part,
    pub off: Part,
    /// When the current has ended after the make, s; the period where it does not end.
    pub ends_s: f64,
    pub continuous: bool,
}

/// ∫ i dt and ∫ i² dt of i = a + (i₀ − a) e^{−t/τ} from 0 to t.
fn integrals(a: f64, first: f64, tau: f64, t: f64) -> (f64, f64) {
    let b = first - a;
    let x = -(-t / tau).exp_m1();
    let twice = -(-2.0 * t / tau).exp_m1();
    (
        a * t + b * tau * x,
        a * a * t + 2.0 * a * b * tau * x + 0.5 * b * b * tau * twice,
    )
}

impl Chopper {
    /// The settled period at a back-EMF.
    pub fn cycle(&self, emf_v: f64) -> Cycle {
        let period = self.period_s;
        let (on_s, off_s) = (self.duty * period, (1.0 - self.duty) * period);
        let (tau_on, tau_off) = (
            self.inductance_h / self.on_ohm,
            self.inductance_h / self.off_ohm,
        );
        let a_on = (self.supply_v - self.brush_drop_v - emf_v) / self.on_ohm;
        let a_off = -(self.off_drop_v + self.brush_drop_v + emf_v) / self.off_ohm;
        let (rise, fall) = (-(-on_s / tau_on).exp_m1(), -(-off_s / tau_off).exp_m1());
        let mut least_a = (a_on * rise * (1.0 - fall) + a_off * fall)
            / -(-on_s / tau_on - off_s / tau_off).exp_m1();
        let continuous = !self.one_way || least_a >= 0.0;
        if !continuous {
            least_a = 0.0;
        }
        if self.one_way && a_on <= 0.0 {
            return Cycle {
                largest_a: 0.0,
                least_a: 0.0,
                mean_a: 0.0,
                rms_a: 0.0,
                on: Part::default(),
                off: Part::default(),
                ends_s: 0.0,
                continuous: false,
            };
        }
        let largest_a = a_on * rise + least_a * (1.0 - rise);
        let flows_s = if continuous {
            off_s
        } else {
            (tau_off * (-largest_a / a_off).ln_1p()).min(off_s)
        };
        let (on_sum, on_square) = integrals(a_on, least_a, tau_on, on_s);
        let (off_sum, off_square) = integrals(a_off, largest_a, tau_off, flows_s);
        let part = |sum: f64, square: f64| Part {
            mean_a: sum / period,
            rms_a: (square.max(0.0) / period).sqrt(),
        };
        Cycle {
            largest_a,
            least_a,
            mean_a: (on_sum + off_sum) / period,
            rms_a: ((on_square + off_square).max(0.0) / period).sqrt(),
            on: part(on_sum, on_square),
            off: part(off_sum, off_square),
            ends_s: if continuous { period } else { on_s + flows_s },
            continuous,
        }
    }

    /// Peak-to-peak ripple of continuous current; the back-EMF plays no part when both resistances are equal.
    pub fn ripple_a(&self) -> f64 {
        let both = Chopper {
            one_way: false,
            ..*self
        };
        let cycle = both.cycle(0.0);
        cycle.largest_a - cycle.least_a
    }

    /// Back-EMF at which the mean current is what the load takes there; 0 for a rotor that this current does not turn.
    pub fn settled_emf_v(&self, load_a: impl Fn(f64) -> f64) -> f64 {
        let pushes = |emf_v: f64| self.cycle(emf_v).mean_a > load_a(emf_v);
        if !pushes(0.0) {
            return 0.0;
        }
        bisect(0.0, self.supply_v, pushes)
    }

    /// The same chopper at a frequency.
    pub fn at_frequency(&self, frequency_hz: f64) -> Chopper {
        Chopper {
            period_s: 1.0 / frequency_hz,
            ..*self
        }
    }

    /// Lowest frequency at which the current is continuous at a back-EMF, Hz.
    pub fn boundary_hz(&self, emf_v: f64) -> f64 {
        self.frequency_where(|chopper| {
            let both = Chopper {
                one_way: false,
                ..chopper
            };
            both.cycle(emf_v).least_a < 0.0
        })
    }

    /// Lowest frequency at which the ripple is no larger than this, Hz.
    pub fn ripple_hz(&self, ripple_a: f64) -> f64 {
        self.frequency_where(|chopper| chopper.ripple_a() > ripple_a)
    }

    fn frequency_where(&self, too_low: impl Fn(Chopper) -> bool) -> f64 {
        // L/R times 1e-6 to 1e6 covers all that can be switched.
        let scale = self.on_ohm / self.inductance_h;
        let decade = bisect(-6.0, 6.0, |decade| {
            too_low(self.at_frequency(scale * 10f64.powf(decade)))
        });
        if decade < -5.99 {
            return 0.0;
        }
        scale * 10f64.powf(decade)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor::{Condition, Constants, State, TerminalParameters, advance};
    use approx::assert_relative_eq;

    fn textbook(supply_v: f64, ohm: f64, inductance_h: f64, period_s: f64, duty: f64) -> Chopper {
        Chopper {
            supply_v,
            duty,
            period_s,
            on_ohm: ohm,
            off_ohm: ohm,
            inductance_h,
            brush_drop_v: 0.0,
            off_drop_v: 0.0,
            one_way: true,
        }
    }

    /// P. S. Bimbhra, Power Electronics, ex. 7.11 (p. 408): 220 V, 24 V, 1 Ω, 5 mH, 2000 µs, on 600 µs: continuous,
    /// mean 42.00 A, max 51.46 A, min 33.03 A; rms 42.334 A (from three harmonics; the exact wave has 42.335 A).
    #[test]
    fn val_continuous_chopper() {
        let chopper = textbook(220.0, 1.0, 5e-3, 2e-3, 0.3);
        let cycle = chopper.cycle(24.0);
        assert!(cycle.continuous);
        assert_relative_eq!(cycle.largest_a, 51.459559, max_relative = 1e-7);
        assert_relative_eq!(cycle.least_a, 33.031108, max_relative = 1e-7);
        assert_relative_eq!(cycle.mean_a, 42.0, max_relative = 1e-9);
        assert_relative_eq!(cycle.rms_a, 42.334, max_relative = 1e-4);
        assert_relative_eq!(chopper.ripple_a(), 18.428451, max_relative = 1e-7);
        // Input current 12.7289 A is the mean of what the switch carries.
        assert_relative_eq!(cycle.on.mean_a, 12.7289, max_relative = 2e-5);
        // Boundary duty d' = 0.130659 at this period.
        let edge = Chopper {
            duty: 0.130659,
            ..chopper
        };
        assert_relative_eq!(edge.boundary_hz(24.0), 500.0, max_relative = 1e-4);
    }

    /// The same, ex. 7.12 (p. 411): 220 V, 72 V, 1 Ω, 1 mH, 500 Hz, on 800 µs: discontinuous, peak 81.5 A; recomputed
    /// end at 1.557030 ms and mean current 31.946921 A.
    #[test]
    fn val_discontinuous_chopper() {
        let cycle = textbook(220.0, 1.0, 1e-3, 2e-3, 0.4).cycle(72.0);
        assert!(!cycle.continuous);
        assert_relative_eq!(cycle.largest_a, 81.499313, max_relative = 1e-7);
        assert_relative_eq!(cycle.ends_s, 1.557030e-3, max_relative = 1e-6);
        assert_relative_eq!(cycle.mean_a, 31.946921, max_relative = 1e-6);
    }

    /// The same, ex. 7.15 (p. 414): 220 V, 10 Ω, 15 mH, 1250 Hz, half duty, no emf: ripple 2.92 A, 9.54 to 12.458 A.
    #[test]
    fn val_ripple_of_a_passive_load() {
        let chopper = textbook(220.0, 10.0, 15e-3, 1.0 / 1250.0, 0.5);
        let cycle = chopper.cycle(0.0);
        assert_relative_eq!(chopper.ripple_a(), 2.916073, max_relative = 1e-6);
        assert_relative_eq!(cycle.largest_a, 12.458037, max_relative = 1e-7);
        assert_relative_eq!(cycle.rms_a, 11.032163, max_relative = 1e-4);
        // (V/R) tanh(T/(4 T_a)), exact at half duty.
        let exact = 22.0 * (8e-4 / (4.0 * 1.5e-3_f64)).tanh();
        assert_relative_eq!(chopper.ripple_a(), exact, max_relative = 1e-12);
    }

    /// The same, ex. 7.13 (p. 412): 500 V, duty 0.2, 60 mH, ripple 10 A, ideal: 133.33 Hz. V. Subrahmanyam, Electric
    /// Drives, ex. 4.10 (p. 448): 500 V, duty 0.6, 80 Hz, ripple 15 A: 0.1 H.
    #[test]
    fn val_frequency_for_a_ripple() {
        let ideal = textbook(500.0, 1e-3, 60e-3, 1.0, 0.2);
        assert_relative_eq!(ideal.ripple_hz(10.0), 133.3333, max_relative = 1e-4);
        let other = textbook(500.0, 1e-3, 0.1, 1.0, 0.6);
        assert_relative_eq!(other.ripple_hz(15.0), 80.0, max_relative = 1e-4);
    }

    /// Theraja vol. II, chapter 30: 120 V, 0.5 Ω, 20 mH, 0.05 V per r/min, 20 A: duty 0.0833 at standstill.
    #[test]
    fn val_duty_at_standstill() {
        let chopper = textbook(120.0, 0.5, 20e-3, 1e-4, 0.083_333);
        assert_relative_eq!(chopper.cycle(0.0).mean_a, 20.0, max_relative = 1e-4);
    }

    /// Ripple, mean and ends against the program's simulation, settled over many periods, continuous and not.
    #[test]
    fn periods_agree_with_the_simulation() {
        let (r, l, vb) = (3.2, 2.4e-3, 0.8);
        for (frequency, emf, off_drop, continuous) in
            [(5e3, 6.0, 1.0, true), (300.0, 11.0, 1.0, false)]
        {
            let chopper = Chopper {
                brush_drop_v: vb,
                off_drop_v: off_drop,
                ..textbook(24.0, r, l, 1.0 / frequency, 0.5)
            };
            let cycle = chopper.cycle(emf);
            assert_eq!(cycle.continuous, continuous);
            // A rotor so heavy that its back-EMF stands still, and a contact drop that is a step.
            let p = TerminalParameters {
                brush_drop_v: vb,
                brush_scale_a: 1e-3,
                ..TerminalParameters::plain(r, l, 1e6, 0.0, 0.0)
            };
            let c = Constants::new(&p);
            let mut s = State::at(0.0, emf);
            let steps = 400;
            let h = 0.5 / frequency / steps as f64;
            let (mut largest, mut least, mut sum, mut square) = (0.0_f64, f64::MAX, 0.0, 0.0);
            let periods = 60;
            for period in 0..periods {
                for step in 0..2 * steps {
                    let before = s.current;
                    let on = step < steps;
                    let mut next = if on {
                        advance(&c, s, Condition::Voltage(24.0), h, false)
                    } else if s.current > 0.0 {
                        advance(&c, s, Condition::Voltage(-off_drop), h, false)
                    } else {
                        advance(&c, s, Condition::Open, h, false)
                    };
                    if !on && next.end.current < 0.0 {
                        next.end.current = 0.0;
                        next.end.eddy_current = 0.0;
                    }
                    s = next.end;
                    if period == periods - 1 {
                        largest = largest.max(s.current);
                        least = least.min(s.current);
                        sum += 0.5 * (before + s.current) * h;
                        square += 0.5 * (before * before + s.current * s.current) * h;
                    }
                }
            }
            assert_relative_eq!(cycle.largest_a, largest, max_relative = 2e-3);
            assert_relative_eq!(cycle.least_a, least, max_relative = 2e-3, epsilon = 1e-6);
            assert_relative_eq!(cycle.mean_a, sum * frequency, max_relative = 2e-3);
            let rms = (square * frequency).sqrt();
            assert_relative_eq!(cycle.rms_a, rms, max_relative = 2e-3);
            let parts = (cycle.on.rms_a.powi(2) + cycle.off.rms_a.powi(2)).sqrt();
            assert_relative_eq!(parts, cycle.rms_a, max_relative = 1e-9);
        }
    }
}
