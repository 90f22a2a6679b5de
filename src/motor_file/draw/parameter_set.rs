//! The parameters of one motor that a file allows, and what follows from them.

use super::finer_terms::{finer_terms, set};
use crate::motor::{MechanicalParameters, TerminalParameters};
use crate::motor_file::{MotorFile, ParameterName, Status, TermName};
use ParameterName as Name;

/// A value in SI units, or the parameter that would have to be determined for it.
pub type Known<T = f64> = Result<T, ParameterName>;

/// What the file says of one parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Entry {
    /// No part of the file, or left to follow from the others.
    Absent,
    Undetermined,
    Value(f64),
}

/// Parameters that follow from what the terminals see and K.
const MECHANICAL: [Name; 3] = [
    Name::RotorInertia,
    Name::CoulombFrictionTorque,
    Name::ViscousFriction,
];

/// One motor: the estimate of a file, a corner of it or a draw from its covariance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ParameterSet {
    entries: [Entry; Name::ALL.len()],
    /// A motor of nothing but the finer terms; its windage is that of a file whose windage torque has no value.
    terms: TerminalParameters,
}

impl ParameterSet {
    /// The estimate of a file.
    pub fn estimate(file: &MotorFile) -> ParameterSet {
        ParameterSet {
            entries: Name::ALL.map(|name| match file.parameters.get(&name) {
                None => Entry::Absent,
                Some(parameter) => match parameter.value {
                    Some(value) if parameter.status != Status::Undetermined => Entry::Value(value),
                    _ => Entry::Undetermined,
                },
            }),
            terms: finer_terms(file),
        }
    }

    /// Value that the parameter has of its own, not by way of others.
    pub fn own(&self, name: Name) -> Option<f64> {
        match self.entries[name as usize] {
            Entry::Value(value) => Some(value),
            Entry::Absent | Entry::Undetermined => None,
        }
    }

    /// The same motor with another value of one parameter.
    pub fn with(mut self, name: Name, value: f64) -> ParameterSet {
        self.set(name, value);
        self
    }

    /// Gives one parameter another value.
    pub(super) fn set(&mut self, name: Name, value: f64) {
        self.entries[name as usize] = Entry::Value(value);
    }

    /// Gives one finer term another value.
    pub(super) fn set_term(&mut self, name: TermName, value: f64) {
        set(&mut self.terms, name, value);
    }

    /// The same motor with one parameter left to follow from the others.
    pub fn without(mut self, name: Name) -> ParameterSet {
        self.entries[name as usize] = Entry::Absent;
        self
    }

    /// Value of a parameter. Friction terms and a brush drop that the file does not hold are no part of the model and count as 0.
    ///
    /// # Errors
    /// What is not determined.
    pub fn value(&self, name: Name) -> Known {
        match name {
            Name::InertiaCapacitance => self.own_or(name, Name::RotorInertia, |j, k| j / (k * k)),
            Name::FrictionCurrent => self.own_or(name, Name::CoulombFrictionTorque, |t, k| t / k),
            Name::ViscousConductance => {
                self.own_or(name, Name::ViscousFriction, |b, k| b / (k * k))
            }
            Name::RotorInertia => self.own_or(name, Name::InertiaCapacitance, |c, k| c * (k * k)),
            Name::CoulombFrictionTorque => self.own_or(name, Name::FrictionCurrent, |i, k| i * k),
            Name::ViscousFriction => {
                self.own_or(name, Name::ViscousConductance, |g, k| g * (k * k))
            }
            Name::ElectricalTimeConstant => {
                Ok(self.value(Name::ArmatureInductance)? / self.value(Name::TerminalResistance)?)
            }
            Name::MechanicalTimeConstant => {
                Ok(self.value(Name::InertiaCapacitance)? * self.value(Name::TerminalResistance)?)
            }
            Name::FrictionTorqueAtSpeed | Name::FrictionCurrentAtSpeed => {
                self.own(name).ok_or(name)
            }
            Name::Windage => match (self.entries[name as usize], self.own(Name::BackEmfConstant)) {
                (Entry::Value(value), _) => Ok(value),
                (Entry::Absent, Some(k)) => Ok(self.terms.windage_a_per_v2 * (k * k * k)),
                (Entry::Absent, None) => Ok(0.0),
                (Entry::Undetermined, _) => Err(name),
            },
            Name::TerminalResistance
            | Name::ArmatureInductance
            | Name::BackEmfConstant
            | Name::BrushDrop => match self.entries[name as usize] {
                Entry::Value(value) => Ok(value),
                Entry::Absent if name.may_be_zero() => Ok(0.0),
                _ => Err(name),
            },
        }
    }

