//! The names of the parameters, fixed for every reader of the file.

use crate::quantity::units::Quantity;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A parameter of the motor. The order of the variants is the order in which tables show them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ParameterName {
    /// R, Ω: winding and brushes between the terminals, without the brush drop.
    TerminalResistance,
    /// L, H.
    ArmatureInductance,
    /// K, V·s/rad; the torque constant in N·m/A is the same number.
    BackEmfConstant,
    /// T_c, N·m.
    CoulombFrictionTorque,
    /// B, N·m·s/rad.
    ViscousFriction,
    /// C_w, N·m·s²/rad².
    Windage,
    /// J, kg·m².
    RotorInertia,
    /// V_b, V: contact drop of both brushes together.
    BrushDrop,
    /// C_m = J/K², F: the rotor as the terminals see it.
    InertiaCapacitance,
    /// I_c = T_c/K, A.
    FrictionCurrent,
    /// G_v = B/K², S.
    ViscousConductance,
    /// L/R, s.
    ElectricalTimeConstant,
    /// R J/K², s.
    MechanicalTimeConstant,
    /// T_c + B ω + C_w ω² at the speed of the free run, N·m.
    FrictionTorqueAtSpeed,
    /// The same over K, A: the no-load current at that speed.
    FrictionCurrentAtSpeed,
}

impl ParameterName {
    /// Every name, in table order.
    pub const ALL: [ParameterName; 15] = [
        ParameterName::TerminalResistance,
        ParameterName::ArmatureInductance,
        ParameterName::BackEmfConstant,
        ParameterName::CoulombFrictionTorque,
        ParameterName::ViscousFriction,
        ParameterName::Windage,
        ParameterName::RotorInertia,
        ParameterName::BrushDrop,
        ParameterName::InertiaCapacitance,
        ParameterName::FrictionCurrent,
        ParameterName::ViscousConductance,
        ParameterName::ElectricalTimeConstant,
        ParameterName::MechanicalTimeConstant,
        ParameterName::FrictionTorqueAtSpeed,
        ParameterName::FrictionCurrentAtSpeed,
    ];

