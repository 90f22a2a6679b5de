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

/// Key on a sheet and quantity, in the order of [`Entry`].
#[rustfmt::skip]
const ROWS: [(Entry, &str, Quantity); 24] = {
    use Entry::*;
    [
        (TerminalResistance, "terminal_resistance", Quantity::Resistance),
        (ArmatureInductance, "armature_inductance", Quantity::Inductance),
        (TorqueConstant, "torque_constant", Quantity::MotorConstant),
        (BackEmfConstant, "back_emf_constant", Quantity::MotorConstant),
        (SpeedConstant, "speed_constant", Quantity::MotorConstant),
        (RotorInertia, "rotor_inertia", Quantity::Inertia),
        (FrictionTorque, "friction_torque", Quantity::Torque),
        (NoLoadSpeed, "no_load_speed", Quantity::Speed),
        (NoLoadCurrent, "no_load_current", Quantity::Current),
        (StallTorque, "stall_torque", Quantity::Torque),
        (StallCurrent, "stall_current", Quantity::Current),
        (RatedSpeed, "rated_speed", Quantity::Speed),
        (RatedCurrent, "rated_current", Quantity::Current),
        (ElectricalTimeConstant, "electrical_time_constant", Quantity::Time),
        (MechanicalTimeConstant, "mechanical_time_constant", Quantity::Time),
        (MaximumEfficiency, "maximum_efficiency", Quantity::Ratio),
        (MaximumPower, "maximum_power", Quantity::Power),
        (ThermalResistance, "thermal_resistance", Quantity::ThermalResistance),
        (WindingHousingResistance, "winding_housing_resistance", Quantity::ThermalResistance),
        (HousingAmbientResistance, "housing_ambient_resistance", Quantity::ThermalResistance),
        (WindingThermalTimeConstant, "winding_thermal_time_constant", Quantity::Time),
        (HousingThermalTimeConstant, "housing_thermal_time_constant", Quantity::Time),
        (ContinuousCurrent, "continuous_current", Quantity::Current),
        (ContinuousTorque, "continuous_torque", Quantity::Torque),
    ]
};

impl Entry {
    /// Every entry, in the order of tables.
    pub fn all() -> impl Iterator<Item = Entry> {
        ROWS.iter().map(|row| row.0)
    }

    /// The key in the sheet.
    pub fn key(self) -> &'static str {
        ROWS[self as usize].1
    }

    /// The entry with this key.
    pub fn from_key(key: &str) -> Option<Entry> {
        Entry::all().find(|entry| entry.key() == key)
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
        ROWS[self as usize].2
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
