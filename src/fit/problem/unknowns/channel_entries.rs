//! What the channels of a capture add to the unknowns: gains, zeros, the lag of a probe, a source that nobody recorded.

use super::direction::{Direction, Links};
use super::layout::{Layout, Parameter, ParameterKind, Source};
use crate::bench::{Bench, Capture, ChannelChain};
use std::f64::consts::TAU;

/// Share of a stated zero that drifts from capture to capture; the rest is one number a channel and range (common
/// practice, no source).
const DRIFT_SHARE: f64 = 0.5;

/// Captures whose stated zeros differ by less than this factor stand on one range of their channel.
const RANGE_STEP: f64 = 1.2;

/// Gains, zeros and the unrecorded source of a capture.
pub fn add_channels(
    bench: &Bench,
    capture: &Capture,
    index: usize,
    layout: &mut Layout,
    links: &mut Links,
) {
    let own_zeros = [
        ParameterKind::VoltageZero { capture: index },
        ParameterKind::CurrentZero { capture: index },
    ];
    let chains = [&capture.voltage_chain, &capture.current_chain];
    for ((channel, chain), own_zero) in [VOLTAGE, CURRENT].iter().zip(chains).zip(own_zeros) {
        if let Some(chain) = chain {
            add_gains(bench, capture, chain, channel.gain, layout, links);
            add_zeros(chain, channel, own_zero, layout, links);
        }
    }
    add_series(bench, capture, layout, links);
    // What a diode drops more or less than stated, it drops as brushes do: once a current flows, whatever its size.
    if let Some(sd) = capture.series_diode_sd_v.filter(|sd| *sd > 0.0) {
        let kind = ParameterKind::SeriesDiode { capture: index };
        let parameter = Parameter::free(kind, 0.0).with_prior(0.0, sd, Source::Loop);
        links.add(Direction::BRUSH_DROP, layout.add(parameter));
    }
    if capture.waveform.voltage_v.is_none()
        && let Some(source) = capture.source_v
    {
        let parameter = Parameter::free(ParameterKind::Source { capture: index }, 0.0);
        let parameter =
            parameter.with_prior(0.0, source.standard_uncertainty.max(1e-6), Source::Loop);
        links.clear(Direction::VOLTAGE_ZERO);
        links.add(Direction::VOLTAGE_ZERO, layout.add(parameter));
        links.clear(Direction::VOLTAGE_GAIN);
        // The duty takes the place of the gain that no voltage channel has.
        if let Some(bridge) = capture.coasting {
            let sd = bridge.duty_uncertainty.max(1e-6);
            let parameter = Parameter::free(ParameterKind::Duty { capture: index }, 0.0);
            let parameter = parameter.with_prior(0.0, sd, Source::Loop).stepping(0.1);
            links.add(Direction::VOLTAGE_GAIN, layout.add(parameter));
        }
    }
}

/// Directions of one channel.
struct Channel {
    gain: Direction,
    zero: Direction,
}

const VOLTAGE: Channel = Channel {
    gain: Direction::VOLTAGE_GAIN,
    zero: Direction::VOLTAGE_ZERO,
};
const CURRENT: Channel = Channel {
    gain: Direction::CURRENT_GAIN,
    zero: Direction::CURRENT_ZERO,
};

/// The error of a resistance inside the measured voltage through which no channel passes: a rheostat, an added resistor.
fn add_series(bench: &Bench, capture: &Capture, layout: &mut Layout, links: &mut Links) {
    let Some((_, Some(k))) = capture.series_in_voltage else {
        return;
    };
    let instrument = &bench.instruments[k];
    let sd = instrument.gain_relative_uncertainty;
    if sd > 0.0 && links.is_fixed(Direction::SHUNT) {
        let kind = ParameterKind::Gain {
            instrument: k,
            column: None,
        };
        let source = Source::Instrument(instrument.name.clone());
        let parameter = Parameter::free(kind, 0.0).with_prior(0.0, sd, source);
        links.add(Direction::SHUNT, layout.add(parameter.stepping(0.1)));
    }
}

/// The gain error of each piece of hardware on the way. That of a shunt inside the measured voltage also moves its resistance.
fn add_gains(
    bench: &Bench,
    capture: &Capture,
    chain: &ChannelChain,
    gain: Direction,
    layout: &mut Layout,
    links: &mut Links,
) {
    let shunt = capture
        .series_in_voltage
        .and_then(|(_, instrument)| instrument);
    for &k in &chain.gains {
        let instrument = &bench.instruments[k];
        let sd = instrument.gain_relative_uncertainty;
        if sd <= 0.0 {
            continue;
        }
        let column = instrument.gain_per_channel.then(|| chain.column.clone());
        let kind = ParameterKind::Gain {
            instrument: k,
            column,
        };
        let source = Source::Instrument(instrument.name.clone());
        let parameter = Parameter::free(kind, 0.0).with_prior(0.0, sd, source);
        let entry = layout.add(parameter.stepping(0.1));
        links.add(gain, entry);
        if Some(k) == shunt {
            links.add(Direction::SHUNT, entry);
        }
    }
}

/// The zero of a channel: a part of its own in each capture, and one that all captures on a range share.
fn add_zeros(
    chain: &ChannelChain,
    channel: &Channel,
    own: ParameterKind,
    layout: &mut Layout,
    links: &mut Links,
) {
    let sd = chain.zero_uncertainty.max(1e-9);
    let own = Parameter::free(own, 0.0).with_prior(0.0, DRIFT_SHARE * sd, Source::Zero);
    links.add(channel.zero, layout.add(own));
    let kind = ParameterKind::RangeZero {
        current: channel.gain == Direction::CURRENT_GAIN,
        column: chain.column.clone(),
        range: (sd.ln() / RANGE_STEP.ln()).round() as i64,
    };
    let kept = (1.0 - DRIFT_SHARE * DRIFT_SHARE).sqrt() * sd;
    let shared = Parameter::free(kind, 0.0).with_prior(0.0, kept, Source::Zero);
    links.add(channel.zero, layout.add(shared));
}

/// Relative standard uncertainty of the corner frequency that a sheet states for a probe (common practice, no source).
const CORNER_SD: f64 = 0.2;

/// The current probe's lag and delay; returns the time constant of its stated bandwidth, s, that of the slowest hardware on the way.
pub fn add_lag(
    bench: &Bench,
    capture: &Capture,
    layout: &mut Layout,
    links: &mut Links,
) -> Option<f64> {
    let chain = capture.current_chain.iter().flat_map(|c| &c.instruments);
    for &instrument in chain.clone() {
        let hardware = &bench.instruments[instrument];
        if let Some(limit_s) = hardware.skew_s {
            // Anything within the limit is as likely (JCGM 100:2008, 4.3.7).
            let sd = limit_s / 3f64.sqrt();
            let kind = Parameter::free(ParameterKind::Skew { instrument }, 0.0);
            let kind = kind.with_prior(0.0, sd, Source::Lag(hardware.name.clone()));
            links.add(Direction::SKEW, layout.add(kind));
        }
    }
    let (instrument, corner_hz) = chain
        .filter_map(|&k| Some((k, bench.instruments[k].bandwidth_hz?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let source = Source::Lag(bench.instruments[instrument].name.clone());
    let kind = Parameter::free(ParameterKind::ProbeLag { instrument }, 0.0);
    let kind = kind.with_prior(0.0, CORNER_SD, source).stepping(0.5);
    links.add(Direction::LAG, layout.add(kind));
    Some(1.0 / (TAU * corner_hz))
}
