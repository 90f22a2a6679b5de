//! Instruments of a sheet with their accuracies as standard uncertainties; what the sheet leaves out is assumed, with a warning.

use super::accuracy::{Accuracy, Range};
use super::remarks::Assumption;
use super::setup::Instrument;
use super::sheet::{InstrumentKind, TypedInstrument};

/// Screen divisions an oscilloscope spreads its codes over, where the sheet does not say (common practice, no source).
const ASSUMED_DIVISIONS: u32 = 10;
/// Zero error of an oscilloscope channel in divisions, where the sheet does not say (common practice, no source).
const ASSUMED_ZERO_DIVISIONS: f64 = 0.1;
/// Zero error of a current probe, in percent of the largest current seen (common practice, no source).
const ASSUMED_CLAMP_ZERO_PERCENT: f64 = 1.0;

/// Gain of an oscilloscope of eight bits, and of more, as a share of full scale, where the sheet does not say (common practice, no source).
const ASSUMED_SCOPE_GAIN: (f64, f64) = (0.03, 0.01);

/// An instrument through which channels pass, and the facts of it that only the bench needs.
#[derive(Clone, Debug)]
pub(super) struct Hardware {
    pub kind: InstrumentKind,
    pub instrument: Instrument,
    pub bits: Option<u32>,
    pub divisions: u32,
    pub gain: Accuracy,
    pub range_gain: Option<Accuracy>,
    pub zero: Accuracy,
    pub resistance_ohm: Option<f64>,
}

/// The hardware of a sheet in the order in which [`super::Bench::instruments`] keeps it. Meters and tachometers, through
/// which no channel passes, stay out.
pub(super) fn resolve(
    typed: &[TypedInstrument],
    assumptions: &mut Vec<Assumption>,
) -> Vec<Hardware> {
    typed
        .iter()
        .filter(|t| !matches!(t.kind, InstrumentKind::Meter | InstrumentKind::Tachometer))
        .map(|t| one(t, assumptions))
        .collect()
}

fn one(typed: &TypedInstrument, assumptions: &mut Vec<Assumption>) -> Hardware {
    let name = &typed.name;
    let mut assume = |what: &'static str, value: String| {
        assumptions.push(Assumption {
            instrument: name.clone(),
            what,
            value,
        });
    };
    // Common practice, no source.
    let assumed = match typed.kind {
        InstrumentKind::Oscilloscope if typed.bits.is_some_and(|b| b > 8) => ASSUMED_SCOPE_GAIN.1,
        InstrumentKind::Oscilloscope => ASSUMED_SCOPE_GAIN.0,
        InstrumentKind::VoltageProbe => 0.02,
        InstrumentKind::CurrentProbe => 0.03,
        _ => 0.05,
    };
    let gain = typed.gain.unwrap_or_else(|| {
        let what = if typed.kind == InstrumentKind::Shunt {
            "tolerance"
        } else {
            "gain accuracy"
        };
        let percent = 100.0 * assumed;
        if typed.kind == InstrumentKind::Oscilloscope {
            assume(what, format!("a limit of {percent} % of full scale"));
            Accuracy::limit_full_scale(assumed)
        } else {
            assume(what, format!("a limit of {percent} %"));
            Accuracy::limit_relative(assumed)
        }
    });
    let mut divisions = ASSUMED_DIVISIONS;
    let mut zero = typed.zero.unwrap_or_default();
    if typed.kind == InstrumentKind::Oscilloscope {
        if typed.zero.is_none() {
            assume(
                "zero accuracy",
                format!("a limit of {ASSUMED_ZERO_DIVISIONS} division"),
            );
            zero = Accuracy::limit_divisions(ASSUMED_ZERO_DIVISIONS);
        }
        divisions = typed.divisions.unwrap_or(ASSUMED_DIVISIONS);
    } else if typed.kind == InstrumentKind::CurrentProbe && typed.zero.is_none() {
        assume(
            "zero accuracy",
            format!(
                "a limit of {ASSUMED_CLAMP_ZERO_PERCENT} % of the largest current in each capture"
            ),
        );
        zero = Accuracy::limit_relative(ASSUMED_CLAMP_ZERO_PERCENT / 100.0);
    }
    // A relative figure at 1, an absolute one (shunt tolerance in ohm) at the resistance.
    let nominal = typed.resistance_ohm.unwrap_or(1.0);
    Hardware {
        kind: typed.kind,
        instrument: Instrument {
            name: name.clone(),
            gain_relative_uncertainty: gain.standard_uncertainty(nominal, Range::default())
                / nominal,
            gain_distribution: gain.distribution(),
            shunt_ohm: typed.resistance_ohm,
            bandwidth_hz: typed.bandwidth_hz,
            skew_s: typed.skew_s,
            time_base_relative_uncertainty: typed
                .time_base
                .map(|t| t.standard_uncertainty(1.0, Range::default())),
            gain_per_channel: typed.kind == InstrumentKind::Oscilloscope,
        },
        bits: typed.bits,
        divisions,
        gain,
        range_gain: typed.range_gain,
        zero,
        resistance_ohm: typed.resistance_ohm,
    }
}
