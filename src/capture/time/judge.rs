//! The times of the rows: evenly spaced within the digits printed, or listed; gaps, repeats and steps back told.

use super::times::Times;
use crate::capture::options::TimeGaps;
use crate::capture::record::TimeAxis;

/// What a time column came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    pub axis: TimeAxis,
    /// Rows kept, in order; `None` keeps all.
    pub kept: Option<Vec<usize>>,
    pub faults: Vec<TimeFault>,
}

/// Where time does not run on evenly. Times in seconds, rows 0-based.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeFault {
    /// Printed with too few digits: many rows share one time; `step_s` is what the record implies.
    Coarse {
        row: usize,
        time_s: f64,
        repeats: usize,
        rows: usize,
        step_s: f64,
        resolution_s: f64,
    },
    /// A few times stand twice; the later rows are left out.
    Repeated {
        row: usize,
        time_s: f64,
        places: usize,
    },
    Gap {
        row: usize,
        from_s: f64,
        to_s: f64,
        missing: f64,
        places: usize,
    },
    Backwards {
        row: usize,
        from_s: f64,
        to_s: f64,
        places: usize,
    },
    Uneven {
        median_s: f64,
        least_s: f64,
        most_s: f64,
    },
    /// Only a stretch was kept.
    Cut {
        first: usize,
        end: usize,
        rows: usize,
    },
}

/// Largest error of a printed time: half a unit of its last digit, and half a unit of a 32-bit number where the digits
/// printed are those of one.
fn tolerance(times: Times, digits: u32) -> (f64, f64) {
    let largest = times
        .ends_or_stretches(
            |_, _, (first, last)| Some(first.abs().max(last.abs())),
            |_, times| times.iter().fold(0.0f64, |a, t| a.max(t.abs())),
        )
        .into_iter()
        .fold(0.0, f64::max);
    if largest == 0.0 || digits == 0 {
        return (0.0, 0.0);
    }
    let unit = 10f64.powi(largest.log10().floor() as i32 - digits as i32 + 1);
    let mut half = 0.5 * unit * (1.0 + 1e-6) + 4.0 * f64::EPSILON * largest;
    if (7..=9).contains(&digits) {
        half += largest * f64::from(f32::EPSILON) * 0.5;
    }
    (half, unit)
}

/// Fewest-digit number in `low..=high`.
fn simplest(low: f64, high: f64) -> f64 {
    let middle = 0.5 * (low + high);
    (0..17)
        .filter_map(|digits| format!("{middle:.digits$e}").parse::<f64>().ok())
        .find(|v| (low..=high).contains(v))
        .unwrap_or(middle)
}

/// Range of no residual at all.
const NOTHING: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);

/// Smallest and largest residual of the times from a line through `first`, and whether all rows were looked at: with `limit`
/// those are left out that are surely within it, because both ends of a straight stretch are.
fn residuals(times: Times, first: f64, step: f64, limit: Option<f64>) -> (f64, f64, bool) {
    let of = |row: usize, t: f64| t - (first + row as f64 * step);
    times
        .ends_or_stretches(
            |begin, rows, (head, tail)| {
                let end = begin + rows - 1;
                // Rounding on the way to a residual: less than three units in the last place of each term.
                let size = first.abs() + end as f64 * step.abs() + head.abs() + tail.abs();
                let room = 16.0 * f64::EPSILON * size;
                let most = of(begin, head).abs().max(of(end, tail).abs());
                (most + room < limit?).then_some((NOTHING.0, NOTHING.1, false))
            },
            |begin, times| {
                let (low, high) = times
                    .iter()
                    .enumerate()
                    .fold(NOTHING, |(low, high), (k, t)| {
                        let r = of(begin + k, *t);
                        (low.min(r), high.max(r))
                    });
                (low, high, true)
            },
        )
        .into_iter()
        .fold((NOTHING.0, NOTHING.1, true), |a, b| {
            (a.0.min(b.0), a.1.max(b.1), a.2 && b.2)
        })
}

