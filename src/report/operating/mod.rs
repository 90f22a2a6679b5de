//! Torque, speed, current, power and efficiency at a terminal voltage, from the parameters of a motor file and from
//! motors drawn from its covariance; the winding keeps its temperature.

mod curve;
mod table;

pub use curve::State;
pub use table::OperatingTable;

use crate::motor_file::draw::{ParameterSet, Population};
use crate::motor_file::{MotorFile, OperatingPoints, ParameterName as Name, Range};
use crate::quantity::rounding::significant;
use curve::Motor;
use serde::Serialize;

/// Motors drawn for the bands: the ends of a 95 % interval are known to a tenth of its width.
const DRAWS: usize = 200;
/// Seed of the draws: the same motor file gives the same bands.
const SEED: u64 = 1;
/// Parameters of a drawn motor in the data, in this order.
const DRAWN: [Name; 6] = [
    Name::TerminalResistance,
    Name::BackEmfConstant,
    Name::CoulombFrictionTorque,
    Name::ViscousFriction,
    Name::Windage,
    Name::BrushDrop,
];

/// What the torque-speed chart is worked out from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Operating {
    /// R.
    pub terminal_resistance_ohm: f64,
    /// K.
    pub back_emf_constant_v_s_per_rad: f64,
    /// T_c.
    pub coulomb_friction_nm: f64,
    /// B.
    pub viscous_friction_nm_s_per_rad: f64,
    /// C_w.
    pub windage_nm_s2_per_rad2: f64,
    /// V_b.
    pub brush_drop_v: f64,
    /// Scale of V_b·tanh(i/I_b).
    pub brush_scale_a: f64,
    /// a: relative loss of K per ampere.
    pub armature_reaction_per_a: f64,
    /// Voltage shown first.
    pub voltage_v: f64,
    /// Largest current and speed seen in the captures.
    pub largest_current_a: Option<f64>,
    /// Largest speed seen in the captures.
    pub largest_speed_rad_s: Option<f64>,
    /// Winding temperature of the values.
    pub temperature_c: Option<f64>,
    /// Seed of the drawn motors.
    pub seed: u64,
    /// How the no-load and stall values of the motor file were drawn.
    pub points: Option<String>,
    /// Motors drawn from the covariance: R, K, T_c, B, C_w, V_b in SI units.
    pub draws: Vec<[f64; 6]>,
    #[serde(skip)]
    estimate: Motor,
    #[serde(skip)]
    drawn: Vec<Motor>,
}

/// Without a back-EMF constant there is no torque and no speed, and so no chart.
pub fn operating(file: &MotorFile) -> Option<Operating> {
    // A friction or a drop that is not determined is left out of the curves.
    let set = DRAWN[2..]
        .iter()
        .fold(ParameterSet::estimate(file), |set, name| {
            match set.value(*name) {
                Ok(_) => set,
                Err(_) => set.with(*name, 0.0),
            }
        });
    let estimate = Motor::of(&set)?;
    let [r, k, coulomb, viscous, windage, drop] = told(&set)?;
    if !(r > 0.0 && k > 0.0) {
        return None;
    }
    let largest = |range: Option<Range>| range.map(|range| range.largest_magnitude());
    let supply_v = file.motor.as_ref().and_then(|motor| motor.supply_v);
    let voltage_v = supply_v.or(largest(file.validity.back_emf_v))?;
    let draws: Vec<ParameterSet> = Population::new(file)
        .and_then(|population| population.draws(DRAWS, SEED))
        .unwrap_or_default();
    Some(Operating {
        terminal_resistance_ohm: r,
        back_emf_constant_v_s_per_rad: k,
        coulomb_friction_nm: coulomb,
        viscous_friction_nm_s_per_rad: viscous,
        windage_nm_s2_per_rad2: windage,
        brush_drop_v: drop,
        brush_scale_a: estimate.terminal.brush_scale_a,
        armature_reaction_per_a: estimate.terminal.armature_reaction_per_a,
        voltage_v: significant(voltage_v.abs(), 3),
        largest_current_a: largest(file.validity.current_a),
        largest_speed_rad_s: largest(file.validity.speed_rad_s),
        temperature_c: file
            .parameters
            .get(&Name::TerminalResistance)
            .and_then(|p| p.temperature_c),
        seed: SEED,
        points: file.operating.as_ref().map(OperatingPoints::drawn),
        draws: draws
            .iter()
            .filter_map(told)
            .map(|draw| draw.map(|x| significant(x, 5)))
            .collect(),
        estimate,
        drawn: draws.iter().filter_map(Motor::of).collect(),
    })
}

/// [`DRAWN`] of a motor.
fn told(set: &ParameterSet) -> Option<[f64; 6]> {
    let mut values = [0.0; 6];
    for (value, name) in values.iter_mut().zip(DRAWN) {
        *value = set.value(name).ok()?;
    }
    Some(values)
}

impl Operating {
    /// `count` + 1 states from no load to stall, evenly in current; `None` where the motor does not turn.
    pub fn curve(&self, voltage_v: f64, count: usize) -> Option<Vec<State>> {
        self.estimate.curve(voltage_v, count)
    }

