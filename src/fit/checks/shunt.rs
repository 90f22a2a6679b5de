//! A stated shunt beside the resistance of the motor: one that takes a good part of the voltage is usually entered ten times off.

use crate::bench::Bench;
use crate::fit::wording::{Remark, RemarkKind};

/// Share of the motor's resistance from which a shunt is worth a warning: a person who may choose takes a far smaller one (common practice, no source).
const LARGEST_SHARE: f64 = 0.05;

/// A warning for each such shunt. `resistance_ohm`: of the motor, as fitted.
pub fn large_shunts(bench: &Bench, resistance_ohm: f64) -> Vec<Remark> {
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
