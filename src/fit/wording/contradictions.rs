//! What is said of evidence that does not agree: what was seen, what it means, and the usual causes on a bench.

use crate::quantity::rounding::{Scale, write};
use serde::Serialize;

/// An item of evidence that does not agree with the others, with its numbers in SI units. The text comes by `Display`; code and numbers by `Serialize`. `deviation`: in standard
/// uncertainties of the difference.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
pub enum Contradiction {
    #[error(
        "the captures alone give a resistance of {} where the ohmmeter reads {} (leads subtracted, at its temperature): {:.3} times as much, {}. Usual causes: {}. Check which is right",
        number(*captures_ohm, "Ohm"), number(*ohmmeter_ohm, "Ohm"), captures_ohm / ohmmeter_ohm, sigmas(*deviation), of_resistance(*warmer_k)
    )]
    Resistance {
        captures_ohm: f64,
        ohmmeter_ohm: f64,
        /// Warming of the winding that would explain it, K; `None` where the captures give less.
        warmer_k: Option<f64>,
        deviation: f64,
    },
    #[error(
        "the captures alone give an inductance of {} where the inductance meter reads {}: {:.3} times as much, {}. Usual causes: a current probe too slow for L/R (too large), a time base \
         in another unit or a wrong shunt (by tens), a meter frequency at which the iron screens (too large)",
        number(*captures_h, "H"), number(*meter_h, "H"), captures_h / meter_h, sigmas(*deviation)
    )]
    Inductance {
        captures_h: f64,
        meter_h: f64,
        deviation: f64,
    },
    #[error(
        "{item} gives {} where {} {}: {}. {}", number(*value, unit), against(others), number(*predicted, unit), sigmas(*deviation), cause.as_deref().unwrap_or(OF_A_SPEED)
    )]
    SpeedReference {
        item: String,
        value: f64,
        /// Those that it is compared with; none where it is the rest of the bench.
        others: Vec<String>,
        predicted: f64,
        unit: &'static str,
        deviation: f64,
        /// A ratio of small whole numbers that explains it.
        cause: Option<String>,
    },
    #[error(
        "{item} disagrees with the captures and the other readings, {}. Usual causes: a meter error beyond its stated accuracy, a unit or column mixed up, leads inside one voltage and not \
         the other, a winding warmer than stated. Check which is right", sigmas(*deviation)
    )]
    Readings { item: String, deviation: f64 },
    #[error(
        "{item}: the other speed references predict it {share:+.1} of its stated standard uncertainties away, {}. Usual causes: another disc or radius, a wrong segment count, a tachometer \
         that counted two marks", sigmas(*deviation)
    )]
    Attached {
        item: String,
        share: f64,
        deviation: f64,
    },
    #[error(
        "{item}: captures and readings agree only if it is wrong by {:.1} times its stated standard uncertainty, {}. Usual causes: a forgotten ratio, series resistance inside the measured \
         voltage, a switch or lead that is not stated, a probe that was not zeroed", share.abs(), sigmas(*deviation)
    )]
    Instrument {
        item: String,
        share: f64,
        deviation: f64,
    },
    #[error(
        "captures and readings agree only if the brush drop of {} goes on rising up to {}, as a resistance does, where that of brushes is flat from about {} on, {}. Usual causes: a resistance          reading, a shunt or a gain that is wrong, leads or a shunt inside one voltage and not the other, captures on winding temperatures that were not noted. Check which is right",
        number(*drop_v, "V"), number(*flat_from_a, "A"), number(*usual_a, "A"), sigmas(*deviation)
    )]
    Contact {
        drop_v: f64,
        flat_from_a: f64,
        usual_a: f64,
        deviation: f64,
    },
    #[error(
        "{capture}: the terminals open at {} in the record, where the back-EMF of the decay differs by {:+.1} % from that of the running motor; an opening at {} would agree with both. Usual \
         causes: a no-load current lost in the noise of its channel, a voltage that was not measured at the motor's terminals, a voltage channel with another scale or zero after the switch",
        number(*found_s, "s"), 100.0 * miss, number(*agreeing_s, "s")
    )]
    Opening {
        capture: String,
        found_s: f64,
        miss: f64,
        agreeing_s: f64,
    },
    #[error(
        "the stated supply and the captures are about ten times apart: see the warning on the ratio of the probe"
    )]
    SupplyByProbeRatio,
    #[error(
        "the sheet states a supply of {stated_v} V, and the motor runs freely on {shown_v:.2} V in {capture}, the nearest of all captures. Usual causes: {}. No-load and stall values belong to \
         the stated voltage",
        if stated_v * shown_v < 0.0 { "the sign of the supply, a voltage channel the wrong way round" } else { "another supply setting than the one noted, the ratio of a probe" }
    )]
    Supply {
        stated_v: f64,
        shown_v: f64,
        capture: String,
    },
    #[error(
        "{capture}: the fit needs a zero of the {channel} channel {share:.1} times its stated standard uncertainty away. Usual causes: a probe that was not zeroed, another range than the \
         one stated, a motor that did not rest before the event"
    )]
    Zero {
        capture: String,
        channel: &'static str,
        share: f64,
    },
    #[error(
        "{capture}: the model that fits all captures together misses its {channel} by {systematic:.2} {unit} of {signal:.2} {unit} ({:.0} %), over long stretches. Usual causes: a capture of \
         another motor, a wrong role, a scale or a shunt that is true for some captures only, a rotor that was not held or not free", 100.0 * systematic / signal
    )]
    Misfit {
        capture: String,
        channel: &'static str,
        unit: &'static str,
        systematic: f64,
        signal: f64,
    },
    #[error(
        "{capture} disagrees with the other captures: without it, {} changes by {:+.1} %, {}. Usual causes: {}", parameter.replace('_', " "), 100.0 * change, sigmas(*deviation), of_shift(parameter)
    )]
    Capture {
        capture: String,
        parameter: &'static str,
        change: f64,
        deviation: f64,
    },
    #[error(
        "{capture} agrees with the other captures only with {}{}, {}. Usual causes: {}. Check which is right",
        own_scale(*scale, *factor, *warmer_k), as_good.iter().map(|s| format!(", or with another {}", s.name())).collect::<String>(), sigmas(*deviation), scale.causes()
    )]
    OwnScale {
        capture: String,
        /// What it is fitted with for itself.
        scale: OwnScale,
        /// That scale over the one of all others.
        factor: f64,
        /// Warming of the winding that a resistance of this factor means, K.
        warmer_k: f64,
        /// Other scales that explain it about as well.
        as_good: Vec<OwnScale>,
        deviation: f64,
    },
    #[error(
        "{capture}: the harmonic pattern of its ripple shows {commutator}, which give K = {constant_v_s_per_rad:.4} V·s/rad; the other speed references give {others_v_s_per_rad:.4}, {:+.1} % \
         away, and no likely segment count agrees with them ({deviation:.1} σ). {}",
        100.0 * (others_v_s_per_rad / constant_v_s_per_rad - 1.0), cause.as_deref().unwrap_or(OF_A_PATTERN)
    )]
    RipplePattern {
        capture: String,
        commutator: String,
        constant_v_s_per_rad: f64,
        others_v_s_per_rad: f64,
        deviation: f64,
        cause: Option<String>,
    },
    #[error(
        "the sheet states {counted}; the ripple's harmonic pattern{} {commutator} ({capture}, {deviation:.1} σ). A wrong count makes K wrong by a ratio of small whole numbers. Count \
         segments, poles and brushes again", if *with_references { " and the other speed references show" } else { " shows" }
    )]
    SegmentCount {
        counted: String,
        commutator: String,
        capture: String,
        with_references: bool,
        deviation: f64,
    },
    #[error(
        "{capture}: the ripple of its current ({motion}) at {cycles_per_revolution} cycles a revolution{} gives {}, where its back-EMF over the constant of the other speed references gives {} \
         ({deviation:+.1} σ); it is not used. Check the segment count and the scales of that capture",
        if *counted_only { " by the segment count of the sheet, which no run-down's ripple confirms," } else { "" }, number(*speed_rad_s, "rad/s"), number(*others_rad_s, "rad/s")
    )]
    RippleOfCurrent {
        capture: String,
        motion: String,
        cycles_per_revolution: u32,
        counted_only: bool,
        speed_rad_s: f64,
        others_rad_s: f64,
        deviation: f64,
    },
    #[error(
        "{capture}: its channel {channel} does not follow the speed that voltage and current show, whatever its constant ({:.0} % away); it is not used. Usual causes: a counter that begins \
         again (rollover), lost counts or pulses, a column of another quantity, a delay that is not stated", (100.0 * share).min(999.0)
    )]
    SensorCourse {
        capture: String,
        channel: String,
        share: f64,
    },
    #[error(
        "{capture}: its channel {channel} shows {ratio:.3} times the speed that the other references give, {}; it is not used. Usual causes: lines counted for edges, another number of counts, \
         pulses or volts, a gear, a filter that is not stated", sigmas(*deviation)
    )]
    SensorConstant {
        capture: String,
        channel: String,
        ratio: f64,
        deviation: f64,
    },
}

