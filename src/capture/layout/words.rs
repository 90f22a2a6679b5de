//! The common words of column names and of settings.

use crate::capture::cell::unit;
use crate::quantity::is_listed;

/// A key with its letters and digits alone, in lower case: `X Increment` and `xIncrement` are one key.
pub(super) fn collapsed(key: &str) -> String {
    let letters = key.chars().filter(|c| c.is_alphanumeric());
    letters.flat_map(char::to_lowercase).collect()
}

/// Words of a name in lower case: parted at anything but letters and digits, at a capital inside a word, and without
/// the digits at their ends.
pub fn tokens(name: &str) -> Vec<String> {
    let mut tokens = vec![String::new()];
    let mut before_is_lower = false;
    for c in name.chars() {
        let is_word = c.is_alphanumeric() || c == '\u{b5}';
        if !is_word || (c.is_uppercase() && before_is_lower) {
            tokens.push(String::new());
        }
        if let (true, Some(last)) = (is_word, tokens.last_mut()) {
            last.extend(c.to_lowercase());
        }
        before_is_lower = c.is_lowercase();
    }
    let bare = |t: String| t.trim_end_matches(|c: char| c.is_ascii_digit()).to_string();
    let tokens = tokens.into_iter().map(bare);
    tokens.filter(|t| !t.is_empty()).collect()
}

fn has_listed(name: &str, list: &str) -> bool {
    tokens(name).iter().any(|word| is_listed(list, word))
}

/// The name without a unit in brackets or behind a stroke.
fn stem(name: &str) -> &str {
    name.split(['(', '[', '/']).next().unwrap_or("").trim()
}

const TIME: &str = "time zeit temps tiempo tempo tijd tid czas \u{432}\u{440}\u{435}\u{43c}\u{44f} \
    \u{65f6}\u{95f4} \u{6642}\u{9593} \u{65f6} \u{c2dc}\u{ac04} zaman id\u{151} \u{10d}as aika second seconds sekunden timestamp timestamps \
    uhrzeit datum datetime elapsed clock \u{3c7}\u{3c1}\u{3cc}\u{3bd}\u{3bf}\u{3c2} millis micros milliseconds microseconds date";

/// Words beside `time` that make it a measured quantity.
const NO_AXIS: &str = "constant div rise fall delay settling up base per";

/// True for the name of a time axis.
pub fn is_time_name(name: &str) -> bool {
    let words = tokens(stem(name));
    let texts: Vec<&str> = words.iter().map(String::as_str).collect();
    match texts.as_slice() {
        // `T1` is more likely a temperature.
        ["t"] => stem(name).eq_ignore_ascii_case("t"),
        _ if is_unit_of_time(name) => true,
        ["x", "axis"] | ["x", "value"] | ["xaxis"] | ["xvalue"] => true,
        all => {
            all.len() <= 4
                && all.iter().any(|w| is_listed(TIME, w))
                && !all.iter().any(|w| is_listed(NO_AXIS, w))
        }
    }
}

/// True for a voltage, a current or a torque by its name: `Vset`, `I_meas`, `Torque`.
pub fn is_electrical_name(name: &str) -> bool {
    const QUANTITY: &str = "voltage volt volts current amps ampere torque power vset iset uset vmeas imeas umeas vin vout iin iout \
        spannung strom drehmoment leistung v u i";
    has_listed(stem(name), QUANTITY)
}

/// True for a name that is a unit of time and nothing else: `ms`.
pub fn is_unit_of_time(name: &str) -> bool {
    is_listed("s sec ms msec us \u{b5}s \u{3bc}s usec ns", name.trim())
}

/// The unit of time that a name ends with or is: `time_ms`, `millis`, `t_us`, `seconds`.
pub fn time_unit_of_name(name: &str) -> Option<&'static str> {
    let words = tokens(stem(name));
    // `seconds after switching on`.
    if is_listed("second seconds sekunden", words.first()?) {
        return Some("s");
    }
    Some(match words.last()?.as_str() {
        "s" if words.len() > 1 || is_unit_of_time(name) => "s",
        "sec" | "secs" | "second" | "seconds" | "sekunden" => "s",
        "ms" | "msec" | "millis" | "millisecond" | "milliseconds" => "ms",
        "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "micros" | "microsecond" | "microseconds" => "us",
        "ns" | "nsec" | "nanos" | "nanosecond" | "nanoseconds" => "ns",
        _ => return None,
    })
}

