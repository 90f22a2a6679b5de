//! The speed at the end of a start, where it hardly changes any more.
//!
//! A start on a long record is steady for most of it, and no supposed trajectory makes its line much sharper than time does. There the end is read as
//! steady running. A line at a multiple of the mains is taken only where the rise before it shows that it is no hum: it moves, or is absent while the
//! rotor is slow. Nothing is said where another line is nearly as strong and no multiple of the one found: either may be the commutation's.

use super::analyse::analyse_current;
use super::current_ripple::CurrentRipple;
use super::record::is_multiple_of_mains;
use super::remarks::CurrentRemark;
use super::speed_shape::SpeedShape;
use super::trajectory::SMOOTH_ORDER;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::numerics::turn::turn;
use crate::ripple::options::RippleOptions;
use crate::ripple::samples::interval;
use crate::ripple::spectrum::power_spectrum::{LEAST_CYCLES, PADDING, time_spectrum};
use crate::ripple::spectrum::window::hann;
use std::ops::Range;

/// Shares of the record, from its end, that may be steady.
const ENDS: [f64; 4] = [0.5, 0.25, 0.125, 0.0625];
/// Amplitude of a rival over that of the line from which the two are not told apart.
const RIVAL: f64 = 0.3;
/// Share of the line's amplitude up to which it is absent from the rise.
const ABSENT: f64 = 0.5;
/// Share of what the current falls by that is left when the rise ends.
const RISEN: f64 = 0.5;
/// Relative difference within which a rising course is looked for near the frequency of the end.
const ALIKE: f64 = 0.03;
/// Relative difference of the end of a course from the line there.
const SAME: f64 = 0.01;

/// A start from just after the peak of its current.
pub(crate) struct Start<'a> {
    pub time_s: &'a [f64],
    pub current_a: &'a [f64],
    pub start_s: f64,
    pub cycles_per_revolution: Option<u32>,
    pub options: &'a RippleOptions,
}

