//! Gain errors of oscilloscope channels by vertical range, and gains checked in place.
//!
//! An oscilloscope's gain is one number a channel where it is stated as a share of the reading. Each vertical range has a part of its own where
//! `range_gain` states one, or where the accuracy is one of full scale: half of the variance is then the channel's and half the range's
//! (common practice, no source). A limit of full scale is taken at the largest reading of the range, where it is the smallest share.
//!
//! A gain check (volts or amperes applied, and read) replaces the gain errors of all hardware but a shunt on its channel and range: readings are
//! divided by read/applied, whose uncertainty is left.

use super::convert::Seen;
use crate::bench::accuracy::{Accuracy, ErrorDistribution, Range};
use crate::bench::capture::{Capture, ChannelChain};
use crate::bench::hardware::Hardware;
use crate::bench::remarks::short;
use crate::bench::setup::Instrument;
use crate::bench::sheet::{InstrumentKind, Measures};

/// Per-division scales closer than this are one range.
const SAME_RANGE: f64 = 1.2;
/// Share of the variance of a gain of full scale that belongs to the range.
const SHARE_OF_RANGE: f64 = 0.5;

/// A known voltage or current on a channel, and what the channel showed.
#[derive(Clone, Debug)]
pub struct GainCheck {
    /// Name of the scope channel.
    pub channel: String,
    /// Per division in the column's SI unit; every range of the channel without.
    pub per_division: Option<f64>,
    /// Read over applied.
    pub ratio: f64,
    /// Relative standard uncertainty of the ratio that belongs to this check alone.
    pub own_relative_uncertainty: f64,
    /// Meter by which the applied value was read, its relative standard uncertainty and distribution, the same error in all its checks.
    pub meter: Option<(String, f64, Option<ErrorDistribution>)>,
}

impl GainCheck {
    fn holds_for(&self, chain: &ChannelChain, seen: &Seen) -> bool {
        let range = seen.range;
        self.channel == chain.column
            && self.per_division.is_none_or(|scale| {
                range.is_known && same(scale * seen.factor.abs(), range.per_division)
            })
    }
}

fn same(a: f64, b: f64) -> bool {
    a.max(b) < SAME_RANGE * a.min(b)
}

/// Gives every channel its gain errors; returns the instruments of the bench, those of the hardware first.
pub fn distribute(
    captures: &mut [Capture],
    seen: &[[Option<Seen>; 2]],
    hardware: &[Hardware],
    checks: &[GainCheck],
) -> Vec<Instrument> {
    let mut instruments: Vec<Instrument> = hardware.iter().map(|h| h.instrument.clone()).collect();
    let ranges = largest_by_range(captures, seen);
    for (capture, seen) in captures.iter_mut().zip(seen) {
        let waveform = &mut capture.waveform;
        let channels = [
            (
                &mut capture.voltage_chain,
                &mut waveform.voltage_v,
                seen[0],
                Measures::Voltage,
            ),
            (
                &mut capture.current_chain,
                &mut waveform.current_a,
                seen[1],
                Measures::Current,
            ),
        ];
        for (chain, trace, seen, measures) in channels {
            let (Some(chain), Some(trace), Some(seen)) = (chain, trace, seen) else {
                continue;
            };
            let range = seen.range;
            if let Some(check) = checks.iter().find(|c| c.holds_for(chain, &seen)) {
                let factor = check.ratio.recip();
                trace.values.iter_mut().for_each(|v| *v *= factor);
                trace.quantisation_step = trace.quantisation_step.map(|s| s * factor);
                chain.zero_uncertainty *= factor;
                chain.gains = checked(check, chain, range, measures, hardware, &mut instruments);
                continue;
            }
            let on_channel: Vec<&OnRange> =
                ranges.iter().filter(|r| r.column == chain.column).collect();
            let of_range = |&k: &usize| {
                by_range(
                    &hardware[k],
                    k,
                    range,
                    &on_channel,
                    measures,
                    &mut instruments,
                )
            };
            chain.gains = chain.instruments.iter().flat_map(of_range).collect();
        }
    }
    // What no channel has the gain of is no source of error.
    for (k, instrument) in instruments.iter_mut().enumerate() {
        let chains = captures.iter();
        let mut chains = chains
            .flat_map(|c| [&c.voltage_chain, &c.current_chain])
            .flatten();
        if hardware
            .get(k)
            .is_some_and(|h| h.kind == InstrumentKind::Oscilloscope)
            && !chains.any(|c| c.gains.contains(&k))
        {
            instrument.gain_relative_uncertainty = 0.0;
        }
    }
    instruments
}

/// A channel's range and the largest value on it.
struct OnRange {
    column: String,
    range: Range,
    largest: f64,
}