/// Start and step of evenly spaced times, when all lie within `half` of them.
fn even(times: Times, half: f64, preferred: Option<f64>) -> Option<(f64, f64)> {
    let (first, last) = (times.first()?, times.last()?);
    let intervals = (times.len() - 1) as f64;
    let mean = (last - first) / intervals;
    if mean.is_nan() || mean <= 0.0 {
        return None;
    }
    // Both ends may be off by `half`: the step is known no better.
    let spread = 2.0 * half / intervals;
    let room = 4.0 * f64::EPSILON * first.abs().max(last.abs());
    let mut candidates = Vec::new();
    candidates.extend(preferred.filter(|p| (p - mean).abs() <= spread + room / intervals));
    candidates.push(simplest(mean - 0.5 * spread, mean + 0.5 * spread));
    candidates.push(simplest(mean - spread, mean + spread));
    candidates.push(mean);
    // Least-squares slope: the ends alone may be the worst rounded of all. Worked out when nothing simpler fits.
    // The sums run over all rows in order, so that they do not depend on how the times are held.
    let least_squares = || {
        let centre = 0.5 * intervals;
        let all = times.to_vec();
        let (up, down) = all.iter().enumerate().fold((0.0, 0.0), |(u, d), (k, t)| {
            let x = k as f64 - centre;
            (u + x * (t - first), d + x * x)
        });
        up / down
    };
    for step in candidates
        .into_iter()
        .chain(std::iter::once_with(least_squares))
    {
        let limit = half + room;
        let (low, high, all) = residuals(times, first, step, Some(limit));
        if low >= -limit && high <= limit {
            return Some((first, step));
        }
        let (low, high, _) = match all {
            true => (low, high, all),
            false => residuals(times, first, step, None),
        };
        if high - low <= 2.0 * (half + room) {
            return Some((
                simplest(first + high - half - room, first + low + half + room),
                step,
            ));
        }
    }
    None
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, &mut upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    match below.iter().copied().reduce(f64::max) {
        Some(lower) if even => 0.5 * (lower + upper),
        _ => upper,
    }
}

/// Judges times given in the unit of the file; `to_si` brings them to seconds.
///
/// `preferred` is the sampling interval the preamble states, in the unit of the file; it is taken only where the times
/// cannot tell it from their own. Times must be free of NaN; at least one.
pub fn judge(
    times: Times,
    digits: u32,
    preferred: Option<f64>,
    to_si: &dyn Fn(f64) -> f64,
    gaps: TimeGaps,
) -> Judged {
    if times.len() < 2 {
        return Judged {
            axis: TimeAxis::Listed(times.to_vec().into_iter().map(to_si).collect()),
            kept: None,
            faults: Vec::new(),
        };
    }
    let (half, unit) = tolerance(times, digits);
    if let Some((start, step)) = fit_even(times, half, preferred) {
        let coarse = repeats(times).map(|(row, time, repeats)| TimeFault::Coarse {
            row,
            time_s: to_si(time),
            repeats,
            rows: times.len(),
            step_s: to_si(step),
            resolution_s: to_si(unit),
        });
        return Judged {
            axis: TimeAxis::Uniform {
                start_s: to_si(start),
                step_s: to_si(step),
                len: times.len(),
            },
            kept: None,
            faults: coarse.into_iter().collect(),
        };
    }
    uneven(&times.to_vec(), digits, preferred, to_si, gaps)
}

/// First row that is not later than the one before, its time, and the number of such rows.
fn repeats(times: Times) -> Option<(usize, f64, usize)> {
    let stretches = times.ends_or_stretches(
        |begin, _, (head, tail)| Some((begin, head, tail, 0, None)),
        |begin, times| {
            let late = |w: &[f64]| w[1] <= w[0];
            let count = times.windows(2).filter(|w| late(w)).count();
            let first = times.windows(2).position(late).map(|k| k + 1);
            let first = first.map(|k| (begin + k, times[k]));
            (begin, times[0], times[times.len() - 1], count, first)
        },
    );
    let mut total = 0;
    let mut found: Option<(usize, f64)> = None;
    let mut before = f64::NEG_INFINITY;
    for (begin, head, tail, count, first) in stretches {
        if head <= before {
            total += 1;
            found = found.or(Some((begin, head)));
        }
        total += count;
        found = found.or(first);
        before = tail;
    }
    found.map(|(row, time)| (row, time, total))
}

fn fit_even(times: Times, half: f64, preferred: Option<f64>) -> Option<(f64, f64)> {
    even(times, half, preferred).or_else(|| {
        // A thousandth of a step off is even for every use here; sums of rounded steps drift so.
        let step = (times.last()? - times.first()?) / (times.len() - 1) as f64;
        even(times, half.max(1e-3 * step.abs()), None)
    })
}

