//! What the person wants to know better.

use crate::motor_file::ParameterName;
use crate::quantity::nearest;

/// Everything, or some parameters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Goal {
    /// Every parameter.
    All,
    /// These parameters.
    Of(Vec<ParameterName>),
}

/// A name that is no goal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct GoalError(String);

/// Common short names beside the keys of the motor file.
fn aliases() -> Vec<(&'static str, Vec<ParameterName>)> {
    use ParameterName::{
        ArmatureInductance, BackEmfConstant, BrushDrop, CoulombFrictionTorque,
        ElectricalTimeConstant, MechanicalTimeConstant, RotorInertia, TerminalResistance,
        ViscousFriction, Windage,
    };
    vec![
        ("resistance", vec![TerminalResistance]),
        ("inductance", vec![ArmatureInductance]),
        ("back-emf", vec![BackEmfConstant]),
        ("torque constant", vec![BackEmfConstant]),
        ("inertia", vec![RotorInertia]),
        ("friction", vec![CoulombFrictionTorque, ViscousFriction]),
        ("coulomb", vec![CoulombFrictionTorque]),
        ("viscous", vec![ViscousFriction]),
        ("windage", vec![Windage]),
        ("brushes", vec![BrushDrop]),
        (
            "time constants",
            vec![ElectricalTimeConstant, MechanicalTimeConstant],
        ),
    ]
}

fn plain(text: &str) -> String {
    text.trim().to_lowercase().replace(['_', '-'], " ")
}

impl Goal {
    /// Reads names parted by commas: keys of the motor file, symbols (`J`, `tau_m`), short names, `all`.
    ///
    /// # Errors
    /// [`GoalError`] with the nearest name and the list.
    pub fn parse(texts: &[String]) -> Result<Goal, GoalError> {
        let mut wanted: Vec<ParameterName> = Vec::new();
        for text in texts.iter().flat_map(|t| t.split(',')) {
            let name = plain(text);
            if name == "all" {
                return Ok(Goal::All);
            }
            let found = ParameterName::ALL
                .into_iter()
                .find(|p| {
                    plain(p.key()) == name || plain(p.symbol()) == name || plain(p.label()) == name
                })
                .map(|p| vec![p])
                .or_else(|| {
                    aliases()
                        .into_iter()
                        .find(|(alias, _)| plain(alias) == name)
                        .map(|(_, parameters)| parameters)
                })
                .ok_or_else(|| unknown(text.trim()))?;
            for parameter in found {
                if !wanted.contains(&parameter) {
                    wanted.push(parameter);
                }
            }
        }
        Ok(if wanted.is_empty() {
            Goal::All
        } else {
            Goal::Of(wanted)
        })
    }

    /// True where a parameter counts.
    pub fn wants(&self, name: ParameterName) -> bool {
        match self {
            Goal::All => true,
            Goal::Of(wanted) => wanted.contains(&name),
        }
    }

    /// Words for the person.
    pub fn label(&self) -> String {
        match self {
            Goal::All => "all parameters".into(),
            Goal::Of(wanted) => wanted
                .iter()
                .map(|p| p.label())
                .collect::<Vec<_>>()
                .join(", "),
        }
    }
}

fn unknown(found: &str) -> GoalError {
    let short = aliases();
    let names: Vec<&str> = std::iter::once("all")
        .chain(short.iter().map(|(alias, _)| *alias))
        .chain(ParameterName::ALL.into_iter().map(ParameterName::key))
        .collect();
    GoalError(format!(
        "--for {found}: no parameter of that name{} Known are {}",
        nearest(found, &names).map_or(".".to_owned(), |near| format!("; did you mean \"{near}\"?")),
        names.join(", ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Result<Goal, GoalError> {
        Goal::parse(&[text.to_string()])
    }

    #[test]
    fn keys_symbols_and_short_names_are_read() {
        let inertia = Goal::Of(vec![ParameterName::RotorInertia]);
        for text in ["inertia", "J", "rotor_inertia", "Rotor Inertia"] {
            assert_eq!(parsed(text).unwrap(), inertia, "{text}");
        }
        assert_eq!(parsed("all").unwrap(), Goal::All);
        assert_eq!(Goal::parse(&[]).unwrap(), Goal::All);
        let Goal::Of(friction) = parsed("friction,R").unwrap() else {
            panic!()
        };
        assert_eq!(friction.len(), 3);
    }

    #[test]
    fn a_slip_is_answered_with_the_nearest_name() {
        let error = parsed("intertia").unwrap_err().to_string();
        assert!(
            error.contains("did you mean \"inertia\"?") && error.contains("terminal_resistance")
        );
    }
}
