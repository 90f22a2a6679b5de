//! A stated shunt beside the resistance of the motor: one that takes a good part of the voltage is usually entered ten times off.

use crate::bench::{Bench, Reading};
use crate::fit::wording::{Remark, RemarkKind};

/// Share of the motor's resistance from which a shunt is worth a warning: a person who may choose takes a far smaller one (common practice, no source).
const LARGEST_SHARE: f64 = 0.05;

/// Factor within which an ohmmeter confirms the resistance, and with it the shunt.
const CONFIRMED: f64 = 2.0;

/// A warning for each such shunt, where no ohmmeter confirms it. `resistance_ohm`: of the motor, as fitted.
pub fn large_shunts(bench: &Bench, resistance_ohm: f64) -> Vec<Remark> {
    let confirms = |reading: &Reading| match reading {
        Reading::Ohmmeter { readings_ohm, .. } => {
            let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
            (1.0 / CONFIRMED..=CONFIRMED).contains(&(mean / resistance_ohm))
        }
        _ => false,
    };
    if bench.readings.iter().any(confirms) {
        return Vec::new();
    }
    let shunts = bench.instruments.iter();
    shunts
        .filter_map(|i| Some((&i.name, i.shunt_ohm?)))
        .filter(|(_, ohm)| *ohm > LARGEST_SHARE * resistance_ohm)
        .map(|(name, shunt_ohm)| {
            let kind = RemarkKind::LargeShunt {
                shunt_ohm,
                resistance_ohm,
            };
            kind.about(name)
        })
        .collect()
}
