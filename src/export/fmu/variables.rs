//! The variables of the unit: one list from which the model description and the constants of the C source are written.

use crate::export::Instance;
use crate::motor_file::{MotorFile, Parameter, ParameterName as Name, Thermal, ThermalName};

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

/// The variables before the temperatures: name, kind, unit, description. `= KEY` is the parameter of the motor file with that key.
const FIRST: &str = "
time                          | independent  | s           | Time
terminal_voltage              | input        | V           | Voltage across the terminals
load_torque                   | input        | N.m         | Torque of the load against positive rotation
";

/// Of a motor without a thermal model.
const GIVEN_TEMPERATURE: &str = "
winding_temperature           | input        | K           | Temperature of the winding, which sets its resistance
";

/// Of a motor with one; `*` is the quantity of it with that name.
const THERMAL: &str = "
ambient_temperature           | input        | K           | Temperature of the room
winding_temperature           | state output | K           | Temperature of the winding, which sets its resistance
winding_temperature_rate      | rate         | K/s         | Rate of that temperature
housing_temperature           | state output | K           | Temperature of the housing
housing_temperature_rate      | rate         | K/s         | Rate of that temperature
winding_to_housing_resistance | parameter    | K/W         | *
winding_heat_capacity         | parameter    | J/K         | *
housing_to_ambient_resistance | parameter    | K/W         | *
housing_heat_capacity         | parameter    | J/K         | *
";

const OTHERS: &str = "
current                       | state output | A           | Terminal current
speed                         | state output | rad/s       | Speed of the shaft
angle                         | state output | rad         | Angle of the shaft
eddy_current                  | state        | A           | Current of the screened share of the inductance
current_rate                  | rate         | A/s         | Rate of the current
speed_rate                    | rate         | rad/s2      | Acceleration of the shaft
angle_rate                    | rate         | rad/s       | Rate of the angle
eddy_current_rate             | rate         | A/s         | Rate of the current of the screened share
torque                        | output       | N.m         | Electromagnetic torque, friction not taken off
back_emf                      | output       | V           | Back-EMF
friction_torque               | output       | N.m         | Torque of friction and windage against the rotation
holding                       | indicator    |             | Falls through zero where a turning rotor comes to rest
breakaway                     | indicator    |             | Falls through zero where a rotor at rest breaks away
terminal_resistance           | parameter    | Ohm         | = terminal_resistance
armature_inductance           | parameter    | H           | = armature_inductance
back_emf_constant             | parameter    | V.s/rad     | = back_emf_constant
rotor_inertia                 | parameter    | kg.m2       | = rotor_inertia
added_inertia                 | parameter    | kg.m2       | Inertia of the load on the shaft
coulomb_friction              | parameter    | N.m         | = coulomb_friction_torque
viscous_friction              | parameter    | N.m.s/rad   | = viscous_friction
windage                       | parameter    | N.m.s2/rad2 | = windage
brush_drop                    | parameter    | V           | = brush_drop
brush_scale                   | parameter    | A           | Current scale on which the brush drop rises
saturation                    | parameter    | 1/A         | Reciprocal of the current at which the inductance is halved; 0 without saturation
armature_reaction             | parameter    | 1/A         | Loss of the back-EMF constant per ampere
eddy_share                    | parameter    |             | Share of the inductance that eddy currents screen
eddy_resistance               | parameter    | Ohm         | Resistance across the screened share
resistance_temperature        | parameter    | K           | Temperature at which the winding has its terminal_resistance
ripple_share                  | parameter    |             | Commutation ripple of the back-EMF, peak as a share; 0 leaves it out
ripple_cycles_per_turn        | parameter    |             | Cycles of the commutation ripple in a turn
";

/// Every variable in the order of the value references.
pub(super) fn variables(motor: &Instance<'_>) -> Vec<Variable> {
    let thermal = thermal(motor.file);
    let temperatures = thermal.map_or(GIVEN_TEMPERATURE, |_| THERMAL);
    let rows = [FIRST, temperatures, OTHERS]
        .into_iter()
        .flat_map(str::lines);
    let row = |row: &'static str| {
        let mut cells = row.split('|').map(str::trim);
        let (name, kind) = (cells.next()?, cells.next()?);
        let kind = match kind {
            "independent" => Kind::Independent,
            "input" => Kind::Input,
            "parameter" => Kind::Parameter,
            "state output" => Kind::StateOutput,
            "state" => Kind::State,
            "rate" => Kind::RateOf(name.trim_end_matches("_rate")),
            "output" => Kind::Output,
            _ => Kind::Indicator,
        };
        let (unit, words) = (cells.next()?, cells.next()?);
        let (start, description) = if let Some(key) = words.strip_prefix("= ") {
            let parameter = Name::from_key(key)?;
            (motor.value(parameter), bounds(motor.file, parameter))
        } else if words == "*" {
            constant(thermal?, name)?
        } else {
            start(motor, name, words)
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
fn constant(thermal: &Thermal, key: &str) -> Option<(f64, String)> {
    let mut network = ThermalName::NETWORK.into_iter().zip(thermal.log_values);
    let (name, log_value) = network.find(|(name, _)| name.key() == key)?;
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
        let percent = (level * 1000.0).round() / 10.0;
        text.push_str(&format!(
            "; {percent} % interval {lower:.4e} to {upper:.4e} {unit}"
        ));
    }
    text
}
