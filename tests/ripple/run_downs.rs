use super::bench::{Bench, Made, count, evenly_sampled};
use rayon::prelude::*;
use rundown::ripple::{
    CountVerdict, Counted, LineKind, RippleOptions, RippleResult, RunDownRemark,
};

/// Probability from which the fit takes a constant, where nothing else speaks for it.
const SETTLED: f64 = 0.975;

pub fn analyse(bench: &Bench, made: &Made) -> RippleResult {
    analyse_counted(bench, made, Counted::default())
}

fn analyse_counted(bench: &Bench, made: &Made, counted: Counted) -> RippleResult {
    let options = RippleOptions {
        quantisation_step: (bench.code_v > 0.0).then_some(bench.code_v),
        counted,
        ..RippleOptions::default()
    };
    evenly_sampled(made.step_s, &made.voltage_v, &options).expect("a run-down")
}

#[test]
fn line_and_segments_come_out_of_an_8_bit_run_down() {
    let bench = Bench::default();
    let made = bench.make();
    let result = analyse(&bench, &made);
    let line = result.line.as_ref().expect("a line");
    assert_eq!(line.harmonic_of_revolution, made.cycles);
    let error = line.cycles_per_volt_second / made.line - 1.0;
    assert!(error.abs() < 1e-3, "K/N wrong by {:.4} %", 100.0 * error);
    let best = result.settled(SETTLED).expect("one K");
    assert!([7, 14].contains(&best.commutator.segments));
    let constant = best.back_emf_constant_v_s_per_rad;
    assert!((constant / 0.021 - 1.0).abs() < 1e-3, "K {constant}");
    assert!((result.revolutions.expect("turns") - 39.0).abs() < 2.0);
    assert!(
        result
            .remarks
            .iter()
            .any(|r| matches!(r, RunDownRemark::SameCycles { .. })),
        "{:?}",
        result.remarks
    );
}

#[test]
fn a_zero_offset_that_nobody_saw_is_found_by_the_ripple() {
    // One code of zero offset and no standstill in the record: 0.4 % of K if it were believed to be zero.
    let mut bench = Bench {
        code_v: 0.0,
        noise_v: 0.02,
        zero_v: 0.05,
        rest: 0.0,
        ..Bench::default()
    };
    bench.samples = 9000;
    let mut made = bench.make();
    made.voltage_v.truncate(7500);
    let result = analyse(&bench, &made);
    let line = result.line.expect("a line");
    let error = line.cycles_per_volt_second / made.line - 1.0;
    assert!(error.abs() < 5e-4, "K/N wrong by {:.4} %", 100.0 * error);
    let (zero, sd) = result.zero_offset_v.expect("a zero");
    assert!(
        (zero - 0.05).abs() < 4.0 * sd && sd < 0.01,
        "zero {zero} ± {sd} V"
    );
}

#[test]
fn segments_are_found_for_odd_and_even_counts() {
    for segments in [3, 5, 8, 12, 16, 24] {
        let bench = Bench {
            segments,
            ripple: 0.01,
            seed: u64::from(segments),
            revolutions: 50.0,
            ..Bench::default()
        };
        let result = analyse(&bench, &bench.make());
        assert_eq!(
            result.candidates.first().map(|c| c.cycles_per_revolution),
            Some(count(segments)),
            "{segments} segments"
        );
    }
}

#[test]
fn a_wrong_segment_count_given_by_the_user_is_contradicted() {
    let bench = Bench::default();
    let made = bench.make();
    let six = Counted {
        segments: Some(6),
        ..Counted::default()
    };
    let result = analyse_counted(&bench, &made, six);
    assert_eq!(result.candidates[0].cycles_per_revolution, 14);
    let found = result.stated_count(six, None).expect("a line");
    assert!(
        matches!(found.verdict, CountVerdict::Disagrees(..)),
        "{found}"
    );
}

#[test]
fn a_given_count_settles_what_an_even_commutator_leaves_open() {
    let bench = Bench {
        unevenness: 0.0,
        ..Bench::default()
    };
    let made = bench.make();
    let open = analyse(&bench, &made);
    assert!(
        open.settled(SETTLED).is_none(),
        "{:?}",
        open.candidates.first()
    );
    // Segments alone leave the poles open.
    let seven = Counted {
        segments: Some(7),
        ..Counted::default()
    };
    let told = analyse_counted(&bench, &made, seven);
    assert!(told.settled(SETTLED).is_none(), "{:?}", told.candidates[0]);
    let named = told.remarks.iter().find_map(|r| match r {
        RunDownRemark::Rivals { candidates } => {
            Some(candidates.iter().map(|c| c.harmonic).collect::<Vec<_>>())
        }
        _ => None,
    });
    let named = named.expect("rivals");
    assert!(named.contains(&14) && named.contains(&28), "{named:?}");
    let two_poles = Counted {
        poles: Some(2),
        ..seven
    };
    let told = analyse_counted(&bench, &made, two_poles);
    let first = &told.candidates[0];
    assert_eq!((first.commutator.segments, first.harmonic), (7, 14));
    assert!(told.settled(SETTLED).is_some(), "{first:?}");
    assert!(
        first.comb_probability < 0.2,
        "the pattern alone cannot know"
    );
}

