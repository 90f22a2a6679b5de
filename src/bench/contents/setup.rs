//! A bench as the estimator sees it: validated, in SI units, every accuracy a standard uncertainty.

use super::accuracy::{ErrorDistribution, Stated};
use super::capture::{Capture, CaptureWarning};
use crate::bench::remarks::BenchRemark;
use crate::quantity::units::Quantity;
use std::path::{Path, PathBuf};

/// Brush material, which decides how far an ohmmeter may be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BrushKind {
    /// Carbon or electrographite: contact drop of 1.0 V a brush in IEC 60034-2-1, often less in small motors.
    Carbon,
    /// Metal-graphite: contact drop of 0.3 V a brush there.
    MetalCarbon,
    /// Precious metal: hardly any contact drop.
    Metal,
}

impl BrushKind {
    /// Standard uncertainty of the share of R that is not copper: brushes, and what their contact drop still rises with the current.
    /// Carbon changes next to nothing with temperature beside copper; a fifth of R is within two of these (common practice, no source).
    pub fn other_share(brushes: Option<BrushKind>) -> f64 {
        match brushes {
            Some(BrushKind::Carbon) | None => 0.1,
            Some(BrushKind::MetalCarbon) => 0.05,
            Some(BrushKind::Metal) => 0.01,
        }
    }
}

/// Magnet material, for the temperature coefficient of the back-EMF constant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MagnetKind {
    /// Hard ferrite.
    Ferrite,
    /// Neodymium-iron-boron.
    Neodymium,
    /// Samarium-cobalt.
    SamariumCobalt,
}

/// What is known of the motor before any capture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MotorFacts {
    /// Name of the motor; free text.
    pub name: String,
    /// Number of commutator segments.
    pub commutator_segments: Option<u32>,
    /// Number of field poles.
    pub poles: Option<u32>,
    /// Number of brushes.
    pub brush_count: Option<u32>,
    /// Material of the brushes.
    pub brushes: Option<BrushKind>,
    /// Material of the magnets.
    pub magnets: Option<MagnetKind>,
    /// Nominal supply voltage, V.
    pub supply_v: Option<f64>,
    /// Ambient temperature, °C.
    pub room_temperature_c: Option<f64>,
    /// Capacitor across the terminals while it was recorded, F.
    pub capacitor_f: Option<f64>,
}

/// Calibration certificate of an instrument, as the sheet states it.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Certificate {
    /// Key of the instrument in the bench sheet.
    pub instrument: String,
    /// Number of the certificate.
    pub number: String,
    /// Day of the calibration, YYYY-MM-DD.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
}

impl std::fmt::Display for Certificate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "certificate {}", self.number)?;
        self.date.iter().try_for_each(|date| write!(f, ", {date}"))
    }
}

/// One piece of hardware through which a channel passes, or a gain error that one of its vertical ranges or a gain check has for itself. Its gain
/// error is one number shared by all channels that name it.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// Key in the bench sheet.
    pub name: String,
    /// Relative standard uncertainty of the gain (for a shunt: of its resistance).
    pub gain_relative_uncertainty: f64,
    /// Resistance of a shunt as stated, Ω; `None` of any other hardware.
    pub shunt_ohm: Option<f64>,
    /// ErrorDistribution that the stated or assumed accuracy of the gain stands for.
    pub gain_distribution: Option<ErrorDistribution>,
    /// First-order bandwidth in Hz where it matters.
    pub bandwidth_hz: Option<f64>,
    /// Largest delay of a current channel through this hardware against the voltage channel, either way, s.
    pub skew_s: Option<f64>,
    /// Relative standard uncertainty of the time base.
    pub time_base_relative_uncertainty: Option<f64>,
    /// True for the oscilloscope itself: voltage and current channels then have separate vertical gains.
    pub gain_per_channel: bool,
}

