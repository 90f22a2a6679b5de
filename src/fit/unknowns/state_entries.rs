//! The states in which stretches of a capture begin, as unknowns.

use super::direction::{Direction, Links};
use super::layout::{Layout, Parameter, ParameterKind};
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

/// Back-EMFs and currents with which stretches begin.
pub fn add_unknown_states(
    segments: &[Segment],
    index: usize,
    held: bool,
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
                    let seen = segment
                        .bins
                        .iter()
                        .find(|b| b.current_a.is_finite())
                        .map_or(0.0, |b| b.current_a);
                    let parameter = Parameter::free(
                        ParameterKind::InitialCurrent {
                            capture: index,
                            piece: currents,
                        },
                        seen,
                    );
                    links.add(Direction::CURRENT[currents], layout.add(parameter));
                    currents += 1;
                }
            }
        }
    }
}

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
