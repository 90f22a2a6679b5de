//! The ohmmeter against the captures by a factor of ten, before the fit: a shunt's resistance or a probe's ratio entered ten times off.
//!
//! Closed forms give the resistance from captures within a factor of two; an ohmmeter may read up to three times as much
//! (a carbon contact at its small current), never less. A factor of ten stands clear of both. A fit between the two would
//! share the contradiction out over all gains; so this is reported before it, and whatever becomes of it.

use crate::bench::{Bench, Reading};
use crate::fit::data::{Hints, Segment, least, read_hints};

/// Ratios of the captures' resistance to the meter's from which a current is ten times too small, and below which it is ten times
/// too large (common practice, no source).
const TOO_SMALL: f64 = 3.5;
const TOO_LARGE: f64 = 1.0 / 6.0;

/// The contradiction in words; `None` where there is none, no ohmmeter, or no capture that shows a resistance.
pub fn against_the_ohmmeter(bench: &Bench, segments: &[Vec<Segment>]) -> Option<String> {
    let meter_ohm = bench.readings.iter().find_map(|reading| match reading {
        Reading::Ohmmeter {
            readings_ohm,
            leads_ohm,
            ..
        } if !readings_ohm.is_empty() => {
            let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
            Some(mean - leads_ohm.map_or(0.0, |l| l.value)).filter(|r| *r > 0.0)
        }
        _ => None,
    })?;
    let mut hints = Hints::default();
    for (capture, segments) in bench.captures.iter().zip(segments) {
        read_hints(capture, segments, &mut hints);
    }
    let captures_ohm = least(&hints.resistance)?;
    let ratio = captures_ohm / meter_ohm;
    let (current, shunt) = if ratio > TOO_SMALL {
        ("small", "a tenth of what is stated")
    } else if ratio < TOO_LARGE {
        ("large", "ten times what is stated")
    } else {
        return None;
    };
    Some(format!(
        "the captures show a resistance of about {captures_ohm:.3} Ω where the ohmmeter reads {meter_ohm:.3} Ω: a factor of {:.1}. A shunt's resistance or a \
         probe's ratio is probably entered ten times off; if it is the current's, all currents are ten times too {current} and the true shunt \
         is {shunt}. R, L, J and all friction torques come out ten times off. Look at shunt and ratios in the sheet; nothing here should be trusted before",
        ratio.max(ratio.recip())
    ))
}
