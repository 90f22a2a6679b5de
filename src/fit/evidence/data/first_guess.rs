//! First guesses in closed form from the segments, so that nobody ever gives a start value.
//!
//! Each is a crude reading of one feature; the fit converges from guesses wrong by a factor of five either way. Where one feature
//! is spoilt and the fit does not follow the records from there, it begins again from the others.

use super::hints::{Hints, least, middle, read_hints};
use super::linear_form::{LinearForm, linear_form, longest_closed};
use super::segments::Segment;
use crate::bench::{Bench, Role};
use crate::motor::TerminalParameters;

/// Guesses every terminal parameter; what nothing hints at gets the magnitude of a small motor.
pub fn first_guess(bench: &Bench, segments: &[Vec<Segment>]) -> TerminalParameters {
    let mut hints = Hints::default();
    for (capture, segments) in bench.captures.iter().zip(segments) {
        read_hints(capture, segments, &mut hints);
    }
    let Sizes { volts, amperes } = Sizes::of(bench, segments);
    let resistance = least(&hints.resistance).unwrap_or(volts / amperes);
    let no_load = middle(&mut hints.no_load_current)
        .unwrap_or(0.05 * amperes)
        .max(1e-5 * amperes);
    let emf = middle(&mut hints.running_emf)
        .unwrap_or(0.9 * volts)
        .max(1e-4 * volts);
    let capacitance = middle(&mut hints.capacitance)
        .or_else(|| middle(&mut hints.slowing).map(|s| no_load / s))
        .filter(|c| c.is_finite() && *c > 0.0)
        .unwrap_or(0.02 / resistance);
    let of_rise = least(&hints.rise_time_s).map(|rise| rise * resistance);
    let inductance = of_rise.or(least(&hints.inductance));
    TerminalParameters {
        brush_drop_v: 0.02 * emf,
        brush_scale_a: 0.4 * no_load,
        ..TerminalParameters::plain(
            resistance,
            inductance.unwrap_or(2e-4 * resistance),
            capacitance,
            0.7 * no_load,
            0.3 * no_load / emf,
        )
    }
}

/// Largest recorded voltage and current: what a number without any hint is measured against.
struct Sizes {
    volts: f64,
    amperes: f64,
}

impl Sizes {
    fn of(bench: &Bench, segments: &[Vec<Segment>]) -> Self {
        let largest = |none: f64, values: &mut dyn Iterator<Item = f64>| {
            let found = values.map(f64::abs).filter(|v| v.is_finite());
            Some(found.fold(0.0, f64::max))
                .filter(|v| *v > 0.0)
                .unwrap_or(none)
        };
        let bins = || segments.iter().flatten().flat_map(|s| &s.bins);
        let stated = bench.motor.supply_v.into_iter();
        Sizes {
            volts: largest(10.0, &mut bins().map(|b| b.voltage_v).chain(stated)),
            amperes: largest(1.0, &mut bins().map(|b| b.current_a)),
        }
    }
}

/// Guesses to begin from where the fit does not follow the records from the first: those of whole records as linear forms, all together
/// and one by one, then the first with an inductance or inertia that one feature may have missed by this much.
pub fn further_guesses(
    bench: &Bench,
    segments: &[Vec<Segment>],
    first: &TerminalParameters,
) -> Vec<TerminalParameters> {
    const MISSED_BY: f64 = 10.0;
    let forms: Vec<LinearForm> = forms(bench, segments);
    let mut all: Vec<TerminalParameters> = Vec::new();
    if forms.len() > 1 {
        all.extend(from_forms(&forms, first));
    }
    all.extend(
        forms
            .iter()
            .filter_map(|form| from_forms(std::slice::from_ref(form), first)),
    );
    for by in [MISSED_BY, MISSED_BY.recip()] {
        all.push(TerminalParameters {
            inertia_capacitance_f: first.inertia_capacitance_f * by,
            ..*first
        });
        all.push(TerminalParameters {
            armature_inductance_h: first.armature_inductance_h * by,
            ..*first
        });
    }
    all
}

/// The linear form of the longest closed stretch of every capture, where it makes a motor.
pub fn forms(bench: &Bench, segments: &[Vec<Segment>]) -> Vec<LinearForm> {
    let each = bench.captures.iter().zip(segments);
    each.filter_map(|(capture, segments)| {
        let held = matches!(capture.role, Role::LockedRotor | Role::PwmLocked);
        let form = linear_form(capture, &longest_closed(segments)?.bins, held)?;
        (form.resistance_ohm > 0.0).then_some(form)
    })
    .collect()
}

/// The motor of some linear forms; what they do not show is that of `first`.
fn from_forms(forms: &[LinearForm], first: &TerminalParameters) -> Option<TerminalParameters> {
    let mut resistances: Vec<f64> = forms.iter().map(|f| f.resistance_ohm).collect();
    let positive = |values: &mut dyn Iterator<Item = f64>| {
        middle(&mut values.filter(|v| *v > 0.0).collect::<Vec<f64>>())
    };
    let inductance = positive(&mut forms.iter().map(|f| f.inductance_h));
    let capacitance = positive(&mut forms.iter().filter_map(|f| f.per_capacitance)).map(f64::recip);
    Some(TerminalParameters {
        terminal_resistance_ohm: middle(&mut resistances)?,
        armature_inductance_h: inductance.unwrap_or(first.armature_inductance_h),
        inertia_capacitance_f: capacitance.unwrap_or(first.inertia_capacitance_f),
        ..*first
    })
}