/// A scale that one capture may have for itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OwnScale {
    /// The resistance of its winding.
    Resistance,
    /// The scale of its current channel.
    Current,
    /// The scale of its voltage channel.
    Voltage,
}

impl OwnScale {
    fn name(self) -> &'static str {
        match self {
            OwnScale::Resistance => "resistance",
            OwnScale::Current => "current scale",
            OwnScale::Voltage => "voltage scale",
        }
    }

    fn causes(self) -> &'static str {
        match self {
            OwnScale::Resistance => {
                "a winding warmer or colder than noted, a switch or lead inside its loop, a rotor that slipped in its clamp"
            }
            OwnScale::Current => "another range, ratio or shunt than the sheet states for it",
            OwnScale::Voltage => "another range or probe ratio than the sheet states for it",
        }
    }
}

/// What a capture would need.
fn own_scale(scale: OwnScale, factor: f64, warmer_k: f64) -> String {
    match scale {
        OwnScale::Resistance => {
            let than = if warmer_k < 0.0 { "colder" } else { "warmer" };
            format!(
                "{factor:.3} times their resistance (as of a winding {:.0} K {than} than noted)",
                warmer_k.abs()
            )
        }
        OwnScale::Current => {
            format!("a current of which its channel shows {factor:.3} times as much")
        }
        OwnScale::Voltage => {
            format!("a voltage of which its channel shows {factor:.3} times as much")
        }
    }
}

