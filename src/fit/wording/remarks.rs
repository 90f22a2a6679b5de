//! What a fit remarks on beside its result: each a value with its numbers, worded here.

use crate::quantity::engineering;
use crate::quantity::rounding::{Scale, write};
use crate::ripple::{RunDownRemark, StatedCount};
use serde::Serialize;
use std::fmt;

/// A remark with what it is about.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Remark {
    /// A capture, a reading, an instrument; `None` where it concerns the whole bench.
    pub subject: Option<String>,
    /// What was found.
    pub kind: RemarkKind,
}

/// What was found, in SI units where a name states no other. The text comes by `Display`; code and numbers by `Serialize`.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
pub enum RemarkKind {
    #[error(
        "nothing is left of the reading after the leads' {leads_ohm} Ω are subtracted; not used. Check leads_ohm"
    )]
    BelowLeads { leads_ohm: f64 },
    #[error(
        "no capture shows the motor running freely on its supply, so there is no back-EMF to compare the speed with; not used. State the terminal_voltage, or record a run"
    )]
    NoRunningCapture,
    #[error(
        "capture \"{capture}\" is a {role} and shows no steady running on a constant voltage; not used. Name the capture that shows the state in which the speed was read, or state the \
         terminal_voltage"
    )]
    NoSteadyRunning { capture: String, role: &'static str },
    #[error(
        "at {voltage_v} V the motor would not turn, as the captures show it, so there is no back-EMF to compare the speed with; not used. Check its voltage and current"
    )]
    WouldNotTurn { voltage_v: f64 },
    #[error(
        "the voltage was AC-coupled, so the level that gives K is lost. Record again with DC coupling"
    )]
    DrivenAcCoupled,
    #[error(
        "a driven motor shows its back-EMF at the terminals, but no voltage was recorded; not used"
    )]
    DrivenWithoutVoltage,
    #[error(
        "no steady voltage rises above the noise of this driven record, so it gives no K. Check that the probe is on the terminals and the shaft turns"
    )]
    DrivenNoLevel,
    #[error(
        "the voltage of the driven motor drifts by {:+.2} % over the record: the speed was not constant, or the stated speed belongs to a part of it. The drift adds {:.2} % to the \
         uncertainty of K", 100.0 * drift, 100.0 * drift.abs() / 12f64.sqrt()
    )]
    DrivenDrift { drift: f64 },
    #[error("{} at {} driven give K = {} before the gain of the channel", stated(voltage_v, "V"), stated(speed_rad_s, "rad/s"), write(constant_v_s_per_rad[0], Some(constant_v_s_per_rad[1]), "V·s/rad", Scale::Power))]
    DrivenConstant {
        voltage_v: [f64; 2],
        speed_rad_s: [f64; 2],
        constant_v_s_per_rad: [f64; 2],
    },
    #[error("its strongest ripple, {ripple_hz:.2} Hz at {} driven, has {} cycles a revolution{}", stated(speed_rad_s, "rad/s"), stated(cycles, "").trim(), meaning)]
    DrivenCycles {
        ripple_hz: f64,
        speed_rad_s: [f64; 2],
        cycles: [f64; 2],
        meaning: CyclesMean,
    },
    #[error(
        "the speed channel {channel} is not used: a {role} capture has no speed of the motor's own"
    )]
    SensorOutOfPlace { channel: String, role: &'static str },
    #[error("the speed channel {channel} shows no pulses; it is not used")]
    NoPulses { channel: String },
    #[error(
        "the speed channel {channel} has {uneven} of {intervals} intervals with a pulse too many or too few; {}",
        if *used { "these are left out" } else { "it is not used" }
    )]
    UnevenPulses {
        channel: String,
        uneven: usize,
        intervals: usize,
        used: bool,
    },
    #[error(
        "the speed channel {channel} shows no turning where the model follows the motor; it is not used"
    )]
    SensorStill { channel: String },
    #[error(
        "the back-EMF constant comes from the channel {channel} alone: a wrong number of counts or pulses a turn, a wrong voltage constant or a gear that is not stated would remain \
         hidden, and would change the constant, the inertia and the friction torques. Read the speed once with a tachometer, or state commutator_segments"
    )]
    SensorAlone { channel: String },
    #[error("the ripple of its current ({motion}) is {}faster than half the sampling rate and therefore aliased; its speed is not used. Sample faster, over a shorter time if necessary", if *share < 1.0 { format!("in {:.0} % of it ", 100.0 * share) } else { String::new() })]
    CurrentRippleAliased { motion: String, share: f64 },
    #[error("the ripple of its current ({motion}) at {cycles_per_revolution} cycles a revolution gives {} at {}", stated(speed_rad_s, "rad/s"), write(*time_s, None, "s", Scale::Prefix))]
    CurrentSpeed {
        motion: String,
        cycles_per_revolution: u32,
        speed_rad_s: [f64; 2],
        time_s: f64,
    },
    #[error("its ripple gives no speed: {why}")]
    RippleUnreadable { why: String },
    #[error("{0}")]
    SegmentCount(StatedCount),
    #[error("the stated {shunt_ohm} Ω is {:.0} % of the motor's resistance of {}, which is much for a shunt. If it is a tenth of that, all currents are ten times larger, and R, L, J and the friction torques change by a factor of ten. Check its marking, or add an ohmmeter reading of the motor", 100.0 * shunt_ohm / resistance_ohm, write(*resistance_ohm, None, "Ω", Scale::Prefix))]
    LargeShunt { shunt_ohm: f64, resistance_ohm: f64 },
    #[error("its own current warms the winding by about {warmed_k:.0} K during the record, so R rises by {:.1} %. The model includes this with a heat capacity of {heat_capacity_j_per_k:.2} J/K; R is the value at the beginning. Record for a shorter time, with minutes between the shots", 100.0 * resistance_rise)]
    Warmed {
        warmed_k: f64,
        resistance_rise: f64,
        heat_capacity_j_per_k: f64,
    },
    #[error("the time axes of {} and {} contradict each other: {quantity} would be about {} in the one and {} in the other. The time column of {} is probably in another unit, off by a factor of {}; set its unit or interval under import", captures[0], captures[1], engineering(values[0], unit), engineering(values[1], unit), if *only_two { "one of the two" } else { captures[0].as_str() }, thousands(values[0] / values[1]))]
    TimeAxesDisagree {
        captures: [String; 2],
        quantity: &'static str,
        unit: &'static str,
        values: [f64; 2],
        only_two: bool,
    },
    #[error("the captures show an electrical time constant of about {} and a mechanical one of about {}; brushed motors have {} to {} and {} to {}. The time columns are probably in another unit (a thousand times off): set unit or interval under import; otherwise L, J and all friction torques are wrong by that factor", seconds(*electrical_s), seconds(*mechanical_s), engineering(usual_electrical_s.0, "s"), engineering(usual_electrical_s.1, "s"), engineering(usual_mechanical_s.0, "s"), engineering(usual_mechanical_s.1, "s"))]
    TimeConstantsOff {
        electrical_s: Option<f64>,
        mechanical_s: Option<f64>,
        usual_electrical_s: (f64, f64),
        usual_mechanical_s: (f64, f64),
    },
    #[error("{} a resistance of about {} where the ohmmeter reads {}: a factor of {:.1}. The resistance of a shunt, the ratio of a probe or the reading is probably entered {times} times off. If it is the shunt, the currents are {times} times too {} and the true shunt is {times} times {} than stated; R, L, J and all friction torques are then {times} times off. Correct the sheet first", shown_by(captures), ohms(*captures_ohm), ohms(*ohmmeter_ohm), (captures_ohm / ohmmeter_ohm).max(ohmmeter_ohm / captures_ohm), if captures_ohm > ohmmeter_ohm { "small" } else { "large" }, if captures_ohm > ohmmeter_ohm { "smaller" } else { "larger" }, times = decade(captures_ohm / ohmmeter_ohm))]
    TenTimesOff {
        /// None where all show it.
        captures: Vec<String>,
        captures_ohm: f64,
        ohmmeter_ohm: f64,
    },
    #[error(
        "the model misses {:.0} % of the signal. Check role, polarity and scale, and that nothing but the motor is between the leads", 100.0 * share.min(9.99)
    )]
    Unfollowed { share: f64 },
    #[error(
        "the current falls where the voltage rises, as in a source. Check polarity and which channel is the current"
    )]
    LikeASource,
    #[error(
        "the back-EMF falls while the current drives the rotor. Check polarity, and that the field is that of magnets"
    )]
    EmfFalls,
    #[error(
        "the resistance between the leads changes from {} to {} within the record: something in series is switched or warms, such as a starting rheostat. Record the voltage at the \
         motor's own terminals", ohms(*early_ohm), ohms(*late_ohm)
    )]
    ResistanceChanges { early_ohm: f64, late_ohm: f64 },
    #[error(
        "the back-EMF per charge changes by a factor of {factor:.2} within the record: the field is not that of magnets (a wound field), or the load moves"
    )]
    EmfPerChargeChanges { factor: f64 },
    #[error("standard uncertainty from their scatter alone (type A, degrees of freedom {}): {}", captures - 1, scatter(percent))]
    Repeats {
        captures: usize,
        /// Symbol, what the scatter gives and what the fit allows for what changes between repeats, in per cent.
        percent: Vec<(&'static str, f64, f64)>,
    },
    /// What the ripple of a run-down shows, with codes of its own.
    #[serde(untagged)]
    #[error("{0}")]
    RunDown(RunDownRemark),
}

