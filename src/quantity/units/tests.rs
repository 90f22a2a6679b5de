use super::*;
use approx::assert_relative_eq;

fn si(quantity: Quantity, text: &str) -> f64 {
    parse_si(quantity, text).expect(text)
}

#[test]
fn val_units_of_the_workshop() {
    use Quantity::{Inertia, MotorConstant, Torque};
    for (quantity, text, expected, tolerance) in [
        // 60/(2 pi 1000) exactly: as in any drives text.
        (MotorConstant, "1 V/krpm", 9.549_297e-3, 1e-7),
        (MotorConstant, "1 V/1000 rpm", 9.549_297e-3, 1e-7),
        // NIST SP 811 (2008), appendix B.8: ounce (avoirdupois)-force inch, pound-force foot, pound-force inch,
        // kilogram-force meter.
        (Torque, "1 oz-in", 7.061_552e-3, 1e-7),
        (Torque, "1 lbf·ft", 1.355_818, 1e-6),
        (Torque, "1 lb.in", 0.112_984_8, 1e-6),
        (Torque, "100 kgf cm", 9.806_65, 1e-12),
        // From memory.
        (Inertia, "1 oz·in²", 182.9e-7, 1e-4),
        (Inertia, "1 oz-in-s^2", 70_615.5e-7, 1e-6),
    ] {
        assert_relative_eq!(si(quantity, text), expected, max_relative = tolerance);
    }
}

#[test]
fn a_speed_constant_is_the_reciprocal_of_the_torque_constant() {
    let k = si(Quantity::MotorConstant, "408 rpm/V");
    assert_relative_eq!(k * 408.0 * RPM, 1.0, max_relative = 1e-14);
    let unit = find(Quantity::MotorConstant, "min-1/V").expect("speed constant");
    assert_relative_eq!(unit.from_si(k), 408.0, max_relative = 1e-14);
    // 1 % of K is 1 % of its reciprocal.
    assert_relative_eq!(
        unit.uncertainty_from_si(k, 0.01 * k),
        4.08,
        max_relative = 1e-12
    );
}

#[test]
fn writings_of_one_unit_agree() {
    use Quantity::{Inductance, Inertia, MotorConstant, Ratio, Resistance, Temperature};
    for (quantity, expected, texts) in [
        (
            MotorConstant,
            0.0234,
            "23.4 mN·m/A, 23.4mNm/A, 23.4 mN.m/A, 23.4 mN*m/A, 23.4 mN-m/A",
        ),
        (Inertia, 1.2e-6, "12 gcm2, 12 g·cm², 12 g cm^2"),
        (Inductance, 230e-6, "230uH, 230 μH"),
        (Resistance, 1.2, "1.2 Ohm"),
        (Temperature, 25.0, "25 °C"),
        (Ratio, 0.85, "85 %, 0.85"),
    ] {
        for text in texts.split(", ") {
            assert_relative_eq!(si(quantity, text), expected, max_relative = 1e-12);
        }
    }
}

#[test]
fn milli_and_mega_are_not_taken_for_each_other() {
    assert!(find(Quantity::Resistance, "MOhm").is_err());
    assert!(find(Quantity::Current, "MA").is_err());
}

#[test]
fn messages_name_what_would_do() {
    let error = parse(Quantity::Torque, "12 mNm/A").expect_err("a motor constant is no torque");
    assert_eq!(
        error.to_string(),
        "\"mNm/A\" is not a recognised unit of torque; use one of N·m, mN·m, µN·m, N·cm, oz·in, lb·in, lb·ft, g·cm, kg·cm"
    );
    let error = parse(Quantity::Voltage, "24").expect_err("no unit");
    assert_eq!(
        error.to_string(),
        "\"24\" has no unit; expected a number and a unit of voltage, one of V, mV, µV, kV"
    );
    let error = parse(Quantity::Voltage, "V24").expect_err("no number");
    assert!(error.to_string().contains("e.g. \"1.5 V\""), "{error}");
    assert!(parse(Quantity::Voltage, "").is_err());
    assert!(parse(Quantity::Voltage, "inf V").is_err());
}

#[test]
fn no_two_units_of_a_quantity_share_a_spelling() {
    for one in UNITS {
        let same = of(one.quantity).filter(|other| plain(other.text) == plain(one.text));
        assert_eq!(same.count(), 1, "{}", one.text);
    }
}
