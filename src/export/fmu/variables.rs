//! The variables of the unit: one list from which the model description and the constants of the C source are written.

use crate::export::Instance;
use crate::motor_file::{MotorFile, Parameter, ParameterName as Name, Thermal, ThermalName};
use crate::quantity::rounding::percent;

/// What a variable is to the importer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Time.
    Independent,
    /// Set from outside while it runs.
    Input,
    /// Fixed before the run.
    Parameter,
    /// State that is also an output.
    StateOutput,
    /// State inside.
    State,
    /// Derivative of the state with this name.
    RateOf(&'static str),
    /// Computed, of interest outside.
    Output,
    /// Computed, its change of sign is an event.
    Indicator,
}

/// One variable; its place in the list is its value reference.
#[derive(Clone, Debug)]
pub(super) struct Variable {
    pub name: &'static str,
    pub kind: Kind,
    /// A name in [`super::units::UNITS`]; empty for a bare number.
    pub unit: &'static str,
    pub start: f64,
    pub description: String,
}

impl Variable {
    /// Whether the model description gives its start value.
    pub fn has_start(&self) -> bool {
        matches!(
            self.kind,
            Kind::Input | Kind::Parameter | Kind::StateOutput | Kind::State
        )
    }

    pub fn is_state(&self) -> bool {
        matches!(self.kind, Kind::State | Kind::StateOutput)
    }

    pub fn is_output(&self) -> bool {
        matches!(self.kind, Kind::Output | Kind::StateOutput)
    }

    pub fn is_rate(&self) -> bool {
        matches!(self.kind, Kind::RateOf(_))
    }
}

/// Zero of the Celsius scale, K.
pub(super) const ZERO_CELSIUS_K: f64 = 273.15;

