use super::bench::{Bench, evenly_sampled};
use rundown::ripple::{Counted, RippleOptions, RunDownRemark, Unreadable, analyse_run_down};

fn read(
    voltage: &[f64],
    options: &RippleOptions,
) -> Result<rundown::ripple::RippleResult, Unreadable> {
    evenly_sampled(1e-4, voltage, options)
}

#[test]
fn a_short_record_is_refused_with_its_length() {
    let error = read(&[5.0; 100], &RippleOptions::default()).expect_err("too short");
    assert_eq!(
        error,
        Unreadable::TooShort {
            samples: 100,
            needed: 256
        }
    );
    assert!(error.to_string().contains("100 usable samples"), "{error}");
    assert!(read(&[], &RippleOptions::default()).is_err());
    assert!(read(&[f64::NAN; 1000], &RippleOptions::default()).is_err());
}

#[test]
fn an_ac_coupled_run_down_is_recognised() {
    // A coupling capacitor of 0.1 s takes the level off: the record starts near zero and swings negative.
    let bench = Bench::default();
    let made = bench.make();
    let (mut level, mut out) = (made.voltage_v[0], Vec::new());
    for v in &made.voltage_v {
        level += (v - level) * made.step_s / 0.1;
        out.push(v - level);
    }
    let error =
        evenly_sampled(made.step_s, &out, &RippleOptions::default()).expect_err("AC coupled");
    assert!(matches!(error, Unreadable::AcCoupled { .. }), "{error}");
    assert!(error.to_string().contains("AC coupling"));
}

#[test]
fn a_coupling_capacitor_that_leaves_only_the_slope_is_recognised() {
    // 20 ms against a run-down of a second: a level near the slope, then nothing.
    let bench = Bench {
        ripple: 0.002,
        unevenness: 0.001,
        needles: false,
        coulomb: 3.0,
        ..Bench::default()
    };
    let made = bench.make();
    let (mut level, mut out) = (made.voltage_v[0], Vec::new());
    for v in &made.voltage_v {
        level += (v - level) * made.step_s / 0.02;
        out.push(v - level);
    }
    let after = (0.08 / made.step_s) as usize;
    let error = evenly_sampled(made.step_s, &out[after..], &RippleOptions::default())
        .expect_err("AC coupled");
    assert!(
        matches!(
            error,
            Unreadable::NotSlowing { .. } | Unreadable::AcCoupled { .. }
        ),
        "{error}"
    );
    assert!(error.to_string().contains("AC coup"), "{error}");
}

#[test]
fn a_run_down_that_does_not_fall_is_refused() {
    let level: Vec<f64> = (0..2000).map(|k| 12.0 + 0.01 * f64::from(k % 7)).collect();
    assert!(matches!(
        read(&level, &RippleOptions::default()),
        Err(Unreadable::NotSlowing { .. })
    ));
    let zero: Vec<f64> = (0..2000)
        .map(|k| 0.01 * f64::from(k * 37 % 11) - 0.05)
        .collect();
    assert!(matches!(
        read(&zero, &RippleOptions::default()),
        Err(Unreadable::NoVoltage { .. } | Unreadable::AcCoupled { .. })
    ));
}

#[test]
fn a_reversed_record_is_used_and_told() {
    let bench = Bench::default();
    let made = bench.make();
    let reversed: Vec<f64> = made.voltage_v.iter().map(|v| -v).collect();
    let result =
        evenly_sampled(made.step_s, &reversed, &RippleOptions::default()).expect("readable");
    let line = result.line.expect("a line");
    assert!((line.cycles_per_volt_second / made.line - 1.0).abs() < 1e-3);
    assert!(
        result
            .remarks
            .iter()
            .any(|r| matches!(r, RunDownRemark::Reversed { .. })),
        "{:?}",
        result.remarks
    );
}

#[test]
fn clipped_and_missing_rows_are_left_out_and_too_many_are_refused() {
    let bench = Bench::default();
    let mut made = bench.make();
    let ceiling = 11.8;
    let clipped: Vec<bool> = made.voltage_v.iter().map(|v| *v > ceiling).collect();
    made.voltage_v.iter_mut().for_each(|v| *v = v.min(ceiling));
    for k in (3000..3050).step_by(2) {
        made.voltage_v[k] = f64::NAN;
    }
    let options = RippleOptions {
        clipped: Some(clipped),
        ..RippleOptions::default()
    };
    let result = evenly_sampled(made.step_s, &made.voltage_v, &options).expect("readable");
    let line = result.line.expect("a line");
    assert!((line.cycles_per_volt_second / made.line - 1.0).abs() < 1e-3);
    assert!(
        result
            .remarks
            .iter()
            .any(|r| r.to_string().contains("end of the converter's range")),
        "{:?}",
        result.remarks
    );
    assert!(
        result
            .remarks
            .iter()
            .any(|r| r.to_string().contains("25 of")),
        "{:?}",
        result.remarks
    );

    let all = RippleOptions {
        clipped: Some(vec![true; made.voltage_v.len()]),
        ..RippleOptions::default()
    };
    assert!(matches!(
        read(&made.voltage_v, &all),
        Err(Unreadable::Clipped { .. })
    ));
}

#[test]
fn time_that_does_not_advance_is_named_by_its_row() {
    let mut time: Vec<f64> = (0..1000).map(|k| f64::from(k) * 1e-4).collect();
    time[500] = time[499];
    let error =
        analyse_run_down(&time, &[1.0; 1000], &RippleOptions::default()).expect_err("time stands");
    assert_eq!(
        error,
        Unreadable::TimeOrder {
            row: 500,
            before_s: time[499],
            after_s: time[500]
        }
    );
    assert!(analyse_run_down(&time, &[1.0; 10], &RippleOptions::default()).is_err());
}

#[test]
fn bad_options_are_refused() {
    let made = Bench::default().make();
    for options in [
        RippleOptions {
            false_alarm_rate: 0.0,
            ..RippleOptions::default()
        },
        RippleOptions {
            counted: Counted {
                poles: Some(3),
                ..Counted::default()
            },
            ..RippleOptions::default()
        },
        RippleOptions {
            least_emf_fraction: 1.5,
            ..RippleOptions::default()
        },
    ] {
        assert!(
            matches!(
                read(&made.voltage_v, &options),
                Err(Unreadable::Option { .. })
            ),
            "{options:?}"
        );
    }
}
