use super::*;

#[test]
fn table_of_the_rule() {
    let table: &[(f64, Option<f64>, &str)] = &[
        // Two digits of the uncertainty, the value to the same place.
        (3.18612, Some(0.04231), "3.186(42)"),
        (3.18612, Some(0.4231), "3.19(42)"),
        (3.18612, Some(4.231), "3.2(4.2)"),
        (-3.18612, Some(0.04231), "-3.186(42)"),
        (123_456.0, Some(2345.0), "123500(2300)"),
        (123_456.0, Some(23.45), "123456(23)"),
        (1.0, Some(1e-6), "1.0000000(10)"),
        // A carry in the uncertainty gives up the place it came from.
        (1.0, Some(0.0996), "1.00(10)"),
        (1.0, Some(0.0994), "1.000(99)"),
        (57.2, Some(9.96), "57(10)"),
        // A carry in the value.
        (9.996, Some(0.012), "9.996(12)"),
        (9.9996, Some(0.012), "10.000(12)"),
        (0.9996, Some(0.12), "1.00(12)"),
        // A value smaller than its uncertainty, down to nothing.
        (0.0012, Some(0.5), "0.00(50)"),
        (-0.0012, Some(0.5), "0.00(50)"),
        (0.0061, Some(0.5), "0.01(50)"),
        (-0.0061, Some(0.5), "-0.01(50)"),
        (1e-30, Some(0.5), "0.00(50)"),
        (0.0, Some(0.03), "0.000(30)"),
        (-0.0, Some(0.03), "0.000(30)"),
        (40.0, Some(1234.0), "0(1200)"),
        (60.0, Some(1234.0), "100(1200)"),
        // Ties to even, on numbers that are exact in binary.
        (0.5, Some(12.0), "0(12)"),
        (1.5, Some(12.0), "2(12)"),
        (2.5, Some(12.0), "2(12)"),
        (0.125, Some(0.25), "0.12(25)"),
        // No uncertainty, none at all, no limit to it, and nonsense.
        (3.186_123, None, "3.186"),
        (0.0, None, "0.000"),
        (12_345.6, None, "12350"),
        (3.186_123_4, Some(0.0), "3.18612(0)"),
        (3.186_123_4, Some(f64::INFINITY), "3.2(inf)"),
        (3.186_123_4, Some(f64::NAN), "3.186(nan)"),
        (3.186_123_4, Some(-0.1), "3.186(nan)"),
        (3.186_123_4, Some(f64::NEG_INFINITY), "3.186(nan)"),
        (f64::NAN, Some(0.1), "nan"),
        (f64::INFINITY, Some(0.1), "inf"),
        (f64::NEG_INFINITY, None, "-inf"),
        // Powers of ten where zeros would have to be counted.
        (2.3e-8, Some(1.2e-9), "23.0(1.2) × 10⁻⁹"),
        (2.3e12, Some(1.2e11), "2.30(12) × 10¹²"),
        (2.3456e-12, None, "2.346 × 10⁻¹²"),
        (f64::MIN_POSITIVE, Some(f64::MAX), "0(180) × 10³⁰⁶"),
    ];
    for &(value, uncertainty, expected) in table {
        assert_eq!(
            write(value, uncertainty, "", Scale::Plain),
            expected,
            "{value:?} {uncertainty:?}"
        );
    }
}

#[test]
fn prefixes_follow_the_larger_number() {
    let written = |value, uncertainty, unit| write(value, Some(uncertainty), unit, Scale::Prefix);
    assert_eq!(written(2.3e-3, 1.2e-4, "H"), "2.30(12) mH");
    assert_eq!(written(0.9996, 0.0012, "A"), "999.6(1.2) mA");
    assert_eq!(written(0.99996, 0.012, "A"), "1.000(12) A");
    assert_eq!(written(4.7e4, 100.0, "Ω"), "47.00(10) kΩ");
    assert_eq!(written(2.0e-6, 3.1e-3, "H"), "0.0(3.1) mH");
    assert_eq!(written(-2.3e-7, 1.2e-8, "s"), "-230(12) ns");
    assert_eq!(written(2.3e-25, 1.2e-26, "F"), "0.000000230(12) aF");
    assert_eq!(written(3.186, f64::NAN, "Ω"), "3.186(nan) Ω");
    assert_eq!(write(2.3456e-3, None, "H", Scale::Prefix), "2.346 mH");
    assert_eq!(write(f64::NAN, None, "H", Scale::Prefix), "nan H");
}