fn uneven(
    times: &[f64],
    digits: u32,
    preferred: Option<f64>,
    to_si: &dyn Fn(f64) -> f64,
    gaps: TimeGaps,
) -> Judged {
    let mut faults = Vec::new();
    let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    let backwards: Vec<usize> = (0..steps.len()).filter(|&k| steps[k] < 0.0).collect();
    let repeated: Vec<usize> = (0..steps.len()).filter(|&k| steps[k] == 0.0).collect();
    let typical = median(&mut steps.clone());
    let close = steps
        .iter()
        .filter(|&&s| (s - typical).abs() <= 0.5 * typical.abs())
        .count();
    let mostly_even = close * 20 >= steps.len() * 19
        || (steps.len() < 20 && close + 1 >= steps.len() && close >= 3);
    let gap_at: Vec<usize> = (0..steps.len())
        .filter(|&k| mostly_even && steps[k] > 1.5 * typical)
        .collect();
    if let Some(&k) = backwards.first() {
        faults.push(TimeFault::Backwards {
            row: k + 1,
            from_s: to_si(times[k]),
            to_s: to_si(times[k + 1]),
            places: backwards.len(),
        });
    }
    if let Some(&k) = gap_at.first().filter(|_| backwards.is_empty()) {
        faults.push(TimeFault::Gap {
            row: k + 1,
            from_s: to_si(times[k]),
            to_s: to_si(times[k + 1]),
            missing: (steps[k] / typical).round() - 1.0,
            places: gap_at.len(),
        });
    }
    if let Some(&k) = repeated.first() {
        faults.push(TimeFault::Repeated {
            row: k + 1,
            time_s: to_si(times[k]),
            places: repeated.len(),
        });
    }
    if gaps == TimeGaps::Split && !(backwards.is_empty() && gap_at.is_empty()) {
        return split(times, digits, preferred, to_si, &backwards, &gap_at, faults);
    }
    if backwards.is_empty() && gap_at.is_empty() && repeated.is_empty() {
        steps.sort_unstable_by(f64::total_cmp);
        faults.push(TimeFault::Uneven {
            median_s: to_si(typical),
            least_s: to_si(steps[0]),
            most_s: to_si(steps[steps.len() - 1]),
        });
    }
    let kept = (!repeated.is_empty()).then(|| {
        (0..times.len())
            .filter(|&k| k == 0 || times[k] != times[k - 1])
            .collect::<Vec<_>>()
    });
    let axis = TimeAxis::Listed(match &kept {
        Some(kept) => kept.iter().map(|&k| to_si(times[k])).collect(),
        None => times.iter().map(|&t| to_si(t)).collect(),
    });
    Judged { axis, kept, faults }
}

fn split(
    times: &[f64],
    digits: u32,
    preferred: Option<f64>,
    to_si: &dyn Fn(f64) -> f64,
    backwards: &[usize],
    gap_at: &[usize],
    mut faults: Vec<TimeFault>,
) -> Judged {
    let mut cuts: Vec<usize> = backwards.iter().chain(gap_at).map(|k| k + 1).collect();
    cuts.push(times.len());
    cuts.sort_unstable();
    let mut first = 0;
    let mut longest = 0..0;
    for cut in cuts {
        if cut - first > longest.len() {
            longest = first..cut;
        }
        first = cut;
    }
    let inner = judge(
        Times::new(&[], &times[longest.clone()]),
        digits,
        preferred,
        to_si,
        TimeGaps::Tell,
    );
    faults.retain(|f| !matches!(f, TimeFault::Repeated { .. }));
    faults.push(TimeFault::Cut {
        first: longest.start,
        end: longest.end,
        rows: times.len(),
    });
    faults.extend(inner.faults.into_iter().map(|fault| match fault {
        TimeFault::Repeated {
            row,
            time_s,
            places,
        } => TimeFault::Repeated {
            row: row + longest.start,
            time_s,
            places,
        },
        other => other,
    }));
    let kept = match inner.kept {
        Some(kept) => kept.into_iter().map(|k| k + longest.start).collect(),
        None => longest.collect(),
    };
    Judged {
        axis: inner.axis,
        kept: Some(kept),
        faults,
    }
}

#[cfg(test)]
mod tests {
    use super::super::times::Packed;
    use super::*;
    use proptest::prelude::*;

    fn plain(times: &[f64], digits: u32) -> Judged {
        judge(Times::new(&[], times), digits, None, &|t| t, TimeGaps::Tell)
    }

