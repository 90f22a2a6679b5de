//! The C source of the unit: the motor's constants, the state equation, and the interface of one version of the standard.

use super::variables::{Variable, ZERO_CELSIUS_K};
use super::version::FmiVersion;
use crate::motor::temperature::COPPER_INFERRED_ZERO_C;
use std::fmt::Write;

/// The whole source, one file.
pub(super) fn source(
    head: &[String],
    token: &str,
    variables: &[Variable],
    version: FmiVersion,
) -> String {
    let mut text = String::from("/*\n");
    for line in head {
        let _ = writeln!(text, " * {line}");
    }
    text.push_str(" */\n");
    let upper = |name: &str| name.to_ascii_uppercase();
    let names: Vec<String> = variables.iter().map(|v| upper(v.name)).collect();
    let starts: Vec<String> = variables.iter().map(|v| format!("{:?}", v.start)).collect();
    let states: Vec<&Variable> = variables.iter().filter(|v| v.is_state()).collect();
    let state_names: Vec<String> = states.iter().map(|v| upper(v.name)).collect();
    let rates: Vec<String> = states
        .iter()
        .map(|v| format!("{}_RATE", upper(v.name)))
        .collect();
    let nominals: Vec<&str> = states
        .iter()
        .map(|v| if v.unit == "K" { "300.0" } else { "1.0" })
        .collect();
    let _ = write!(
        text,
        "#define INSTANTIATION_TOKEN \"{token}\"\n\
         #define COPPER_ZERO_K {:?}\n\
         enum {{ {}, VARIABLES }};\n\
         #define START_VALUES {{ {} }}\n\
         #define STATES {}\n\
         #define STATE_VARIABLES {{ {} }}\n\
         #define RATE_VARIABLES {{ {} }}\n\
         #define STATE_NOMINALS {{ {} }}\n\n",
        COPPER_INFERRED_ZERO_C + ZERO_CELSIUS_K,
        names.join(", "),
        starts.join(", "),
        states.len(),
        state_names.join(", "),
        rates.join(", "),
        nominals.join(", "),
    );
    if variables.iter().any(|v| v.name == "ambient_temperature") {
        text.push_str("#define THERMAL\n");
    }
    text.push_str(include_str!("motor.c"));
    text.push('\n');
    text.push_str(match version {
        FmiVersion::Two => include_str!("fmi2.c"),
        FmiVersion::Three => include_str!("fmi3.c"),
    });
    text
}