/// A scalar reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Reading {
    /// Ohmmeter across the terminals. `readings_ohm` over rotor positions, lead resistance still inside.
    Ohmmeter {
        /// Readings at different rotor positions, Ω, with the resistance of the leads.
        readings_ohm: Vec<f64>,
        /// Resistance of the leads, Ω; `None` counts as 0.
        leads_ohm: Option<Stated>,
        /// Relative standard uncertainty of the instrument.
        relative_uncertainty: f64,
        /// Winding temperature during the readings, °C.
        temperature_c: Option<Stated>,
        /// Name of the meter; readings without a name share the one that is there.
        meter: Option<String>,
    },
    /// Inductance meter across the terminals, rotor still.
    InductanceMeter {
        /// The reading, H.
        inductance_h: Stated,
        /// Test frequency of the meter, Hz.
        frequency_hz: Option<f64>,
    },
    /// Tachometer while running freely in the state that `capture` shows (its end for a start, its beginning for a
    /// run-down or brake), or at a stated supply voltage.
    Speed {
        /// The reading, rad/s.
        speed_rad_s: Stated,
        /// Name of the capture whose state the reading shows.
        capture: Option<String>,
        /// Terminal voltage during the reading, V.
        terminal_voltage_v: Option<Stated>,
        /// Motor current during the reading, A.
        current_a: Option<Stated>,
        /// Name of the tachometer, as for the ohmmeter.
        meter: Option<String>,
    },
    /// Open-terminal voltage while driven at a known speed.
    SpunBackEmf {
        /// Voltage between the open terminals, V.
        voltage_v: Stated,
        /// Speed of the driven shaft, rad/s.
        speed_rad_s: Stated,
        /// Name of the voltmeter, as for the ohmmeter.
        meter: Option<String>,
    },
}

/// What the rows of a table show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TableKind {
    /// The motor runs freely: its own friction is all that loads it.
    NoLoad,
    /// The motor drives a load. A row of speed zero is a held rotor.
    LoadLine,
    /// The rotor is held.
    HeldRotor,
    /// A small alternating current through the resting motor, at several frequencies.
    Impedance,
}

impl TableKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [
        TableKind::NoLoad,
        TableKind::LoadLine,
        TableKind::HeldRotor,
        TableKind::Impedance,
    ];

    /// As sheets and messages name it.
    pub fn name(self) -> &'static str {
        match self {
            TableKind::NoLoad => "no-load",
            TableKind::LoadLine => "load-line",
            TableKind::HeldRotor => "held-rotor",
            TableKind::Impedance => "impedance",
        }
    }
}

/// What one meter read in every row.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingColumn {
    /// Voltage, current, speed, torque, frequency or inductance.
    pub quantity: Quantity,
    /// One reading a row, in the SI unit.
    pub values: Vec<f64>,
    /// Relative standard uncertainty of the meter's gain.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of its zero, in the SI unit.
    pub zero_uncertainty: f64,
    /// Name of the meter; columns and readings without a name share the one that is there.
    pub meter: Option<String>,
}

/// A table of readings, validated, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingTable {
    /// Unique among the tables of a bench.
    pub name: String,
    /// What its rows show.
    pub kind: TableKind,
    /// One a quantity, all of the same length.
    pub columns: Vec<ReadingColumn>,
    /// Winding temperature in the first row, °C.
    pub winding_temperature_c: Option<Stated>,
    /// Most by which the winding warmed from the first row to the last, K.
    pub warmed_k: Option<f64>,
    /// The file it was read from, with the SHA-256 of its bytes; `None` where the sheet holds it.
    pub file: Option<(PathBuf, String)>,
}

impl Reading {
    /// Mean of what an ohmmeter read at several rotor positions, less its leads, Ω; `None` of another meter or without a reading.
    pub fn resistance_ohm(&self) -> Option<f64> {
        match self {
            Reading::Ohmmeter {
                readings_ohm,
                leads_ohm,
                ..
            } if !readings_ohm.is_empty() => {
                let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
                Some(mean - leads_ohm.map_or(0.0, |l| l.value))
            }
            _ => None,
        }
    }
}

impl ReadingTable {
    /// The column of a quantity.
    pub fn column(&self, quantity: Quantity) -> Option<&ReadingColumn> {
        self.columns.iter().find(|c| c.quantity == quantity)
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |c| c.values.len())
    }
}

/// What a heat record shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeatKind {
    /// Heated by its own current for minutes or hours.
    HeatRun,
    /// Without current after a heat run.
    CoolDown,
}

