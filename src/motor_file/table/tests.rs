use super::*;
use crate::motor_file::{Covariance, FORMAT, Fit, Program, Stop, StopReason, Validity};
use std::collections::BTreeMap;

/// A file without parameters.
pub(crate) fn empty() -> MotorFile {
    MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: None,
        inputs: Vec::new(),
        parameters: BTreeMap::new(),
        covariance: Covariance::default(),
        distribution: None,
        model: None,
        operating: None,
        inductance_at: Vec::new(),
        constant_candidates: Vec::new(),
        confrontations: Vec::new(),
        fit: Fit {
            stop: Stop {
                reason: StopReason::Converged,
                text: "converged".to_owned(),
                iterations: None,
            },
            chi_squared: None,
            degrees_of_freedom: None,
            assumption: None,
            identifiability: None,
            captures: Vec::new(),
            terms: Vec::new(),
            nuisances: Vec::new(),
        },
        warnings: Vec::new(),
        validity: Validity::default(),
        content_sha256: None,
    }
}

fn golden(parameters: Vec<(ParameterName, Parameter)>, expected: &str) {
    let mut file = empty();
    file.parameters = parameters.into_iter().collect();
    let table = render(&file);
    assert_eq!(table, expected, "\n{table}");
}

#[test]
fn measured_parameters_show_uncertainty_interval_trade_unit_and_temperature() {
    use ParameterName as Name;
    let mut resistance = Parameter::measured(
        Name::TerminalResistance,
        3.186,
        0.0213,
        (3.1443, 3.2277),
        0.95,
    );
    resistance.temperature_c = Some(27.5);
    resistance.at_25_c = Some(AtTemperature {
        value: 3.1556,
        unit: "Ohm".to_owned(),
        standard_uncertainty: 0.0231,
        lower: 3.1103,
        upper: 3.2009,
        level: 0.95,
        status: Status::Measured,
        temperature_c: 25.0,
    });
    golden(
        vec![
            (Name::TerminalResistance, resistance),
            (
                Name::BackEmfConstant,
                Parameter::measured(
                    Name::BackEmfConstant,
                    0.023412,
                    1.52e-4,
                    (0.023114, 0.02371),
                    0.95,
                ),
            ),
            (
                Name::RotorInertia,
                Parameter::measured(
                    Name::RotorInertia,
                    1.2345e-6,
                    2.1e-8,
                    (1.193e-6, 1.276e-6),
                    0.95,
                ),
            ),
        ],
        GOOD,
    );
}

#[test]
fn an_undetermined_parameter_shows_no_number_and_what_would_settle_it() {
    use ParameterName as Name;
    golden(
        vec![(
            Name::RotorInertia,
            Parameter::undetermined(Name::RotorInertia, "one tachometer reading"),
        )],
        UNDETERMINED,
    );
}

#[test]
fn a_parameter_at_its_physical_bound_shows_one_end() {
    use ParameterName as Name;
    let mut windage = Parameter::measured(Name::Windage, 0.0, 1.1e-10, (0.0, 1.84e-10), 0.95);
    windage.one_sided = Some(OneSided::Upper);
    let mut time = Parameter::measured(Name::ElectricalTimeConstant, 1e-4, 2e-5, (7e-5, 2e-4), 0.9);
    time.one_sided = Some(OneSided::Lower);
    golden(
        vec![
            (Name::Windage, windage),
            (Name::ElectricalTimeConstant, time),
        ],
        ONE_SIDED,
    );
}

#[test]
fn a_parameter_from_its_prior_says_so() {
    use ParameterName as Name;
    let mut drop = Parameter::measured(Name::BrushDrop, 0.72, 0.26, (0.21, 1.23), 0.95);
    drop.status = Status::FromPrior;
    drop.note = Some("metal-carbon brushes; the captures add little".to_owned());
    drop.suggestion = Some("a locked-rotor capture at two voltages".to_owned());
    golden(vec![(Name::BrushDrop, drop)], FROM_PRIOR);
}

#[test]
fn warnings_name_their_subject() {
    let mut file = empty();
    assert_eq!(warnings(&file), "");
    file.warnings.push(crate::motor_file::Warning {
        kind: "clipped".to_owned(),
        subject: Some("start".to_owned()),
        text: "clipped at 8.0 A for 0.4 ms".to_owned(),
    });
    assert_eq!(
        warnings(&file),
        "warning: start: clipped at 8.0 A for 0.4 ms\n"
    );
}

const GOOD: &str = "\
parameter              value ± standard uncertainty   interval                                in the trade                                                  status
terminal resistance R  3.186 ± 0.021 Ω                3.144 to 3.228 Ω (95 %)                 -                                                             measured at 27.5 °C
    at 25 °C: 3.156 ± 0.023 Ω, 3.110 to 3.201 Ω (95 %)
back-EMF constant K    (23.41 ± 0.15) × 10⁻³ V·s/rad  (23.11 to 23.71) × 10⁻³ V·s/rad (95 %)  23.41 ± 0.15 mN·m/A, 2.452 ± 0.016 V/krpm, 407.9 ± 2.6 rpm/V  measured
rotor inertia J        (1.234 ± 0.021) × 10⁻⁶ kg·m²   (1.193 to 1.276) × 10⁻⁶ kg·m² (95 %)    12.35 ± 0.21 g·cm²                                            measured
";
const UNDETERMINED: &str = "\
parameter        value ± standard uncertainty  interval  in the trade  status
rotor inertia J  -                             -         -             undetermined
    what would settle it: one tachometer reading
";
const ONE_SIDED: &str = "\
parameter                       value ± standard uncertainty   interval                                in the trade          status
windage C_w                     (0 ± 110) × 10⁻¹² N·m·s²/rad²  at most 180 × 10⁻¹² N·m·s²/rad² (95 %)  0.0 ± 1.2 µN·m/krpm²  measured
electrical time constant tau_e  100 ± 20 µs                    at least 70 µs (90 %)                   -                     measured
";
const FROM_PRIOR: &str = "\
parameter       value ± standard uncertainty  interval                 in the trade  status
brush drop V_b  720 ± 260 mV                  210 mV to 1.23 V (95 %)  -             from prior
    metal-carbon brushes; the captures add little
    what would settle it: a locked-rotor capture at two voltages
";