impl RemarkKind {
    /// With what it is about.
    pub(in crate::fit) fn about(self, subject: impl Into<String>) -> Remark {
        Remark {
            subject: Some(subject.into()),
            kind: self,
        }
    }

    /// Of the whole bench.
    pub(in crate::fit) fn of_bench(self) -> Remark {
        Remark {
            subject: None,
            kind: self,
        }
    }
}

impl Remark {
    /// True where it only reports what was found: nothing is asked of the reader.
    pub fn is_note(&self) -> bool {
        matches!(
            self.kind,
            RemarkKind::DrivenConstant { .. }
                | RemarkKind::DrivenCycles { .. }
                | RemarkKind::CurrentSpeed { .. }
                | RemarkKind::RippleUnreadable { .. }
                | RemarkKind::SegmentCount(_)
                | RemarkKind::Repeats { .. }
                | RemarkKind::RunDown(_)
        )
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.subject {
            Some(subject) => write!(f, "{subject}: {}", self.kind),
            None => self.kind.fmt(f),
        }
    }
}

/// What the cycles a revolution of a driven record's ripple mean.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum CyclesMean {
    /// The speed is not known well enough to count.
    Vague,
    /// No whole number; the record was sampled at so many hertz.
    NotWhole(f64),
    /// As the ripple of the run-down.
    AsInRunDown,
    /// A multiple or a part of those of the run-down.
    HarmonicOf(u32),
    /// Neither.
    Against(u32),
    /// No commutator makes so many.
    Unevenness,
    /// Commutators of these counts of segments, under so many poles.
    Segments(Vec<u32>, u32),
}