impl OnRange {
    /// Ranges that nobody knows are one a channel.
    fn is(&self, range: Range) -> bool {
        match (self.range.is_known, range.is_known) {
            (true, true) => same(self.range.per_division, range.per_division),
            (a, b) => a == b,
        }
    }
}

/// Every range of every channel with the largest value of all captures on it.
fn largest_by_range(captures: &[Capture], seen: &[[Option<Seen>; 2]]) -> Vec<OnRange> {
    let mut all: Vec<OnRange> = Vec::new();
    for (capture, seen) in captures.iter().zip(seen) {
        let chains = [&capture.voltage_chain, &capture.current_chain];
        for (chain, seen) in chains.into_iter().zip(seen) {
            let (Some(chain), Some(seen)) = (chain, seen) else {
                continue;
            };
            let known = all
                .iter_mut()
                .find(|r| r.column == chain.column && r.is(seen.range));
            match known {
                Some(known) => known.largest = known.largest.max(seen.largest),
                None => all.push(OnRange {
                    column: chain.column.clone(),
                    range: seen.range,
                    largest: seen.largest,
                }),
            }
        }
    }
    all.retain(|r| r.largest > 0.0);
    all
}

/// Gain errors of one piece of hardware on a range; `on_channel`: the ranges of its channel.
fn by_range(
    hardware: &Hardware,
    index: usize,
    range: Range,
    on_channel: &[&OnRange],
    measures: Measures,
    instruments: &mut Vec<Instrument>,
) -> Vec<usize> {
    let here = on_channel.iter().find(|r| r.is(range));
    let (Some(here), true) = (
        here,
        hardware.gain.needs_scale() || hardware.range_gain.is_some(),
    ) else {
        return vec![index];
    };
    let on = |a: &Accuracy, r: &OnRange| a.standard_uncertainty(r.largest, r.range) / r.largest;
    let all = on(&hardware.gain, here);
    let least = on_channel
        .iter()
        .map(|r| on(&hardware.gain, r))
        .fold(all, f64::min);
    let (shared, own) = match &hardware.range_gain {
        Some(of_range) => (
            least,
            on(of_range, here).hypot((all * all - least * least).sqrt()),
        ),
        None => {
            let shared = least * (1.0 - SHARE_OF_RANGE).sqrt();
            (shared, (all * all - shared * shared).sqrt())
        }
    };
    let of_channel = format!("{}, {}", hardware.instrument.name, here.column);
    let of_range = match range.is_known {
        true => format!("{of_channel} at {}", per_division(range, measures)),
        false => format!("{of_channel}, range unknown"),
    };
    let distribution = hardware.gain.distribution();
    let mut entry = |name: String, u: f64| find_or_add(name, u, distribution, instruments);
    vec![entry(of_channel, shared), entry(of_range, own)]
}

fn per_division(range: Range, measures: Measures) -> String {
    format!("{} {}/div", short(range.per_division), measures.unit())
}

/// The instrument of that name, added where there is none.
fn find_or_add(
    name: String,
    u: f64,
    distribution: Option<ErrorDistribution>,
    instruments: &mut Vec<Instrument>,
) -> usize {
    if let Some(k) = instruments.iter().position(|i| i.name == name) {
        return k;
    }
    instruments.push(Instrument {
        name,
        gain_relative_uncertainty: u,
        gain_distribution: distribution,
        shunt_ohm: None,
        bandwidth_hz: None,
        skew_s: None,
        time_base_relative_uncertainty: None,
        gain_per_channel: false,
    });
    instruments.len() - 1
}

/// Gain errors of a channel that was checked: a shunt's, the check's own and the meter's.
fn checked(
    check: &GainCheck,
    chain: &ChannelChain,
    range: Range,
    measures: Measures,
    hardware: &[Hardware],
    instruments: &mut Vec<Instrument>,
) -> Vec<usize> {
    let shunts = chain.instruments.iter().copied();
    let mut gains: Vec<usize> = shunts
        .filter(|k| hardware[*k].kind == InstrumentKind::Shunt)
        .collect();
    let normal = Some(ErrorDistribution::Normal);
    let name = match check.per_division {
        Some(_) => format!(
            "check of {} at {}",
            check.channel,
            per_division(range, measures)
        ),
        None => format!("check of {}", check.channel),
    };
    gains.push(find_or_add(
        name,
        check.own_relative_uncertainty,
        normal,
        instruments,
    ));
    if let Some((meter, u, distribution)) = &check.meter {
        let name = format!("{meter} in gain checks");
        gains.push(find_or_add(name, *u, *distribution, instruments));
    }
    gains
}
