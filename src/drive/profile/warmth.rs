//! Temperatures of winding and housing under a profile, once from room temperature and repeated for ever.
//!
//! The heat of a current, R(T) i² + V_b |i|, is linear in the temperature, so what one round of the profile does to both temperatures is an
//! affine map x → M x + c. Three rounds give M and c, and x = (I − M)⁻¹ c is where every round ends as it began.

use super::Demand;
use crate::drive::section::{Known, Why};
use crate::motor::temperature::copper_ratio;
use crate::motor::thermal::{Heat, Rise, ThermalNetwork};
use nalgebra::{Matrix3, Vector3};

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

/// No rise, and one kelvin of winding and of housing.
const UNITS: [Rise; 3] = [
    Rise::new(0.0, 0.0),
    Rise::new(1.0, 0.0),
    Rise::new(0.0, 1.0),
];
/// Rounds after which any motor has settled.
const MOST_ROUNDS: u32 = 1 << 30;

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

    /// What a round does to winding, housing and 1.
    fn map(&self) -> Matrix3<f64> {
        let [c, a, b] = UNITS.map(|from| self.round(from));
        let winding = [a.winding_k - c.winding_k, b.winding_k - c.winding_k];
        let housing = [a.housing_k - c.housing_k, b.housing_k - c.housing_k];
        Matrix3::new(
            winding[0],
            winding[1],
            c.winding_k,
            housing[0],
            housing[1],
            c.housing_k,
            0.0,
            0.0,
            1.0,
        )
    }

    /// Where every round ends as it began.
    pub fn steady(&self) -> Known<Rise> {
        let m = self.map();
        // Both eigenvalues of M within the unit circle (Jury's conditions); M has no negative entry, so the largest is real.
        let (trace, determinant) = (m.m11 + m.m22, m.m11 * m.m22 - m.m12 * m.m21);
        let least = 1.0 - trace + determinant;
        if least.is_nan() || least <= 0.0 || determinant >= 1.0 || trace >= 2.0 {
            return Err(RUNS_AWAY);
        }
        Ok(Rise::new(
            (m.m13 * (1.0 - m.m22) + m.m12 * m.m23) / least,
            (m.m23 * (1.0 - m.m11) + m.m21 * m.m13) / least,
        ))
    }

    /// Time after which the winding, repeating the profile without a pause from room temperature, is at `limit_c`, s; `None` where it never
    /// is. Each round begins hotter than the one before, since M has no negative entry.
    pub fn reaches_s(&self, limit_c: f64) -> Option<f64> {
        let map = self.map();
        let round_s: f64 = self.bins.iter().map(|bin| bin.length_s).sum();
        let begin = |round: u32| {
            let mut begin = Vector3::new(0.0, 0.0, 1.0);
            let mut power = map;
            for bit in 0..u32::BITS {
                if round >> bit & 1 == 1 {
                    begin = power * begin;
                }
                power *= power;
            }
            Rise::new(begin.x, begin.y)
        };
        // Within a round every temperature is linear in those at its beginning.
        let [cold, by_winding, by_housing] = UNITS.map(|from| self.course(from));
        let course = |round: u32| -> Vec<(f64, f64)> {
            let from = begin(round);
            let parts = cold.iter().zip(&by_winding).zip(&by_housing);
            let at = parts.map(|(((time_s, c), (_, a)), (_, b))| {
                (
                    *time_s,
                    c + from.winding_k * (a - c) + from.housing_k * (b - c),
                )
            });
            at.collect()
        };
        let hot = |at: &(f64, f64)| at.1.is_nan() || at.1 >= limit_c;
        let reaches = |round: u32| course(round).iter().any(hot);
        let (mut cool, mut last) = (0, MOST_ROUNDS);
        if !reaches(last) {
            return None;
        }
        while cool < last {
            let middle = cool + (last - cool) / 2;
            match reaches(middle) {
                true => last = middle,
                false => cool = middle + 1,
            }
        }
        let course = course(last);
        let place = course.iter().position(hot)?;
        let (after, before) = (course[place], course[place.saturating_sub(1)]);
        let share = match after.1 > before.1 {
            true => ((limit_c - before.1) / (after.1 - before.1)).clamp(0.0, 1.0),
            false => 1.0,
        };
        let within_s = before.0 + share * (after.0 - before.0);
        Some(round_s * f64::from(last) + within_s)
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

    /// The limit is met in the round in which the small steps meet it, and never above what every later round reaches.
    #[test]
    fn the_time_to_a_limit_agrees_with_small_steps() {
        let warming = warming();
        let (fifth, sixth) = (simulated(5).0, simulated(6).0);
        let time_s = warming.reaches_s(25.0 + 0.5 * (fifth + sixth));
        let time_s = time_s.expect("it gets there");
        // In the heated minute of the sixth round of three minutes.
        assert!((900.0..=961.0).contains(&time_s), "{time_s}");
        let (ever, _) = simulated(120);
        assert_eq!(warming.reaches_s(25.0 + 1.01 * ever), None);
        assert_eq!(warming.reaches_s(25.0), Some(0.0));
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
        assert!(warming.reaches_s(500.0).is_some());
    }
}