/// Where value and description of a variable come from.
#[derive(Clone, Copy)]
enum Content {
    /// A parameter of the motor file.
    Of(Name),
    /// A quantity of its thermal model.
    OfHeat(ThermalName),
    /// Described here.
    Words(&'static str),
}
use Content::{Of, OfHeat, Words};
use Kind::*;

/// Name, kind, unit, content.
type Row = (&'static str, Kind, &'static str, Content);

/// The variables before the temperatures.
#[rustfmt::skip]
const FIRST: &[Row] = &[
    ("time", Independent, "s", Words("Time")),
    ("terminal_voltage", Input, "V", Words("Voltage across the terminals")),
    ("load_torque", Input, "N.m", Words("Torque of the load against positive rotation")),
];

/// Of a motor without a thermal model.
#[rustfmt::skip]
const GIVEN_TEMPERATURE: &[Row] = &[
    ("winding_temperature", Input, "K", Words("Temperature of the winding, which sets its resistance")),
];

/// Of a motor with one.
#[rustfmt::skip]
const THERMAL: &[Row] = &[
    ("ambient_temperature", Input, "K", Words("Temperature of the room")),
    ("winding_temperature", StateOutput, "K", Words("Temperature of the winding, which sets its resistance")),
    ("winding_temperature_rate", RateOf("winding_temperature"), "K/s", Words("Rate of that temperature")),
    ("housing_temperature", StateOutput, "K", Words("Temperature of the housing")),
    ("housing_temperature_rate", RateOf("housing_temperature"), "K/s", Words("Rate of that temperature")),
    ("winding_to_housing_resistance", Parameter, "K/W", OfHeat(ThermalName::WindingToHousingResistance)),
    ("winding_heat_capacity", Parameter, "J/K", OfHeat(ThermalName::WindingHeatCapacity)),
    ("housing_to_ambient_resistance", Parameter, "K/W", OfHeat(ThermalName::HousingToAmbientResistance)),
    ("housing_heat_capacity", Parameter, "J/K", OfHeat(ThermalName::HousingHeatCapacity)),
];

#[rustfmt::skip]
const OTHERS: &[Row] = &[
    ("current", StateOutput, "A", Words("Terminal current")),
    ("speed", StateOutput, "rad/s", Words("Speed of the shaft")),
    ("angle", StateOutput, "rad", Words("Angle of the shaft")),
    ("eddy_current", State, "A", Words("Current of the screened share of the inductance")),
    ("current_rate", RateOf("current"), "A/s", Words("Rate of the current")),
    ("speed_rate", RateOf("speed"), "rad/s2", Words("Acceleration of the shaft")),
    ("angle_rate", RateOf("angle"), "rad/s", Words("Rate of the angle")),
    ("eddy_current_rate", RateOf("eddy_current"), "A/s", Words("Rate of the current of the screened share")),
    ("torque", Output, "N.m", Words("Electromagnetic torque, friction not taken off")),
    ("back_emf", Output, "V", Words("Back-EMF")),
    ("friction_torque", Output, "N.m", Words("Torque of friction and windage against the rotation")),
    ("holding", Indicator, "", Words("Falls through zero where a turning rotor comes to rest")),
    ("breakaway", Indicator, "", Words("Falls through zero where a rotor at rest breaks away")),
    ("terminal_resistance", Parameter, "Ohm", Of(Name::TerminalResistance)),
    ("armature_inductance", Parameter, "H", Of(Name::ArmatureInductance)),
    ("back_emf_constant", Parameter, "V.s/rad", Of(Name::BackEmfConstant)),
    ("rotor_inertia", Parameter, "kg.m2", Of(Name::RotorInertia)),
    ("added_inertia", Parameter, "kg.m2", Words("Inertia of the load on the shaft")),
    ("coulomb_friction", Parameter, "N.m", Of(Name::CoulombFrictionTorque)),
    ("viscous_friction", Parameter, "N.m.s/rad", Of(Name::ViscousFriction)),
    ("windage", Parameter, "N.m.s2/rad2", Of(Name::Windage)),
    ("brush_drop", Parameter, "V", Of(Name::BrushDrop)),
    ("brush_scale", Parameter, "A", Words("Current scale on which the brush drop rises")),
    ("saturation", Parameter, "1/A", Words("Reciprocal of the current at which the inductance is halved; 0 without saturation")),
    ("armature_reaction", Parameter, "1/A", Words("Loss of the back-EMF constant per ampere")),
    ("eddy_share", Parameter, "", Words("Share of the inductance that eddy currents screen")),
    ("eddy_resistance", Parameter, "Ohm", Words("Resistance across the screened share")),
    ("resistance_temperature", Parameter, "K", Words("Temperature at which the winding has its terminal_resistance")),
    ("ripple_share", Parameter, "", Words("Commutation ripple of the back-EMF, peak as a share; 0 leaves it out")),
    ("ripple_cycles_per_turn", Parameter, "", Words("Cycles of the commutation ripple in a turn")),
];

/// Every variable in the order of the value references.
pub(super) fn variables(motor: &Instance<'_>) -> Vec<Variable> {
    let thermal = thermal(motor.file);
    let temperatures = thermal.map_or(GIVEN_TEMPERATURE, |_| THERMAL);
    let rows = [FIRST, temperatures, OTHERS].into_iter().flatten();
    let row = |&(name, kind, unit, content): &Row| {
        let (start, description) = match content {
            Of(parameter) => (motor.value(parameter), bounds(motor.file, parameter)),
            OfHeat(quantity) => constant(thermal?, quantity)?,
            Words(words) => start(motor, name, words),
        };
        Some(Variable {
            name,
            kind,
            unit,
            start,
            description,
        })
    };
    rows.filter_map(row).collect()
}

/// Start value and description of a variable that is no parameter of the motor file.
fn start(motor: &Instance<'_>, name: &str, words: &str) -> (f64, String) {
    let resistance = motor.file.parameters.get(&Name::TerminalResistance);
    let winding_k = resistance
        .and_then(|parameter| parameter.temperature_c)
        .map(|c| c + ZERO_CELSIUS_K);
    let room_k = thermal(motor.file).map(|thermal| thermal.ambient_c + ZERO_CELSIUS_K);
    let t = &motor.terminal;
    let value = match name {
        "ambient_temperature" | "winding_temperature" | "housing_temperature" => {
            let usual_k = 25.0 + ZERO_CELSIUS_K;
            room_k.unwrap_or(winding_k.unwrap_or(usual_k))
        }
        "brush_scale" => t.brush_scale_a,
        "saturation" => t.saturation_per_a,
        "armature_reaction" => t.armature_reaction_per_a,
        "eddy_share" => t.eddy_share,
        "eddy_resistance" => t.eddy_resistance_ohm,
        "resistance_temperature" => winding_k.unwrap_or(0.0),
        _ => 0.0,
    };
    let more = match (name, winding_k) {
        ("resistance_temperature", Some(_)) => "; 0 leaves the resistance constant",
        ("resistance_temperature", None) => {
            ": not known, so 0, which leaves the resistance constant"
        }
        _ => "",
    };
    (value, format!("{words}{more}"))
}

/// Value and description of a constant of the thermal network.
fn constant(thermal: &Thermal, name: ThermalName) -> Option<(f64, String)> {
    let mut network = ThermalName::NETWORK.into_iter().zip(thermal.log_values);
    let (_, log_value) = network.find(|(other, _)| *other == name)?;
    let parameter = &thermal.parameters[&name];
    let words = stated(name.label()[1], name.ucum(), parameter);
    Some((log_value.exp(), words))
}

/// The thermal model of a file that has all of it.
pub(super) fn thermal(file: &MotorFile) -> Option<&Thermal> {
    file.thermal
        .as_ref()
        .filter(|thermal| thermal.is_complete())
}

/// What the motor file states about a parameter, in one sentence.
fn bounds(file: &MotorFile, name: Name) -> String {
    let label = name.label();
    let Some(parameter) = file.parameters.get(&name) else {
        return format!("{label}: not part of the model of this motor file");
    };
    stated(label, name.ucum(), parameter)
}

fn stated(label: &str, unit: &str, parameter: &Parameter) -> String {
    let mut text = label.to_owned();
    if let Some(temperature_c) = parameter.temperature_c {
        text.push_str(&format!(" at {temperature_c:.1} degC"));
    }
    text.push_str(&format!(", {}", parameter.status.label()));
    if let (Some(lower), Some(upper), Some(level)) =
        (parameter.lower, parameter.upper, parameter.level)
    {
        let percent = percent(level);
        text.push_str(&format!(
            "; {percent} % interval {lower:.4e} to {upper:.4e} {unit}"
        ));
    }
    text
}
