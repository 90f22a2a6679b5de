//! Units of the trade: how motor sheets and workshops write quantities, and their SI values.
//!
//! Conversion happens only at the edges: what is typed or printed. Factors are exact by definition (inch 0.0254 m,
//! avoirdupois pound 0.453 592 37 kg, standard gravity 9.806 65 m/s²; NIST SP 811, appendix B) unless π is in them.

use std::f64::consts::PI;

/// Kind of quantity. Torque and energy share a dimension, as do motor constants told as back-EMF or as torque, so
/// dimensions alone would not do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Quantity {
    Resistance,
    Inductance,
    /// K: back-EMF constant, torque constant, or the speed constant as its reciprocal.
    MotorConstant,
    Torque,
    ViscousFriction,
    Windage,
    Inertia,
    Voltage,
    Current,
    Speed,
    Capacitance,
    Conductance,
    Time,
    Power,
    Energy,
    Frequency,
    /// Plain number; `%` is 0.01.
    Ratio,
    /// Degrees Celsius, kept as such.
    Temperature,
}

impl Quantity {
    /// Words for messages.
    pub fn words(self) -> &'static str {
        match self {
            Quantity::Resistance => "resistance",
            Quantity::Inductance => "inductance",
            Quantity::MotorConstant => "motor constant",
            Quantity::Torque => "torque",
            Quantity::ViscousFriction => "viscous friction",
            Quantity::Windage => "windage",
            Quantity::Inertia => "inertia",
            Quantity::Voltage => "voltage",
            Quantity::Current => "current",
            Quantity::Speed => "speed",
            Quantity::Capacitance => "capacitance",
            Quantity::Conductance => "conductance",
            Quantity::Time => "time",
            Quantity::Power => "power",
            Quantity::Energy => "energy",
            Quantity::Frequency => "frequency",
            Quantity::Ratio => "ratio",
            Quantity::Temperature => "temperature",
        }
    }
}

/// One unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// As printed, e.g. `mN·m/A`.
    pub text: &'static str,
    pub quantity: Quantity,
    /// SI value of one unit.
    pub factor: f64,
    /// True when the unit tells the reciprocal of the quantity (`rpm/V` for K): SI value = factor / number.
    pub reciprocal: bool,
}

impl Unit {
    /// Number in this unit to SI (°C stays °C).
    pub fn to_si(&self, number: f64) -> f64 {
        if self.reciprocal {
            self.factor / number
        } else {
            number * self.factor
        }
    }

    /// SI to the number in this unit.
    pub fn from_si(&self, si: f64) -> f64 {
        if self.reciprocal {
            self.factor / si
        } else {
            si / self.factor
        }
    }

    /// Standard uncertainty in SI to this unit, first order, at the SI value `si`.
    pub fn uncertainty_from_si(&self, si: f64, uncertainty_si: f64) -> f64 {
        if self.reciprocal {
            self.factor / (si * si) * uncertainty_si
        } else {
            uncertainty_si / self.factor
        }
    }

    /// Standard uncertainty in this unit to SI, first order, at the number `number`.
    pub fn uncertainty_to_si(&self, number: f64, uncertainty: f64) -> f64 {
        if self.reciprocal {
            self.factor / (number * number) * uncertainty
        } else {
            uncertainty * self.factor
        }
    }
}

/// One revolution per minute in rad/s.
pub const RPM: f64 = 2.0 * PI / 60.0;
const GRAVITY: f64 = 9.806_65;
const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
const OUNCE: f64 = POUND / 16.0;
/// Ounce-force inch in N·m.
const OUNCE_INCH: f64 = OUNCE * GRAVITY * INCH;
const POUND_INCH: f64 = POUND * GRAVITY * INCH;

const fn unit(quantity: Quantity, text: &'static str, factor: f64) -> Unit {
    Unit {
        text,
        quantity,
        factor,
        reciprocal: false,
    }
}

const fn per(quantity: Quantity, text: &'static str, factor: f64) -> Unit {
    Unit {
        text,
        quantity,
        factor,
        reciprocal: true,
    }
}