    /// The chart over a grid of voltages, bands at `level`; `None` where the motor does not turn at the voltage shown first.
    pub fn table(&self, level: f64) -> Option<OperatingTable> {
        OperatingTable::new(
            &self.estimate,
            &self.drawn,
            self.voltage_v,
            self.largest_current_a,
            level,
        )
    }

    /// Where the drawn motors lie at torques evenly from 0 to stall, at `level`; empty of too few of them.
    pub fn spread(&self, voltage_v: f64, level: f64, points: usize) -> Vec<State<(f64, f64)>> {
        let Some(stall) = self
            .curve(voltage_v, 1)
            .and_then(|curve| curve.last().copied())
        else {
            return Vec::new();
        };
        let curves: Vec<Vec<State>> = self
            .drawn
            .iter()
            .filter_map(|motor| motor.curve(voltage_v, 60))
            .collect();
        (0..=points)
            .map_while(|k| {
                let torque_nm = stall.torque_nm * k as f64 / points as f64;
                curve::spread(&curves, torque_nm, level)
            })
            .collect()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::motor_file::{Parameter, table::tests::empty};
    use approx::assert_relative_eq;

    pub(crate) fn example() -> MotorFile {
        let mut file = empty();
        for (name, value, uncertainty) in [
            (Name::TerminalResistance, 2.0, 0.04),
            (Name::BackEmfConstant, 0.02, 4e-4),
            (Name::CoulombFrictionTorque, 3e-3, 6e-5),
        ] {
            let interval = (value - 2.0 * uncertainty, value + 2.0 * uncertainty);
            let parameter = Parameter::measured(name, value, uncertainty, interval, 0.95);
            file.parameters.insert(name, parameter);
        }
        file.motor = Some(crate::motor_file::MotorFacts {
            name: "example".into(),
            commutator_segments: None,
            poles: None,
            brush_count: None,
            brushes: None,
            magnets: None,
            supply_v: Some(12.0),
        });
        file
    }

    #[test]
    fn val_power_and_efficiency_of_the_textbook_motor() {
        // With Coulomb friction alone: P_max = (V − I₀R)²/(4R) and η_max = (1 − √(I₀/I_s))² (exact; any drives text).
        let motor = operating(&example()).expect("a chart");
        let (v, r, idle) = (12.0, 2.0, 0.15);
        let curve = motor.curve(v, 4000).expect("turns");
        let most = |of: fn(&State) -> f64| curve.iter().map(of).fold(0.0, f64::max);
        assert_relative_eq!(
            most(|s| s.power_w),
            (v - idle * r).powi(2) / (4.0 * r),
            max_relative = 1e-6
        );
        assert_relative_eq!(
            most(|s| s.efficiency),
            (1.0 - (idle * r / v).sqrt()).powi(2),
            max_relative = 1e-6
        );
    }

    #[test]
    fn the_band_at_no_load_has_the_width_that_the_constant_gives_it() {
        let motor = operating(&example()).expect("a chart");
        let spread = motor.spread(12.0, 0.95, 20);
        let idle = &spread[0];
        // ω₀ = (V − R I₀)/K: 2 % of K and a little of R and friction.
        let middle = motor.curve(12.0, 10).expect("turns")[0].speed_rad_s;
        let half = 0.5 * (idle.speed_rad_s.1 - idle.speed_rad_s.0) / middle;
        assert!((0.031..0.048).contains(&half), "{half}");
        assert!(idle.speed_rad_s.0 < middle && middle < idle.speed_rad_s.1);
        assert!(
            spread
                .windows(2)
                .all(|w| w[1].torque_nm.0 > w[0].torque_nm.0)
        );
    }

    #[test]
    fn a_motor_that_friction_holds_has_no_curve() {
        let motor = operating(&example()).expect("a chart");
        assert_eq!(motor.curve(0.1, 10), None);
        assert!(motor.spread(0.1, 0.95, 10).is_empty());
    }

    #[test]
    fn the_grid_holds_the_voltage_shown_first_and_what_is_known_there() {
        let motor = operating(&example()).expect("a chart");
        let table = motor.table(0.95).expect("turns");
        // Friction of 0.15 A over 2 Ω holds the rotor below 0.3 V.
        assert!(table.voltages_v[0] > 0.3 && table.voltages_v[0] < 0.7);
        assert!(table.voltages_v.windows(2).all(|pair| pair[0] < pair[1]));
        let place = table.voltages_v.iter().position(|v| *v == 12.0);
        let at = &table.at[place.expect("in the grid")];
        // Stall current 12/2 A, no-load speed (12 − 2 · 0.15)/0.02 rad/s.
        assert_relative_eq!(at.marks.current_a[3], 6.0, max_relative = 1e-4);
        assert_relative_eq!(at.marks.speed_rad_s[0], 585.0, max_relative = 1e-4);
        assert_eq!(at.curve.torque_nm[0], 0.0);
        assert_eq!(at.curve.speed_rad_s.last(), Some(&0.0));
        let band = at.band.as_ref().expect("drawn motors");
        let (lower, upper) = band.speed_rad_s[0];
        assert!(lower < 585.0 && 585.0 < upper);
    }

    #[test]
    fn a_motor_that_friction_holds_has_no_table() {
        let mut file = example();
        if let Some(facts) = &mut file.motor {
            facts.supply_v = Some(0.2);
        }
        let motor = operating(&file).expect("parameters");
        assert!(motor.table(0.95).is_none());
    }
}
