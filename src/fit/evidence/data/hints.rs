//! What the segments of one capture suggest of the motor, in closed form.
//!
//! Each is a crude reading of one feature.

use super::bin::Bin;
use super::segments::{Segment, SegmentKind};
use crate::bench::{Capture, CoastingBridge, Role};

/// What one capture's segments suggest.
#[derive(Default)]
pub struct Hints {
    pub resistance: Vec<f64>,
    pub rise_time_s: Vec<f64>,
    /// Of the current that a bridge lets die within a period.
    pub inductance: Vec<f64>,
    /// Those among the rise times that span some samples.
    pub resolved_rise_time_s: Vec<f64>,
    pub capacitance: Vec<f64>,
    pub no_load_current: Vec<f64>,
    pub running_emf: Vec<f64>,
    /// −de/dt while open at high speed, V/s.
    pub slowing: Vec<f64>,
}

/// Samples that a resolved rise spans.
const RESOLVED_SAMPLES: f64 = 4.0;

/// Adds what one capture suggests.
pub fn read_hints(capture: &Capture, segments: &[Segment], hints: &mut Hints) {
    if let Some((bridge, source)) = capture.coasting.zip(capture.source_v) {
        let closed = segments.iter().filter(|s| s.kind == SegmentKind::Connected);
        let longest = closed.max_by(|a, b| duration_s(a).total_cmp(&duration_s(b)));
        let outside_ohm = capture.loop_resistance_ohm.map_or(0.0, |s| s.value);
        let read = longest.and_then(|s| Closed::new(s, outside_ohm, None));
        if let Some(closed) = read.filter(|_| capture.role == Role::Pwm) {
            closed.behind_bridge(&bridge, source.value.abs(), hints);
        }
        return;
    }
    let series = capture.series_in_voltage.map_or(0.0, |(ohm, _)| ohm);
    let source = capture.source_v.map(|v| v.value);
    let voltages = segments
        .iter()
        .flat_map(|l| &l.bins)
        .map(|b| b.voltage_v.abs());
    let highest_v = voltages.filter(|v| v.is_finite()).fold(0.0, f64::max);
    let mut emf_before: Option<f64> = None;
    // The rotor slows once in a capture, and rises once. Between two bounces of a contact it is kicks and arcs that fall, over a stretch far
    // too short.
    let longest = |kind: SegmentKind| {
        let durations = segments.iter().filter(|l| l.kind == kind).map(duration_s);
        durations.fold(0.0, f64::max)
    };
    let longest_open = longest(SegmentKind::Open);
    let longest_closed = longest(SegmentKind::Connected);
    for (number, segment) in segments.iter().enumerate() {
        match segment.kind {
            SegmentKind::Connected => {
                let Some(closed) = Closed::new(segment, series, source) else {
                    continue;
                };
                match capture.role {
                    Role::Start | Role::LockedRotor if duration_s(segment) < longest_closed => {}
                    Role::Start => closed.start(hints),
                    Role::LockedRotor => closed.locked(hints),
                    Role::Brake | Role::RunDown | Role::Steady if number == 0 => {
                        closed.running(hints);
                    }
                    Role::Brake => closed.short(emf_before, hints),
                    _ => {}
                }
            }
            SegmentKind::Open => {
                if duration_s(segment) == longest_open {
                    open(segment, hints);
                }
                // A stretch that ends closed again leaves what an earlier one showed.
                let level = level_at_end(segment).filter(|v| v.abs() > LEAST_FALL * highest_v);
                emf_before = level.or(emf_before);
            }
            _ => {}
        }
    }
}

fn duration_s(segment: &Segment) -> f64 {
    segment.bins.iter().map(|b| b.width_s).sum()
}

/// Median voltage of the last quarter of a segment, V.
fn level_at_end(segment: &Segment) -> Option<f64> {
    let voltages = segment.bins.iter().map(|b| b.voltage_v);
    let mut seen: Vec<f64> = voltages.filter(|v| v.is_finite()).collect();
    middle(&mut seen.split_off(seen.len() * 3 / 4))
}

/// A closed segment whose bins show a current.
struct Closed<'a> {
    bins: Vec<&'a Bin>,
    /// Voltage of the source where none was recorded, V.
    source_v: Option<f64>,
    /// Resistance inside the recorded voltage beside the motor's, Ω.
    series_ohm: f64,
    /// Bin of the largest current.
    peak_at: usize,
}

impl<'a> Closed<'a> {
    /// `None` for a segment of less than three bins.
    fn new(segment: &'a Segment, series_ohm: f64, source_v: Option<f64>) -> Option<Self> {
        let bins = segment.bins.iter().filter(|b| b.current_a.is_finite());
        let bins: Vec<&Bin> = bins.collect();
        if bins.len() < 3 {
            return None;
        }
        let numbered = bins.iter().enumerate();
        let (peak_at, _) =
            numbered.max_by(|a, b| a.1.current_a.abs().total_cmp(&b.1.current_a.abs()))?;
        Some(Closed {
            bins,
            source_v,
            series_ohm,
            peak_at,
        })
    }