/// True for the name of a column that counts the rows.
pub fn is_index_name(name: &str) -> bool {
    const INDEX: &str = "sample samples sequence index idx point points nr nr. no no. num number \
        # n row scan record reading line \u{5e8f}\u{53f7} \u{7f16}\u{53f7} \u{756a}\u{53f7} \u{2116} lfd indice";
    let name = name.trim().to_lowercase();
    match stem(&name).split_once(' ') {
        Some(("sample", rest)) => is_listed("number no nr index", rest),
        Some(two) => two == ("data", "point"),
        None => is_listed(INDEX, stem(&name)),
    }
}

/// True for the name of a column that names the channel of each row.
pub fn is_channel_name(name: &str) -> bool {
    let list = "channel chan ch kanal signal input sensor voie";
    matches!(tokens(name).as_slice(), [word] if is_listed(list, word))
}

/// True for the name of a column of remarks.
pub fn is_remark_name(name: &str) -> bool {
    let list = "comment comments remark remarks note notes kommentar";
    is_listed(list, stem(&name.trim().to_lowercase()))
}

/// True for the name of an axis that is not time: a frequency, a wavelength, an angle.
pub fn is_other_axis_name(name: &str) -> bool {
    const OTHER: &str = "order octave bin bins frequency freq frequenz fr\u{e9}quence frequencia \
        frecuencia hertz hz khz mhz wavelength wavenumber degrees angle winkel";
    has_listed(name, OTHER)
}

/// True for the name of a spectrum: a transform, or a level in decibels.
pub fn is_spectrum_name(name: &str) -> bool {
    let in_decibels = |text: &str| text.trim().to_lowercase().starts_with("db");
    has_listed(name, "fft dft psd spectrum spektrum")
        || unit::of_name(name).is_some_and(in_decibels)
        || in_decibels(unit::strip_brackets(name)) && name.trim().len() <= 5
}

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
const AXIS: &str = "horizontal horiz h x time t sample sampling point";
const DISTANCE: &str = "interval increment incr inc step stepsize delta resolution spacing res";
const INTERVAL: &str = "sampleperiod samplingperiod deltax dx deltat dt timepersample \
    timeperpoint timebetweensamples timebetweenpoints secondspersample abtastintervall \
    abtastperiode intervalled\u{e9}chantillonnage p\u{e9}rioded\u{e9}chantillonnage \
    intervalodemuestreo intervallodicampionamento \u{91c7}\u{6837}\u{95f4}\u{9694} \u{91c7}\u{6837}\u{5468}\u{671f} \
    \u{30b5}\u{30f3}\u{30d7}\u{30ea}\u{30f3}\u{30b0}\u{9593}\u{9694} \u{30b5}\u{30f3}\u{30d7}\u{30ea}\u{30f3}\u{30b0}\u{5468}\u{671f}";
/// Said of other things as well: a specific key wins over them.
const BARE_INTERVAL: &str = "interval increment incr step resolution";
const RATE: &str = "samplerate samplingrate samplefrequency samplefreq samplingfrequency \
    samplingfreq sampleclock samplingclock samplespersecond samplespersec fs sps scanrate \
    acquisitionrate acqrate digitizerrate abtastrate abtastfrequenz \
    fr\u{e9}quenced\u{e9}chantillonnage frecuenciademuestreo frequenzadicampionamento \
    \u{91c7}\u{6837}\u{7387} \u{91c7}\u{6837}\u{9891}\u{7387} \u{30b5}\u{30f3}\u{30d7}\u{30ea}\u{30f3}\u{30b0}\u{5468}\u{6ce2}\u{6570}";