    /// Value of `name`, its own or by `convert` from its counterpart on the other side of K and K itself.
    fn own_or(&self, name: Name, counterpart: Name, convert: fn(f64, f64) -> f64) -> Known {
        let entry = |name: Name| self.entries[name as usize];
        match (
            entry(name),
            entry(counterpart),
            entry(Name::BackEmfConstant),
        ) {
            (Entry::Value(value), ..) => Ok(value),
            (_, Entry::Value(value), Entry::Value(k)) => Ok(convert(value, k)),
            (Entry::Absent, Entry::Absent, _) if name.may_be_zero() => Ok(0.0),
            // Of a motor without terminal parameters the mechanical ones are missing.
            (Entry::Absent, ..) if MECHANICAL.contains(&counterpart) => Err(counterpart),
            _ => Err(name),
        }
    }

    /// A motor of nothing but the finer terms of the model.
    pub fn terms(&self) -> TerminalParameters {
        self.terms
    }

    /// W = C_w/K³, A/V²; the model term where the torque has no value of its own.
    pub fn windage_a_per_v2(&self) -> f64 {
        match (self.own(Name::Windage), self.own(Name::BackEmfConstant)) {
            (Some(windage), Some(k)) => windage / (k * k * k),
            _ => self.terms.windage_a_per_v2,
        }
    }

    /// The motor with its rotor held, as its terminals see it: resistance, brush drop and finer terms; no friction, and nothing
    /// that stores energy.
    ///
    /// # Errors
    /// The first parameter that is not determined.
    pub fn held(&self) -> Known<TerminalParameters> {
        Ok(TerminalParameters {
            terminal_resistance_ohm: self.value(Name::TerminalResistance)?,
            brush_drop_v: self.value(Name::BrushDrop)?,
            windage_a_per_v2: 0.0,
            ..self.terms
        })
    }

    /// The same with friction: all that steady states need.
    ///
    /// # Errors
    /// The first parameter that is not determined.
    pub fn steady(&self) -> Known<TerminalParameters> {
        let held = self.held()?;
        Ok(TerminalParameters {
            friction_current_a: self.value(Name::FrictionCurrent)?,
            viscous_conductance_s: self.value(Name::ViscousConductance)?,
            windage_a_per_v2: self.windage_a_per_v2(),
            ..held
        })
    }

    /// The whole motor as its terminals see it: what a simulation takes.
    ///
    /// # Errors
    /// The first parameter that is not determined.
    pub fn terminal(&self) -> Known<TerminalParameters> {
        let steady = self.steady()?;
        Ok(TerminalParameters {
            armature_inductance_h: self.value(Name::ArmatureInductance)?,
            inertia_capacitance_f: self.value(Name::InertiaCapacitance)?,
            ..steady
        })
    }

