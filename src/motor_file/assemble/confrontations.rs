//! Items of evidence as the file holds them, with the records that spoil an estimate.

use crate::bench::{Bench, CaptureWarning};
use crate::events::Timeline;
use crate::fit::{Agreement, Estimate};
use crate::motor_file::Confrontation;

pub(super) fn confrontations(
    bench: &Bench,
    timelines: &[Timeline],
    estimate: &Estimate,
) -> Vec<Confrontation> {
    let compared = estimate.confrontations.iter().map(|c| Confrontation {
        kind: c.kind.key().to_owned(),
        item: c.item.clone(),
        stated: finite(c.stated),
        model: finite(c.model),
        standard_uncertainty: finite(c.standard_uncertainty),
        unit: c.unit.to_owned(),
        deviation: finite(c.deviation),
        agreement: c.agreement,
        text: c.text.as_ref().map(ToString::to_string),
    });
    let of_captures = bench
        .captures
        .iter()
        .zip(timelines)
        .flat_map(|(c, timeline)| {
            let warnings = timeline.capture_warnings.iter();
            warnings.map(move |warning| (*warning, c.name.as_str()))
        });
    let whole = bench
        .capture_warnings
        .iter()
        .chain(&estimate.capture_warnings);
    let mut spoiled: Vec<Confrontation> = Vec::new();
    for (warning, name) in whole.map(|w| (*w, "")).chain(of_captures) {
        if let Some(words) = words(warning) {
            let item = if name.is_empty() {
                words.to_owned()
            } else {
                format!("{words} ({name})")
            };
            if !spoiled.iter().any(|s| s.item == item) {
                spoiled.push(record(item));
            }
        }
    }
    compared.chain(spoiled).collect()
}

fn finite(number: Option<f64>) -> Option<f64> {
    number.filter(|n| n.is_finite())
}

/// A record in conflict; a warning of the file has the particulars.
fn record(item: String) -> Confrontation {
    Confrontation {
        kind: "record".to_owned(),
        item,
        stated: None,
        model: None,
        standard_uncertainty: None,
        unit: "1".to_owned(),
        deviation: None,
        agreement: Agreement::InConflict,
        text: None,
    }
}

/// What a warning that spoils an estimate is about.
fn words(warning: CaptureWarning) -> Option<&'static str> {
    if !warning.spoils_estimate() {
        return None;
    }
    Some(match warning {
        CaptureWarning::WrongPolarity => "voltage or current the wrong way round",
        CaptureWarning::ProbeRatio => "voltage off by the ratio of a probe",
        CaptureWarning::Slipped => "a held rotor that turned",
        CaptureWarning::TimeBase => "times off by a factor of a thousand or so",
        CaptureWarning::TenTimesOff => "a current or meter ten times off",
        CaptureWarning::Unit => "unit of a column",
        CaptureWarning::Record => "a record read only by an assumption, or only in part",
        _ => "a capture",
    })
}
