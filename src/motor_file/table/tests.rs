use super::*;
use crate::motor_file::{Covariance, FORMAT, Fit, Program, Severity, Stop, StopReason, Validity};
use ParameterName as Name;
use std::collections::BTreeMap;

/// A file without parameters.
pub(crate) fn empty() -> MotorFile {
    MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: None,
        inputs: Vec::new(),
        certificates: Vec::new(),
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

/// A measured parameter: value, standard uncertainty, 95 % interval.
fn measured(name: Name, [value, uncertainty, lower, upper]: [f64; 4]) -> (Name, Parameter) {
    let parameter = Parameter::measured(name, value, uncertainty, (lower, upper), 0.95);
    (name, parameter)
}

#[test]
fn each_kind_of_parameter_shows_what_is_known_of_it_and_what_would_settle_it() {
    let mut resistance = measured(Name::TerminalResistance, [3.186, 0.0213, 3.1443, 3.2277]);
    resistance.1.temperature_c = Some(27.5);
    resistance.1.at_25_c = Some(AtTemperature {
        value: 3.1556,
        unit: "Ohm".to_owned(),
        standard_uncertainty: 0.0231,
        lower: 3.1103,
        upper: 3.2009,
        level: 0.95,
        status: Status::Measured,
        temperature_c: 25.0,
    });
    let constant = measured(
        Name::BackEmfConstant,
        [0.023412, 1.52e-4, 0.023114, 0.02371],
    );
    let inertia = measured(Name::RotorInertia, [1.2345e-6, 2.1e-8, 1.193e-6, 1.276e-6]);
    golden(vec![resistance, constant, inertia], GOOD);
    let unknown = Parameter::undetermined(Name::RotorInertia, "one tachometer reading");
    golden(vec![(Name::RotorInertia, unknown)], UNDETERMINED);
    let mut windage = measured(Name::Windage, [0.0, 1.1e-10, 0.0, 1.84e-10]);
    windage.1.one_sided = Some(OneSided::Upper);
    let mut time = measured(Name::ElectricalTimeConstant, [1e-4, 2e-5, 7e-5, 2e-4]);
    (time.1.one_sided, time.1.level) = (Some(OneSided::Lower), Some(0.9));
    golden(vec![windage, time], ONE_SIDED);
    let mut drop = measured(Name::BrushDrop, [0.72, 0.26, 0.21, 1.23]);
    drop.1.status = Status::FromPrior;
    drop.1.note = Some("metal-carbon brushes; the captures add little".to_owned());
    drop.1.suggestion = Some("a locked-rotor capture at two voltages".to_owned());
    golden(vec![drop], FROM_PRIOR);
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
            values: serde_json::Map::new(),
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
    let mut file = empty();
    let mut resistance = measured(Name::TerminalResistance, [3.2212, 0.0613, 3.104, 3.342]);
    resistance.1.temperature_c = Some(26.0);
    let mut constant = measured(Name::BackEmfConstant, [0.04211, 4.7e-4, 0.0412, 0.04305]);
    constant.1.status = Status::InConflict;
    let inertia = Parameter::undetermined(Name::RotorInertia, "one tachometer reading");
    let mut windage = measured(Name::Windage, [0.0, 1e-9, 0.0, 3.02e-9]);
    windage.1.one_sided = Some(OneSided::Upper);
    file.parameters.extend([
        resistance,
        constant,
        (Name::RotorInertia, inertia),
        measured(Name::InertiaCapacitance, [3.6e-3, 6.7e-5, 3.47e-3, 3.74e-3]),
        measured(
            Name::CoulombFrictionTorque,
            [2.59e-5, 9e-7, 2.41e-5, 2.77e-5],
        ),
        windage,
    ]);
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
    determined by: one tachometer reading
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
    determined by: a locked-rotor capture at two voltages
";
