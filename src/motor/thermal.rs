//! Two bodies that heat flows through: the winding into the housing, the housing into the room.
//!
//! ```text
//! C₁ dT₁/dt = P₁ − (T₁ − T₂)/R₁                      winding: copper, rotor, brushes
//! C₂ dT₂/dt = P₂ + (T₁ − T₂)/R₁ − (T₂ − T_a)/R₂      housing and magnets; T_a the room
//! ```
//! with the heat P₁ set free in the rotor and P₂ in bearings and housing. Exact while both are constant: the matrix has two real, distinct
//! eigenvalues, of which `exp(A t)` is made (Sylvester's formula).

use super::{OperatingPoint, TerminalParameters};

/// The four constants of the network, K/W and J/K.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThermalNetwork {
    /// R₁, K/W.
    pub winding_to_housing_k_per_w: f64,
    /// C₁, J/K.
    pub winding_j_per_k: f64,
    /// R₂, K/W.
    pub housing_to_ambient_k_per_w: f64,
    /// C₂, J/K.
    pub housing_j_per_k: f64,
}

/// Temperatures of winding and housing above the room, K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rise {
    /// Of the winding.
    pub winding_k: f64,
    /// Of the housing.
    pub housing_k: f64,
}

/// Heat set free, W.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Heat {
    /// In winding, rotor and brushes.
    pub winding_w: f64,
    /// In bearings, magnets and housing.
    pub housing_w: f64,
}

impl Rise {
    /// Of winding and housing.
    pub const fn new(winding_k: f64, housing_k: f64) -> Rise {
        Rise {
            winding_k,
            housing_k,
        }
    }
}

impl Heat {
    /// In the winding and in the housing.
    pub const fn new(winding_w: f64, housing_w: f64) -> Heat {
        Heat {
            winding_w,
            housing_w,
        }
    }
}

impl ThermalNetwork {
    /// Both resistances in series, K/W: what the steady rise of the winding over the room is per watt in it.
    pub fn total_k_per_w(&self) -> f64 {
        self.winding_to_housing_k_per_w + self.housing_to_ambient_k_per_w
    }

    /// The rise that lasts under constant heat.
    pub fn steady(&self, heat: Heat) -> Rise {
        let housing_k = self.housing_to_ambient_k_per_w * (heat.winding_w + heat.housing_w);
        Rise::new(
            housing_k + self.winding_to_housing_k_per_w * heat.winding_w,
            housing_k,
        )
    }

    /// Heat in the winding that lasts at a rise of `rise_k`, with heat of friction in the housing, W.
    pub fn continuous_w(&self, rise_k: f64, friction_w: f64) -> f64 {
        let by_friction_k = self.housing_to_ambient_k_per_w * friction_w;
        ((rise_k - by_friction_k) / self.total_k_per_w()).max(0.0)
    }

