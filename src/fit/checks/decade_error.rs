//! The ohmmeter against the captures by a factor of ten, before the fit: a shunt's resistance or a probe's ratio entered ten times off.
//!
//! Closed forms give the resistance from captures within a factor of two; an ohmmeter may read up to three times as much
//! (a carbon contact at its small current), never less. A factor of ten stands clear of both. A fit between the two would
//! share the contradiction out over all gains; so this is reported before it, and whatever becomes of it. Each capture is judged by itself: its
//! scale may be its own.

use crate::bench::{Bench, Reading};
use crate::fit::data::{Hints, Segment, least, read_hints};

/// Ratios of the captures' resistance to the meter's from which a current is ten times too small, and below which it is ten times
/// too large (common practice, no source).
const TOO_SMALL: f64 = 3.5;
const TOO_LARGE: f64 = 1.0 / 6.0;

/// The former for one capture: the peak of a start that runs up as fast as its current rises shows more than the resistance.
const ONE_TOO_SMALL: f64 = 5.0;

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
    let captures = bench.captures.iter().zip(segments);
    let shown: Vec<(&str, f64)> = captures
        .filter_map(|(capture, segments)| {
            let mut hints = Hints::default();
            read_hints(capture, segments, &mut hints);
            Some((capture.name.as_str(), least(&hints.resistance)?))
        })
        .collect();
    let smallest = least(&shown.iter().map(|s| s.1).collect::<Vec<f64>>())?;
    let (who, captures_ohm, current, shunt) = if smallest / meter_ohm > TOO_SMALL {
        let whole = "the captures show".to_owned();
        (whole, smallest, "small", "a tenth of what is stated")
    } else {
        let off =
            |(_, ohm): &&(&str, f64)| !(TOO_LARGE..=ONE_TOO_SMALL).contains(&(ohm / meter_ohm));
        let off: Vec<&(&str, f64)> = shown.iter().filter(off).collect();
        let ohm = off.first()?.1;
        let who = match off.len() {
            all if all == shown.len() => "the captures show".to_owned(),
            1 => format!("{} shows", off[0].0),
            _ => {
                let names: Vec<&str> = off.iter().map(|o| o.0).collect();
                format!("{} show", names.join(", "))
            }
        };
        match ohm > meter_ohm {
            true => (who, ohm, "small", "a tenth of what is stated"),
            false => (who, ohm, "large", "ten times what is stated"),
        }
    };
    let ratio = captures_ohm / meter_ohm;
    Some(format!(
        "{who} a resistance of about {captures_ohm:.3} Ω where the ohmmeter reads {meter_ohm:.3} Ω: a factor of {:.1}. A shunt's resistance or a \
         probe's ratio is probably entered ten times off; if it is the current's, its currents are ten times too {current} and the true shunt \
         is {shunt}. R, L, J and all friction torques come out ten times off. Look at shunt and ratios in the sheet; nothing here should be trusted before",
        ratio.max(ratio.recip())
    ))
}