    /// The mechanical side.
    ///
    /// # Errors
    /// The first parameter that is not determined.
    pub fn mechanical(&self) -> Known<MechanicalParameters> {
        Ok(MechanicalParameters {
            back_emf_constant_v_s_per_rad: self.value(Name::BackEmfConstant)?,
            rotor_inertia_kg_m2: self.value(Name::RotorInertia)?,
            coulomb_friction_nm: self.value(Name::CoulombFrictionTorque)?,
            viscous_friction_nm_s_per_rad: self.value(Name::ViscousFriction)?,
            windage_nm_s2_per_rad2: self.value(Name::Windage)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motor_file::{ModelTerms, Parameter, Term, table};
    use approx::assert_relative_eq;

    fn file(values: &[(Name, f64)]) -> MotorFile {
        let mut file = table::tests::empty();
        for (name, value) in values {
            let parameter = Parameter::measured(*name, *value, 0.0, (*value, *value), 0.95);
            file.parameters.insert(*name, parameter);
        }
        file
    }

    #[test]
    fn the_simulation_gets_the_values_of_the_file() {
        let mut file = file(&[]);
        assert_eq!(
            ParameterSet::estimate(&file).terminal(),
            Err(Name::TerminalResistance)
        );
        file = self::file(&[
            (Name::TerminalResistance, 3.0),
            (Name::ArmatureInductance, 1e-3),
            (Name::InertiaCapacitance, 2e-3),
            (Name::FrictionCurrent, 0.1),
            (Name::BackEmfConstant, 0.02),
            (Name::Windage, 8e-10),
        ]);
        let p = ParameterSet::estimate(&file).terminal().expect("complete");
        assert_relative_eq!(p.terminal_resistance_ohm, 3.0);
        assert_relative_eq!(p.friction_current_a, 0.1);
        assert_relative_eq!(p.viscous_conductance_s, 0.0);
        // W = C_w/K³
        assert_relative_eq!(p.windage_a_per_v2, 1e-4, max_relative = 1e-12);
        file.model = Some(ModelTerms {
            saturation_per_a: Some(Term {
                value: 0.05,
                standard_uncertainty: None,
            }),
            ..ModelTerms::default()
        });
        let p = ParameterSet::estimate(&file).terminal().expect("complete");
        assert_relative_eq!(p.saturation_per_a, 0.05);
    }

    #[test]
    fn each_side_of_the_constant_follows_from_the_other() {
        let mechanical = ParameterSet::estimate(&file(&[
            (Name::BackEmfConstant, 0.02),
            (Name::RotorInertia, 2e-6),
            (Name::CoulombFrictionTorque, 3e-3),
        ]));
        let capacitance = mechanical.value(Name::InertiaCapacitance).expect("follows");
        assert_relative_eq!(capacitance, 5e-3, max_relative = 1e-12);
        let friction = mechanical.value(Name::FrictionCurrent).expect("follows");
        assert_relative_eq!(friction, 0.15, max_relative = 1e-12);
        let terminal = mechanical
            .with(Name::InertiaCapacitance, 4e-3)
            .without(Name::RotorInertia);
        let inertia = terminal.value(Name::RotorInertia).expect("follows");
        assert_relative_eq!(inertia, 1.6e-6, max_relative = 1e-12);
    }

    #[test]
    fn what_is_missing_is_named() {
        let without_constant = ParameterSet::estimate(&file(&[(Name::RotorInertia, 2e-6)]));
        assert_eq!(
            without_constant.value(Name::InertiaCapacitance),
            Err(Name::RotorInertia)
        );
        assert_eq!(without_constant.value(Name::FrictionCurrent), Ok(0.0));
        assert_eq!(without_constant.mechanical(), Err(Name::BackEmfConstant));
        let mut undetermined = file(&[]);
        for name in [Name::FrictionCurrent, Name::BrushDrop] {
            let parameter = Parameter::undetermined(name, "a run-down");
            undetermined.parameters.insert(name, parameter);
        }
        let set = ParameterSet::estimate(&undetermined);
        assert_eq!(set.value(Name::FrictionCurrent), Err(Name::FrictionCurrent));
        assert_eq!(set.value(Name::BrushDrop), Err(Name::BrushDrop));
    }
}