const OF_A_SPEED: &str = "Usual causes: a speed read in another state than the one named, the tachometer's marks, a wrong segment count, the inertia or torque added, the ratio of a probe";

const OF_A_PATTERN: &str = "Usual causes: the tachometer's marks or the state it was read in, the inertia or torque added, the probe's ratio, a wrong segment count";

fn of_resistance(warmer_k: Option<f64>) -> String {
    match warmer_k {
        Some(warmer) => format!(
            "a winding warmer than noted in the captures (by about {warmer:.0} K), a switch, lead or shunt inside the measured voltage, a shunt or a gain wrong by more than its stated accuracy"
        ),
        None => "leads that were not subtracted, a contact between brush and commutator worse than usual, a shunt or a gain wrong by more than its stated accuracy, the meter read on a \
                 warmer winding"
            .to_owned(),
    }
}

/// A deviation with its plain meaning.
fn sigmas(deviation: f64) -> String {
    let size = deviation.abs();
    let meaning = if size > 5.0 {
        "not by chance"
    } else {
        "unlikely by chance"
    };
    format!("{size:.1} σ apart ({meaning})")
}

/// A number of rad/s as revolutions a minute, others with a prefix.
fn number(value: f64, unit: &str) -> String {
    match unit {
        "rad/s" => format!("{:.0} rpm", value * 30.0 / std::f64::consts::PI),
        "V.s/rad" => write(1e3 * value, None, "mV·s/rad", Scale::Plain),
        "Ohm" => write(value, None, "Ω", Scale::Prefix),
        other => write(value, None, other, Scale::Prefix),
    }
}

fn against(others: &[String]) -> String {
    match others {
        [] => "the rest of the bench predicts".to_owned(),
        [one] => format!("{one} predicts"),
        several => format!("{} predict", several.join(", ")),
    }
}

/// What usually moves a parameter on a bench.
fn of_shift(parameter: &str) -> &'static str {
    match parameter {
        "terminal_resistance" | "brush_drop" => {
            "a winding warmer than noted, a switch or lead inside the measured loop, a forgotten probe ratio, a rotor that slipped in its clamp"
        }
        "armature_inductance" | "electrical_time_constant" => {
            "a probe or sample rate too slow for L/R, a bounce of the contact instead of the switch-on, another rotor position"
        }
        "inertia_capacitance" | "rotor_inertia" | "mechanical_time_constant" => {
            "something left on the shaft, a wrong time base, a forgotten ratio of the current probe"
        }
        "back_emf_constant" => {
            "a wrong segment count, a tachometer that counted two marks, warm magnets"
        }
        _ => {
            "friction that changes as grease and brushes warm, a shifted zero of the current probe, another motor"
        }
    }
}