/// Every unit known; the first of a quantity is its SI unit.
pub const UNITS: &[Unit] = &[
    unit(Quantity::Resistance, "Ω", 1.0),
    unit(Quantity::Resistance, "mΩ", 1e-3),
    unit(Quantity::Resistance, "kΩ", 1e3),
    unit(Quantity::Inductance, "H", 1.0),
    unit(Quantity::Inductance, "mH", 1e-3),
    unit(Quantity::Inductance, "µH", 1e-6),
    unit(Quantity::MotorConstant, "V·s/rad", 1.0),
    unit(Quantity::MotorConstant, "mV·s/rad", 1e-3),
    unit(Quantity::MotorConstant, "N·m/A", 1.0),
    unit(Quantity::MotorConstant, "mN·m/A", 1e-3),
    unit(Quantity::MotorConstant, "N·cm/A", 1e-2),
    unit(Quantity::MotorConstant, "oz·in/A", OUNCE_INCH),
    unit(Quantity::MotorConstant, "lb·in/A", POUND_INCH),
    unit(Quantity::MotorConstant, "g·cm/A", 1e-5 * GRAVITY),
    unit(Quantity::MotorConstant, "kg·cm/A", 1e-2 * GRAVITY),
    unit(Quantity::MotorConstant, "V/krpm", 1e-3 / RPM),
    unit(Quantity::MotorConstant, "V/rpm", 1.0 / RPM),
    unit(Quantity::MotorConstant, "mV/rpm", 1e-3 / RPM),
    per(Quantity::MotorConstant, "rpm/V", 1.0 / RPM),
    per(Quantity::MotorConstant, "krpm/V", 1e-3 / RPM),
    per(Quantity::MotorConstant, "rad/s/V", 1.0),
    per(Quantity::MotorConstant, "A/N·m", 1.0),
    unit(Quantity::Torque, "N·m", 1.0),
    unit(Quantity::Torque, "mN·m", 1e-3),
    unit(Quantity::Torque, "µN·m", 1e-6),
    unit(Quantity::Torque, "N·cm", 1e-2),
    unit(Quantity::Torque, "oz·in", OUNCE_INCH),
    unit(Quantity::Torque, "lb·in", POUND_INCH),
    unit(Quantity::Torque, "lb·ft", 12.0 * POUND_INCH),
    unit(Quantity::Torque, "g·cm", 1e-5 * GRAVITY),
    unit(Quantity::Torque, "kg·cm", 1e-2 * GRAVITY),
    unit(Quantity::ViscousFriction, "N·m·s/rad", 1.0),
    unit(Quantity::ViscousFriction, "mN·m·s/rad", 1e-3),
    unit(Quantity::ViscousFriction, "µN·m·s/rad", 1e-6),
    unit(Quantity::ViscousFriction, "N·m/krpm", 1e-3 / RPM),
    unit(Quantity::ViscousFriction, "mN·m/krpm", 1e-6 / RPM),
    unit(Quantity::ViscousFriction, "µN·m/krpm", 1e-9 / RPM),
    unit(
        Quantity::ViscousFriction,
        "oz·in/krpm",
        OUNCE_INCH * 1e-3 / RPM,
    ),
    unit(Quantity::Windage, "N·m·s²/rad²", 1.0),
    unit(Quantity::Windage, "µN·m/krpm²", 1e-12 / (RPM * RPM)),
    unit(Quantity::Inertia, "kg·m²", 1.0),
    unit(Quantity::Inertia, "kg·cm²", 1e-4),
    unit(Quantity::Inertia, "g·cm²", 1e-7),
    unit(Quantity::Inertia, "g·mm²", 1e-9),
    unit(Quantity::Inertia, "g·m²", 1e-3),
    unit(Quantity::Inertia, "oz·in²", OUNCE * INCH * INCH),
    unit(Quantity::Inertia, "oz·in·s²", OUNCE_INCH),
    unit(Quantity::Inertia, "lb·in²", POUND * INCH * INCH),
    unit(Quantity::Inertia, "lb·in·s²", POUND_INCH),
    unit(Quantity::Voltage, "V", 1.0),
    unit(Quantity::Voltage, "mV", 1e-3),
    unit(Quantity::Voltage, "µV", 1e-6),
    unit(Quantity::Voltage, "kV", 1e3),
    unit(Quantity::Current, "A", 1.0),
    unit(Quantity::Current, "mA", 1e-3),
    unit(Quantity::Current, "µA", 1e-6),
    unit(Quantity::Speed, "rad/s", 1.0),
    unit(Quantity::Speed, "rpm", RPM),
    unit(Quantity::Speed, "krpm", 1e3 * RPM),
    unit(Quantity::Speed, "rps", 2.0 * PI),
    unit(Quantity::Capacitance, "F", 1.0),
    unit(Quantity::Capacitance, "mF", 1e-3),
    unit(Quantity::Capacitance, "µF", 1e-6),
    unit(Quantity::Capacitance, "nF", 1e-9),
    unit(Quantity::Capacitance, "pF", 1e-12),
    unit(Quantity::Conductance, "S", 1.0),
    unit(Quantity::Conductance, "mS", 1e-3),
    unit(Quantity::Conductance, "µS", 1e-6),
    unit(Quantity::Time, "s", 1.0),
    unit(Quantity::Time, "ms", 1e-3),
    unit(Quantity::Time, "µs", 1e-6),
    unit(Quantity::Time, "ns", 1e-9),
    unit(Quantity::Time, "min", 60.0),
    unit(Quantity::Power, "W", 1.0),
    unit(Quantity::Power, "mW", 1e-3),
    unit(Quantity::Power, "kW", 1e3),
    unit(Quantity::Energy, "J", 1.0),
    unit(Quantity::Energy, "mJ", 1e-3),
    unit(Quantity::Energy, "µJ", 1e-6),
    unit(Quantity::Frequency, "Hz", 1.0),
    unit(Quantity::Frequency, "kHz", 1e3),
    unit(Quantity::Frequency, "MHz", 1e6),
    unit(Quantity::Ratio, "1", 1.0),
    unit(Quantity::Ratio, "%", 0.01),
    unit(Quantity::Temperature, "°C", 1.0),
];