impl HeatKind {
    /// As sheets and files name it.
    pub fn name(self) -> &'static str {
        match self {
            HeatKind::HeatRun => "heat-run",
            HeatKind::CoolDown => "cool-down",
        }
    }
}

/// Numbers of one quantity of a heat record, NaN where missing.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatSeries {
    /// In the SI unit (temperatures in °C).
    pub values: Vec<f64>,
    /// Relative standard uncertainty, common to all of them.
    pub relative_uncertainty: f64,
    /// Standard uncertainty of their zero, in the same unit, common to all of them.
    pub absolute_uncertainty: f64,
}

/// A record of minutes to hours that shows how the motor warms or cools.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatRecord {
    /// Name, unique among the heat records of its bench.
    pub name: String,
    /// What it shows.
    pub kind: HeatKind,
    /// The file with the SHA-256 of its bytes; `None` where it is typed in the sheet.
    pub file: Option<(PathBuf, String)>,
    /// Rising times; those of a cooling curve count from switching off but for `delay_s`.
    pub time_s: Vec<f64>,
    /// Terminal voltage.
    pub voltage_v: Option<HeatSeries>,
    /// Current.
    pub current_a: Option<HeatSeries>,
    /// Readings of an ohmmeter across the terminals, its leads in them.
    pub resistance_ohm: Option<HeatSeries>,
    /// Temperature of the housing, °C.
    pub housing_c: Option<HeatSeries>,
    /// Whether the rotor was held.
    pub rotor_held: bool,
    /// Temperature of the room, °C.
    pub ambient_c: Stated,
    /// Resistance of the ohmmeter's leads.
    pub leads_ohm: Stated,
    /// Index of the heat run that a cooling curve follows.
    pub after: Option<usize>,
    /// Time from switching off to the time 0 of the record, s.
    pub delay_s: f64,
}

/// Everything measured on one motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// The bench sheet; `None` for a bench from flags alone.
    pub path: Option<PathBuf>,
    /// SHA-256 of the bench sheet, where one was read.
    pub sha256: Option<String>,
    /// What is known of the motor beforehand.
    pub motor: MotorFacts,
    /// Instruments; channel chains refer to them by index.
    pub instruments: Vec<Instrument>,
    /// Certificates of instruments and meters in the order of the sheet.
    pub certificates: Vec<Certificate>,
    /// Captures in the order of the sheet.
    pub captures: Vec<Capture>,
    /// Scalar readings in the order of the sheet.
    pub readings: Vec<Reading>,
    /// Heat runs and cooling curves in the order of the sheet.
    pub heat: Vec<HeatRecord>,
    /// Tables of readings in the order of the sheet.
    pub tables: Vec<ReadingTable>,
    /// Warnings met while the sheet and its captures were read.
    pub warnings: Vec<BenchRemark>,
    /// What was taken as usual, or asks nothing of the reader.
    pub notes: Vec<BenchRemark>,
    /// Those among the warnings that decide whether a result may be trusted.
    pub capture_warnings: Vec<CaptureWarning>,
}

impl Bench {
    /// Every file that was read beside the sheet: its path, the SHA-256 of its bytes, and what it is.
    pub fn files(&self) -> impl Iterator<Item = (&Path, &str, String)> {
        let captures = self.captures.iter().flat_map(|capture| {
            let further = capture.further_files.iter().map(|(path, sha)| (path, sha));
            let files = std::iter::once((&capture.path, &capture.sha256)).chain(further);
            files.map(|file| (file, capture.role.name().to_owned()))
        });
        let heat = self.heat.iter().filter_map(|record| {
            let (path, sha256) = record.file.as_ref()?;
            Some(((path, sha256), record.kind.name().to_owned()))
        });
        let tables = self.tables.iter().filter_map(|table| {
            let (path, sha256) = table.file.as_ref()?;
            Some(((path, sha256), format!("{} table", table.kind.name())))
        });
        let all = captures.chain(heat).chain(tables);
        all.map(|((path, sha256), what)| (path.as_path(), sha256.as_str(), what))
    }
}
