use super::*;
use crate::motor_file::{Covariance, FORMAT, Fit, Program, Severity, Stop, StopReason, Validity};
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
        thermal: None,
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
fn the_same_warning_of_two_captures_is_one_line_and_notes_are_details() {
    let mut file = empty();
    assert_eq!(diagnostics(&file, true), "");
    for (severity, subject, text) in [
        (Severity::Note, None, "the supply is a battery"),
        (Severity::Warning, Some("start"), "CH2 clips at 8.0 A"),
        (Severity::Warning, Some("brake"), "CH2 clips at 8.0 A"),
        (Severity::Conflict, None, "two readings differ"),
    ] {
        file.warnings.push(crate::motor_file::Warning {
            severity,
            kind: "test".to_owned(),
            subject: subject.map(str::to_owned),
            text: text.to_owned(),
        });
    }
    let shown = "conflict: two readings differ\nwarning: start, brake: CH2 clips at 8.0 A\n";
    assert_eq!(diagnostics(&file, false), shown);
    assert_eq!(
        diagnostics(&file, true),
        format!("{shown}note: the supply is a battery\n")
    );
    assert_eq!(notes_left_out(&file), "; 1 note (--details)");
}

/// A file with what a screen can hold: measured, bounded, in conflict, undetermined, and evidence of each kind.
fn of_every_kind() -> MotorFile {
    use ParameterName as Name;
    let mut file = empty();
    let mut put = |name: Name, parameter: Parameter| drop(file.parameters.insert(name, parameter));
    let mut resistance = Parameter::measured(
        Name::TerminalResistance,
        3.2212,
        0.0613,
        (3.104, 3.342),
        0.95,
    );
    resistance.temperature_c = Some(26.0);
    put(Name::TerminalResistance, resistance);
    let mut constant = Parameter::measured(
        Name::BackEmfConstant,
        0.04211,
        4.7e-4,
        (0.0412, 0.04305),
        0.95,
    );
    constant.status = Status::InConflict;
    put(Name::BackEmfConstant, constant);
    put(
        Name::RotorInertia,
        Parameter::undetermined(Name::RotorInertia, "one tachometer reading"),
    );
    put(
        Name::InertiaCapacitance,
        Parameter::measured(
            Name::InertiaCapacitance,
            3.6e-3,
            6.7e-5,
            (3.47e-3, 3.74e-3),
            0.95,
        ),
    );
    put(
        Name::CoulombFrictionTorque,
        Parameter::measured(
            Name::CoulombFrictionTorque,
            2.59e-5,
            9e-7,
            (2.41e-5, 2.77e-5),
            0.95,
        ),
    );
    let mut windage = Parameter::measured(Name::Windage, 0.0, 1e-9, (0.0, 3.02e-9), 0.95);
    windage.one_sided = Some(OneSided::Upper);
    put(Name::Windage, windage);
    let item = |kind: &str, item: &str, numbers: [Option<f64>; 3], unit: &str, agreement| {
        crate::motor_file::Confrontation {
            kind: kind.to_owned(),
            item: item.to_owned(),
            stated: numbers[0],
            model: numbers[1],
            standard_uncertainty: numbers[2],
            unit: unit.to_owned(),
            deviation: Some(6.4),
            agreement,
            text: None,
        }
    };
    use crate::motor_file::Agreement::{Agrees, InConflict};
    file.confrontations = vec![
        item(
            "reading",
            "ohmmeter",
            [Some(4.5), Some(3.2), Some(1.6)],
            "Ohm",
            Agrees,
        ),
        item(
            "speed_reference",
            "tachometer (coast)",
            [Some(540.0), Some(500.0), Some(6.0)],
            "rad/s",
            InConflict,
        ),
        item(
            "segment_count",
            "commutator segments",
            [Some(7.0), Some(7.0), None],
            "1",
            Agrees,
        ),
        item("capture", "capture start", [None; 3], "1", Agrees),
        item("capture", "capture coast", [None; 3], "1", Agrees),
    ];
    file
}

#[test]
fn the_screen_shows_each_kind_of_parameter_in_common_units() {
    let screen = screen(&of_every_kind());
    assert_eq!(screen, SCREEN, "\n{screen}");
}

#[test]
fn evidence_shows_what_the_rest_gives_and_agreeing_captures_share_a_line() {
    let text = evidence(&of_every_kind());
    assert_eq!(text, EVIDENCE, "\n{text}");
}

const SCREEN: &str = "\
motor                                                              winding 26 °C
                                                   95 % interval
R    terminal resistance         3.22 Ω            3.10 to 3.34
K    torque / back-EMF constant  42.11 mN·m/A      41.20 to 43.05  in conflict
J    rotor inertia               undetermined
C_m  rotor inertia / K²          3.60 mF           3.47 to 3.74
T_c  Coulomb friction            0.0259 mN·m       0.0241 to 0.0277
C_w  windage                     not detected      below 33 µN·m/krpm²

to determine J: one tachometer reading
";
const EVIDENCE: &str = "\
evidence                         stated          from the rest
ohmmeter                         4.5 Ω           3.2(1.6)       agrees
tachometer (coast)               5157 rpm        4775(57)       CONFLICT 6.4 σ
commutator segments              7               7              agrees
captures  start, coast agree
";
const GOOD: &str = "\
terminal resistance R                             measured at 27.5 °C
    3.186(21) Ω, 3.144 to 3.228 Ω (95 %)
    at 25 °C: 3.156(23) Ω, 3.110 to 3.201 Ω (95 %)
back-EMF constant K                               measured
    23.41(15) × 10⁻³ V·s/rad, (23.11 to 23.71) × 10⁻³ V·s/rad (95 %)
    23.41(15) mN·m/A, 2.452(16) V/krpm, 407.9(2.6) rpm/V
rotor inertia J                                   measured
    1.234(21) × 10⁻⁶ kg·m², (1.193 to 1.276) × 10⁻⁶ kg·m² (95 %)
    12.35(21) g·cm²
";
const UNDETERMINED: &str = "\
rotor inertia J                                   undetermined
    what would settle it: one tachometer reading
";
const ONE_SIDED: &str = "\
windage C_w                                       measured
    0(110) × 10⁻¹² N·m·s²/rad², at most 180 × 10⁻¹² N·m·s²/rad² (95 %)
    0.0(1.2) µN·m/krpm²
electrical time constant tau_e                    measured
    100(20) µs, at least 70 µs (90 %)
";
const FROM_PRIOR: &str = "\
brush drop V_b                                    from prior
    720(260) mV, 210 mV to 1.23 V (95 %)
    metal-carbon brushes; the captures add little
    what would settle it: a locked-rotor capture at two voltages
";