    fn voltage(&self, bin: &Bin) -> f64 {
        if bin.voltage_v.is_finite() {
            bin.voltage_v
        } else {
            self.source_v.unwrap_or(0.0)
        }
    }

    /// Largest current, A.
    fn peak_a(&self) -> f64 {
        self.bins[self.peak_at].current_a.abs().max(1e-9)
    }

    /// Mean voltage and current of the last fifth.
    fn tail(&self) -> (f64, f64) {
        let tail = &self.bins[self.bins.len() * 4 / 5..];
        let mean =
            |of: &dyn Fn(&Bin) -> f64| tail.iter().map(|b| of(b)).sum::<f64>() / tail.len() as f64;
        (mean(&|b| self.voltage(b)), mean(&|b| b.current_a))
    }

    /// ∫ i dt, A·s.
    fn charge(&self) -> f64 {
        self.bins.iter().map(|b| b.current_a * b.width_s).sum()
    }

    /// Adds the time at which the current first reaches a level.
    fn add_rise(&self, hints: &mut Hints, level_a: f64) {
        let begin = self.bins[0].time_s - 0.5 * self.bins[0].width_s;
        let Some(reached) = self.bins.iter().find(|b| b.current_a.abs() >= level_a) else {
            return;
        };
        let time_s = (reached.time_s - begin).max(reached.width_s);
        hints.rise_time_s.push(time_s);
        if time_s > RESOLVED_SAMPLES * reached.width_s {
            hints.resolved_rise_time_s.push(time_s);
        }
    }

    fn start(&self, hints: &mut Hints) {
        let peak_a = self.peak_a();
        let peak_v = self.voltage(self.bins[self.peak_at]);
        let (tail_v, tail_a) = self.tail();
        hints
            .resistance
            .push((peak_v.abs() / peak_a - self.series_ohm).max(1e-3));
        self.add_rise(hints, 0.63 * peak_a);
        hints.no_load_current.push(tail_a.abs());
        let emf = (tail_v - tail_a * peak_v / peak_a).abs();
        hints.running_emf.push(emf);
        let span: f64 = self.bins.iter().map(|b| b.width_s).sum();
        hints.capacitance.push(
            ((self.charge() - tail_a * span) / emf.max(1e-9))
                .abs()
                .max(1e-12),
        );
    }

    /// A start behind a bridge that coasts on a source of `source_v`, V. A current that dies in each period shows the inductance,
    /// `i = D² T V (V + U)/(2 L U)` at rest; one that flows on shows the resistance.
    fn behind_bridge(&self, bridge: &CoastingBridge, source_v: f64, hints: &mut Hints) {
        let against_v = bridge.diode_drop_v + if bridge.into_source { source_v } else { 0.0 };
        let flowing_v = bridge.duty * source_v - (1.0 - bridge.duty) * against_v;
        let on_s = bridge.duty * bridge.period_s;
        let peak_a = self.peak_a();
        let tail_a = self.tail().1.abs();
        let emf = if flowing_v > 0.0 {
            let ohm = (flowing_v / peak_a - self.series_ohm).max(1e-3);
            hints.resistance.push(ohm);
            self.add_rise(hints, 0.63 * peak_a);
            (flowing_v - ohm * tail_a).max(0.3 * flowing_v)
        } else {
            let henry =
                bridge.duty * on_s * source_v * (source_v + against_v) / (2.0 * peak_a * against_v);
            hints.inductance.push(henry);
            // A bridge switches faster than the current rises.
            hints.resistance.push(0.5 * henry / bridge.period_s);
            0.6 * source_v
        };
        hints.no_load_current.push(tail_a);
        let span_s: f64 = self.bins.iter().map(|b| b.width_s).sum();
        let charge = (self.charge().abs() - tail_a * span_s).max(1e-12);
        hints.capacitance.push(charge / emf);
    }

    fn locked(&self, hints: &mut Hints) {
        let (tail_v, tail_a) = self.tail();
        let ohm = tail_v / tail_a.abs().max(1e-9) - self.series_ohm;
        hints.resistance.push(ohm.abs().max(1e-3));
        self.add_rise(hints, 0.63 * tail_a.abs());
    }

    /// Running since before the record began.
    fn running(&self, hints: &mut Hints) {
        let (tail_v, tail_a) = self.tail();
        hints.no_load_current.push(tail_a.abs());
        hints.running_emf.push(tail_v.abs());
    }