/// Poles, segments and unevenness of a grid, each with nothing counted, with the segments counted, and with everything: a K that is
/// taken is the true one, and with everything counted it is taken.
#[test]
fn a_constant_taken_is_the_true_one_whatever_the_poles() {
    let grid: Vec<(u32, u32, f64)> = [2, 4, 6]
        .into_iter()
        .flat_map(|poles| (3..=13).map(move |segments| (poles, segments)))
        .flat_map(|(p, s)| [0.0, 5e-4, 1e-3, 2e-3, 0.01].map(move |u| (p, s, u)))
        .collect();
    // Of each cell K over the true one, where it is taken.
    let outcomes: Vec<(String, [Option<f64>; 3])> = grid
        .into_par_iter()
        .map(|(poles, segments, unevenness)| {
            let bench = Bench {
                poles,
                segments,
                unevenness,
                samples: 6000,
                seed: u64::from(100 * poles + segments),
                ..Bench::default()
            };
            let made = bench.make();
            let counts = [
                Counted::default(),
                Counted {
                    segments: Some(segments),
                    ..Counted::default()
                },
                Counted {
                    segments: Some(segments),
                    poles: Some(poles),
                    brushes: Some(poles),
                },
            ];
            let taken = counts.map(|counted| {
                let result = analyse_counted(&bench, &made, counted);
                let k = result.settled(SETTLED)?.back_emf_constant_v_s_per_rad;
                Some(k / bench.constant_v_s_per_rad)
            });
            let name = format!("{poles} poles, {segments} segments, {unevenness}");
            (name, taken)
        })
        .collect();
    let is_wrong = |ratio: &Option<f64>| ratio.is_some_and(|r| (r - 1.0).abs() > 5e-3);
    let wrong: Vec<&(String, [Option<f64>; 3])> = outcomes
        .iter()
        .filter(|(_, taken)| taken.iter().any(is_wrong))
        .collect();
    let taken = |counted: usize| outcomes.iter().filter(|o| o.1[counted].is_some()).count();
    let shares = [taken(0), taken(1), taken(2)];
    println!("{shares:?} of {} taken", outcomes.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
    // Silence would be right too, and of no use.
    let silent: Vec<&String> = outcomes
        .iter()
        .filter(|o| o.1[2].is_none())
        .map(|o| &o.0)
        .collect();
    assert!(
        shares[2] * 10 >= outcomes.len() * 9,
        "{shares:?} {silent:?}"
    );
}

#[test]
fn hum_is_told_and_never_taken_for_speed() {
    let bench = Bench {
        ripple: 0.0,
        unevenness: 0.0,
        needles: false,
        hum_v: 0.1,
        hum_hz: 437.0,
        ..Bench::default()
    };
    let result = analyse(&bench, &bench.make());
    assert!(result.line.is_none());
    assert!(result.candidates.is_empty() && result.speed.is_empty());
    let hum = result
        .foreign_lines
        .iter()
        .find(|l| l.kind == LineKind::Time)
        .expect("a line in time");
    assert!(
        (hum.frequency - 437.0).abs() < 1.0 && (hum.amplitude - 0.1).abs() < 0.01,
        "{hum:?}"
    );
    // With ripple below it, the ripple is still found.
    let both = Bench {
        ripple: 0.01,
        hum_v: 0.15,
        hum_hz: 100.0,
        ..Bench::default()
    };
    let made = both.make();
    let line = analyse(&both, &made).line.expect("a line");
    assert!((line.cycles_per_volt_second / made.line - 1.0).abs() < 1e-3);
}

#[test]
fn quantisation_of_an_exponential_run_down_is_not_ripple() {
    // Nearly pure viscous drag: the code sawtooth is stationary in angle.
    let bench = Bench {
        ripple: 0.0,
        unevenness: 0.0,
        needles: false,
        coulomb: 0.06,
        noise_v: 0.004,
        samples: 12_000,
        ..Bench::default()
    };
    let result = analyse(&bench, &bench.make());
    assert!(result.line.is_none(), "{:?}", result.line);
    assert!(
        result
            .foreign_lines
            .iter()
            .any(|l| l.kind == LineKind::Code),
        "{:?}",
        result.foreign_lines
    );
}

#[test]
fn ripple_above_the_nyquist_frequency_is_read_at_its_true_place_and_told() {
    // 46 cycles a revolution at 190 turns a second are 8.8 kHz; sampled at 12 kHz.
    let bench = Bench {
        segments: 23,
        ripple: 0.012,
        needles: false,
        revolutions: 40.0,
        samples: 8000,
        ..Bench::default()
    };
    let made = bench.make();
    let keep = 2;
    let thinned: Vec<f64> = made.voltage_v.iter().step_by(keep).copied().collect();
    let options = RippleOptions {
        quantisation_step: Some(bench.code_v),
        ..RippleOptions::default()
    };
    let result = evenly_sampled(made.step_s * keep as f64, &thinned, &options).expect("a run-down");
    let line = result.line.expect("a line");
    let commutation = line.cycles_per_volt_second / f64::from(line.harmonic_of_revolution) * 46.0;
    assert!(
        (commutation / made.line - 1.0).abs() < 2e-3,
        "{commutation} against {}",
        made.line
    );
    let top_hz = made.line * 12.0;
    assert!(
        top_hz > 0.5 / (made.step_s * keep as f64),
        "the case must be aliased"
    );
    assert!(
        result
            .remarks
            .iter()
            .any(|r| matches!(r, RunDownRemark::AliasedUntil { .. })),
        "{:?}",
        result.remarks
    );
}

#[test]
fn speed_against_time_follows_the_motor() {
    let bench = Bench::default();
    let made = bench.make();
    let result = analyse(&bench, &made);
    let first = result.speed[0].speed_rad_per_s.expect("a speed");
    assert!(
        (first / (12.0 / 0.021) - 1.0).abs() < 0.005,
        "{first} rad/s"
    );
    assert!(
        result
            .speed
            .windows(2)
            .all(|w| w[1].speed_rad_per_s < w[0].speed_rad_per_s)
    );
}
