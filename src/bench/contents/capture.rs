//! One capture as the estimator sees it: what it shows, its waveform in volts and amperes, and how far it can be used.

use super::accuracy::Stated;
use crate::capture::TimeAxis;
use std::ops::Range;
use std::path::PathBuf;

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
    /// Every role.
    pub const ALL: [Role; 9] = [
        Role::Start,
        Role::RunDown,
        Role::Brake,
        Role::LockedRotor,
        Role::TurnOff,
        Role::Pwm,
        Role::PwmLocked,
        Role::Steady,
        Role::Driven,
    ];

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

/// One measured quantity over the rows of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Volts or amperes at the motor, scale and polarity applied; `NaN` where missing.
    pub values: Vec<f64>,
    /// Smallest step between codes seen, in the unit of `values`; `None` where the data look continuous.
    pub quantisation_step: Option<f64>,
    /// Rows where the value sits at the end of the converter's range or was marked overrange; may be empty where none is.
    pub clipped: Vec<bool>,
}

impl Trace {
    /// The flags of some rows, one a row; `None` where the trace does not have them all.
    pub fn clipped_in(&self, rows: Range<usize>) -> Option<Vec<bool>> {
        match self.clipped.is_empty() {
            true => (rows.end <= self.values.len()).then(|| vec![false; rows.len()]),
            false => self.clipped.get(rows).map(<[bool]>::to_vec),
        }
    }
}

/// A capture after scale, shunt, ratio and polarity were applied. Positive current flows into the motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    /// Times of the rows, s.
    pub time: TimeAxis,
    /// Voltage at the motor, V; `None` where it was not recorded.
    pub voltage_v: Option<Trace>,
    /// Current into the motor, A; `None` where it was not recorded.
    pub current_a: Option<Trace>,
}

/// How one trace of a capture was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelChain {
    /// Indices into [`crate::bench::Bench::instruments`]: the hardware that the channel passes through.
    pub instruments: Vec<usize>,
    /// Indices of those whose gain errors it has: of the hardware, or of its vertical ranges and gain checks.
    pub gains: Vec<usize>,
    /// Column name of the scope channel: with `gain_per_channel`, one gain a column name.
    pub column: String,
    /// Standard uncertainty of the zero of this channel in this capture, V or A.
    pub zero_uncertainty: f64,
}

/// A bridge in a capture without a voltage channel that opens in the off time, so that diodes carry the current until it has died.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoastingBridge {
    /// Share of a period in which the motor is on the source, 0 to 1.
    pub duty: f64,
    /// Standard uncertainty of ln of that share, with what that of the diodes' drop amounts to.
    pub duty_uncertainty: f64,
    /// Switching period, s.
    pub period_s: f64,
    /// Drop of all diodes that the current passes in the off time, V.
    pub diode_drop_v: f64,
    /// Whether the diodes lead the current back into the source; else around it.
    pub into_source: bool,
}

/// What such a channel records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SpeedSignal {
    /// A speed, or the volts of a tachogenerator.
    Speed,
    /// The counts of an encoder, or an angle.
    Position,
    /// The level of an optical or magnetic pickup.
    Pulses,
}

impl SpeedSignal {
    /// As sheets name it.
    pub fn name(self) -> &'static str {
        match self {
            SpeedSignal::Speed => "speed",
            SpeedSignal::Position => "position",
            SpeedSignal::Pulses => "pulses",
        }
    }
}

/// A channel of one capture beside voltage and current.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedChannel {
    /// Name in the sheet.
    pub name: String,
    /// What it records.
    pub signal: SpeedSignal,
    /// One value a row: rad/s or rad of the motor's shaft, `NaN` where missing; of pulses the level as recorded.
    pub values: Vec<f64>,
    /// Smallest step of `values`, likewise.
    pub step: f64,
    /// Angle of the motor's shaft from one pulse to the next, rad.
    pub pulse_rad: f64,
    /// Pulses in a turn, whose spacing may be uneven.
    pub pulses_per_turn: u32,
    /// Relative standard uncertainty of a tachogenerator's constant, of the hardware behind it, and of a gear between shaft and
    /// sensor.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the zero, rad/s.
    pub zero_uncertainty: f64,
    /// How late the channel shows the shaft, s.
    pub delay_s: Option<Stated>,
}

