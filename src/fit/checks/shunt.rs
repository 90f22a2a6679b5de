//! A stated shunt beside the resistance of the motor: one that takes a good part of the voltage is usually entered ten times off.

use crate::bench::Bench;

/// Share of the motor's resistance from which a shunt is worth a warning: a person who may choose takes a far smaller one (common practice, no source).
const LARGEST_SHARE: f64 = 0.05;

/// A warning for each such shunt. `resistance_ohm`: of the motor, as fitted.
pub fn large_shunts(bench: &Bench, resistance_ohm: f64) -> Vec<String> {
    let shunts = bench.instruments.iter();
    shunts
        .filter_map(|i| Some((&i.name, i.shunt_ohm?)))
        .filter(|(_, ohm)| *ohm > LARGEST_SHARE * resistance_ohm)
        .map(|(name, ohm)| {
            format!(
                "{name}: the stated {ohm} Ω is {:.0} % of the motor's resistance of {resistance_ohm:.3} Ω, much for a shunt. If its true resistance is a tenth of that, all currents \
                 are ten times larger, and R, L, J and the friction torques are ten times smaller or larger. Check the shunt's marking, or add an ohmmeter's reading of the motor",
                100.0 * ohm / resistance_ohm
            )
        })
        .collect()
}