const BARE_RATE: &str = "rate sampling abtastung";
const START: &str = "x0 xzero xorigin xorig xorg xstart t0 tzero tstart timezero timeorigin \
    starttime timestart firsttime timeoffirstsample timeoffirstpoint horizontalorigin startzeit";
const LENGTH: &str = "recordlength numberofpoints numberofdatapoints nrofsamples \
    numberofsamples samples points nrofpoints noofsamples noofpoints nosamples samplecount \
    memorylength size datapoints numsamples numpoints waveformlength nrpt nrpts";
const TRIGGER_ROW: &str = "pretrigger pretriggersamples pretriggerpoints pretriggerrows \
    presamples samplesbeforetrigger triggerpoint triggersample triggerindex triggerrow";

/// The setting of a key, and whether the key says it of nothing else.
pub fn setting(key: &str) -> Option<(Setting, bool)> {
    let key = collapsed(key);
    let distance = |axis| {
        key.strip_prefix(axis)
            .is_some_and(|rest| is_listed(DISTANCE, rest))
    };
    if AXIS.split_whitespace().any(distance) {
        return Some((Setting::Interval, true));
    }
    let (_, setting, specific) = [
        (INTERVAL, Setting::Interval, true),
        (RATE, Setting::Rate, true),
        (START, Setting::Start, true),
        (LENGTH, Setting::Length, true),
        (TRIGGER_ROW, Setting::TriggerRow, true),
        (BARE_INTERVAL, Setting::Interval, false),
        (BARE_RATE, Setting::Rate, false),
        ("start", Setting::Start, false),
    ]
    .into_iter()
    .find(|(list, ..)| is_listed(list, &key))?;
    Some((setting, specific))
}

/// True for a key that states the unit of the x axis.
pub fn is_horizontal_unit(key: &str) -> bool {
    const UNIT_OF_TIME: &str = "horizontalunits horizontalunit xunits xunit unitx hunit hunits \
        timeunit timeunits unitoftime xaxisunit xaxisunits";
    is_listed(UNIT_OF_TIME, &collapsed(key))
}

/// True for a row of the header that gives the unit of each column.
pub fn is_unit_key(key: &str) -> bool {
    let list = "unit units einheit einheiten unit\u{e9} unit\u{e9}s unidad \
        unidades unit\u{e0} eenheid jednostka \u{435}\u{434}\u{438}\u{43d}\u{438}\u{446}\u{430} \u{5355}\u{4f4d} \u{5358}\u{4f4d} \u{b2e8}\u{c704}";
    is_listed(list, &collapsed(key))
}

/// True for a setting that only an analyser of spectra or a sweep has.
pub fn is_spectrum_setting(key: &str) -> bool {
    const ANALYSER: &str = "rbw vbw resolutionbandwidth videobandwidth centerfrequency \
        centrefrequency startfrequency stopfrequency startfreq stopfreq centerfreq fftwindow \
        fftlength fftsize sweeptype frequencyspan";
    is_listed(ANALYSER, &collapsed(key))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_word_by_word() {
        let all = |names: &str, is: fn(&str) -> bool| {
            let wrong: Vec<&str> = names.split(", ").filter(|name| !is(name)).collect();
            assert!(wrong.is_empty(), "{wrong:?}");
        };
        let time =
            "Time (s), t, time - plot 0, TIME, Zeit [ms], elapsed time, TimeStamp, Time1, x-axis";
        all(time, is_time_name);
        let others = "time constant, CH1, motorCommand, T1, rise time, uptime, Sometimes";
        all(others, |name| !is_time_name(name));
        let axes = "Frequency (Hz), Freq, wavelength [nm], Hertz, Angle";
        all(axes, is_other_axis_name);
        assert!(!is_other_axis_name("Ch 1"));
        all("FFT(CH1), Amplitude (dBV), dB, PSD", is_spectrum_name);
        all("dbg counter, Amplitude (V)", |name| !is_spectrum_name(name));
        for (name, unit) in [
            ("time_ms", Some("ms")),
            ("millis", Some("ms")),
            ("seconds after switching on", Some("s")),
            ("time", None),
        ] {
            assert_eq!(time_unit_of_name(name), unit, "{name}");
        }
    }
}