    /// A short; `emf_before`: back-EMF at its beginning, V.
    fn short(&self, emf_before: Option<f64>, hints: &mut Hints) {
        let peak_a = self.peak_a();
        if let Some(emf) = emf_before.or(self.source_v) {
            hints
                .resistance
                .push((emf.abs() / peak_a - self.series_ohm).max(1e-3));
            // The short takes off as much of the back-EMF as its current falls; a bounce ends before that shows.
            let taken = 1.0 - self.tail().1.abs() / peak_a;
            if taken > LEAST_TAKEN {
                let capacitance = (self.charge() / (taken * emf)).abs();
                hints.capacitance.push(capacitance.max(1e-12));
            }
        }
        if self.peak_at > 0 {
            self.add_rise(hints, 0.63 * peak_a);
        }
    }
}

/// Share of the back-EMF that a short has to take off before its charge shows J/K² (common practice, no source).
const LEAST_TAKEN: f64 = 0.2;

/// Share of an open-terminal voltage by which it has to fall before a slope is read from it.
const LEAST_FALL: f64 = 0.02;

fn open(segment: &Segment, hints: &mut Hints) {
    let bins: Vec<&Bin> = segment.bins[..segment.compared]
        .iter()
        .filter(|b| b.voltage_v.is_finite())
        .collect();
    if bins.len() < 8 {
        return;
    }
    let quarter = bins.len() / 4;
    let mean = |part: &[&Bin]| {
        let n = part.len() as f64;
        (
            part.iter().map(|b| b.time_s).sum::<f64>() / n,
            part.iter().map(|b| b.voltage_v).sum::<f64>() / n,
        )
    };
    let (t0, v0) = mean(&bins[..quarter]);
    hints.running_emf.push(v0.abs());
    // The slope near the beginning, or over all of a segment in which that is lost in ripple; none of a segment that shows no fall.
    let later = [&bins[quarter..2 * quarter], &bins[bins.len() - quarter..]];
    let slope = later.into_iter().find_map(|part| {
        let (t1, v1) = mean(part);
        let fall = v0.abs() - v1.abs();
        (fall > LEAST_FALL * v0.abs()).then(|| fall / (t1 - t0))
    });
    hints.slowing.extend(slope);
}

/// The least finite value.
pub fn least(values: &[f64]) -> Option<f64> {
    values
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .reduce(f64::min)
}

/// The median.
pub fn middle(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values
        .get(values.len() / 2)
        .copied()
        .filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A segment of bins of `width_s`, of voltage and current.
    fn segment(kind: SegmentKind, width_s: f64, bins: impl Iterator<Item = (f64, f64)>) -> Segment {
        let bins: Vec<Bin> = bins
            .enumerate()
            .map(|(k, (voltage_v, current_a))| Bin {
                time_s: width_s * (k as f64 + 0.5),
                width_s,
                voltage_v,
                current_a,
                samples: 1,
                conducting: true,
            })
            .collect();
        Segment {
            kind,
            compared: bins.len(),
            bins,
            current_ripple_a: 0.0,
        }
    }

    /// A short over 0.5 Ω of a back-EMF of 20 V with J/K² of 40 mF, recorded for so many of its time constants of 20 ms.
    fn short(time_constants: f64) -> Segment {
        let current = |k: u32| -40.0 * (-time_constants * (f64::from(k) + 0.5) / 100.0).exp();
        let width_s = 0.02 * time_constants / 100.0;
        segment(
            SegmentKind::Connected,
            width_s,
            (0..100).map(|k| (0.0, current(k))),
        )
    }

    fn capacitances(brake: &Segment) -> Vec<f64> {
        let mut hints = Hints::default();
        let closed = Closed::new(brake, 0.0, None).expect("a current");
        closed.short(Some(20.0), &mut hints);
        hints.capacitance
    }

    #[test]
    fn a_brake_tells_its_capacitance_from_the_part_that_its_record_holds() {
        for time_constants in [0.5, 1.0, 5.0] {
            let found = capacitances(&short(time_constants))[0];
            assert!(
                (found / 0.04 - 1.0).abs() < 0.2,
                "{time_constants}: {found}"
            );
        }
        // A bounce takes off nothing that could be read.
        assert!(capacitances(&short(0.01)).is_empty());
    }

    #[test]
    fn a_stretch_that_ends_shorted_again_has_the_level_of_its_open_part() {
        let open = |closed: u32| {
            let at = move |k: u32| if k + closed < 80 { 20.0 } else { 0.0 };
            segment(SegmentKind::Open, 1e-5, (0..80).map(|k| (at(k), 0.0)))
        };
        assert_eq!(level_at_end(&open(1)), Some(20.0));
        assert_eq!(level_at_end(&open(40)), Some(0.0));
        assert_eq!(
            level_at_end(&segment(SegmentKind::Open, 1e-5, std::iter::empty())),
            None
        );
    }
}