/// An event that can be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum HandEvent {
    /// The contact closes.
    SwitchOn,
    /// The contact opens.
    SwitchOff,
    /// The arc of an opened contact ends.
    Arc,
    /// The terminals are shorted.
    Short,
    /// The rotor comes to rest.
    Standstill,
}

impl HandEvent {
    /// All of them, by their keys in the sheet.
    pub const KEYS: [(&'static str, HandEvent); 5] = [
        ("switch-on", HandEvent::SwitchOn),
        ("switch-off", HandEvent::SwitchOff),
        ("arc", HandEvent::Arc),
        ("short", HandEvent::Short),
        ("standstill", HandEvent::Standstill),
    ];
}

/// What was set of one capture; times on the capture's own axis, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByHand {
    /// Events, each kind at most once.
    pub events_s: Vec<(HandEvent, f64)>,
    /// Stretches that no fit may use, from and to.
    pub cuts_s: Vec<(f64, f64)>,
}

impl ByHand {
    /// True where nothing was set.
    pub fn is_empty(&self) -> bool {
        self.events_s.is_empty() && self.cuts_s.is_empty()
    }
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
    /// and the index of the shunt in [`crate::bench::Bench::instruments`].
    pub series_in_voltage: Option<(f64, Option<usize>)>,
    /// Standard uncertainty of a diode's drop inside the measured voltage, whose stated value is taken off already, V.
    pub series_diode_sd_v: Option<f64>,
    /// Resistance in the loop outside the voltage channel (for captures without a measured voltage), Ω.
    pub loop_resistance_ohm: Option<Stated>,
    /// Open-circuit voltage of the source, where the voltage was not recorded; its mean behind a bridge that does not coast.
    pub source_v: Option<Stated>,
    /// Bridge between that source and the motor that coasts in the off time.
    pub coasting: Option<CoastingBridge>,
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

/// A mistake met in a capture. Each also stands in words among the warnings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum CaptureWarning {
    /// Nothing leaves the noise.
    NoEvent,
    /// One of voltage and current is the wrong way round: the source seems to be driven by the motor.
    WrongPolarity,
    /// The level of the voltage is lost behind a coupling capacitor.
    AcCoupled,
    /// The rise of the current falls between two samples.
    RiseBetweenSamples,
    /// The voltage contradicts the supply by the ratio of a probe.
    ProbeRatio,
    /// A rotor that was said to be held turned.
    Slipped,
    /// The times of a capture contradict the others', or any motor's, by a factor of a thousand or so.
    TimeBase,
    /// A meter contradicts the captures by a factor of ten.
    TenTimesOff,
    /// The unit of a column contradicts what it is used as.
    Unit,
    /// The importer read the record only by an assumption, or only in part.
    Record,
}

impl CaptureWarning {
    /// True when the capture cannot be taken as it stands.
    pub fn spoils_capture(self) -> bool {
        self != CaptureWarning::RiseBetweenSamples
    }

    /// True when no estimate that used the capture should be trusted. A capture without an event or without its level is
    /// left out of the estimate, and one without its rise only leaves the inductance open: neither spoils the rest.
    pub fn spoils_estimate(self) -> bool {
        matches!(
            self,
            CaptureWarning::WrongPolarity
                | CaptureWarning::ProbeRatio
                | CaptureWarning::Slipped
                | CaptureWarning::TimeBase
                | CaptureWarning::TenTimesOff
                | CaptureWarning::Unit
                | CaptureWarning::Record
        )
    }
}
