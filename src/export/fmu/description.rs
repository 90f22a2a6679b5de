//! `modelDescription.xml` and `buildDescription.xml` of both versions of the standard.

use super::units::{BASE, UNITS};
use super::variables::{Kind, Variable, ZERO_CELSIUS_K};
use super::version::FmiVersion;
use std::fmt::Write;

/// Name and head of a unit.
pub(super) struct Title {
    /// C identifier.
    pub identifier: String,
    pub name: String,
    pub description: String,
    /// GUID or instantiation token.
    pub token: String,
}

/// Text of an attribute.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

fn units(text: &mut String) {
    text.push_str("  <UnitDefinitions>\n");
    for (name, powers) in UNITS {
        let _ = write!(text, "    <Unit name=\"{name}\"><BaseUnit");
        for (base, power) in BASE.iter().zip(powers) {
            if power != 0 {
                let _ = write!(text, " {base}=\"{power}\"");
            }
        }
        text.push_str("/>");
        match name {
            "K" => {
                let _ = write!(
                    text,
                    "<DisplayUnit name=\"degC\" offset=\"-{ZERO_CELSIUS_K}\"/>"
                );
            }
            "rad/s" => {
                let per_minute = 30.0 / std::f64::consts::PI;
                let _ = write!(
                    text,
                    "<DisplayUnit name=\"rpm\" factor=\"{per_minute:?}\"/>"
                );
            }
            _ => {}
        }
        text.push_str("</Unit>\n");
    }
    text.push_str("  </UnitDefinitions>\n");
}

/// Causality, variability and initial of a variable.
fn role(kind: Kind) -> [&'static str; 3] {
    match kind {
        Kind::Independent => ["independent", "continuous", ""],
        Kind::Input => ["input", "continuous", ""],
        Kind::Parameter => ["parameter", "fixed", "exact"],
        Kind::StateOutput => ["output", "continuous", "exact"],
        Kind::State => ["local", "continuous", "exact"],
        Kind::RateOf(_) | Kind::Indicator => ["local", "continuous", "calculated"],
        Kind::Output => ["output", "continuous", "calculated"],
    }
}

/// Attributes that both versions share, and those of the number itself.
fn attributes(
    variable: &Variable,
    reference: usize,
    variables: &[Variable],
    first: usize,
) -> [String; 2] {
    let [causality, variability, initial] = role(variable.kind);
    let mut outer = format!(
        "name=\"{}\" valueReference=\"{reference}\" description=\"{}\" causality=\"{causality}\" variability=\"{variability}\"",
        variable.name,
        escaped(&variable.description)
    );
    if !initial.is_empty() {
        let _ = write!(outer, " initial=\"{initial}\"");
    }
    let mut number = String::new();
    if !variable.unit.is_empty() {
        let _ = write!(number, " unit=\"{}\"", variable.unit);
    }
    match variable.unit {
        "K" => number.push_str(" displayUnit=\"degC\""),
        "rad/s" => number.push_str(" displayUnit=\"rpm\""),
        _ => {}
    }
    if variable.has_start() {
        let _ = write!(number, " start=\"{:?}\"", variable.start);
    }
    if let Kind::RateOf(state) = variable.kind {
        let place = variables
            .iter()
            .position(|other| other.name == state)
            .map_or(0, |place| place + first);
        let _ = write!(number, " derivative=\"{place}\"");
    }
    [outer, number]
}

/// What stands between the units and the variables.
const LOG_CATEGORIES: &str =
    "  <LogCategories><Category name=\"logStatusError\"/></LogCategories>\n";

/// A list of the model's structure: its element in version 2 and 3, and the variables that belong to it.
type List = (&'static str, &'static str, fn(&Variable) -> bool);

const LISTS: [List; 4] = [
    ("Outputs", "Output", Variable::is_output),
    (
        "Derivatives",
        "ContinuousStateDerivative",
        Variable::is_rate,
    ),
    ("InitialUnknowns", "InitialUnknown", is_initially_unknown),
    ("", "EventIndicator", is_indicator),
];

