//! Events of records with missing rows and gaps, and of odd ones.

use crate::{bouncing_start, covers, phase};
use rundown::bench::{Role, Trace, Waveform};
use rundown::capture::TimeAxis;
use rundown::events::{Exclusion, PhaseKind, find, guess_role};

#[test]
fn missing_and_clipped_rows_are_cut_with_a_margin() {
    let mut waveform = bouncing_start().record();
    let current = waveform.current_a.as_mut().unwrap();
    current.values[5000..5010].fill(f64::NAN);
    current.clipped[6000] = true;
    let timeline = find(&waveform, Role::Start);
    covers(&timeline, 10_000);
    assert_eq!(
        phase(&timeline, PhaseKind::Excluded(Exclusion::Missing)),
        Some((4998, 5012))
    );
    assert_eq!(
        phase(&timeline, PhaseKind::Excluded(Exclusion::Clipped)),
        Some((5998, 6003))
    );
}

#[test]
fn a_gap_in_time_is_cut() {
    let mut waveform = bouncing_start().record();
    let mut times: Vec<f64> = (0..10_000).map(|k| -10e-3 + k as f64 * 10e-6).collect();
    times[4000..].iter_mut().for_each(|t| *t += 2e-3);
    waveform.time = TimeAxis::Listed(times);
    let timeline = find(&waveform, Role::Start);
    covers(&timeline, 10_000);
    assert_eq!(
        phase(&timeline, PhaseKind::Excluded(Exclusion::Gap)),
        Some((3999, 4001))
    );
}

#[test]
fn odd_records_neither_panic_nor_leave_holes() {
    let trace = |values: Vec<f64>| Trace {
        clipped: vec![false; values.len()],
        quantisation_step: None,
        values,
    };
    let odd: Vec<Vec<f64>> = vec![
        vec![],
        vec![1.0],
        vec![f64::NAN; 500],
        vec![0.0; 500],
        vec![5.0; 500],
        (0..500).map(f64::from).collect(),
        (0..500).map(|k| f64::from(k % 2) * 1e300).collect(),
        (0..60).map(|k| if k == 30 { 1e9 } else { 0.0 }).collect(),
        (0..500).map(|k| if k < 490 { 0.0 } else { 12.0 }).collect(),
        (0..500).map(|k| if k < 5 { 12.0 } else { 0.0 }).collect(),
    ];
    for v in &odd {
        for i in &odd {
            for len in [v.len(), v.len().max(i.len())] {
                for time in [
                    TimeAxis::Absent { len },
                    TimeAxis::Uniform {
                        start_s: 0.0,
                        step_s: 1e-5,
                        len,
                    },
                ] {
                    let waveform = Waveform {
                        time,
                        voltage_v: Some(trace(v.clone())),
                        current_a: Some(trace(i.clone())),
                    };
                    let guess = guess_role(&waveform);
                    assert!((0.0..=1.0).contains(&guess.confidence));
                    for role in Role::ALL {
                        let timeline = find(&waveform, role);
                        let covered = timeline.phases.last().map_or(0, |p| p.end);
                        assert_eq!(covered, len);
                    }
                }
            }
        }
    }
}