/// A unit or a number that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    #[error("\"{text}\" is no unit of {quantity}; known are {known}")]
    Unknown {
        text: String,
        quantity: &'static str,
        known: String,
    },
    #[error(
        "\"{text}\" has no number in front; expected a number and a unit of {quantity}, e.g. \"{example}\""
    )]
    NoNumber {
        text: String,
        quantity: &'static str,
        example: String,
    },
    #[error("\"{text}\" has no unit; expected a number and a unit of {quantity}, one of {known}")]
    NoUnit {
        text: String,
        quantity: &'static str,
        known: String,
    },
}

/// The units of one quantity, SI first.
pub fn of(quantity: Quantity) -> impl Iterator<Item = &'static Unit> {
    UNITS.iter().filter(move |unit| unit.quantity == quantity)
}

/// The SI unit of a quantity.
pub fn si(quantity: Quantity) -> &'static Unit {
    of(quantity).next().unwrap_or(&UNITS[0])
}

/// The unit that a person wrote, whatever the marks of multiplication, powers, micro and ohm.
///
/// # Errors
/// [`UnitError::Unknown`] with the units that would do.
pub fn find(quantity: Quantity, text: &str) -> Result<&'static Unit, UnitError> {
    let wanted = plain(text);
    of(quantity)
        .find(|unit| plain(unit.text) == wanted)
        .ok_or_else(|| UnitError::Unknown {
            text: text.trim().to_owned(),
            quantity: quantity.words(),
            known: known(quantity),
        })
}

/// Number and unit in one text, e.g. `23.4 mN·m/A`, `24V`, `1.5e3 rpm`; returns number and unit as written.
///
/// A plain number without unit is taken for [`Quantity::Ratio`] only.
///
/// # Errors
/// [`UnitError`], in words for the person.
pub fn parse(quantity: Quantity, text: &str) -> Result<(f64, &'static Unit), UnitError> {
    let trimmed = text.trim();
    let end = number_end(trimmed);
    let number = trimmed[..end]
        .parse::<f64>()
        .ok()
        .filter(|number| number.is_finite())
        .ok_or_else(|| UnitError::NoNumber {
            text: trimmed.to_owned(),
            quantity: quantity.words(),
            example: format!("1.5 {}", si(quantity).text),
        })?;
    let rest = trimmed[end..].trim();
    if rest.is_empty() {
        if quantity == Quantity::Ratio {
            return Ok((number, si(quantity)));
        }
        return Err(UnitError::NoUnit {
            text: trimmed.to_owned(),
            quantity: quantity.words(),
            known: known(quantity),
        });
    }
    Ok((number, find(quantity, rest)?))
}

/// Like [`parse`], to SI.
///
/// # Errors
/// As [`parse`].
pub fn parse_si(quantity: Quantity, text: &str) -> Result<f64, UnitError> {
    let (number, unit) = parse(quantity, text)?;
    Some(unit.to_si(number))
        .filter(|si| si.is_finite())
        .ok_or_else(|| UnitError::NoNumber {
            text: text.trim().to_owned(),
            quantity: quantity.words(),
            example: format!("1.5 {}", si(quantity).text),
        })
}

fn known(quantity: Quantity) -> String {
    let texts: Vec<&str> = of(quantity).map(|unit| unit.text).collect();
    texts.join(", ")
}

/// Length of the longest leading number.
fn number_end(text: &str) -> usize {
    let mut end = 0;
    for (place, letter) in text.char_indices() {
        let next = place + letter.len_utf8();
        if !matches!(letter, '0'..='9' | '.' | '+' | '-' | 'e' | 'E') {
            break;
        }
        if text[..next].parse::<f64>().is_ok() {
            end = next;
        }
    }
    end
}

