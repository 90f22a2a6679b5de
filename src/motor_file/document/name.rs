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

/// In the order of the variants: key in the file, words, letter of the literature, UCUM code of the SI unit, the same as a person writes it.
#[rustfmt::skip]
const ROWS: [([&str; 5], Quantity); ParameterName::ALL.len()] = [
    (["terminal_resistance", "terminal resistance", "R", "Ohm", "Ω"], Quantity::Resistance),
    (["armature_inductance", "armature inductance", "L", "H", "H"], Quantity::Inductance),
    (["back_emf_constant", "back-EMF constant", "K", "V.s/rad", "V·s/rad"], Quantity::MotorConstant),
    (["coulomb_friction_torque", "Coulomb friction torque", "T_c", "N.m", "N·m"], Quantity::Torque),
    (["viscous_friction", "viscous friction", "B", "N.m.s/rad", "N·m·s/rad"], Quantity::ViscousFriction),
    (["windage", "windage", "C_w", "N.m.s2/rad2", "N·m·s²/rad²"], Quantity::Windage),
    (["rotor_inertia", "rotor inertia", "J", "kg.m2", "kg·m²"], Quantity::Inertia),
    (["brush_drop", "brush drop", "V_b", "V", "V"], Quantity::Voltage),
    (["inertia_capacitance", "electrical equivalent of inertia", "C_m", "F", "F"], Quantity::Capacitance),
    (["friction_current", "friction-equivalent current", "I_c", "A", "A"], Quantity::Current),
    (["viscous_conductance", "viscous conductance", "G_v", "S", "S"], Quantity::Conductance),
    (["electrical_time_constant", "electrical time constant", "tau_e", "s", "s"], Quantity::Time),
    (["mechanical_time_constant", "mechanical time constant", "tau_m", "s", "s"], Quantity::Time),
    (["friction_torque_at_speed", "friction torque at speed", "T_f", "N.m", "N·m"], Quantity::Torque),
    (["friction_current_at_speed", "no-load current at speed", "I_f", "A", "A"], Quantity::Current),
];

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
        self.cell(0)
    }

    /// The name with this key.
    pub fn from_key(key: &str) -> Option<ParameterName> {
        ParameterName::ALL
            .into_iter()
            .find(|name| name.key() == key)
    }

    /// Words for the person.
    pub fn label(self) -> &'static str {
        self.cell(1)
    }

    /// The letter of the literature.
    pub fn symbol(self) -> &'static str {
        self.cell(2)
    }

    /// The SI unit as a UCUM code (case-sensitive), as the file writes it.
    pub fn ucum(self) -> &'static str {
        self.cell(3)
    }

    /// The SI unit as a person writes it.
    pub fn si(self) -> &'static str {
        self.cell(4)
    }

    /// A cell of the row of this name in [`ROWS`].
    fn cell(self, column: usize) -> &'static str {
        ROWS[self as usize].0[column]
    }

    /// The kind of quantity, for unit conversion.
    pub fn quantity(self) -> Quantity {
        ROWS[self as usize].1
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
