//! A bench as the estimator sees it: validated, in SI units, every accuracy a standard uncertainty.

use super::Waveform;
use super::by_hand::ByHand;
use super::capture_warning::CaptureWarning;
use super::reading_table::ReadingTable;
use super::speed_channel::SpeedChannel;
use std::path::PathBuf;

/// A stated value with its standard uncertainty, in the unit of its name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// The value as stated.
    pub value: f64,
    /// Standard uncertainty, in the unit of `value`.
    pub standard_uncertainty: f64,
}

/// The distribution that a stated accuracy stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ErrorDistribution {
    /// A limit without a level of confidence.
    Rectangular,
    /// An expanded or a standard uncertainty.
    Normal,
    /// Parts of both kinds.
    Combined,
}

impl ErrorDistribution {
    /// As tables print it.
    pub fn label(self) -> &'static str {
        match self {
            ErrorDistribution::Rectangular => "rectangular",
            ErrorDistribution::Normal => "normal",
            ErrorDistribution::Combined => "combined",
        }
    }
}

/// What a capture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Switched on from rest, rotor free.
    Start,
    /// Terminals opened at speed.
    RunDown,
    /// Terminals shorted (directly or through a stated resistor) at speed.
    Brake,
    /// Voltage step onto a held rotor.
    LockedRotor,
    /// Current interrupted or left to a clamp.
    TurnOff,
    /// Switched supply, rotor free.
    Pwm,
    /// Switched supply, rotor held.
    PwmLocked,
    /// Running freely at constant supply.
    Steady,
    /// Terminals open, shaft turned from outside at a known speed.
    Driven,
}

impl Role {
    /// As sheets, tables and files name it.
    pub fn name(self) -> &'static str {
        match self {
            Role::Start => "start",
            Role::RunDown => "run-down",
            Role::Brake => "brake",
            Role::LockedRotor => "locked-rotor",
            Role::TurnOff => "turn-off",
            Role::Pwm => "pwm",
            Role::PwmLocked => "pwm-locked",
            Role::Steady => "steady",
            Role::Driven => "driven",
        }
    }
}

/// Brush material, which decides how far an ohmmeter may be believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BrushKind {
    /// Carbon or electrographite: contact drop of about a volt in total.
    Carbon,
    /// Metal-graphite: smaller contact drop.
    MetalCarbon,
    /// Precious metal: hardly any contact drop.
    Metal,
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

/// How one trace of a capture was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelChain {
    /// Indices into [`Bench::instruments`]: the hardware that the channel passes through.
    pub instruments: Vec<usize>,
    /// Indices of those whose gain errors it has: of the hardware, or of its vertical ranges and gain checks.
    pub gains: Vec<usize>,
    /// Column name of the scope channel: with `gain_per_channel`, one gain a column name.
    pub column: String,
    /// Standard uncertainty of the zero of this channel in this capture, V or A.
    pub zero_uncertainty: f64,
}

/// One capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    /// Name of the capture, unique in its bench.
    pub name: String,
    /// The exported file.
    pub path: PathBuf,
    /// SHA-256 of the file's bytes, lower-case hex.
    pub sha256: String,
    /// Further files with channels of the same event, each with the SHA-256 of its bytes.
    pub further_files: Vec<(PathBuf, String)>,
    /// Role as stated in the sheet or by flag.
    pub role: Role,
    /// Voltage and current at the motor.
    pub waveform: Waveform,
    /// Hardware of the voltage channel; `None` where no voltage was recorded.
    pub voltage_chain: Option<ChannelChain>,
    /// Hardware of the current channel; `None` where no current was recorded.
    pub current_chain: Option<ChannelChain>,
    /// Resistance that the voltage channel spans in series with the motor (a shunt inside the measured voltage), Ω;
    /// and the index of the shunt in [`Bench::instruments`].
    pub series_in_voltage: Option<(f64, Option<usize>)>,
    /// Standard uncertainty of a diode's drop inside the measured voltage, whose stated value is taken off already, V.
    pub series_diode_sd_v: Option<f64>,
    /// Resistance in the loop outside the voltage channel (for captures without a measured voltage), Ω.
    pub loop_resistance_ohm: Option<Stated>,
    /// Open-circuit voltage of the source, where the voltage was not recorded.
    pub source_v: Option<Stated>,
    /// Winding temperature at the beginning of the capture.
    pub winding_temperature_c: Option<Stated>,
    /// Inertia added to the rotor for this capture only, kg·m².
    pub added_inertia_kg_m2: Option<Stated>,
    /// Steady load torque applied in this capture, N·m.
    pub load_torque_nm: Option<Stated>,
    /// Speed at which the shaft is driven from outside, rad/s.
    pub driven_speed_rad_s: Option<Stated>,
    /// Channel that shows how the shaft turns, where one was recorded.
    pub speed: Option<SpeedChannel>,
    /// AC-coupled voltage channel, as stated or as the preamble says.
    pub ac_coupled: bool,
    /// Events and cuts set by a person.
    pub by_hand: ByHand,
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
    /// Captures in the order of the sheet.
    pub captures: Vec<Capture>,
    /// Scalar readings in the order of the sheet.
    pub readings: Vec<Reading>,
    /// Heat runs and cooling curves in the order of the sheet.
    pub heat: Vec<HeatRecord>,
    /// Tables of readings in the order of the sheet.
    pub tables: Vec<ReadingTable>,
    /// Warnings met while the sheet and its captures were read.
    pub warnings: Vec<String>,
    /// What was taken as usual, or asks nothing of the reader.
    pub notes: Vec<String>,
    /// Those among the warnings that decide whether a result may be trusted.
    pub capture_warnings: Vec<CaptureWarning>,
}