    proptest! {
        #[test]
        fn times_held_small_are_judged_as_the_numbers_they_stand_for(
            first in -3_000_000i64..3_000_000,
            steps in prop::collection::vec(prop_oneof![40 => Just(7i64), 1 => -3i64..30], 3..200),
            all_even in any::<bool>(),
            decimals in 0u8..9,
            piece in 2usize..60,
        ) {
            let marks: Vec<i64> = std::iter::once(0)
                .chain(steps)
                .scan(first, |mark, step| {
                    *mark += if all_even { 7 } else { step };
                    Some(*mark)
                })
                .collect();
            let unit = 10f64.powi(i32::from(decimals));
            let plain: Vec<f64> = marks.iter().map(|m| *m as f64 / unit).collect();
            let packed: Option<Vec<Packed>> = marks.chunks(piece).map(|m| Packed::new(m, decimals)).collect();
            prop_assume!(packed.is_some());
            let packed = packed.unwrap_or_default();
            for digits in [2, 4, 7, 17] {
                let judged = |times| judge(times, digits, None, &|t| t, TimeGaps::Tell);
                prop_assert_eq!(judged(Times::new(&packed, &[])), judged(Times::new(&[], &plain)));
            }
        }
    }

    #[test]
    fn exact_decimal_times_give_exact_start_and_step() {
        let times: Vec<f64> = (0..14000)
            .map(|k| format!("{:.8}", -0.007 + k as f64 * 5e-6).parse().unwrap())
            .collect();
        let judged = plain(&times, 6);
        assert_eq!(
            judged.axis,
            TimeAxis::Uniform {
                start_s: -0.007,
                step_s: 5e-6,
                len: 14000
            }
        );
        assert!(judged.faults.is_empty());
    }

    #[test]
    fn a_step_finer_than_the_last_digit_is_found_from_the_whole_record() {
        let step = 1.000_977_5e-5;
        let times: Vec<f64> = (0..1024)
            .map(|k| {
                format!("{:.8}", -0.004688 + k as f64 * step)
                    .parse()
                    .unwrap()
            })
            .collect();
        let TimeAxis::Uniform { step_s, .. } = plain(&times, 6).axis else {
            panic!("uniform expected");
        };
        assert!((step_s - step).abs() < 1e-8 / 1023.0, "{step_s}");
    }

    #[test]
    fn times_of_32_bit_numbers_are_even() {
        let times: Vec<f64> = (0..600)
            .map(|k| {
                let t = (-6e-6 + f64::from(k) * 2e-8) as f32;
                format!("{t:.7e}").parse().unwrap()
            })
            .collect();
        let TimeAxis::Uniform {
            start_s, step_s, ..
        } = plain(&times, 8).axis
        else {
            panic!("uniform expected");
        };
        assert_eq!(step_s, 2e-8);
        // Half a unit of a 32-bit number at 6e-6 is 2.3e-13.
        assert!((start_s + 6e-6).abs() < 2.4e-13, "{start_s}");
    }

    #[test]
    fn lost_digits_are_told_with_the_step_implied() {
        let times: Vec<f64> = (0..1500)
            .map(|k| {
                format!("{:.3}", -0.0096 + f64::from(k) * 8e-5)
                    .parse()
                    .unwrap()
            })
            .collect();
        let judged = plain(&times, 3);
        let TimeAxis::Uniform { step_s, .. } = judged.axis else {
            panic!("uniform expected");
        };
        assert!((step_s / 8e-5 - 1.0).abs() < 0.01, "{step_s}");
        assert!(
            matches!(judged.faults[0], TimeFault::Coarse { row: 1, .. }),
            "{:?}",
            judged.faults
        );
    }

    #[test]
    fn a_gap_and_a_step_back_are_placed() {
        let mut times: Vec<f64> = (0..100).map(f64::from).collect();
        times.drain(40..50);
        let judged = plain(&times, 2);
        assert_eq!(
            judged.faults,
            [TimeFault::Gap {
                row: 40,
                from_s: 39.0,
                to_s: 50.0,
                missing: 10.0,
                places: 1
            }]
        );
        let cut = judge(Times::new(&[], &times), 2, None, &|t| t, TimeGaps::Split);
        assert_eq!(
            cut.axis,
            TimeAxis::Uniform {
                start_s: 50.0,
                step_s: 1.0,
                len: 50
            }
        );
        times.swap(10, 11);
        assert!(matches!(
            plain(&times, 2).faults[0],
            TimeFault::Backwards {
                row: 11,
                places: 1,
                ..
            }
        ));
    }

    #[test]
    fn uneven_times_are_listed() {
        let judged = plain(&[0.0, 0.33, 1.2, 1.5, 1.9, 2.8, 3.8, 8.0, 9.7], 3);
        assert!(matches!(judged.axis, TimeAxis::Listed(_)));
        assert!(matches!(judged.faults[0], TimeFault::Uneven { .. }));
    }
}
