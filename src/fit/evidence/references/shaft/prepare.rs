//! Terms of the speed channels with their unknowns.

use super::super::speeds::constant_entry;
use super::stretches::stretches;
use super::term::ShaftTerm;
use crate::bench::{Bench, Role, SpeedChannel, SpeedSignal};
use crate::fit::data::{Segment, SegmentKind};
use crate::fit::model::CaptureModel;
use crate::fit::unknowns::{Entry, Layout, Parameter, ParameterKind, ShaftUnknown, Source};
use crate::fit::wording::{Remark, RemarkKind};
use std::sync::Arc;

/// Terms of every speed channel, with their instants among those of the models, and doubts.
pub fn shaft_terms(
    bench: &Bench,
    models: &mut [CaptureModel],
    layout: &mut Layout,
) -> (Vec<ShaftTerm>, Vec<Remark>) {
    let (mut terms, mut remarks) = (Vec::new(), Vec::new());
    for (k, model) in models.iter_mut().enumerate() {
        let (found, remark) = of_capture(bench, k, model, layout);
        terms.extend(found);
        remarks.extend(remark);
    }
    (terms, remarks)
}

fn of_capture(
    bench: &Bench,
    k: usize,
    model: &mut CaptureModel,
    layout: &mut Layout,
) -> (Vec<ShaftTerm>, Option<Remark>) {
    let capture = &bench.captures[k];
    let Some(channel) = &capture.speed else {
        return (Vec::new(), None);
    };
    let channel_name = || channel.name.clone();
    if model.held || capture.role == Role::Driven {
        let kind = RemarkKind::SensorOutOfPlace {
            channel: channel_name(),
            role: capture.role.name(),
        };
        return (Vec::new(), Some(kind.about(&capture.name)));
    }
    let (found, doubt) = stretches(channel, &capture.waveform.time, &model.segments);
    let still = found.iter().all(|s| s.turned_rad == 0.0);
    let doubt = doubt.map(|kind| kind.about(&capture.name));
    if still {
        let channel = channel_name();
        let still = || RemarkKind::SensorStill { channel }.about(&capture.name);
        return (Vec::new(), doubt.or_else(|| Some(still())));
    }
    // The sensor may count down while the voltage is positive: it then has the other sense, not the motor.
    let total: f64 = found.iter().map(|s| s.turned_rad).sum();
    let pulses = channel.signal == SpeedSignal::Pulses;
    let own_sense = if pulses { 1.0 } else { total.signum() };
    let sense = own_sense * sense_of(&model.segments);
    let speed = |s: &super::stretches::Stretch| s.turned_rad.abs() / (s.last_s - s.first_s);
    let fastest = found.iter().map(speed).fold(0.0, f64::max);
    let voltage = largest_v(&model.segments)
        .or(bench.motor.supply_v)
        .unwrap_or(10.0);
    let constant = constant_entry(layout, (voltage.abs() / fastest).max(1e-9));
    let unknowns = unknowns_of(channel, k, layout);
    let delay_s = channel.delay_s.map_or(0.0, |d| d.value);
    let name: Arc<str> = channel.name.as_str().into();
    let mut terms = Vec::with_capacity(found.len());
    for stretch in found {
        let mut instant = |at_s: f64| {
            model.instants.push(at_s - delay_s);
            model.instants.len() - 1
        };
        terms.push(ShaftTerm {
            model: k,
            name: name.clone(),
            turned_rad: sense * stretch.turned_rad,
            sd_rad: stretch.sd_rad,
            duration_s: stretch.last_s - stretch.first_s,
            instants: [instant(stretch.first_s), instant(stretch.last_s)],
            constant,
            gain: unknowns.gain.clone(),
            zero: unknowns.zero,
            delay: unknowns.delay,
            by_clock: channel.signal != SpeedSignal::Speed,
        });
    }
    (terms, doubt)
}

/// What is not known of a channel, where its accuracies say that it may be off.
struct ChannelUnknowns {
    gain: Arc<[(Entry, f64)]>,
    zero: Option<Entry>,
    delay: Option<Entry>,
}

fn unknowns_of(channel: &SpeedChannel, k: usize, layout: &mut Layout) -> ChannelUnknowns {
    let of_shaft = |of| ParameterKind::Shaft {
        channel: channel.name.clone(),
        of,
    };
    let mut gain = Vec::new();
    if channel.gain_uncertainty > 0.0 {
        let parameter = Parameter::free(of_shaft(ShaftUnknown::Gain), 0.0);
        let sd = channel.gain_uncertainty;
        let entry = layout.add(parameter.with_prior(0.0, sd, Source::SpeedReference));
        gain.push((entry, 1.0));
    }
    let zero = (channel.zero_uncertainty > 0.0).then(|| {
        let parameter = Parameter::free(ParameterKind::ShaftZero { capture: k }, 0.0);
        layout.add(parameter.with_prior(0.0, channel.zero_uncertainty, Source::Zero))
    });
    let delay = channel
        .delay_s
        .filter(|d| d.standard_uncertainty > 0.0)
        .map(|d| {
            let parameter = Parameter::free(of_shaft(ShaftUnknown::Delay), 0.0);
            let source = Source::Lag(channel.name.clone());
            layout.add(parameter.with_prior(0.0, d.standard_uncertainty, source))
        });
    ChannelUnknowns {
        gain: gain.into(),
        zero,
        delay,
    }
}

/// Largest voltage of the segments, V.
fn largest_v(segments: &[Segment]) -> Option<f64> {
    let bins = segments.iter().flat_map(|s| &s.bins).map(|b| b.voltage_v);
    bins.filter(|v| v.is_finite())
        .reduce(|a, b| if b.abs() > a.abs() { b } else { a })
}

/// 1 or −1: that of the mean voltage, by which the back-EMF has its sign.
fn sense_of(segments: &[Segment]) -> f64 {
    let seen = segments
        .iter()
        .filter(|s| s.kind != SegmentKind::Lost)
        .flat_map(|s| &s.bins);
    let total: f64 = seen
        .map(|b| b.voltage_v * b.width_s)
        .filter(|v| v.is_finite())
        .sum();
    if total < 0.0 { -1.0 } else { 1.0 }
}