/// A unit text with one spelling for everything that is written in several ways.
fn plain(text: &str) -> String {
    let mut plain = text.trim().to_owned();
    for (from, to) in [
        ("min⁻¹", "rpm"),
        ("min^-1", "rpm"),
        ("min-1", "rpm"),
        ("rev/min", "rpm"),
        ("r/min", "rpm"),
        ("1/min", "rpm"),
        ("RPM", "rpm"),
        ("1000 rpm", "krpm"),
        ("1000rpm", "krpm"),
        ("ozf", "oz"),
        ("lbf", "lb"),
        ("gf", "g"),
        ("rad/(V·s)", "rad/s/V"),
        ("rad/(s·V)", "rad/s/V"),
        ("rad/(V s)", "rad/s/V"),
        ("rad/V/s", "rad/s/V"),
        ("(rad/s)", "rad/s"),
        ("A/(N·m)", "A/N·m"),
        ("A/(N m)", "A/N·m"),
        ("V/(rad/s)", "V·s/rad"),
        ("V/rad/s", "V·s/rad"),
        ("Ω", "ohm"),
        ("Ω", "ohm"),
        ("Ohms", "ohm"),
        ("ohms", "ohm"),
        ("Ohm", "ohm"),
        ("²", "2"),
        ("^2", "2"),
        ("µ", "u"),
        ("μ", "u"),
        ("℃", "°C"),
        ("degC", "°C"),
    ] {
        plain = plain.replace(from, to);
    }
    let plain: String = plain
        .chars()
        .filter(|letter| !matches!(letter, ' ' | '·' | '⋅' | '*' | '.' | '-' | '\u{a0}'))
        .collect();
    plain.strip_prefix('°').unwrap_or(&plain).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn si(quantity: Quantity, text: &str) -> f64 {
        parse_si(quantity, text).expect(text)
    }

    #[test]
    fn val_volt_per_thousand_rpm() {
        // 60/(2 pi 1000) exactly: trade rule in any drives text.
        assert_relative_eq!(
            si(Quantity::MotorConstant, "1 V/krpm"),
            9.549_297e-3,
            max_relative = 1e-7
        );
        assert_relative_eq!(
            si(Quantity::MotorConstant, "1 V/1000 rpm"),
            9.549_297e-3,
            max_relative = 1e-7
        );
    }

    #[test]
    fn val_ounce_inch_and_pound_foot() {
        // NIST SP 811 (2008), appendix B.8: ounce (avoirdupois)-force inch 7.061 552 E-03 N·m; pound-force foot
        // 1.355 818 N·m; pound-force inch 1.129 848 E-01 N·m; kilogram-force meter 9.806 65 N·m.
        assert_relative_eq!(
            si(Quantity::Torque, "1 oz-in"),
            7.061_552e-3,
            max_relative = 1e-7
        );
        assert_relative_eq!(
            si(Quantity::Torque, "1 lbf·ft"),
            1.355_818,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            si(Quantity::Torque, "1 lb.in"),
            0.112_984_8,
            max_relative = 1e-6
        );
        assert_relative_eq!(
            si(Quantity::Torque, "100 kgf cm"),
            9.806_65,
            max_relative = 1e-12
        );
    }

    #[test]
    fn val_mass_ounce_square_inch() {
        // From memory: 1 oz·in² = 182.9 g·cm², 1 oz·in·s² = 70 615.5 g·cm².
        assert_relative_eq!(
            si(Quantity::Inertia, "1 oz·in²"),
            182.9e-7,
            max_relative = 1e-4
        );
        assert_relative_eq!(
            si(Quantity::Inertia, "1 oz-in-s^2"),
            70_615.5e-7,
            max_relative = 1e-6
        );
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
        assert_relative_eq!(
            unit.uncertainty_to_si(408.0, 4.08),
            0.01 * k,
            max_relative = 1e-12
        );
    }

    #[test]
    fn writings_of_one_unit_agree() {
        for text in [
            "23.4 mN·m/A",
            "23.4mNm/A",
            "23.4 mN.m/A",
            "23.4 mN*m/A",
            "23.4 mN-m/A",
        ] {
            assert_relative_eq!(
                si(Quantity::MotorConstant, text),
                0.0234,
                max_relative = 1e-12
            );
        }
        for text in ["12 gcm2", "12 g·cm²", "12 g cm^2"] {
            assert_relative_eq!(si(Quantity::Inertia, text), 1.2e-6, max_relative = 1e-12);
        }
        assert_relative_eq!(
            si(Quantity::Inductance, "230uH"),
            230e-6,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            si(Quantity::Inductance, "230 μH"),
            230e-6,
            max_relative = 1e-12
        );
        assert_relative_eq!(si(Quantity::Resistance, "1.2 Ohm"), 1.2);
        assert_relative_eq!(si(Quantity::Temperature, "25 °C"), 25.0);
        assert_relative_eq!(si(Quantity::Ratio, "85 %"), 0.85);
        assert_relative_eq!(si(Quantity::Ratio, "0.85"), 0.85);
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
            "\"mNm/A\" is no unit of torque; known are N·m, mN·m, µN·m, N·cm, oz·in, lb·in, lb·ft, g·cm, kg·cm"
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
}
