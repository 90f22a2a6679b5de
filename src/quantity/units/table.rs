//! The table of units.
//!
//! Factors are exact by definition (inch 0.0254 m, avoirdupois pound 0.453 592 37 kg, standard gravity 9.806 65 m/s²;
//! NIST SP 811, appendix B) unless π is in them.

use super::quantity::Quantity;
use super::unit::Unit;
use std::f64::consts::PI;

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
    unit(Quantity::Speed, "deg/s", PI / 180.0),
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
    unit(Quantity::Length, "m", 1.0),
    unit(Quantity::Length, "cm", 1e-2),
    unit(Quantity::Length, "mm", 1e-3),
    unit(Quantity::Length, "in", INCH),
    unit(Quantity::Mass, "kg", 1.0),
    unit(Quantity::Mass, "g", 1e-3),
    unit(Quantity::Mass, "lb", POUND),
    unit(Quantity::Mass, "oz", OUNCE),
    unit(Quantity::Force, "N", 1.0),
    unit(Quantity::Force, "mN", 1e-3),
    unit(Quantity::Force, "gf", 1e-3 * GRAVITY),
    unit(Quantity::Force, "kgf", GRAVITY),
    unit(Quantity::ThermalResistance, "K/W", 1.0),
    unit(Quantity::ThermalResistance, "°C/W", 1.0),
    unit(Quantity::Angle, "rad", 1.0),
    unit(Quantity::Angle, "deg", PI / 180.0),
];

/// The units of one quantity, SI first.
pub fn of(quantity: Quantity) -> impl Iterator<Item = &'static Unit> {
    UNITS.iter().filter(move |unit| unit.quantity == quantity)
}

/// The SI unit of a quantity.
pub fn si(quantity: Quantity) -> &'static Unit {
    of(quantity).next().unwrap_or(&UNITS[0])
}

/// The units of one quantity as they are printed, for messages.
pub(super) fn known(quantity: Quantity) -> String {
    let texts: Vec<&str> = of(quantity).map(|unit| unit.text).collect();
    texts.join(", ")
}

/// SI value of one of the unit that is printed as `text`, for the tables of other modules: a unit that is not in the table
/// fails when the program is compiled.
pub(crate) const fn factor(quantity: Quantity, text: &str) -> f64 {
    let mut at = 0;
    while at < UNITS.len() {
        let unit = &UNITS[at];
        if unit.quantity as u8 == quantity as u8 && same(unit.text.as_bytes(), text.as_bytes()) {
            return unit.factor;
        }
        at += 1;
    }
    panic!("the table lacks this unit")
}

/// Equality that a constant can use.
const fn same(one: &[u8], other: &[u8]) -> bool {
    if one.len() != other.len() {
        return false;
    }
    let mut at = 0;
    while at < one.len() {
        if one[at] != other[at] {
            return false;
        }
        at += 1;
    }
    true
}
