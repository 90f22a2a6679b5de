//! The stated supply voltage beside the voltages that the captures show.

use crate::bench::{Bench, CaptureWarning, Role};
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::data::{Segment, SegmentKind};
use crate::fit::wording::Contradiction;

/// Relative standard uncertainty of a terminal voltage at no load against what was stated of its supply: its own resistance, gain of the channel, a
/// nominal value (common practice, no source).
const SUPPLY_SD: f64 = 0.025;

/// The line of the supply; `None` where none is stated or no capture has a voltage.
pub fn confront(bench: &Bench, segments: &[Vec<Segment>]) -> Option<Confrontation> {
    let stated = bench.motor.supply_v.filter(|v| *v != 0.0)?;
    let item = "supply voltage";
    let levels = bench.captures.iter().zip(segments);
    let nearest = levels
        .filter(|(capture, _)| capture.waveform.voltage_v.is_some() && !capture.ac_coupled)
        .filter_map(|(capture, segments)| Some((&capture.name, level(capture.role, segments)?)))
        .min_by(|a, b| (a.1 - stated).abs().total_cmp(&(b.1 - stated).abs()));
    let Some((name, shown)) = nearest else {
        let alone = Confrontation::alone(EvidenceKind::Supply, item);
        return Some(alone.with_values(stated, None, None, "V"));
    };
    let sd = SUPPLY_SD * shown.abs().max(stated.abs());
    let already_reported = bench.capture_warnings.contains(&CaptureWarning::ProbeRatio);
    let line =
        Confrontation::with_deviation(EvidenceKind::Supply, item, (stated - shown) / sd, || {
            match already_reported {
                true => Contradiction::SupplyByProbeRatio,
                false => Contradiction::Supply {
                    stated_v: stated,
                    shown_v: shown,
                    capture: name.clone(),
                },
            }
        });
    Some(line.with_values(stated, Some(shown), Some(sd), "V"))
}

/// Mean terminal voltage while running freely on the supply, V.
fn level(role: Role, segments: &[Segment]) -> Option<f64> {
    let connected = |segment: &&Segment| segment.kind == SegmentKind::Connected;
    let (segment, from) = match role {
        Role::Start => (segments.iter().rev().find(connected)?, 4),
        Role::RunDown | Role::Brake => (segments.first().filter(connected)?, 0),
        Role::Steady => (segments.iter().find(connected)?, 0),
        _ => return None,
    };
    let bins = &segment.bins[segment.bins.len() * from / 5..];
    let voltages = bins.iter().map(|bin| bin.voltage_v);
    let seen: Vec<f64> = voltages.filter(|v| v.is_finite()).collect();
    (!seen.is_empty()).then(|| seen.iter().sum::<f64>() / seen.len() as f64)
}
