//! The kinds of quantity that have units here.

use std::fmt;

/// Kind of quantity. Torque and energy share a dimension, as do back-EMF and torque constant, so dimensions alone would not do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Quantity {
    /// Ω.
    Resistance,
    /// H.
    Inductance,
    /// V·s/rad or N·m/A: K as back-EMF or torque constant, or the speed constant as its reciprocal.
    MotorConstant,
    /// N·m.
    Torque,
    /// N·m·s/rad.
    ViscousFriction,
    /// N·m·s²/rad².
    Windage,
    /// kg·m².
    Inertia,
    /// V.
    Voltage,
    /// A.
    Current,
    /// rad/s.
    Speed,
    /// F.
    Capacitance,
    /// S.
    Conductance,
    /// s.
    Time,
    /// W.
    Power,
    /// J.
    Energy,
    /// Hz.
    Frequency,
    /// Plain number; `%` is 0.01.
    Ratio,
    /// Degrees Celsius, kept as such.
    Temperature,
    /// m.
    Length,
    /// kg.
    Mass,
    /// N.
    Force,
    /// rad.
    Angle,
    /// K/W.
    ThermalResistance,
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
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
            Quantity::Length => "length",
            Quantity::Mass => "mass",
            Quantity::Force => "force",
            Quantity::Angle => "angle",
            Quantity::ThermalResistance => "thermal resistance",
        })
    }
}