    /// The load that warms a turning motor's winding by `rise_k` for ever. `hot`: the motor with its winding at that temperature and
    /// `series_ohm` outside of it. `None` where it does not turn, or gets hotter without a load already.
    pub fn continuous(
        &self,
        rise_k: f64,
        voltage_v: f64,
        hot: &TerminalParameters,
        series_ohm: f64,
    ) -> Option<OperatingPoint> {
        let winding_ohm = hot.terminal_resistance_ohm - series_ohm;
        let spare_w = |current_a: f64| {
            let e = hot.at_current(voltage_v, current_a).back_emf_v;
            let friction_a =
                hot.friction_current_a + e * (hot.viscous_conductance_s + hot.windage_a_per_v2 * e);
            let heat_w = current_a * (current_a * winding_ohm + hot.brush_drop_v);
            self.continuous_w(rise_k, e * friction_a) - heat_w
        };
        let (mut low_a, mut high_a) = (
            hot.no_load(voltage_v)?.current_a,
            hot.rotor_held(voltage_v).current_a,
        );
        if spare_w(low_a) <= 0.0 {
            return None;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low_a + high_a);
            if spare_w(middle) > 0.0 {
                low_a = middle;
            } else {
                high_a = middle;
            }
        }
        Some(hot.at_current(voltage_v, low_a))
    }

    /// The rise after `time_s` of constant heat.
    pub fn after(&self, from: Rise, heat: Heat, time_s: f64) -> Rise {
        let steady = self.steady(heat);
        let apart = [
            from.winding_k - steady.winding_k,
            from.housing_k - steady.housing_k,
        ];
        let (r1, r2) = (
            self.winding_to_housing_k_per_w,
            self.housing_to_ambient_k_per_w,
        );
        let (c1, c2) = (self.winding_j_per_k, self.housing_j_per_k);
        let a = [
            [-1.0 / (r1 * c1), 1.0 / (r1 * c1)],
            [1.0 / (r1 * c2), -(1.0 / r1 + 1.0 / r2) / c2],
        ];
        let half_trace = 0.5 * (a[0][0] + a[1][1]);
        let half_gap = (0.25 * (a[0][0] - a[1][1]).powi(2) + a[0][1] * a[1][0]).sqrt();
        // The slow eigenvalue by the product, so that a small one keeps its digits.
        let fast = half_trace - half_gap;
        let slow = 1.0 / (r1 * c1 * r2 * c2) / fast;
        let (at_fast, at_slow) = ((fast * time_s).exp(), (slow * time_s).exp());
        let to = |row: usize| {
            let moved = a[row][0] * apart[0] + a[row][1] * apart[1];
            ((moved - fast * apart[row]) * at_slow - (moved - slow * apart[row]) * at_fast)
                / (slow - fast)
        };
        Rise::new(steady.winding_k + to(0), steady.housing_k + to(1))
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Of a motor for the hand, in round numbers.
    pub const NETWORK: ThermalNetwork = ThermalNetwork {
        winding_to_housing_k_per_w: 9.0,
        winding_j_per_k: 14.0,
        housing_to_ambient_k_per_w: 14.0,
        housing_j_per_k: 176.0,
    };

    #[test]
    fn a_housing_held_at_room_temperature_leaves_one_exponential() {
        // With a housing that nothing can warm: T₁ = P R₁ (1 − exp(−t/(R₁ C₁))).
        let network = ThermalNetwork {
            housing_j_per_k: 1e12,
            ..NETWORK
        };
        let heat = Heat::new(3.0, 0.0);
        let rise = network.after(Rise::default(), heat, 100.0);
        let wanted = 27.0 * (1.0 - (-100.0f64 / 126.0).exp());
        assert_relative_eq!(rise.winding_k, wanted, max_relative = 1e-7);
    }

    #[test]
    fn exact_steps_agree_with_many_small_ones() {
        let heat = Heat::new(3.1, 0.4);
        let mut small = Rise::new(5.0, 12.0);
        let exact = NETWORK.after(small, heat, 600.0);
        // Midpoint rule: an error of about (h/126 s)²/24 of the change.
        let h = 0.02;
        for _ in 0..30_000 {
            let rate = |at: Rise| {
                let across = (at.winding_k - at.housing_k) / 9.0;
                [
                    (heat.winding_w - across) / 14.0,
                    (heat.housing_w + across - at.housing_k / 14.0) / 176.0,
                ]
            };
            let first = rate(small);
            let middle = rate(Rise::new(
                small.winding_k + 0.5 * h * first[0],
                small.housing_k + 0.5 * h * first[1],
            ));
            small.winding_k += h * middle[0];
            small.housing_k += h * middle[1];
        }
        assert_relative_eq!(exact.winding_k, small.winding_k, max_relative = 1e-6);
        assert_relative_eq!(exact.housing_k, small.housing_k, max_relative = 1e-6);
    }

    #[test]
    fn a_long_time_gives_the_steady_rise_and_two_steps_are_one() {
        let heat = Heat::new(3.0, 0.0);
        let late = NETWORK.after(Rise::default(), heat, 1e6);
        assert_relative_eq!(late.winding_k, 69.0, max_relative = 1e-9);
        assert_relative_eq!(late.housing_k, 42.0, max_relative = 1e-9);
        let half = NETWORK.after(Rise::default(), heat, 200.0);
        let twice = NETWORK.after(half, heat, 200.0);
        let once = NETWORK.after(Rise::default(), heat, 400.0);
        assert_relative_eq!(twice.winding_k, once.winding_k, max_relative = 1e-12);
        assert_relative_eq!(twice.housing_k, once.housing_k, max_relative = 1e-12);
    }
}
