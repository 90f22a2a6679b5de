//! What the key of a setting means for the whole record.

use super::collapsed;

/// A setting of the whole record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// Time between samples.
    Interval,
    /// Samples a second.
    Rate,
    /// Time of the first row.
    Start,
    /// Number of rows.
    Length,
    /// Row of the trigger, where time is zero.
    TriggerRow,
}

/// A word for the axis, then one for the distance of its points.
const AXIS: [&str; 9] = [
    "horizontal",
    "horiz",
    "h",
    "x",
    "time",
    "t",
    "sample",
    "sampling",
    "point",
];
const DISTANCE: [&str; 10] = [
    "interval",
    "increment",
    "incr",
    "inc",
    "step",
    "stepsize",
    "delta",
    "resolution",
    "spacing",
    "res",
];
const INTERVAL: [&str; 13] = [
    "sampleperiod",
    "samplingperiod",
    "deltax",
    "dx",
    "deltat",
    "dt",
    "timepersample",
    "timeperpoint",
    "timebetweensamples",
    "timebetweenpoints",
    "secondspersample",
    "abtastintervall",
    "abtastperiode",
];
/// Said of other things as well: a specific key wins over them.
const BARE_INTERVAL: [&str; 5] = ["interval", "increment", "incr", "step", "resolution"];
const RATE: [&str; 19] = [
    "samplerate",
    "samplingrate",
    "samplefrequency",
    "samplefreq",
    "samplingfrequency",
    "samplingfreq",
    "sampleclock",
    "samplingclock",
    "samplespersecond",
    "samplespersec",
    "fs",
    "sps",
    "scanrate",
    "acquisitionrate",
    "acqrate",
    "digitizerrate",
    "abtastrate",
    "abtastfrequenz",
    "fr\u{e9}quenced\u{e9}chantillonnage",
];
const BARE_RATE: [&str; 3] = ["rate", "sampling", "abtastung"];
const START: [&str; 18] = [
    "x0",
    "xzero",
    "xorigin",
    "xorig",
    "xorg",
    "xstart",
    "t0",
    "tzero",
    "tstart",
    "timezero",
    "timeorigin",
    "starttime",
    "timestart",
    "firsttime",
    "timeoffirstsample",
    "timeoffirstpoint",
    "horizontalorigin",
    "startzeit",
];
const BARE_START: [&str; 1] = ["start"];
const LENGTH: [&str; 20] = [
    "recordlength",
    "numberofpoints",
    "numberofdatapoints",
    "nrofsamples",
    "numberofsamples",
    "samples",
    "points",
    "nrofpoints",
    "noofsamples",
    "noofpoints",
    "nosamples",
    "samplecount",
    "memorylength",
    "size",
    "datapoints",
    "numsamples",
    "numpoints",
    "waveformlength",
    "nrpt",
    "nrpts",
];
const TRIGGER_ROW: [&str; 10] = [
    "pretrigger",
    "pretriggersamples",
    "pretriggerpoints",
    "pretriggerrows",
    "presamples",
    "samplesbeforetrigger",
    "triggerpoint",
    "triggersample",
    "triggerindex",
    "triggerrow",
];

/// The setting of a key, and whether the key says it of nothing else.
pub fn setting(key: &str) -> Option<(Setting, bool)> {
    let key = collapsed(key);
    let of = |words: &[&str]| words.contains(&key.as_str());
    let of_axis = |axis: &str| {
        key.strip_prefix(axis)
            .is_some_and(|rest| DISTANCE.contains(&rest))
    };
    if AXIS.iter().any(|axis| of_axis(axis)) {
        return Some((Setting::Interval, true));
    }
    [
        (Setting::Interval, true, &INTERVAL[..]),
        (Setting::Rate, true, &RATE),
        (Setting::Start, true, &START),
        (Setting::Length, true, &LENGTH),
        (Setting::TriggerRow, true, &TRIGGER_ROW),
        (Setting::Interval, false, &BARE_INTERVAL),
        (Setting::Rate, false, &BARE_RATE),
        (Setting::Start, false, &BARE_START),
    ]
    .into_iter()
    .find(|(_, _, words)| of(words))
    .map(|(setting, specific, _)| (setting, specific))
}

/// True for a key that states the unit of the x axis.
pub fn is_horizontal_unit(key: &str) -> bool {
    matches!(
        collapsed(key).as_str(),
        "horizontalunits"
            | "horizontalunit"
            | "xunits"
            | "xunit"
            | "unitx"
            | "hunit"
            | "hunits"
            | "timeunit"
            | "timeunits"
            | "unitoftime"
            | "xaxisunit"
            | "xaxisunits"
    )
}

/// True for a row of the header that gives the unit of each column.
pub fn is_unit_key(key: &str) -> bool {
    matches!(
        collapsed(key).as_str(),
        "unit" | "units" | "einheit" | "einheiten" | "unit\u{e9}" | "unit\u{e9}s" | "unidad"
    )
}

/// True for a setting that only an analyser of spectra or a sweep has.
pub fn is_spectrum_setting(key: &str) -> bool {
    matches!(
        collapsed(key).as_str(),
        "rbw"
            | "vbw"
            | "resolutionbandwidth"
            | "videobandwidth"
            | "centerfrequency"
            | "centrefrequency"
            | "startfrequency"
            | "stopfrequency"
            | "startfreq"
            | "stopfreq"
            | "centerfreq"
            | "fftwindow"
            | "fftlength"
            | "fftsize"
            | "sweeptype"
            | "frequencyspan"
    )
}
