//! What a vendor prints: the names of the entries and their quantities.

use crate::motor_file::ThermalName;
use crate::quantity::units::Quantity;

/// One entry of a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Entry {
    /// R.
    TerminalResistance,
    /// L.
    ArmatureInductance,
    /// K told as torque over current.
    TorqueConstant,
    /// K told as voltage over speed.
    BackEmfConstant,
    /// K told as speed over voltage.
    SpeedConstant,
    /// J.
    RotorInertia,
    /// Coulomb friction torque T_c.
    FrictionTorque,
    /// Without load at the nominal voltage.
    NoLoadSpeed,
    /// Without load at the nominal voltage.
    NoLoadCurrent,
    /// Rotor held at the nominal voltage.
    StallTorque,
    /// Rotor held at the nominal voltage.
    StallCurrent,
    /// At `rated_torque`.
    RatedSpeed,
    /// At `rated_torque`.
    RatedCurrent,
    /// L/R.
    ElectricalTimeConstant,
    /// R J/K².
    MechanicalTimeConstant,
    /// Shaft power over electrical power, at the load where it is greatest.
    MaximumEfficiency,
    /// Shaft power at the load where it is greatest.
    MaximumPower,
    /// R_th1 + R_th2, winding to ambient.
    ThermalResistance,
    /// R_th1.
    WindingHousingResistance,
    /// R_th2.
    HousingAmbientResistance,
    /// R_th1 C_th1.
    WindingThermalTimeConstant,
    /// R_th2 C_th2.
    HousingThermalTimeConstant,
    /// That warms the winding to its limit at the nominal voltage.
    ContinuousCurrent,
    /// At that current.
    ContinuousTorque,
}

impl Entry {
    /// Every entry, in the order of tables.
    pub const ALL: [Entry; 24] = [
        Entry::TerminalResistance,
        Entry::ArmatureInductance,
        Entry::TorqueConstant,
        Entry::BackEmfConstant,
        Entry::SpeedConstant,
        Entry::RotorInertia,
        Entry::FrictionTorque,
        Entry::NoLoadSpeed,
        Entry::NoLoadCurrent,
        Entry::StallTorque,
        Entry::StallCurrent,
        Entry::RatedSpeed,
        Entry::RatedCurrent,
        Entry::ElectricalTimeConstant,
        Entry::MechanicalTimeConstant,
        Entry::MaximumEfficiency,
        Entry::MaximumPower,
        Entry::ThermalResistance,
        Entry::WindingHousingResistance,
        Entry::HousingAmbientResistance,
        Entry::WindingThermalTimeConstant,
        Entry::HousingThermalTimeConstant,
        Entry::ContinuousCurrent,
        Entry::ContinuousTorque,
    ];

    /// The key in the sheet.
    pub fn key(self) -> &'static str {
        match self {
            Entry::TerminalResistance => "terminal_resistance",
            Entry::ArmatureInductance => "armature_inductance",
            Entry::TorqueConstant => "torque_constant",
            Entry::BackEmfConstant => "back_emf_constant",
            Entry::SpeedConstant => "speed_constant",
            Entry::RotorInertia => "rotor_inertia",
            Entry::FrictionTorque => "friction_torque",
            Entry::NoLoadSpeed => "no_load_speed",
            Entry::NoLoadCurrent => "no_load_current",
            Entry::StallTorque => "stall_torque",
            Entry::StallCurrent => "stall_current",
            Entry::RatedSpeed => "rated_speed",
            Entry::RatedCurrent => "rated_current",
            Entry::ElectricalTimeConstant => "electrical_time_constant",
            Entry::MechanicalTimeConstant => "mechanical_time_constant",
            Entry::MaximumEfficiency => "maximum_efficiency",
            Entry::MaximumPower => "maximum_power",
            Entry::ThermalResistance => "thermal_resistance",
            Entry::WindingHousingResistance => "winding_housing_resistance",
            Entry::HousingAmbientResistance => "housing_ambient_resistance",
            Entry::WindingThermalTimeConstant => "winding_thermal_time_constant",
            Entry::HousingThermalTimeConstant => "housing_thermal_time_constant",
            Entry::ContinuousCurrent => "continuous_current",
            Entry::ContinuousTorque => "continuous_torque",
        }
    }

    /// The entry with this key.
    pub fn from_key(key: &str) -> Option<Entry> {
        Entry::ALL.into_iter().find(|entry| entry.key() == key)
    }

    /// Words for the person.
    pub fn words(self) -> String {
        self.key()
            .replace("back_emf", "back-EMF")
            .replace("no_load", "no-load")
            .replace('_', " ")
    }

    /// Kind of quantity.
    pub fn quantity(self) -> Quantity {
        match self {
            Entry::TerminalResistance => Quantity::Resistance,
            Entry::ArmatureInductance => Quantity::Inductance,
            Entry::TorqueConstant | Entry::BackEmfConstant | Entry::SpeedConstant => {
                Quantity::MotorConstant
            }
            Entry::RotorInertia => Quantity::Inertia,
            Entry::FrictionTorque | Entry::StallTorque | Entry::ContinuousTorque => {
                Quantity::Torque
            }
            Entry::NoLoadSpeed | Entry::RatedSpeed => Quantity::Speed,
            Entry::NoLoadCurrent
            | Entry::StallCurrent
            | Entry::RatedCurrent
            | Entry::ContinuousCurrent => Quantity::Current,
            Entry::ElectricalTimeConstant
            | Entry::MechanicalTimeConstant
            | Entry::WindingThermalTimeConstant
            | Entry::HousingThermalTimeConstant => Quantity::Time,
            Entry::ThermalResistance
            | Entry::WindingHousingResistance
            | Entry::HousingAmbientResistance => Quantity::ThermalResistance,
            Entry::MaximumEfficiency => Quantity::Ratio,
            Entry::MaximumPower => Quantity::Power,
        }
    }

    /// True for what holds at the nominal voltage only.
    pub fn needs_voltage(self) -> bool {
        matches!(
            self,
            Entry::NoLoadSpeed
                | Entry::NoLoadCurrent
                | Entry::StallTorque
                | Entry::StallCurrent
                | Entry::RatedSpeed
                | Entry::RatedCurrent
                | Entry::MaximumEfficiency
                | Entry::MaximumPower
                | Entry::ContinuousCurrent
                | Entry::ContinuousTorque
        )
    }

    /// True for what holds at the winding's limit only.
    pub fn needs_winding_limit(self) -> bool {
        matches!(self, Entry::ContinuousCurrent | Entry::ContinuousTorque)
    }

    /// The quantity of the thermal model that it is.
    pub fn thermal(self) -> Option<ThermalName> {
        Some(match self {
            Entry::ThermalResistance => ThermalName::WindingToAmbientResistance,
            Entry::WindingHousingResistance => ThermalName::WindingToHousingResistance,
            Entry::HousingAmbientResistance => ThermalName::HousingToAmbientResistance,
            Entry::WindingThermalTimeConstant => ThermalName::WindingTimeConstant,
            Entry::HousingThermalTimeConstant => ThermalName::HousingTimeConstant,
            // They follow from the whole resistance.
            Entry::ContinuousCurrent | Entry::ContinuousTorque => {
                ThermalName::WindingToAmbientResistance
            }
            _ => return None,
        })
    }

    /// True for what holds at the rated torque only.
    pub fn needs_rated_torque(self) -> bool {
        matches!(self, Entry::RatedSpeed | Entry::RatedCurrent)
    }
}
