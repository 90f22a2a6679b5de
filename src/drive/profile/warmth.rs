//! Temperatures of winding and housing under a profile, once from room temperature and repeated for ever.
//!
//! The heat of a current, R(T) i² + V_b |i|, is linear in the temperature, so what one round of the profile does to both temperatures is an
//! affine map x → M x + c. Three rounds give M and c, and x = (I − M)⁻¹ c is where every round ends as it began.

use super::Demand;
use crate::drive::section::{Known, Why};
use crate::motor::temperature::copper_ratio;
use crate::motor::thermal::{Heat, Rise, ThermalNetwork};

/// Heat over a stretch of the profile.
#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    length_s: f64,
    /// Means of i², |i| and of what friction takes.
    square_a2: f64,
    magnitude_a: f64,
    friction_w: f64,
}

/// A motor that goes through a profile.
pub struct Warming {
    network: ThermalNetwork,
    ambient_c: f64,
    /// Winding resistance, and the temperature that it holds for.
    resistance: (f64, f64),
    brush_drop_v: f64,
    bins: Vec<Bin>,
}

/// Repeated for ever the winding gets hotter without end.
const RUNS_AWAY: Why = Why::Physics(
    "repeated without a pause, the winding warms faster with every round than it cools",
);

impl Warming {
    /// From the demands of a profile; what is shorter than `shortest_s` is put together.
    pub fn new(
        network: ThermalNetwork,
        ambient_c: f64,
        resistance: (f64, f64),
        brush_drop_v: f64,
        demands: &[Demand],
        shortest_s: f64,
    ) -> Warming {
        let mut bins: Vec<Bin> = Vec::new();
        let mut open = Bin::default();
        for demand in demands {
            let whole_s = open.length_s + demand.length_s;
            let share = demand.length_s / whole_s;
            let add = |value: &mut f64, mean: f64| *value += share * (mean - *value);
            add(
                &mut open.square_a2,
                demand.mean(|p| p.current_a * p.current_a),
            );
            add(&mut open.magnitude_a, demand.mean(|p| p.current_a.abs()));
            add(&mut open.friction_w, demand.mean(|p| p.friction_w));
            open.length_s = whole_s;
            if whole_s >= shortest_s {
                bins.push(std::mem::take(&mut open));
            }
        }
        if open.length_s > 0.0 {
            bins.push(open);
        }
        Warming {
            network,
            ambient_c,
            resistance,
            brush_drop_v,
            bins,
        }
    }

    fn after(&self, bin: &Bin, rise: Rise) -> Rise {
        let (ohm, at_c) = self.resistance;
        let heat = |winding_k: f64| Heat {
            winding_w: bin.square_a2 * ohm * copper_ratio(at_c, self.ambient_c + winding_k)
                + self.brush_drop_v * bin.magnitude_a,
            housing_w: bin.friction_w,
        };
        let middle = self
            .network
            .after(rise, heat(rise.winding_k), 0.5 * bin.length_s);
        self.network
            .after(rise, heat(middle.winding_k), bin.length_s)
    }

    fn round(&self, from: Rise) -> Rise {
        self.bins
            .iter()
            .fold(from, |rise, bin| self.after(bin, rise))
    }

    /// Time and winding temperature, °C, at the ends of the stretches of a round, the first at its beginning.
    pub fn course(&self, from: Rise) -> Vec<(f64, f64)> {
        let mut time_s = 0.0;
        let mut rise = from;
        let mut course = vec![(0.0, self.ambient_c + rise.winding_k)];
        for bin in &self.bins {
            rise = self.after(bin, rise);
            time_s += bin.length_s;
            course.push((time_s, self.ambient_c + rise.winding_k));
        }
        course
    }

    /// Where every round ends as it began.
    pub fn steady(&self) -> Known<Rise> {
        let rise = |winding_k, housing_k| Rise {
            winding_k,
            housing_k,
        };
        let c = self.round(rise(0.0, 0.0));
        let (a, b) = (self.round(rise(1.0, 0.0)), self.round(rise(0.0, 1.0)));
        let (m11, m21) = (a.winding_k - c.winding_k, a.housing_k - c.housing_k);
        let (m12, m22) = (b.winding_k - c.winding_k, b.housing_k - c.housing_k);
        // Both eigenvalues of M within the unit circle (Jury's conditions); M has no negative entry, so the largest is real.
        let (trace, determinant) = (m11 + m22, m11 * m22 - m12 * m21);
        let least = 1.0 - trace + determinant;
        if least.is_nan() || least <= 0.0 || determinant >= 1.0 || trace >= 2.0 {
            return Err(RUNS_AWAY);
        }
        Ok(rise(
            (c.winding_k * (1.0 - m22) + m12 * c.housing_k) / least,
            (c.housing_k * (1.0 - m11) + m21 * c.winding_k) / least,
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::profile::Point;
    use crate::motor::thermal::tests::NETWORK;
    use approx::assert_relative_eq;

    /// 60 s of 1.2 A, 120 s of nothing.
    fn warming() -> Warming {
        let demand = |current_a: f64, length_s: f64| Demand {
            points: [Point {
                current_a,
                friction_w: 0.1,
                ..Point::default()
            }; 3],
            length_s,
        };
        let demands: Vec<Demand> = (0..180)
            .map(|k| demand(if k < 60 { 1.2 } else { 0.0 }, 1.0))
            .collect();
        Warming::new(NETWORK, 25.0, (3.0, 25.0), 0.7, &demands, 0.5)
    }

    /// The two equations in steps of 20 ms, as often as it takes.
    fn simulated(rounds: usize) -> (f64, f64) {
        let (mut winding, mut housing) = (0.0f64, 0.0f64);
        let (mut peak, mut end) = (0.0f64, 0.0f64);
        let h = 0.02;
        for _ in 0..rounds {
            peak = 0.0;
            for step in 0..9000 {
                let current = if step < 3000 { 1.2 } else { 0.0 };
                let ohm = 3.0 * (234.5 + 25.0 + winding) / (234.5 + 25.0);
                let heat = current * (current * ohm + 0.7);
                let across = (winding - housing) / 9.0;
                winding += h * (heat - across) / 14.0;
                housing += h * (0.1 + across - housing / 14.0) / 176.0;
                peak = peak.max(winding);
            }
            end = winding;
        }
        (peak, end)
    }

    #[test]
    fn once_and_for_ever_agree_with_small_steps() {
        let warming = warming();
        let peak = |course: &[(f64, f64)]| course.iter().map(|at| at.1).fold(0.0, f64::max);
        let once = warming.course(Rise::default());
        let (wanted, end) = simulated(1);
        assert_relative_eq!(peak(&once), 25.0 + wanted, max_relative = 1e-3);
        assert_relative_eq!(once[180].1, 25.0 + end, max_relative = 1e-3);
        let steady = warming.steady().expect("it settles");
        let course = warming.course(steady);
        assert_relative_eq!(course[0].1, course[180].1, max_relative = 1e-9);
        let (wanted, _) = simulated(120);
        assert_relative_eq!(peak(&course), 25.0 + wanted, max_relative = 1e-3);
    }

    #[test]
    fn a_current_beyond_every_balance_runs_away() {
        // i² R α (R_th1 + R_th2) = 9 · 3/259.5 · 23 > 1.
        let demand = Demand {
            points: [Point {
                current_a: 3.0,
                ..Point::default()
            }; 3],
            length_s: 10.0,
        };
        let warming = Warming::new(NETWORK, 25.0, (3.0, 25.0), 0.7, &[demand; 6], 1.0);
        assert_eq!(warming.steady(), Err(RUNS_AWAY));
    }
}
