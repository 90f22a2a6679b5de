//! The times of the rows judged: evenly spaced within the digits printed, or listed, with gaps, repeats and steps back.

use super::even::{Resolution, fit_even};
use super::judged::{Context, Judged, TimeFault};
use super::repeats;
use super::steps::Steps;
use super::times::Times;
use crate::capture::read::options::TimeGaps;
use crate::capture::record::TimeAxis;
use crate::capture::wording::WarningKind;

/// Judges times given in the unit of the file. They must be free of NaN; at least one.
pub(super) fn judge(times: Times, context: Context) -> Judged {
    let to_si = context.to_si;
    if times.len() < 2 {
        return Judged {
            axis: TimeAxis::Listed(times.to_vec().into_iter().map(to_si).collect()),
            kept: None,
            faults: Vec::new(),
        };
    }
    let survey = Survey::of(times);
    if survey.late > 0 {
        let listed = || times.to_vec();
        if context.gaps == TimeGaps::Sort {
            return sorted(&listed(), context);
        }
        if let Some(judged) = repeats::pairs(&listed(), context) {
            return judged;
        }
    }
    let resolution = Resolution::of(survey.largest, context.digits);
    let Some((start, step)) = fit_even(times, resolution.half, context.preferred) else {
        return uneven(&times.to_vec(), context);
    };
    let coarse = survey.first_late.map(|(row, time)| {
        let kind = WarningKind::TimeCoarse {
            time_s: to_si(time),
            places: survey.late,
            rows: times.len(),
            resolution_s: to_si(resolution.unit),
            step_s: to_si(step),
        };
        TimeFault::new(row, kind)
    });
    Judged {
        axis: TimeAxis::Uniform {
            start_s: to_si(start),
            step_s: to_si(step),
            len: times.len(),
        },
        kept: None,
        faults: coarse.into_iter().collect(),
    }
}

/// What one look at all times shows.
struct Survey {
    /// Size of the largest time.
    largest: f64,
    /// Rows that are not later than the one before.
    late: usize,
    /// The first of them, and its time.
    first_late: Option<(usize, f64)>,
}

impl Survey {
    fn of(times: Times) -> Survey {
        let stretches = times.map_stretches(|begin, times| {
            let is_late = |w: &[f64]| w[1] <= w[0];
            let late = times.windows(2).filter(|w| is_late(w)).count();
            let at = match late {
                0 => None,
                _ => times.windows(2).position(is_late),
            };
            let survey = Survey {
                largest: times.iter().fold(0.0, |a: f64, t| a.max(t.abs())),
                late,
                first_late: at.map(|k| (begin + k + 1, times[k + 1])),
            };
            (begin, times[0], times[times.len() - 1], survey)
        });
        let mut all = Survey {
            largest: 0.0,
            late: 0,
            first_late: None,
        };
        let mut before = f64::NEG_INFINITY;
        for (begin, first, last, stretch) in stretches {
            if first <= before {
                all.late += 1;
                all.first_late = all.first_late.or(Some((begin, first)));
            }
            all.largest = all.largest.max(stretch.largest);
            all.late += stretch.late;
            all.first_late = all.first_late.or(stretch.first_late);
            before = last;
        }
        all
    }
}

