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

/// Every variable in the order of the value references.
pub(super) fn variables(motor: &Instance<'_>) -> Vec<Variable> {
    let (t, m) = (&motor.terminal, &motor.mechanical);
    let of = |name| bounds(motor.file, name);
    let resistance_k = motor
        .file
        .parameters
        .get(&Name::TerminalResistance)
        .and_then(|parameter| parameter.temperature_c)
        .map(|c| c + ZERO_CELSIUS_K);
    let mut list = Vec::new();
    let mut add = |name, kind, unit, start, description: &str| {
        list.push(Variable {
            name,
            kind,
            unit,
            start,
            description: description.to_owned(),
        });
    };
    add("time", Kind::Independent, "s", 0.0, "Time");
    add(
        "terminal_voltage",
        Kind::Input,
        "V",
        0.0,
        "Voltage across the terminals",
    );
    add(
        "load_torque",
        Kind::Input,
        "N.m",
        0.0,
        "Torque of the load against positive rotation",
    );
    let winding = "Temperature of the winding, which sets its resistance";
    let winding_k = resistance_k.unwrap_or(25.0 + ZERO_CELSIUS_K);
    let thermal = thermal(motor.file);
    match thermal {
        None => add("winding_temperature", Kind::Input, "K", winding_k, winding),
        Some(thermal) => {
            let room_k = thermal.ambient_c + ZERO_CELSIUS_K;
            let room = "Temperature of the room";
            add("ambient_temperature", Kind::Input, "K", room_k, room);
            for (name, rate, words) in [
                ("winding_temperature", "winding_temperature_rate", winding),
                (
                    "housing_temperature",
                    "housing_temperature_rate",
                    "Temperature of the housing",
                ),
            ] {
                add(name, Kind::StateOutput, "K", room_k, words);
                add(
                    rate,
                    Kind::RateOf(name),
                    "K/s",
                    0.0,
                    "Rate of that temperature",
                );
            }
            for ((key, name), log_value) in NETWORK.into_iter().zip(thermal.log_values) {
                let unit = name.ucum();
                let parameter = &thermal.parameters[&name];
                add(
                    key,
                    Kind::Parameter,
                    unit,
                    log_value.exp(),
                    &stated(name.label()[1], unit, parameter),
                );
            }
        }
    }
    add("current", Kind::StateOutput, "A", 0.0, "Terminal current");
    add(
        "speed",
        Kind::StateOutput,
        "rad/s",
        0.0,
        "Speed of the shaft",
    );
    add("angle", Kind::StateOutput, "rad", 0.0, "Angle of the shaft");
    add(
        "eddy_current",
        Kind::State,
        "A",
        0.0,
        "Current of the screened share of the inductance",
    );
    add(
        "current_rate",
        Kind::RateOf("current"),
        "A/s",
        0.0,
        "Rate of the current",
    );
    add(
        "speed_rate",
        Kind::RateOf("speed"),
        "rad/s2",
        0.0,
        "Acceleration of the shaft",
    );
    add(
        "angle_rate",
        Kind::RateOf("angle"),
        "rad/s",
        0.0,
        "Rate of the angle",
    );
    add(
        "eddy_current_rate",
        Kind::RateOf("eddy_current"),
        "A/s",
        0.0,
        "Rate of the current of the screened share",
    );
    add(
        "torque",
        Kind::Output,
        "N.m",
        0.0,
        "Electromagnetic torque, friction not taken off",
    );
    add("back_emf", Kind::Output, "V", 0.0, "Back-EMF");
    add(
        "friction_torque",
        Kind::Output,
        "N.m",
        0.0,
        "Torque of friction and windage against the rotation",
    );
    add(
        "holding",
        Kind::Indicator,
        "",
        0.0,
        "Falls through zero where a turning rotor comes to rest",
    );
    add(
        "breakaway",
        Kind::Indicator,
        "",
        0.0,
        "Falls through zero where a rotor at rest breaks away",
    );
    let parameter = Kind::Parameter;
    add(
        "terminal_resistance",
        parameter,
        "Ohm",
        t.terminal_resistance_ohm,
        &of(Name::TerminalResistance),
    );
    add(
        "armature_inductance",
        parameter,
        "H",
        t.armature_inductance_h,
        &of(Name::ArmatureInductance),
    );
    add(
        "back_emf_constant",
        parameter,
        "V.s/rad",
        m.back_emf_constant_v_s_per_rad,
        &of(Name::BackEmfConstant),
    );
    add(
        "rotor_inertia",
        parameter,
        "kg.m2",
        m.rotor_inertia_kg_m2,
        &of(Name::RotorInertia),
    );
    add(
        "added_inertia",
        parameter,
        "kg.m2",
        0.0,
        "Inertia of the load on the shaft",
    );
    add(
        "coulomb_friction",
        parameter,
        "N.m",
        m.coulomb_friction_nm,
        &of(Name::CoulombFrictionTorque),
    );
    add(
        "viscous_friction",
        parameter,
        "N.m.s/rad",
        m.viscous_friction_nm_s_per_rad,
        &of(Name::ViscousFriction),
    );
    add(
        "windage",
        parameter,
        "N.m.s2/rad2",
        m.windage_nm_s2_per_rad2,
        &of(Name::Windage),
    );
    add(
        "brush_drop",
        parameter,
        "V",
        t.brush_drop_v,
        &of(Name::BrushDrop),
    );
    add(
        "brush_scale",
        parameter,
        "A",
        t.brush_scale_a,
        "Current scale on which the brush drop rises",
    );
    add(
        "saturation",
        parameter,
        "1/A",
        t.saturation_per_a,
        "Reciprocal of the current at which the inductance is halved; 0 without saturation",
    );
    add(
        "armature_reaction",
        parameter,
        "1/A",
        t.armature_reaction_per_a,
        "Loss of the back-EMF constant per ampere",
    );
    add(
        "eddy_share",
        parameter,
        "",
        t.eddy_share,
        "Share of the inductance that eddy currents screen",
    );
    add(
        "eddy_resistance",
        parameter,
        "Ohm",
        t.eddy_resistance_ohm,
        "Resistance across the screened share",
    );
    add(
        "resistance_temperature",
        parameter,
        "K",
        resistance_k.unwrap_or(0.0),
        match resistance_k {
            Some(_) => {
                "Temperature at which the winding has its terminal_resistance; 0 leaves the resistance constant"
            }
            None => {
                "Temperature at which the winding has its terminal_resistance: not known, so 0, which leaves the resistance constant"
            }
        },
    );
    add(
        "ripple_share",
        parameter,
        "",
        0.0,
        "Commutation ripple of the back-EMF, peak as a share; 0 leaves it out",
    );
    add(
        "ripple_cycles_per_turn",
        parameter,
        "",
        0.0,
        "Cycles of the commutation ripple in a turn",
    );
    list
}

/// Constants of the thermal network.
const NETWORK: [(&str, ThermalName); 4] = [
    (
        "winding_to_housing_resistance",
        ThermalName::WindingToHousingResistance,
    ),
    ("winding_heat_capacity", ThermalName::WindingHeatCapacity),
    (
        "housing_to_ambient_resistance",
        ThermalName::HousingToAmbientResistance,
    ),
    ("housing_heat_capacity", ThermalName::HousingHeatCapacity),
];

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