    /// The key in the file.
    pub fn key(self) -> &'static str {
        match self {
            ParameterName::TerminalResistance => "terminal_resistance",
            ParameterName::ArmatureInductance => "armature_inductance",
            ParameterName::BackEmfConstant => "back_emf_constant",
            ParameterName::CoulombFrictionTorque => "coulomb_friction_torque",
            ParameterName::ViscousFriction => "viscous_friction",
            ParameterName::Windage => "windage",
            ParameterName::RotorInertia => "rotor_inertia",
            ParameterName::BrushDrop => "brush_drop",
            ParameterName::InertiaCapacitance => "inertia_capacitance",
            ParameterName::FrictionCurrent => "friction_current",
            ParameterName::ViscousConductance => "viscous_conductance",
            ParameterName::ElectricalTimeConstant => "electrical_time_constant",
            ParameterName::MechanicalTimeConstant => "mechanical_time_constant",
            ParameterName::FrictionTorqueAtSpeed => "friction_torque_at_speed",
            ParameterName::FrictionCurrentAtSpeed => "friction_current_at_speed",
        }
    }

    /// The name with this key.
    pub fn from_key(key: &str) -> Option<ParameterName> {
        ParameterName::ALL
            .into_iter()
            .find(|name| name.key() == key)
    }

    /// Words for the person.
    pub fn label(self) -> &'static str {
        match self {
            ParameterName::TerminalResistance => "terminal resistance",
            ParameterName::ArmatureInductance => "armature inductance",
            ParameterName::BackEmfConstant => "back-EMF constant",
            ParameterName::CoulombFrictionTorque => "Coulomb friction torque",
            ParameterName::ViscousFriction => "viscous friction",
            ParameterName::Windage => "windage",
            ParameterName::RotorInertia => "rotor inertia",
            ParameterName::BrushDrop => "brush drop",
            ParameterName::InertiaCapacitance => "electrical equivalent of inertia",
            ParameterName::FrictionCurrent => "friction-equivalent current",
            ParameterName::ViscousConductance => "viscous conductance",
            ParameterName::ElectricalTimeConstant => "electrical time constant",
            ParameterName::MechanicalTimeConstant => "mechanical time constant",
            ParameterName::FrictionTorqueAtSpeed => "friction torque at speed",
            ParameterName::FrictionCurrentAtSpeed => "no-load current at speed",
        }
    }

    /// The letter of the literature.
    pub fn symbol(self) -> &'static str {
        match self {
            ParameterName::TerminalResistance => "R",
            ParameterName::ArmatureInductance => "L",
            ParameterName::BackEmfConstant => "K",
            ParameterName::CoulombFrictionTorque => "T_c",
            ParameterName::ViscousFriction => "B",
            ParameterName::Windage => "C_w",
            ParameterName::RotorInertia => "J",
            ParameterName::BrushDrop => "V_b",
            ParameterName::InertiaCapacitance => "C_m",
            ParameterName::FrictionCurrent => "I_c",
            ParameterName::ViscousConductance => "G_v",
            ParameterName::ElectricalTimeConstant => "tau_e",
            ParameterName::MechanicalTimeConstant => "tau_m",
            ParameterName::FrictionTorqueAtSpeed => "T_f",
            ParameterName::FrictionCurrentAtSpeed => "I_f",
        }
    }

    /// The SI unit as a UCUM code (case-sensitive), as the file writes it.
    pub fn ucum(self) -> &'static str {
        match self {
            ParameterName::TerminalResistance => "Ohm",
            ParameterName::ArmatureInductance => "H",
            ParameterName::BackEmfConstant => "V.s/rad",
            ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => "N.m",
            ParameterName::ViscousFriction => "N.m.s/rad",
            ParameterName::Windage => "N.m.s2/rad2",
            ParameterName::RotorInertia => "kg.m2",
            ParameterName::BrushDrop => "V",
            ParameterName::InertiaCapacitance => "F",
            ParameterName::FrictionCurrent | ParameterName::FrictionCurrentAtSpeed => "A",
            ParameterName::ViscousConductance => "S",
            ParameterName::ElectricalTimeConstant | ParameterName::MechanicalTimeConstant => "s",
        }
    }

    /// The SI unit as a person writes it.
    pub fn si(self) -> &'static str {
        match self {
            ParameterName::TerminalResistance => "Ω",
            ParameterName::BackEmfConstant => "V·s/rad",
            ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => "N·m",
            ParameterName::ViscousFriction => "N·m·s/rad",
            ParameterName::Windage => "N·m·s²/rad²",
            ParameterName::RotorInertia => "kg·m²",
            other => other.ucum(),
        }
    }

    /// The kind of quantity, for unit conversion.
    pub fn quantity(self) -> Quantity {
        match self {
            ParameterName::TerminalResistance => Quantity::Resistance,
            ParameterName::ArmatureInductance => Quantity::Inductance,
            ParameterName::BackEmfConstant => Quantity::MotorConstant,
            ParameterName::CoulombFrictionTorque | ParameterName::FrictionTorqueAtSpeed => {
                Quantity::Torque
            }
            ParameterName::ViscousFriction => Quantity::ViscousFriction,
            ParameterName::Windage => Quantity::Windage,
            ParameterName::RotorInertia => Quantity::Inertia,
            ParameterName::BrushDrop => Quantity::Voltage,
            ParameterName::InertiaCapacitance => Quantity::Capacitance,
            ParameterName::FrictionCurrent | ParameterName::FrictionCurrentAtSpeed => {
                Quantity::Current
            }
            ParameterName::ViscousConductance => Quantity::Conductance,
            ParameterName::ElectricalTimeConstant | ParameterName::MechanicalTimeConstant => {
                Quantity::Time
            }
        }
    }

    /// True for what may be exactly zero in a real motor (friction terms and the brush drop), false for what must be
    /// above zero.
    pub fn may_be_zero(self) -> bool {
        matches!(
            self,
            ParameterName::CoulombFrictionTorque
                | ParameterName::ViscousFriction
                | ParameterName::Windage
                | ParameterName::BrushDrop
                | ParameterName::FrictionCurrent
                | ParameterName::ViscousConductance
        )
    }
}

impl fmt::Display for ParameterName {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(self.label())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_of_the_file_are_those_serde_writes_and_each_is_found_again() {
        for name in ParameterName::ALL {
            let written = serde_json::to_value(name).expect("a name is a string");
            assert_eq!(written, name.key());
            assert_eq!(ParameterName::from_key(name.key()), Some(name));
        }
        assert_eq!(ParameterName::from_key("Windage"), None);
    }

    #[test]
    fn table_order_is_the_order_of_the_variants() {
        assert!(ParameterName::ALL.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
