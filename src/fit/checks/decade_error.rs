//! The ohmmeter against the captures by a factor of ten, before the fit: a shunt's resistance or a probe's ratio entered ten times off.
//!
//! Closed forms give the resistance from captures within a factor of two; an ohmmeter may read up to three times as much
//! (a carbon contact at its small current), never less. A factor of ten stands clear of both. A fit between the two would
//! share the contradiction out over all gains; so this is reported before it, and whatever becomes of it. Each capture is judged by itself: its
//! scale may be its own.

use crate::bench::{Bench, Reading};
use crate::fit::data::{Hints, Segment, least, read_hints};
use crate::fit::wording::{Remark, RemarkKind};

/// Ratios of the captures' resistance to the meter's from which a current is ten times too small, and below which it is ten times
/// too large (common practice, no source).
const TOO_SMALL: f64 = 3.5;
const TOO_LARGE: f64 = 1.0 / 6.0;

/// The former for one capture: the peak of a start that runs up as fast as its current rises shows more than the resistance.
const ONE_TOO_SMALL: f64 = 5.0;

/// The contradiction; `None` where there is none, no ohmmeter, or no capture that shows a resistance.
pub fn against_the_ohmmeter(bench: &Bench, segments: &[Vec<Segment>]) -> Option<Remark> {
    let mut read = bench.readings.iter().filter_map(Reading::resistance_ohm);
    let meter_ohm = read.find(|ohm| *ohm > 0.0)?;
    let captures = bench.captures.iter().zip(segments);
    let shown: Vec<(&str, f64)> = captures
        .filter_map(|(capture, segments)| {
            let mut hints = Hints::default();
            read_hints(capture, segments, &mut hints);
            Some((capture.name.as_str(), least(&hints.resistance)?))
        })
        .collect();
    let smallest = least(&shown.iter().map(|s| s.1).collect::<Vec<f64>>())?;
    let (captures, captures_ohm) = if smallest / meter_ohm > TOO_SMALL {
        (Vec::new(), smallest)
    } else {
        let off =
            |(_, ohm): &&(&str, f64)| !(TOO_LARGE..=ONE_TOO_SMALL).contains(&(ohm / meter_ohm));
        let off: Vec<&(&str, f64)> = shown.iter().filter(off).collect();
        let ohm = off.first()?.1;
        match off.len() == shown.len() {
            true => (Vec::new(), ohm),
            false => (off.iter().map(|o| o.0.to_owned()).collect(), ohm),
        }
    };
    let kind = RemarkKind::TenTimesOff {
        captures,
        captures_ohm,
        ohmmeter_ohm: meter_ohm,
    };
    Some(kind.of_bench())
}
