//! A stated shunt beside the resistance of the motor: one that takes a good part of the voltage is usually entered ten times off.

use crate::bench::{Bench, Reading};
use crate::fit::wording::{Remark, RemarkKind};

/// Share of the motor's resistance from which a shunt is worth a warning: a person who may choose takes a far smaller one (common practice, no source).
const LARGEST_SHARE: f64 = 0.05;

/// Share of a shunt to which an ohmmeter has to agree with the motor's resistance to confirm it: one that is a tenth of what is stated leaves nine
/// tenths of it in the motor (common practice, no source).
const CONFIRMED: f64 = 0.5;

/// A warning for each such shunt that no ohmmeter confirms. `resistance_ohm`: of the motor, as fitted.
pub fn large_shunts(bench: &Bench, resistance_ohm: f64) -> Vec<Remark> {
    let confirmed = |shunt_ohm: f64| {
        let mut read = bench.readings.iter().filter_map(Reading::resistance_ohm);
        read.any(|read_ohm| (read_ohm - resistance_ohm).abs() < CONFIRMED * shunt_ohm)
    };
    let shunts = bench.instruments.iter();
    shunts
        .filter_map(|i| Some((&i.name, i.shunt_ohm?)))
        .filter(|(_, ohm)| *ohm > LARGEST_SHARE * resistance_ohm && !confirmed(*ohm))
        .map(|(name, shunt_ohm)| {
            let kind = RemarkKind::LargeShunt {
                shunt_ohm,
                resistance_ohm,
            };
            kind.about(name)
        })
        .collect()
}