/// The model description.
pub(super) fn model(title: &Title, variables: &[Variable], version: FmiVersion) -> String {
    let two = version == FmiVersion::Two;
    let id = &title.identifier;
    let (number, token) = match version {
        FmiVersion::Two => ("2.0", "guid"),
        FmiVersion::Three => ("3.0", "instantiationToken"),
    };
    let mut text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <fmiModelDescription fmiVersion=\"{number}\" modelName=\"{}\" {token}=\"{}\" description=\"{}\" \
         generationTool=\"{} {}\" variableNamingConvention=\"flat\"",
        escaped(&title.name),
        title.token,
        escaped(&title.description),
        env!("CARGO_PKG_NAME"),
        env!("CARGO_PKG_VERSION"),
    );
    let _ = match two {
        true => write!(
            text,
            " numberOfEventIndicators=\"{}\">\n\
             \x20 <ModelExchange modelIdentifier=\"{id}\" canGetAndSetFMUstate=\"true\" canSerializeFMUstate=\"true\">\n\
             \x20   <SourceFiles><File name=\"{id}.c\"/></SourceFiles>\n  </ModelExchange>\n\
             \x20 <CoSimulation modelIdentifier=\"{id}\" canHandleVariableCommunicationStepSize=\"true\" \
             canGetAndSetFMUstate=\"true\" canSerializeFMUstate=\"true\">\n\
             \x20   <SourceFiles><File name=\"{id}.c\"/></SourceFiles>\n  </CoSimulation>\n",
            variables.iter().filter(|v| is_indicator(v)).count()
        ),
        false => write!(
            text,
            ">\n\x20 <ModelExchange modelIdentifier=\"{id}\" canGetAndSetFMUState=\"true\" canSerializeFMUState=\"true\"/>\n\
             \x20 <CoSimulation modelIdentifier=\"{id}\" canHandleVariableCommunicationStepSize=\"true\" \
             canGetAndSetFMUState=\"true\" canSerializeFMUState=\"true\"/>\n"
        ),
    };
    units(&mut text);
    text.push_str(LOG_CATEGORIES);
    text.push_str("  <ModelVariables>\n");
    for (reference, variable) in variables.iter().enumerate() {
        let [outer, number] = attributes(variable, reference, variables, usize::from(two));
        let _ = match two {
            true => writeln!(
                text,
                "    <ScalarVariable {outer}><Real{number}/></ScalarVariable>"
            ),
            false => writeln!(text, "    <Float64 {outer}{number}/>"),
        };
    }
    text.push_str("  </ModelVariables>\n  <ModelStructure>\n");
    for (list, element, wanted) in LISTS {
        let numbered = variables.iter().enumerate().filter(|(_, v)| wanted(v));
        let places = numbered.map(|(place, _)| place);
        if two && !list.is_empty() {
            let _ = writeln!(text, "    <{list}>");
            for place in places {
                let _ = writeln!(text, "      <Unknown index=\"{}\"/>", place + 1);
            }
            let _ = writeln!(text, "    </{list}>");
        } else if !two {
            for place in places {
                let _ = writeln!(text, "    <{element} valueReference=\"{place}\"/>");
            }
        }
    }
    text.push_str("  </ModelStructure>\n</fmiModelDescription>\n");
    text
}

fn is_indicator(variable: &Variable) -> bool {
    variable.kind == Kind::Indicator
}

fn is_initially_unknown(variable: &Variable) -> bool {
    matches!(variable.kind, Kind::Output | Kind::RateOf(_))
}

/// What version 3 wants beside the sources.
pub(super) fn build(title: &Title) -> String {
    let id = &title.identifier;
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <fmiBuildDescription fmiVersion=\"3.0\">\n\
         \x20 <BuildConfiguration modelIdentifier=\"{id}\">\n\
         \x20   <SourceFileSet language=\"C99\"><SourceFile name=\"{id}.c\"/></SourceFileSet>\n\
         \x20   <Library name=\"m\"/>\n\
         \x20 </BuildConfiguration>\n\
         </fmiBuildDescription>\n"
    )
}
