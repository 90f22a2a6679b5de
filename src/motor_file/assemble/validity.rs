//! The ranges of current, speed and temperature that the captures cover.

use crate::bench::Bench;
use crate::fit::{Estimate, Quantity};
use crate::motor_file::{Range, Validity};

/// `constant`: that of the back-EMF, V·s/rad, where it is known.
pub(super) fn validity(bench: &Bench, estimate: &Estimate, constant: Option<f64>) -> Validity {
    let range = |values: &mut dyn Iterator<Item = f64>| {
        let mut out: Option<Range> = None;
        for v in values.filter(|v| v.is_finite()) {
            out = Some(out.map_or(Range { lower: v, upper: v }, |r| Range {
                lower: r.lower.min(v),
                upper: r.upper.max(v),
            }));
        }
        out
    };
    let rows = || {
        estimate
            .predictions
            .iter()
            .flat_map(|p| &p.rows)
            .filter(|r| r.zero_uncertainty.is_none())
    };
    let of = |quantity: Quantity| {
        rows()
            .filter(move |r| r.quantity == quantity)
            .map(|r| r.recorded)
    };
    let back_emf_v = range(&mut of(Quantity::Voltage));
    Validity {
        current_a: range(&mut of(Quantity::Current)),
        speed_rad_s: back_emf_v.zip(constant).map(|(e, k)| Range {
            lower: e.lower / k,
            upper: e.upper / k,
        }),
        back_emf_v,
        temperature_c: range(
            &mut bench
                .captures
                .iter()
                .filter_map(|c| c.winding_temperature_c)
                .map(|t| t.value),
        ),
    }
}