#[test]
fn powers_are_multiples_of_three() {
    assert_eq!(
        write(2.31e-6, Some(4.0e-8), "kg·m²", Scale::Power),
        "2.310(40) × 10⁻⁶ kg·m²"
    );
    assert_eq!(
        write(23.1e-6, None, "kg·m²", Scale::Power),
        "23.10 × 10⁻⁶ kg·m²"
    );
    assert_eq!(
        write(0.0231, Some(0.0004), "V·s/rad", Scale::Plain),
        "0.02310(40) V·s/rad"
    );
}

#[test]
fn intervals_keep_the_place_of_their_half_width() {
    let infinite = f64::INFINITY;
    let table: &[(f64, f64, &str, Scale, &str)] = &[
        (3.1012, 3.2688, "Ω", Scale::Plain, "3.101 to 3.269 Ω"),
        (3.1012, 5.2688, "Ω", Scale::Plain, "3.1 to 5.3 Ω"),
        (-0.012, 0.5, "V", Scale::Plain, "-0.01 to 0.50 V"),
        (1.0e-3, 2.0e-3, "H", Scale::Prefix, "1.00 to 2.00 mH"),
        (9.0e-4, 1.1e-3, "H", Scale::Prefix, "0.90 to 1.10 mH"),
        (
            2.1e-6,
            2.5e-6,
            "kg·m²",
            Scale::Power,
            "(2.10 to 2.50) × 10⁻⁶ kg·m²",
        ),
        (2.5, 2.5, "", Scale::Plain, "2.50000 to 2.50000"),
        (-infinite, 0.0417, "Ω", Scale::Plain, "at most 0.042 Ω"),
        (1.234e-3, infinite, "F", Scale::Prefix, "at least 1.2 mF"),
        (-infinite, infinite, "F", Scale::Plain, "unlimited"),
        (infinite, infinite, "F", Scale::Plain, "nan"),
        (2.0, 1.0, "F", Scale::Plain, "nan"),
        (f64::NAN, 1.0, "F", Scale::Plain, "nan"),
        (
            f64::MIN,
            f64::MAX,
            "",
            Scale::Plain,
            "(-180 to 180) × 10³⁰⁶",
        ),
    ];
    for &(low, high, unit, scale, expected) in table {
        assert_eq!(
            write_interval(low, high, unit, scale),
            expected,
            "{low} {high}"
        );
    }
}

#[test]
fn parts_serve_a_table() {
    let rounded = round(2.3e-3, Some(1.2e-4), Scale::Prefix);
    assert_eq!(rounded.value, "2.30");
    assert_eq!(rounded.uncertainty.as_deref(), Some("0.12"));
    assert_eq!(rounded.exponent, -3);
}

#[test]
fn the_written_value_is_within_half_a_unit_of_the_place() {
    let mut value = 1.234_567_8e-9;
    for step in 0..200 {
        value *= 1.37;
        let uncertainty = value * f64::from(step + 1) / 150.0;
        let rounded = round(value, Some(uncertainty), Scale::Power);
        let factor = 10f64.powi(rounded.exponent);
        let read: f64 = rounded.value.parse().unwrap();
        let read_uncertainty: f64 = rounded.uncertainty.unwrap().parse().unwrap();
        let place = 10f64.powf((read_uncertainty * factor).log10().floor() - 1.0);
        assert!((read * factor - value).abs() <= 0.5001 * place, "{value}");
        assert!((read_uncertainty * factor - uncertainty).abs() <= 0.5001 * place);
    }
}

#[test]
fn numbers_are_rounded_to_the_digits_asked_for() {
    assert_eq!(significant(123_456.0, 3), 123_000.0);
    assert_eq!(significant(-0.001_234_56, 3), -0.00123);
    assert_eq!(significant(0.0, 3), 0.0);
    assert!(significant(f64::NAN, 3).is_nan());
}
