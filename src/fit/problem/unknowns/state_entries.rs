//! The states in which stretches of a capture begin, as unknowns.

use super::direction::{Direction, Links};
use super::layout::{Layout, Parameter, ParameterKind, Source};
use crate::fit::data::{Bin, Segment, SegmentKind};

/// Share of V/R above which a motor about to be switched off counts as held: one that turns under load takes less than half
/// of it at its best power, one that runs freely far less.
const STALLED_SHARE: f64 = 0.65;

/// Whether the rotor stands still in the segment with which a turn-off begins.
pub fn stands_still(segments: &[Segment], resistance_ohm: f64) -> bool {
    let Some(first) = segments
        .first()
        .filter(|l| l.kind == SegmentKind::Connected)
    else {
        return false;
    };
    let mean = |of: fn(&Bin) -> f64| {
        let values = first.bins.iter().map(of).filter(|v| v.is_finite());
        let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        sum / count
    };
    let (voltage, current) = (mean(|b| b.voltage_v), mean(|b| b.current_a));
    current.abs() * resistance_ohm > STALLED_SHARE * voltage.abs()
}

/// Back-EMFs and currents with which stretches begin. `dies`: a bridge may let the current die in each period, so that its beginning leaves no
/// trace.
pub fn add_unknown_states(
    segments: &[Segment],
    index: usize,
    (held, dies): (bool, bool),
    layout: &mut Layout,
    links: &mut Links,
) {
    let mut known = held || matches!(segments.first().map(|l| l.kind), Some(SegmentKind::Rest));
    let (mut emfs, mut currents) = (0, 0);
    for (number, segment) in segments.iter().enumerate() {
        match segment.kind {
            SegmentKind::Rest => known = true,
            SegmentKind::Lost => known = held,
            SegmentKind::Carried => {}
            SegmentKind::Connected | SegmentKind::Open => {
                if !known && emfs < Direction::EMF.len() {
                    let parameter = Parameter::free(
                        ParameterKind::InitialEmf {
                            capture: index,
                            piece: emfs,
                        },
                        emf_guess(segments, number),
                    );
                    links.add(Direction::EMF[emfs], layout.add(parameter));
                    emfs += 1;
                    known = true;
                }
                if segment.kind == SegmentKind::Connected && currents < Direction::CURRENT.len() {
                    let kind = ParameterKind::InitialCurrent {
                        capture: index,
                        piece: currents,
                    };
                    let before = number.checked_sub(1).map(|k| segments[k].kind);
                    let parameter = match dies {
                        true => anywhere_in(kind, segment),
                        false => beginning_current(kind, segment, before),
                    };
                    links.add(Direction::CURRENT[currents], layout.add(parameter));
                    currents += 1;
                }
            }
        }
    }
}

/// The current with which a closed stretch begins: any, or zero at the edge of a clean closing, known to about a sample's rise since the
/// instant lies between two samples.
fn beginning_current(
    kind: ParameterKind,
    segment: &Segment,
    before: Option<SegmentKind>,
) -> Parameter {
    let mut currents = segment.bins.iter().map(|b| b.current_a);
    let still = matches!(before, Some(SegmentKind::Rest | SegmentKind::Open));
    let edge = currents.clone().take_while(|i| i.is_nan()).count();
    let Some(first_a) = currents.find(|i| i.is_finite()) else {
        return Parameter::free(kind, 0.0);
    };
    if !still || edge == 0 {
        return Parameter::free(kind, first_a);
    }
    // Noise may hide the first sample's rise, and not that of several.
    let largest_a = currents.take(3).fold(first_a.abs(), |most, i| {
        if i.is_finite() {
            most.max(i.abs())
        } else {
            most
        }
    });
    let rise_a = largest_a / edge as f64;
    Parameter::free(kind, 0.0).with_prior(0.0, INSTANT_SD * rise_a, Source::Model)
}

/// A first current that may leave no trace: any of those in the stretch.
fn anywhere_in(kind: ParameterKind, segment: &Segment) -> Parameter {
    let currents = segment.bins.iter().map(|b| b.current_a);
    let mut finite = currents.filter(|i| i.is_finite());
    let first_a = finite.next().unwrap_or(0.0);
    let largest_a = finite.fold(first_a.abs(), |most, i| most.max(i.abs()));
    Parameter::free(kind, first_a).with_prior(first_a, largest_a.max(1e-9), Source::Model)
}

/// Standard deviation of an instant that lies anywhere within a sample's interval, in intervals, with half as much again for the
/// edge's own shape.
const INSTANT_SD: f64 = 0.45;

/// The back-EMF nearest to segment `number` that the record shows: open-terminal voltage, else terminal voltage.
fn emf_guess(segments: &[Segment], number: usize) -> f64 {
    let first_voltage = |segment: &Segment| {
        segment
            .bins
            .iter()
            .map(|b| b.voltage_v)
            .find(|v| v.is_finite())
    };
    segments[number..]
        .iter()
        .filter(|l| l.kind == SegmentKind::Open)
        .find_map(first_voltage)
        .or_else(|| first_voltage(&segments[number]).map(|v| 0.95 * v))
        .unwrap_or(0.0)
}