fn uneven(times: &[f64], context: Context) -> Judged {
    let to_si = context.to_si;
    let steps = Steps::of(times);
    let mut faults = steps.faults(times, context);
    let runs_on = steps.backwards.is_empty() && steps.gaps.is_empty();
    if context.gaps == TimeGaps::Split && !runs_on {
        return split(times, &steps, context, faults);
    }
    if runs_on && steps.repeated.is_empty() {
        faults.push(steps.unevenness(to_si));
    }
    if steps.backwards.is_empty()
        && steps.repeated.len() * 20 > times.len()
        && let Some(judged) = repeats::spread(times, &steps, context)
    {
        return judged;
    }
    let kept = (!steps.repeated.is_empty()).then(|| {
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

/// Puts the rows in the order of their times; equal times keep the order of the file.
fn sorted(times: &[f64], context: Context) -> Judged {
    let mut order: Vec<usize> = (0..times.len()).collect();
    order.sort_by(|&a, &b| times[a].total_cmp(&times[b]));
    let in_order: Vec<f64> = order.iter().map(|&k| times[k]).collect();
    let places = times.windows(2).filter(|w| w[1] < w[0]).count();
    let within = Context {
        gaps: TimeGaps::Keep,
        ..context
    };
    let inner = judge(Times::new(&[], &in_order), within);
    let mut faults = vec![TimeFault::new(0, WarningKind::TimeSorted { places })];
    faults.extend(inner.faults);
    Judged {
        axis: inner.axis,
        kept: Some(match inner.kept {
            Some(kept) => kept.into_iter().map(|k| order[k]).collect(),
            None => order,
        }),
        faults,
    }
}

/// Keeps the longest stretch without a gap or a step back.
fn split(times: &[f64], steps: &Steps, context: Context, mut faults: Vec<TimeFault>) -> Judged {
    let breaks = steps.backwards.iter().chain(&steps.gaps);
    let mut cuts: Vec<usize> = breaks.map(|k| k + 1).collect();
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
    let within = Context {
        gaps: TimeGaps::Keep,
        ..context
    };
    let inner = judge(Times::new(&[], &times[longest.clone()]), within);
    faults.retain(|f| !matches!(f.kind, Ok(WarningKind::TimeRepeated { .. })));
    let (kept, rows) = (longest.len(), times.len());
    let cut = WarningKind::TimeCut { kept, rows };
    faults.push(TimeFault::new(longest.start, cut));
    faults.extend(inner.faults.into_iter().map(|fault| TimeFault {
        row: fault.row.map(|row| row + longest.start),
        ..fault
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
    use super::super::chunk::TimeChunk;
    use super::*;
    use proptest::prelude::*;

    fn with(times: Times, digits: u32, gaps: TimeGaps) -> Judged {
        let context = Context {
            digits,
            preferred: None,
            to_si: &|t| t,
            gaps,
        };
        judge(times, context)
    }

    fn plain(times: &[f64], digits: u32) -> Judged {
        with(Times::new(&[], times), digits, TimeGaps::Keep)
    }

    proptest! {
        #[test]
        fn times_held_small_are_judged_as_the_numbers_they_stand_for(
            first in -3_000_000i64..3_000_000,
            steps in prop::collection::vec(prop_oneof![40 => Just(7i64), 1 => -3i64..30], 3..200),
            all_even in any::<bool>(),
            decimals in 0i32..9,
            piece in 2usize..60,
        ) {
            let wholes = std::iter::once(0).chain(steps).scan(first, |whole, step| {
                *whole += if all_even { 7 } else { step };
                Some(*whole)
            });
            let unit = 10f64.powi(decimals);
            let times: Vec<f64> = wholes.map(|whole| whole as f64 / unit).collect();
            let chunks: Vec<TimeChunk> = times.chunks(piece).map(|t| TimeChunk::new(t.to_vec())).collect();
            for digits in [2, 4, 7, 17] {
                let held = with(Times::new(&chunks, &[]), digits, TimeGaps::Keep);
                prop_assert_eq!(held, plain(&times, digits));
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
    fn a_gap_and_a_step_back_are_placed() {
        let mut times: Vec<f64> = (0..100).map(f64::from).collect();
        times.drain(40..50);
        let judged = plain(&times, 2);
        let [gap] = judged.faults.as_slice() else {
            panic!("one fault");
        };
        let found = WarningKind::TimeGap {
            from_s: 39.0,
            to_s: 50.0,
            missing: 10,
            places: 1,
        };
        assert_eq!(*gap, TimeFault::new(40, found));
        let cut = with(Times::new(&[], &times), 2, TimeGaps::Split);
        assert_eq!(
            cut.axis,
            TimeAxis::Uniform {
                start_s: 50.0,
                step_s: 1.0,
                len: 50
            }
        );
        times.swap(10, 11);
        let back = &plain(&times, 2).faults[0];
        assert_eq!(back.row, Some(11));
        let error = back.kind.as_ref().expect_err("an error").to_string();
        assert!(error.contains("(1 place)"), "{error}");
    }

    #[test]
    fn uneven_times_are_listed() {
        let judged = plain(&[0.0, 0.33, 1.2, 1.5, 1.9, 2.8, 3.8, 8.0, 9.7], 3);
        assert!(matches!(judged.axis, TimeAxis::Listed(_)));
        let found = &judged.faults[0].kind;
        assert!(matches!(found, Ok(WarningKind::TimeUneven { .. })));
    }
}
