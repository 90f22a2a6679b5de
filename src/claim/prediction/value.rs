//! Value of an entry for one motor at the sheet's conditions.

use super::conditions::Factors;
use crate::claim::entry::Entry;
use crate::claim::sheet::{Sheet, Stall};
use crate::motor::thermal::ThermalNetwork;
use crate::motor::{OperatingPoint, TerminalParameters};
use crate::motor_file::ParameterName as Name;
use crate::motor_file::draw::{Known, ParameterSet};

/// `Ok(None)` where friction and load hold the rotor, where the winding passes its limit without a load, and of a thermal quantity without
/// `network`.
///
/// # Errors
/// What the file does not determine.
pub fn value(
    entry: Entry,
    sheet: &Sheet,
    motor: &ParameterSet,
    factors: Factors,
    network: Option<ThermalNetwork>,
) -> Known<Option<f64>> {
    let k = || -> Known { Ok(factors.constant * motor.value(Name::BackEmfConstant)?) };
    let resistance =
        || -> Known { Ok(factors.resistance * motor.value(Name::TerminalResistance)?) };
    let steady = || -> Known<TerminalParameters> { Ok(factors.applied(motor.steady()?)) };
    let held = |voltage| -> Known<OperatingPoint> {
        Ok(factors.applied(motor.held()?).rotor_held(voltage))
    };
    let voltage = sheet.nominal_voltage_v.unwrap_or(0.0);
    let value = match entry {
        Entry::TerminalResistance => resistance()?,
        Entry::TorqueConstant | Entry::BackEmfConstant | Entry::SpeedConstant => k()?,
        Entry::ArmatureInductance => {
            let low_frequency = motor.value(Name::ArmatureInductance)?;
            let claimed = sheet.claims.get(&entry);
            match claimed.and_then(|claim| claim.frequency_hz) {
                Some(hz) => screened(motor, low_frequency, hz),
                None => low_frequency,
            }
        }
        Entry::RotorInertia => motor.value(Name::RotorInertia)?,
        Entry::FrictionTorque => factors.friction * motor.value(Name::CoulombFrictionTorque)?,
        Entry::ElectricalTimeConstant => motor.value(Name::ArmatureInductance)? / resistance()?,
        Entry::MechanicalTimeConstant => {
            let capacitance = motor.value(Name::InertiaCapacitance)?;
            capacitance / (factors.constant * factors.constant) * resistance()?
        }
        Entry::StallCurrent => held(voltage)?.current_a,
        Entry::StallTorque => match sheet.stall {
            Stall::Extrapolated => {
                let stall_a = steady()?.extrapolated_stall_a(voltage);
                return stall_a.map(|stall_a| Ok(k()? * stall_a)).transpose();
            }
            Stall::Measured { .. } => steady()?.rotor_held(voltage).torque_nm(k()?),
        },
        Entry::ThermalResistance
        | Entry::WindingHousingResistance
        | Entry::HousingAmbientResistance
        | Entry::WindingThermalTimeConstant
        | Entry::HousingThermalTimeConstant => {
            return Ok(network.map(|network| of_network(entry, &network)));
        }
        Entry::ContinuousCurrent | Entry::ContinuousTorque => {
            let (Some(network), Some(limit_c)) = (network, sheet.winding_limit_c) else {
                return Ok(None);
            };
            let rise_k = limit_c - sheet.ambient_c;
            let Some(point) = network.continuous(rise_k, voltage, &steady()?, 0.0) else {
                return Ok(None);
            };
            match entry {
                Entry::ContinuousTorque => point.torque_nm(k()?),
                _ => point.current_a,
            }
        }
        Entry::NoLoadSpeed
        | Entry::NoLoadCurrent
        | Entry::RatedSpeed
        | Entry::RatedCurrent
        | Entry::MaximumEfficiency
        | Entry::MaximumPower => {
            let Some(point) = turning(entry, sheet, &steady()?, k)? else {
                return Ok(None);
            };
            match entry {
                Entry::NoLoadSpeed | Entry::RatedSpeed => point.speed_rad_s(k()?),
                Entry::MaximumEfficiency => point.efficiency(),
                Entry::MaximumPower => point.shaft_power_w(),
                _ => point.current_a,
            }
        }
    };
    Ok(Some(value))
}

/// Resistance or time constant of the thermal network.
fn of_network(entry: Entry, network: &ThermalNetwork) -> f64 {
    let (r1, r2) = (
        network.winding_to_housing_k_per_w,
        network.housing_to_ambient_k_per_w,
    );
    match entry {
        Entry::WindingHousingResistance => r1,
        Entry::HousingAmbientResistance => r2,
        Entry::WindingThermalTimeConstant => r1 * network.winding_j_per_k,
        Entry::HousingThermalTimeConstant => r2 * network.housing_j_per_k,
        _ => network.total_k_per_w(),
    }
}

/// What an inductance meter reads at a frequency of a motor with this inductance at low frequency, H.
fn screened(motor: &ParameterSet, inductance_h: f64, frequency_hz: f64) -> f64 {
    let motor = TerminalParameters {
        armature_inductance_h: inductance_h,
        ..motor.terms()
    };
    motor.inductance_at_h(0.0, frequency_hz)
}

/// The operating point at which an entry holds.
fn turning(
    entry: Entry,
    sheet: &Sheet,
    motor: &TerminalParameters,
    k: impl Fn() -> Known,
) -> Known<Option<OperatingPoint>> {
    let voltage = sheet.nominal_voltage_v.unwrap_or(0.0);
    Ok(match entry {
        Entry::MaximumEfficiency => motor.greatest(voltage, OperatingPoint::efficiency),
        Entry::MaximumPower => motor.greatest(voltage, OperatingPoint::shaft_power_w),
        Entry::RatedSpeed | Entry::RatedCurrent => {
            motor.under_load(voltage, sheet.rated_torque_nm.unwrap_or(0.0) / k()?)
        }
        _ => motor.no_load(voltage),
    })
}

/// The parameter of the motor file that an entry is, up to the temperature; `None` for steady states.
pub fn parameter_of(entry: Entry) -> Option<Name> {
    Some(match entry {
        Entry::TerminalResistance => Name::TerminalResistance,
        Entry::ArmatureInductance => Name::ArmatureInductance,
        Entry::TorqueConstant | Entry::BackEmfConstant | Entry::SpeedConstant => {
            Name::BackEmfConstant
        }
        Entry::RotorInertia => Name::RotorInertia,
        Entry::FrictionTorque => Name::CoulombFrictionTorque,
        Entry::ElectricalTimeConstant => Name::ElectricalTimeConstant,
        Entry::MechanicalTimeConstant => Name::MechanicalTimeConstant,
        Entry::StallCurrent
        | Entry::StallTorque
        | Entry::NoLoadSpeed
        | Entry::NoLoadCurrent
        | Entry::RatedSpeed
        | Entry::RatedCurrent
        | Entry::MaximumEfficiency
        | Entry::MaximumPower
        | Entry::ThermalResistance
        | Entry::WindingHousingResistance
        | Entry::HousingAmbientResistance
        | Entry::WindingThermalTimeConstant
        | Entry::HousingThermalTimeConstant
        | Entry::ContinuousCurrent
        | Entry::ContinuousTorque => return None,
    })
}