impl Start<'_> {
    /// The ripple of the steady end; `None` where it has none, or where it may be something else.
    pub fn steady_end(&self, expected_hz: Option<(f64, f64)>) -> Option<CurrentRipple> {
        let line = self.clearest()?;
        if expected_hz.is_some() {
            return self.analyse(line.rows, SpeedShape::Constant, expected_hz);
        }
        if line.has_rival {
            return None;
        }
        // What moves is no hum, at whatever frequency it ends.
        let near = Some((line.hz, 0.25 * line.cell_hz));
        let mut found = self.analyse(line.rows.clone(), SpeedShape::Constant, near)?;
        if self.rises_to(line.hz) {
            return Some(found);
        }
        let is_hum = is_multiple_of_mains(line.hz, line.cell_hz);
        if is_hum && !self.moves(line.hz, found.amplitude_a?) {
            return None;
        }
        found.remarks.push(CurrentRemark::AliasOpen {
            frequency_hz: line.hz,
            aliases_hz: found.aliases_hz.clone(),
        });
        Some(found)
    }

    /// Whether a course that was followed ends at the line of the steady end, where that has one.
    pub fn ends_at(&self, course: &CurrentRipple) -> bool {
        let last = course.speed.last().map(|p| p.ripple_frequency_hz);
        let both = self.clearest().zip(last);
        both.is_none_or(|(line, hz)| (hz / line.hz - 1.0).abs() < SAME)
    }

    /// Of the lines of the shares that may be steady, that which stands out most.
    fn clearest(&self) -> Option<Line> {
        let rows = self.time_s.len();
        let ends = ENDS.map(|share| rows - (share * rows as f64) as usize..rows);
        let lines = ends.into_iter().filter_map(|end| self.line(end));
        lines.max_by(|a, b| a.clear.total_cmp(&b.clear))
    }

    fn analyse(
        &self,
        rows: Range<usize>,
        shape: SpeedShape,
        expected_hz: Option<(f64, f64)>,
    ) -> Option<CurrentRipple> {
        let clipped = self.options.clipped.as_ref();
        let options = RippleOptions {
            clipped: clipped.and_then(|c| Some(c.get(rows.clone())?.to_vec())),
            ..self.options.clone()
        };
        analyse_current(
            self.time_s.get(rows.clone())?,
            self.current_a.get(rows)?,
            shape,
            expected_hz,
            self.cycles_per_revolution,
            &options,
        )
        .ok()
    }

    /// The finite rows of a range, with their smooth part taken off.
    fn rough(&self, rows: Range<usize>, order: usize) -> Option<(Vec<f64>, Vec<f64>)> {
        let both = self.time_s[rows.clone()].iter().zip(&self.current_a[rows]);
        let (time, current): (Vec<f64>, Vec<f64>) = both.filter(|(_, i)| i.is_finite()).unzip();
        if time.len() < 64 {
            return None;
        }
        let smooth = Smooth::fit(&time, &current, order)?.values(&time);
        let rough = current.iter().zip(smooth).map(|(i, s)| i - s).collect();
        Some((time, rough))
    }

    /// The strongest line of some rows in time.
    fn line(&self, rows: Range<usize>) -> Option<Line> {
        let (time, rough) = self.rough(rows.clone(), SMOOTH_ORDER)?;
        let spectrum = time_spectrum(&rough, &time, interval(&time));
        let rate = self.options.false_alarm_rate;
        let (bin, clear, found) = spectrum.strongest(rate);
        let hz = spectrum.peak_frequency(bin);
        // The window spreads a line over some bins, and a drift of the speed more.
        let spread = (4 * PADDING).max(bin / 100);
        let thresholds = spectrum.floor.thresholds(rate);
        let strong = spectrum.power.iter().zip(thresholds).enumerate();
        let rival = RIVAL * RIVAL * spectrum.power[bin];
        let has_rival = strong
            .skip(LEAST_CYCLES * PADDING)
            .filter(|(_, (power, threshold))| **power > rival.max(*threshold))
            .any(|(other, _)| {
                let order = (other as f64 / bin as f64).round();
                let off = (other as f64 - order * bin as f64).abs();
                order < 1.0 || off > order * spread as f64
            });
        found.then_some(Line {
            rows,
            hz,
            clear,
            cell_hz: PADDING as f64 * spectrum.step,
            has_rival,
        })
    }

    /// Whether the line is absent while the rotor is slow.
    fn moves(&self, hz: f64, amplitude_a: f64) -> bool {
        let Some(risen) = self.risen() else {
            return false;
        };
        let cycles = risen as f64 * interval(self.time_s) * hz;
        let seen = self.rough(0..risen, 5);
        cycles > LEAST_CYCLES as f64
            && seen
                .is_some_and(|(time, rough)| amplitude_at(&time, &rough, hz) < ABSENT * amplitude_a)
    }

    /// Whether a rising course brings it there.
    fn rises_to(&self, hz: f64) -> bool {
        let Some(risen) = self.risen() else {
            return false;
        };
        let shape = SpeedShape::RiseFromRest {
            start_s: self.start_s,
            like: None,
        };
        let rising = 0..(6 * risen).min(self.time_s.len());
        let found = self.analyse(rising, shape, Some((hz, ALIKE * hz)));
        let frequency = found.and_then(|found| found.frequency_hz);
        frequency.is_some_and(|(f, _)| (f / hz - 1.0).abs() < ALIKE)
    }

    /// Rows until the current has done most of its fall; `None` where it does not fall.
    fn risen(&self) -> Option<usize> {
        let size = (self.current_a.len() / 200).max(8);
        let levels: Vec<f64> = self
            .current_a
            .chunks_exact(size)
            .map(|c| c.iter().sum::<f64>() / size as f64)
            .collect();
        let late = levels.get(levels.len() * 3 / 4..)?;
        let last = late.iter().sum::<f64>() / late.len() as f64;
        let scatter = late
            .iter()
            .fold(0.0, |most: f64, l| most.max((l - last).abs()));
        let fall = levels.first()? - last;
        if fall.abs() < 4.0 * scatter {
            return None;
        }
        let block = levels.iter().position(|l| (l - last) / fall < RISEN)?;
        Some((block * size).max(size))
    }
}

/// The strongest line of the end of a record.
struct Line {
    rows: Range<usize>,
    hz: f64,
    /// Power over that of the noise.
    clear: f64,
    /// Width of a line, Hz.
    cell_hz: f64,
    /// Whether another is nearly as strong and no multiple of it.
    has_rival: bool,
}

/// Amplitude of a sinusoid in a record, as a Hann window shows it.
fn amplitude_at(time: &[f64], rough: &[f64], hz: f64) -> f64 {
    let (first, span) = (time[0], time[time.len() - 1] - time[0]);
    let (mut weights, mut sums) = (0.0, [0.0; 2]);
    for (t, value) in time.iter().zip(rough) {
        let weight = hann((t - first) / span);
        let (cos, sin) = turn(hz * (t - first));
        weights += weight;
        sums[0] += weight * value * cos;
        sums[1] += weight * value * sin;
    }
    2.0 * sums[0].hypot(sums[1]) / weights
}