impl fmt::Display for CyclesMean {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Vague => f.write_str(
                ", too uncertain to be counted. A more exact speed would give the segment count",
            ),
            Self::NotWhole(sampling_hz) => write!(
                f,
                ", which is no whole number: the speed is not the stated one, or the ripple is faster than half of {sampling_hz:.0} Hz and therefore aliased"
            ),
            Self::AsInRunDown => f.write_str(", as in the run-down"),
            Self::HarmonicOf(n) => write!(
                f,
                ", a harmonic of the run-down's {n} or the unevenness of its segments"
            ),
            Self::Against(n) => write!(
                f,
                ", which does not agree with the run-down's {n}: one of the two is misread"
            ),
            Self::Unevenness => {
                f.write_str(": unevenness of the segments, which does not give their number")
            }
            Self::Segments(counts, poles) => {
                let counts: Vec<String> = counts.iter().map(u32::to_string).collect();
                write!(
                    f,
                    ": {} segments under {poles} poles, if it is the commutation",
                    counts.join(" or ")
                )
            }
        }
    }
}

fn scatter(percent: &[(&str, f64, f64)]) -> String {
    let each = percent.iter().map(|(name, scatter, allowed)| {
        format!("{name} {scatter:.2} % (the fit allows {allowed:.2} %)")
    });
    each.collect::<Vec<_>>().join(", ")
}

/// A value with its standard uncertainty.
fn stated([value, sd]: &[f64; 2], unit: &str) -> String {
    write(*value, Some(*sd), unit, Scale::Plain)
}

fn ohms(value: f64) -> String {
    write(value, None, "Ω", Scale::Prefix)
}

fn seconds(value: Option<f64>) -> String {
    value.map_or("unknown".to_owned(), |v| engineering(v, "s"))
}

/// The power of ten next to a ratio or its inverse.
fn decade(ratio: f64) -> &'static str {
    match ratio.log10().abs().round() as u32 {
        0 | 1 => "ten",
        2 => "a hundred",
        3 => "a thousand",
        _ => "ten thousand or more",
    }
}

fn shown_by(captures: &[String]) -> String {
    match captures {
        [] => "the captures show".to_owned(),
        [one] => format!("{one} shows"),
        several => format!("{} show", several.join(", ")),
    }
}

/// `10³`, `10⁶` or their inverses, whichever is next.
fn thousands(ratio: f64) -> &'static str {
    match (ratio.log10() / 3.0).round() as i32 {
        i32::MIN..=-2 => "10⁻⁶ or less",
        -1 => "10⁻³",
        0 | 1 => "10³",
        _ => "10⁶ or more",
    }
}
